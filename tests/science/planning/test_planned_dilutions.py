"""The choice among dilutions on a calibrated history: which is best, sets against all sets, water, stopping."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from histories import TRUTH, history

from brinemark.science.amount.one_more import Known
from brinemark.science.amount.predictive import DrawMemory
from brinemark.science.amount.simulate import median_response
from brinemark.science.planning.dilution import (
    DILUTIONS,
    HIGHEST_SUPPOSED,
    LEAST_GAIN,
    LITTLE,
    REACHED,
    Choice,
    Planner,
    middle_rise,
    spike_rise,
    used,
)
from brinemark.terms.amounts import OtherDip, SamplePortion
from brinemark.terms.settings import DecisionSection

SEED = 11
DECISION = DecisionSection()
MEMORY = DrawMemory()
FEW = (1.0, 5.0, 20.0, 100.0)


def portion(level: float, dilution: float = 1.0) -> SamplePortion:
    """An ordinary electrode of the new batch that read a level."""
    signal = float(median_response(TRUTH, history(SEED).new, np.zeros(1), np.array([level / dilution]))[0])
    return SamplePortion("X", "B9", "bench", 1.0, signal, 0.0, dilution)


def planner(
    *portions: SamplePortion, dilutions: tuple[float, ...] = DILUTIONS, rel_u: float = 0.0, water_mL: float = 0.0
) -> Planner:
    here = history(SEED)
    known = Known(portions, here.calibration, here.readings, DECISION, MEMORY)
    fresh = SamplePortion("new", "B9", "bench", here.calibration.covariate_ref, 0.0, 0.0)
    choices = [Choice("read once", replace(fresh, dilution=d), rel_u, water_mL / d) for d in dilutions]
    return Planner.of(known, choices)


@cache
def best_of(level: float | None) -> float:
    made = planner(*(() if level is None else [portion(level)]))
    return made.choices[made.next().best].dilution


def test_a_saturated_sample_is_diluted_one_in_range_little_and_an_absent_one_not() -> None:
    assert best_of(60.0) >= 10.0
    assert best_of(1.0) <= 2.0
    assert best_of(0.0) <= 2.0
    assert best_of(0.0) <= best_of(1.0) <= best_of(None) <= best_of(60.0)


def test_of_nothing_known_the_middle_of_what_is_supposed_is_read_first() -> None:
    made = planner()
    assert made.highest == pytest.approx(HIGHEST_SUPPOSED * 2.0, rel=0.5)
    assert 2.0 <= best_of(None) <= 50.0
    assert made.bench.present_fold() == math.inf


@pytest.mark.parametrize("count", [1, 2, 3])
def test_a_set_that_is_added_to_and_exchanged_is_as_good_as_the_best_of_all_sets(count: int) -> None:
    made = planner(dilutions=FEW)
    found = made.together(count)
    assert found is not None
    every = itertools.combinations_with_replacement(range(len(FEW)), count)
    outlooks = {places: made.bench.outlook([made.parts[n] for n in places]) for places in every}
    best = max(outlooks.values(), key=lambda one: one.information)
    more, error = best.differs(found.outlook)
    assert more <= 2.0 * error + 1e-9
    assert found.outlook.information > np.median([one.information for one in outlooks.values()])


def test_several_electrodes_tell_more_than_fewer_and_less_than_their_sum() -> None:
    made = planner(dilutions=FEW)
    told = [found.outlook.information for count in (1, 2, 3, 4) if (found := made.together(count)) is not None]
    assert len(told) == 4
    assert np.all(np.diff(told) > 0)
    assert np.all(np.array(told[1:]) < np.arange(2, 5) * told[0])


def test_the_water_that_is_left_is_never_exceeded() -> None:
    made = planner(dilutions=FEW, water_mL=20.0)
    freely = made.together(2)
    scarce = made.together(2, 4.5)
    assert freely is not None
    assert scarce is not None
    assert sum(made.choices[n].sample_mL for n in scarce.places) <= 4.5
    assert scarce.outlook.information <= freely.outlook.information + 1e-9
    assert made.together(2, 0.3) is None
    assert made.together(2, 0.4) is not None


def test_an_uncertain_dilution_tells_less() -> None:
    told = [planner(portion(20.0, 10.0), dilutions=(10.0,), rel_u=u).next().outlooks[0] for u in (0.0, 0.1, 0.3)]
    for surer, looser in itertools.pairwise(told):
        more, error = surer.differs(looser)
        assert more > 2.0 * error


def test_it_stops_when_the_aim_is_reached_or_little_is_to_be_gained() -> None:
    made = planner(portion(20.0, 10.0))
    assert made.next().stop is None
    assert made.next(reached=True).stop == REACHED
    many = [replace(portion(20.0, 10.0), electrode=f"X{n}") for n in range(10)]
    plan = planner(*many).next()
    assert plan.outlooks[plan.best].information < LEAST_GAIN
    assert plan.stop == LITTLE


def test_choices_that_cannot_be_told_apart_are_said_to_be_alike() -> None:
    made = planner(dilutions=(10.0, 10.001, 200.0))
    plan = made.next()
    assert {plan.best, *plan.alike} == {0, 1}


def test_the_prior_has_no_part_in_the_interval() -> None:
    here = history(SEED)
    seen = [replace(portion(20.0, dilution), electrode=f"X{dilution:g}") for dilution in (5.0, 10.0, 20.0)]
    known = Known(seen, here.calibration, here.readings, DECISION, MEMORY)
    fresh = SamplePortion("new", "B9", "bench", here.calibration.covariate_ref, 0.0, 0.0)
    folds = [Planner.of(known, [Choice("read once", fresh)], highest).bench.present_fold() for highest in (60.0, 600.0)]
    ladder = 0.02  # the rungs lie elsewhere
    assert math.log(folds[0] / folds[1]) == pytest.approx(0.0, abs=ladder)


def test_additions_are_put_after_the_main_reading_and_the_pre_scan_stays() -> None:
    before = OtherDip(-1, 0.0, 0.0, 0.0, 0.0)
    old = OtherDip(1, 0.0, 0.0, 0.0, 9.0)
    fresh = SamplePortion("new", "B9", "bench", 1.0, 0.0, 0.3, 10.0, added=0.2, others=(before, old))
    made = used(fresh, (2.0, 100.0))
    assert made.others[0] == before
    assert [(one.dip, one.share, one.added, one.u) for one in made.others[1:]] == [
        (1, 0.1, 2.2, 0.3),
        (2, 0.1, 102.2, 0.3),
    ]
    assert used(fresh, ()).others == (before,)


def test_the_rises_are_those_of_the_calibration() -> None:
    calibration = history(SEED).calibration
    assert 1.0 <= middle_rise(calibration) <= 4.0
    rise = spike_rise(calibration)
    assert rise is None or rise >= calibration.spike_level
    assert spike_rise(replace(calibration, spike_level=math.inf)) is None


@pytest.mark.parametrize("level", [20.0, 60.0])
def test_after_a_reading_in_range_the_next_one_is_planned_where_the_response_is_steep(level: float) -> None:
    """Near K = 2 in the cell, where theta (1 - theta) is within a factor of 2 of its largest."""
    made = planner(portion(level, 10.0))
    cell = level / made.choices[made.next().best].dilution
    share = cell / (2.0 + cell)
    assert share * (1.0 - share) > 0.125
