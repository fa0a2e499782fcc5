"""Scatter of electrodes at one level against their rise: numbers by hand, known truth, and what is left out."""

from __future__ import annotations

import math
import statistics

import numpy as np
import pytest

from brinemark.science.amount.sibling_scatter import sibling_scatter, typical_share

SEED = 20871


def test_one_instrument_gives_the_ordinary_standard_deviation_and_the_rise_of_the_mean() -> None:
    level = np.array([0.0, 0.0, 2.0, 2.0, 2.0])
    signal = np.array([1.0, 1.4, 3.0, 3.6, 4.2])
    blank, standard = sibling_scatter(level, signal, ["bench"] * 5)
    assert (blank.level, blank.count, blank.rise, blank.share) == (0.0, 2, 0.0, None)
    assert blank.scatter == pytest.approx(statistics.stdev([1.0, 1.4]))
    assert standard.scatter == pytest.approx(statistics.stdev([3.0, 3.6, 4.2]))
    assert standard.rise == pytest.approx(3.6 - 1.2)
    assert standard.freedom == 2


def test_instruments_of_different_gain_do_not_count_as_scatter() -> None:
    level = np.array([0.0, 0.0, 4.0, 4.0, 0.0, 0.0, 4.0, 4.0])
    signal = np.array([0.0, 0.0, 1.0, 1.2, 0.0, 0.0, 10.0, 10.2])
    names = ["bench"] * 4 + ["field"] * 4
    one = sibling_scatter(level, signal, names)[-1]
    assert one.scatter == pytest.approx(math.sqrt((0.02 + 0.02) / 2))
    assert (one.count, one.freedom) == (4, 2)
    assert one.rise == pytest.approx((1.1 + 10.1) / 2)


def test_a_level_with_one_electrode_and_an_instrument_without_a_blank_are_left_out() -> None:
    level = np.array([0.0, 0.0, 1.0, 8.0, 8.0, 8.0])
    signal = np.array([0.0, 0.1, 1.0, 5.0, 6.0, 7.0])
    names = ["bench", "bench", "bench", "field", "field", "field"]
    assert [one.level for one in sibling_scatter(level, signal, names)] == [0.0]
    assert sibling_scatter(np.zeros(0), np.zeros(0), []) == ()


def test_the_share_of_a_level_that_does_not_rise_is_none_and_the_typical_one_leaves_it_out() -> None:
    level = np.array([0.0, 0.0, 1.0, 1.0, 2.0, 2.0])
    signal = np.array([1.0, 1.2, 0.8, 0.9, 3.0, 3.4])
    found = sibling_scatter(level, signal, ["bench"] * 6)
    assert found[1].share is None
    typical = typical_share(found)
    assert typical is not None
    assert typical[0] == pytest.approx(found[2].share)
    assert typical[1] == pytest.approx(1.0 / math.sqrt(2.0))
    assert typical_share(found[:2]) is None


def test_known_scatter_comes_back_within_what_chance_is_said_to_do() -> None:
    """Electrodes whose gain scatters by 12 %: the share is found, and its stated chance is that of repeats."""
    rng = np.random.default_rng(SEED)
    level = np.repeat([0.0, 1.0, 3.0, 9.0], 9)
    found = []
    for _ in range(400):
        signal = level / (2.0 + level) * (1.0 + 0.12 * rng.normal(size=level.size))
        typical = typical_share(sibling_scatter(level, signal, ["bench"] * level.size))
        assert typical is not None
        found.append(typical)
    shares = np.array([share for share, _ in found])
    chance = found[0][1]
    assert chance == pytest.approx(1.0 / math.sqrt(2.0 * 24))
    # The mean of ln s lies below ln sigma by about 1/(2 f) with f = 8 degrees of freedom at each level.
    assert float(np.log(shares).mean()) == pytest.approx(math.log(0.12) - 1.0 / 16.0, abs=4.0 * chance / math.sqrt(400))
    assert float(np.log(shares).std()) == pytest.approx(chance, rel=0.2)
