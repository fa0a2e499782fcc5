"""Dilutions that can be made: against volumes worked out by hand, and never more water than there is."""

from __future__ import annotations

import math

import pytest

from brinemark.science.planning.practical import practical_dilutions
from brinemark.terms.dilutions import DEFAULT_KIT, Flask, Kit, Pipette
from brinemark.terms.errors import Refused

KIT = Kit((Pipette(5.0, 0.02), Pipette(1.0, 0.01, smallest_mL=0.1)), (Flask(25.0, 0.04), Flask(50.0, 0.06)))


def test_what_is_made_by_hand_is_found() -> None:
    plain, five, ten, hundred = practical_dilutions((1.0, 5.0, 10.0, 100.0), 20.0, math.inf, KIT)
    assert (plain.sample_mL, plain.rel_u, plain.way) == (20.0, 0.0, None)
    assert (five.sample_mL, five.factor) == (5.0, 5.0)
    # 5 mL +- .02 and 25 mL +- .04, half widths: JCGM 100:2008, 4.3.7 and 4.3.9.
    by_hand = math.hypot(0.02 / math.sqrt(3.0) / 5.0, 0.04 / math.sqrt(6.0) / 25.0)
    assert five.rel_u == pytest.approx(by_hand, rel=1e-6)
    assert (ten.sample_mL, ten.factor) == (5.0, 10.0)
    assert hundred.factor == pytest.approx(100.0, rel=0.02)


@pytest.mark.parametrize("water", [0.2, 1.0, 4.0, 12.0, 30.0])
def test_never_more_is_taken_than_there_is(water: float) -> None:
    for one in practical_dilutions((1.0, 2.0, 5.0, 10.0, 100.0), 20.0, water, DEFAULT_KIT):
        if one.reason is None:
            assert one.sample_mL <= water
        else:
            assert one.sample_mL > water
            assert one.reason == f"takes {one.sample_mL:g} mL of the sample, {water:g} mL are left"


def test_every_cell_is_filled() -> None:
    for one in practical_dilutions((2.0, 5.0, 10.0, 20.0), 40.0, math.inf, DEFAULT_KIT):
        assert one.way is not None
        assert one.way.steps[-1].flask.volume_mL >= 40.0


def test_what_the_vessels_do_not_give_says_so() -> None:
    (one,) = practical_dilutions((10.0,), 20.0, math.inf, Kit((Pipette(5.0, 0.02),), (Flask(25.0, 0.04),)))
    assert one.reason is not None
    assert "do not come within" in one.reason


@pytest.mark.parametrize(("cell", "water", "came"), [(0.0, 5.0, "a cell of 0 mL"), (5.0, 0.0, "0 mL of sample")])
def test_volumes_that_make_no_sense_are_refused(cell: float, water: float, came: str) -> None:
    with pytest.raises(Refused, match=came):
        practical_dilutions((10.0,), cell, water, DEFAULT_KIT)
