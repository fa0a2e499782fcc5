"""The choice among plans: ties, wishes, the trade, and that the same question has the same answer."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from planned_history import LIFE, burned, calibration, new_batches

from brinemark.science.amount.simulate import SINGLE
from brinemark.science.planning.allocation import Allocation, Planner
from brinemark.science.planning.candidates import level_sets, own_levels, plans_of, protocols
from brinemark.science.planning.figures import Aim, Prices, Wish
from brinemark.science.planning.plans import BatchPlan, Use
from brinemark.terms.settings import DecisionSection

pytestmark = pytest.mark.usefixtures("compiled_loops")

LEVELS = (1.0, 2.0)
USES = (Use(SINGLE), Use(LIFE), Use(LIFE, (1.0, 1.0)))


def planner(aim: Aim = "answers", samples: int = 1, detectable: float | None = None) -> Planner:
    wish = Wish(aim, LEVELS, samples, detectable)
    return Planner.of(calibration(), wish, DecisionSection(), Prices(electrode=10.0, hour=4.0, reading_h=0.5))


@cache
def answers() -> Allocation:
    return planner().allocation(6, USES)


def test_the_best_comes_first_and_ties_are_within_their_error_of_it() -> None:
    plans = answers().plans
    values = [one.figures.answers.value for one in plans]
    assert values == sorted(values, reverse=True)
    assert plans[0].tie and plans[0].meets
    for one in plans[1:]:
        lead, error = values[0] - one.figures.answers.value, one.figures.answers.error + plans[0].figures.answers.error
        assert one.tie or lead > 0.0
        if one.tie:
            assert lead <= 2.0 * error + 1e-9


def test_there_is_a_best_plan_for_every_number_of_burned_electrodes() -> None:
    assert [len(one.figures.plan.burned) for one in answers().by_burned] == [0, 1, 2, 3, 4]
    assert all(one.figures.answers.value <= answers().plans[0].figures.answers.value for one in answers().by_burned)


def test_full_knowledge_is_a_limit() -> None:
    best = answers().plans[0].figures
    assert answers().limit.answers.value > best.answers.value - 3.0 * best.answers.error
    assert answers().limit.plan.burned == ()


def test_the_same_question_has_the_same_answer() -> None:
    again = planner().allocation(6, USES)
    assert [one.figures for one in again.plans] == [one.figures for one in answers().plans]


def test_hours_and_costs_are_those_of_every_electrode_of_the_batch() -> None:
    plan = BatchPlan(6, burned(0.0, 2.0), Use(LIFE, (1.0, 1.0)))
    figures = planner().measure(plan).figures
    assert plan.dips == 6 * 3
    assert figures.hours == pytest.approx(9.0)
    assert figures.cost == pytest.approx(60.0 + 4.0 * 9.0)


def test_electrodes_left_over_serve_no_sample() -> None:
    plan = BatchPlan(6, burned(2.0), Use(LIFE, (1.0, 1.0)))
    assert (plan.left, plan.samples, plan.dips) == (5, 2, 3 + 4 * 3)


def test_the_cheapest_plan_for_a_wanted_value_finds_it() -> None:
    found = planner("cost", detectable=0.9).allocation(6, USES)
    best = found.plans[0]
    assert best.meets and best.figures.detectable.value <= 0.9
    per_sample = [one.figures.cost / one.figures.plan.samples for one in found.plans if one.meets]
    assert per_sample[0] == min(per_sample)


def test_a_value_below_what_the_floor_allows_is_met_by_no_plan() -> None:
    assert not any(one.meets for one in planner("cost", detectable=1e-3).allocation(4, USES[1:2]).plans)


def test_wanted_samples_are_served() -> None:
    found = planner("narrow", samples=3).allocation(6, USES)
    assert found.plans[0].figures.plan.samples >= 3


def test_level_sets_are_the_logbook_s_own_levels() -> None:
    own = set(own_levels(calibration().readings, calibration().spike_level))
    sets = level_sets(new_batches(), 5)
    assert sorted(sets) == [0, 1, 2, 3, 4]
    assert {level for some in sets.values() for one in some for level in one} <= own
    assert all(len(one) == count for count, some in sets.items() for one in some)


def test_no_plan_burns_every_electrode() -> None:
    sets = [one for some in level_sets(new_batches(), 5).values() for one in some]
    assert all(plan.samples >= 1 for plan in plans_of(2, Use(LIFE), sets))


def test_a_rising_addition_lifts_the_cell_by_about_K_and_the_spike_is_the_logbook_s() -> None:
    ways = protocols(calibration())
    K = float(np.exp(np.median(calibration().draws[:, calibration().names.index("ln_K")])))
    step, rise = ways["rising additions"].additions
    assert rise == pytest.approx(100.0)
    assert step == pytest.approx(K, rel=0.5)
