"""Levels in the order of the electrodes: said when chance does not explain them, and hardly ever otherwise."""

from __future__ import annotations

from itertools import permutations

import numpy as np
import pytest
from scipy.stats import norm, rankdata

from brinemark.science.amount.scale import scale_of_data
from brinemark.science.amount.weaknesses import (
    IN_ORDER,
    _levels_far_off,
    _levels_in_order,
    _levels_near_K,
    _ranks,
    batch_weaknesses,
)
from brinemark.terms.amounts import ElectrodeReadings
from brinemark.terms.arrays import FloatArray

SEED = 11
LEVELS = np.array([0.0, 0.0, 0.5, 1.0, 2.0, 8.0])


def batches(levels: list[FloatArray]) -> ElectrodeReadings:
    """Electrodes read once, batch by batch, at these levels in their order."""
    level = np.concatenate(levels)
    count = level.size
    return ElectrodeReadings(
        electrode=tuple(f"E{i}" for i in range(count)),
        batch=tuple(f"B{i}" for i, one in enumerate(levels) for _ in one),
        instrument=("bench",) * count,
        covariate=np.full(count, np.nan),
        unit=np.arange(count),
        signal=level + 1.0,
        u=np.zeros(count),
        level=level,
    )


def test_levels_that_rise_or_fall_along_every_batch_are_named() -> None:
    (rising,) = _levels_in_order(batches([LEVELS] * 9))
    (falling,) = _levels_in_order(batches([LEVELS[::-1]] * 9))
    assert rising.startswith("levels rise with the order of the electrodes in 9 batches")
    assert falling.startswith("levels fall with the order")


def test_one_short_batch_in_order_is_no_evidence() -> None:
    assert _levels_in_order(batches([LEVELS[:4]])) == []
    assert _levels_in_order(batches([np.zeros(4), np.full(3, 2.0)])) == []


def test_random_allocation_is_named_as_rarely_as_said() -> None:
    rng = np.random.default_rng(SEED)
    trials = 4000
    named = sum(bool(_levels_in_order(batches([rng.permutation(LEVELS) for _ in range(9)]))) for _ in range(trials))
    rate = float(2 * norm.sf(IN_ORDER))
    assert named <= trials * rate + 4 * np.sqrt(trials * rate), "within four Monte Carlo standard errors"


def test_the_variance_is_that_of_all_permutations() -> None:
    """Written out for one batch: IN_ORDER standard deviations of T over all 720 orders are where it starts to speak."""
    ranks = rankdata(LEVELS) - rankdata(LEVELS).mean()
    place = np.arange(6) - 2.5
    totals = np.array([place @ np.array(order) for order in permutations(ranks)])
    exact = float(np.sqrt((totals**2).mean()))
    by_formula = float(np.sqrt((place @ place) * (ranks @ ranks) / 5))
    assert abs(by_formula / exact - 1.0) < 1e-12


@pytest.mark.parametrize("factor", [1e3, 1e-3])
def test_a_batch_whose_levels_are_off_by_1000_is_named(factor: float) -> None:
    rows = batches([LEVELS, LEVELS, factor * LEVELS, LEVELS])
    (said,) = _levels_far_off(rows, scale_of_data(rows))
    assert f"highest standard of batch B2 is {8 * factor:g}, of most batches 8" in said


def test_ladders_that_differ_as_ladders_do_are_not() -> None:
    rows = batches([LEVELS, 5 * LEVELS, LEVELS[:3], np.zeros(3), LEVELS])
    assert _levels_far_off(rows, scale_of_data(rows)) == []
    two = batches([LEVELS, 1000 * LEVELS])
    assert _levels_far_off(two, scale_of_data(two)) == [], "of two batches nobody knows which is wrong"


def test_ranks_share_ties() -> None:
    values = np.random.default_rng(SEED).integers(0, 5, 40).astype(float)
    assert np.array_equal(_ranks(values), rankdata(values) - 1.0)


@pytest.mark.parametrize(
    ("levels", "middle", "said"),
    [
        ([0.5, 2.0, 8.0], 2.0, None),
        ([0.7, 8.0], 2.0, None),
        ([0.1, 0.2, 20.0], 2.0, "no standard within a factor of 3 of K (about 2)"),
        ([0.1, 0.2, 0.3], 2.0, "add standards at about 4 and 10"),
        ([50.0, 100.0], 2.0, "add one at about 2"),
    ],
)
def test_levels_that_leave_the_bend_out_are_named_with_what_to_add(
    levels: list[float], middle: float, said: str | None
) -> None:
    found = _levels_near_K(np.array(levels), middle)
    assert (found == []) if said is None else (said in found[0])


def test_what_a_batch_lacks_is_named_with_what_to_measure_next() -> None:
    rows = batches([LEVELS, LEVELS[2:], LEVELS[:2]])
    assert batch_weaknesses(rows, "B0", own_blank=False) == []
    (no_blank,) = batch_weaknesses(rows, "B1", own_blank=False)
    assert no_blank.startswith("batch B1 has no blank: its floor is taken from history")
    assert batch_weaknesses(rows, "B1", own_blank=True) == []
    (no_standard,) = batch_weaknesses(rows, "B2", own_blank=False)
    assert "read one of its electrodes near K" in no_standard
    (nothing,) = batch_weaknesses(rows, "B9", own_blank=True)
    assert "no calibration electrode: read from history, and wider" in nothing
