"""Levels of a cell from volumes: exact fractions, closed forms, Monte Carlo of the uncertainty, what is refused."""

from __future__ import annotations

import math
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from brinemark.science.amount.volumes import (
    Addition,
    CellContent,
    Lot,
    after_additions,
    check_addition,
    known_cell,
    sample_cell,
)
from brinemark.terms.errors import Refused

ROUNDING = 1e-12  # relative: a handful of float operations
DRAWS = 200_000
MONTE_CARLO = 0.02  # relative sd of a standard deviation from DRAWS draws is .0016; the rest is the first order
BLANK = known_cell(0.0)


def exact_level(volume: str, start: str, additions: list[tuple[str, str]]) -> Fraction:
    """The balance of amounts in exact fractions."""
    amount, total = Fraction(volume) * Fraction(start), Fraction(volume)
    for level, added in additions:
        amount, total = amount + Fraction(level) * Fraction(added), total + Fraction(added)
    return amount / total


@pytest.mark.parametrize("start", ["0", "0.5", "12"])
def test_levels_are_the_balance_of_amounts_in_exact_fractions(start: str) -> None:
    steps = [("1000", "0.05"), ("1000", "0.1"), ("25000", "0.2")]
    additions = [Addition(float(level), float(added), "K") for level, added in steps]
    found = after_additions(known_cell(float(start)), 20.0, additions, 0.01)
    for count, content in enumerate(found, start=1):
        assert content.added == pytest.approx(float(exact_level("20", start, steps[:count])), rel=ROUNDING)
        assert content.share == 0.0


def test_an_equal_volume_of_stock_halves_what_was_there_and_brings_half_of_the_stock() -> None:
    (content,) = after_additions(sample_cell(4.0), 10.0, [Addition(6.0, 10.0)], 0.0)
    assert (content.share, content.added, content.added_u) == (0.125, 3.0, 0.0)


def test_a_drop_of_strong_stock_raises_the_level_by_the_ratio_of_volumes() -> None:
    (content,) = after_additions(BLANK, 1e3, [Addition(1e6, 1e-6)], 0.0)
    assert content.added == pytest.approx(1e-3, rel=1e-8)


def test_shares_of_the_sample_shrink_with_every_volume_and_with_no_rise() -> None:
    by_volume = after_additions(sample_cell(2.0), 20.0, [Addition(100.0, 0.2), Addition(100.0, 0.3)], 0.01)
    assert [one.share for one in by_volume] == pytest.approx([0.5 * 20 / 20.2, 0.5 * 20 / 20.5], rel=ROUNDING)
    by_rise = after_additions(sample_cell(2.0), None, [Addition(1.0), Addition(4.0)], 0.01)
    assert [(one.share, one.added) for one in by_rise] == [(0.5, 1.0), (0.5, 5.0)]


def test_a_rise_after_a_volume_is_a_rise_of_the_cell_as_it_was_then() -> None:
    additions = [Addition(100.0, 5.0), Addition(3.0), Addition(100.0, 5.0)]
    found = after_additions(known_cell(1.0), 15.0, additions, 0.0)
    first = (15 * 1.0 + 500) / 20
    assert [one.added for one in found] == pytest.approx(
        [first, first + 3, ((first + 3) * 20 + 500) / 25], rel=ROUNDING
    )


def test_a_diluent_with_content_brings_its_part() -> None:
    content = sample_cell(10.0, Lot("lot L1", 0.2))
    assert content.share == pytest.approx(0.1)
    assert content.added == pytest.approx(0.9 * 0.2, rel=ROUNDING)
    assert content.stock_parts == (("lot L1", content.added),)
    assert sample_cell(1.0, Lot("lot L1", 0.2)) == CellContent(1.0, 0.0)


def test_a_blank_holds_what_its_seawater_holds_and_a_standard_holds_it_too() -> None:
    lot = Lot("lot L1", 0.2)
    assert known_cell(0.0, lot=lot) == CellContent(0.0, 0.2, 0.0, (("lot L1", 0.2),))
    standard = known_cell(2.0, stock="stock K", lot=lot)
    assert standard == CellContent(0.0, 2.2, 0.0, (("stock K", 2.0), ("lot L1", 0.2)))
    assert known_cell(2.0, 0.05) == CellContent(0.0, 2.0, 0.1)


def test_parts_of_one_stock_are_added_and_all_parts_make_the_level() -> None:
    start = known_cell(2.0, stock="K", lot=Lot("L", 0.3))
    additions = [Addition(50.0, 1.0, "K"), Addition(80.0, 0.5, "M")]
    last = after_additions(start, 20.0, additions, 0.0)[-1]
    parts = dict(last.stock_parts)
    assert set(parts) == {"K", "M", "L"}
    assert parts["K"] == pytest.approx((20 * 2.0 + 50.0) / 21.5, rel=ROUNDING)
    assert math.fsum(parts.values()) == pytest.approx(last.added, rel=ROUNDING)


def test_uncertainties_agree_with_simulated_volumes_and_levels() -> None:
    rel_u, own_u = 0.01, 0.03
    additions = [Addition(400.0, 0.5, "K"), Addition(300.0, 2.0, None, own_u), Addition(4.0, None, None, own_u)]
    start = known_cell(5.0, 0.02)
    found = after_additions(start, 10.0, additions, rel_u)
    random = np.random.default_rng(20261125)
    volume = 10.0 * (1 + rel_u * random.standard_normal(DRAWS))
    amount = volume * 5.0 * (1 + 0.02 * random.standard_normal(DRAWS))
    for one, content in zip(additions, found, strict=True):
        level = one.level * (1 + one.rel_u * random.standard_normal(DRAWS))
        if one.volume is None:
            amount = amount + level * volume
        else:
            added = one.volume * (1 + rel_u * random.standard_normal(DRAWS))
            volume, amount = volume + added, amount + level * added
        assert np.std(amount / volume) == pytest.approx(content.added_u, rel=MONTE_CARLO)
        assert np.mean(amount / volume) == pytest.approx(content.added, rel=1e-3)


def test_the_error_of_a_stock_is_no_error_of_the_reading() -> None:
    shared = after_additions(BLANK, 20.0, [Addition(100.0, 1.0, "K", 0.5)], 0.0)
    assert shared[0].added_u == 0.0
    own = after_additions(BLANK, 20.0, [Addition(100.0, 1.0, None, 0.5)], 0.0)
    assert own[0].added_u == pytest.approx(0.5 * own[0].added, rel=ROUNDING)


def test_a_level_equal_to_the_stock_does_not_feel_the_volumes() -> None:
    (content,) = after_additions(known_cell(7.0), 20.0, [Addition(7.0, 3.0, "K")], 0.05)
    assert content.added == pytest.approx(7.0, rel=ROUNDING)
    assert content.added_u == pytest.approx(0.0, abs=1e-14)


positive = st.floats(1e-3, 1e3)


@given(positive, positive, st.lists(st.tuples(positive, st.floats(1e-3, 1.0)), min_size=1, max_size=4), positive)
def test_units_of_volume_and_level_do_not_matter(
    volume: float, level: float, steps: list[tuple[float, float]], unit: float
) -> None:
    plain = [Addition(stock, part * volume) for stock, part in steps]
    scaled = [Addition(unit * stock, part * volume * 1e3) for stock, part in steps]
    ones = after_additions(known_cell(level), volume, plain, 0.01)
    others = after_additions(known_cell(unit * level), 1e3 * volume, scaled, 0.01)
    for one, other in zip(ones, others, strict=True):
        assert other.added == pytest.approx(unit * one.added, rel=1e-9)
        assert other.added_u == pytest.approx(unit * one.added_u, rel=1e-6, abs=1e-12 * unit * one.added)


@given(positive, st.lists(st.tuples(positive, st.floats(1e-3, 1.0)), min_size=1, max_size=4))
def test_no_level_is_above_the_strongest_or_below_the_weakest_of_what_was_mixed(
    level: float, steps: list[tuple[float, float]]
) -> None:
    mixed = after_additions(known_cell(level), 1.0, [Addition(stock, part) for stock, part in steps], 0.0)[-1].added
    levels = [level, *(stock for stock, _ in steps)]
    assert min(levels) * (1 - 1e-12) <= mixed <= max(levels) * (1 + 1e-12)


WRONG_VOLUMES = {
    "negative": (Addition(1.0, -1.0), 20.0, "an added volume of -1; expected a number above 0"),
    "zero": (Addition(1.0, 0.0), 20.0, "an added volume of 0"),
    "infinite": (Addition(1.0, math.inf), 20.0, "an added volume of inf"),
    "larger than the cell": (Addition(1.0, 20.5), 20.0, "20.5, more than the cell of 20 held"),
    "without a cell": (Addition(1.0, 1.0), None, "without the volume of the cell"),
    "in no cell": (Addition(1.0, 1.0), 0.0, "a volume of the cell of 0"),
    "in a negative cell": (Addition(1.0), -3.0, "a volume of the cell of -3"),
    "in a cell that is no number": (Addition(1.0, 1.0), math.nan, "a volume of the cell of nan"),
    "of nothing": (Addition(0.0, 1.0), 20.0, "the level of a stock of 0"),
    "by no rise": (Addition(0.0), None, "the rise of an addition of 0"),
    "by a fall": (Addition(-2.0), None, "the rise of an addition of -2"),
    "less than certain": (Addition(1.0, 1.0, None, -0.1), 20.0, "a relative uncertainty of -0.1"),
}


@pytest.mark.parametrize("name", WRONG_VOLUMES)
def test_an_addition_that_cannot_be_is_refused(name: str) -> None:
    addition, volume, words = WRONG_VOLUMES[name]
    with pytest.raises(Refused, match=words):
        check_addition(addition, volume)
    with pytest.raises(Refused, match=words):
        after_additions(BLANK, volume, [Addition(1.0), addition], 0.01)


def test_wrong_starts_are_refused() -> None:
    for call, words in (
        (lambda: known_cell(-1.0), "a level of -1"),
        (lambda: known_cell(1.0, -0.1), "a relative uncertainty of -0.1"),
        (lambda: known_cell(0.0, lot=Lot("lot L", -0.1)), "a content of lot L of -0.1"),
        (lambda: sample_cell(0.5), "a dilution of 0.5; expected a number from 1"),
        (lambda: sample_cell(math.nan), "a dilution of nan"),
        (lambda: after_additions(BLANK, None, [], 1.0), "a relative uncertainty of volumes of 1"),
    ):
        with pytest.raises(Refused, match=words):
            call()
