"""How each burned electrode is read: against every way there is, on ties of known size, within the looks allowed."""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from functools import cache
from typing import TypeAlias

import numpy as np
import pytest
from planned_history import LIFE, TRUTH, burned, calibration, new_batches

from brinemark.science.amount.simulate import SINGLE, WITH_PRESCAN, Protocol
from brinemark.science.planning.allocation import Planner
from brinemark.science.planning.burned_ways import BurnedWays, changed
from brinemark.science.planning.figures import Figure, Measured, PlanFigures, Prices, Wish
from brinemark.science.planning.new_batches import burned_keys
from brinemark.science.planning.plans import BatchPlan, Burned, Use
from brinemark.terms.settings import DecisionSection

RISING = Protocol(prescan=True, additions=(2.0, 100.0), spiked=True)
WAYS = (SINGLE, WITH_PRESCAN, LIFE, RISING)
HOUR = 0.5
Scores: TypeAlias = Mapping[tuple[Protocol, ...], float]
MONTE_CARLO = 0.1  # error of a difference of invented scores; a tie is within two of these


@cache
def planner() -> Planner:
    return Planner.of(calibration(), Wish("answers", (1.0, 2.0)), DecisionSection(), Prices(reading_h=HOUR))


def invented(plan: BatchPlan, score: float) -> Measured:
    """A plan of a score that is known, with an error that the limits leave."""
    none = Figure(0.0, 0.0)
    figures = PlanFigures(plan, (), (), (), none, none, none, 0.0, 0.0)
    return Measured(figures, score, np.full(4, score), 0.5 * MONTE_CARLO**2)


def plan_of(*ways: Protocol) -> BatchPlan:
    """One electrode of each way on levels 0, 1, 2, ..."""
    return BatchPlan(6, tuple(Burned(float(c), way) for c, way in enumerate(ways)), Use(LIFE))


def followed(start: BatchPlan, scores: Scores, looks: int = 99) -> tuple[BatchPlan, BatchPlan]:
    """Which plan is kept and which was best, where ways have these scores and all others 0."""

    def measure(plan: BatchPlan) -> Measured:
        return invented(plan, scores.get(tuple(one.protocol for one in plan.burned), 0.0))

    first = measure(start)
    kept, best = BurnedWays(measure, WAYS, [first], looks).followed(first)
    return kept.figures.plan, best.figures.plan


def test_a_shorter_way_is_kept_within_the_error_and_no_further() -> None:
    within, beyond = 1.0 - 1.9 * MONTE_CARLO, 1.0 - 2.1 * MONTE_CARLO
    start = plan_of(LIFE, LIFE)
    assert followed(start, {(LIFE, LIFE): 1.0, (SINGLE, LIFE): within})[0] == plan_of(SINGLE, LIFE)
    assert followed(start, {(LIFE, LIFE): 1.0, (SINGLE, LIFE): beyond})[0] == start


def test_ties_are_with_the_best_so_that_losses_do_not_add_up() -> None:
    step = 1.5 * MONTE_CARLO
    scores: Scores = {(LIFE, LIFE): 1.0, (SINGLE, LIFE): 1.0 - step, (SINGLE, SINGLE): 1.0 - 2.0 * step}
    assert followed(plan_of(LIFE, LIFE), scores) == (plan_of(SINGLE, LIFE), plan_of(LIFE, LIFE))


def test_a_longer_way_has_to_be_better_beyond_the_error() -> None:
    start = plan_of(SINGLE)
    assert followed(start, {(SINGLE,): 1.0, (LIFE,): 1.0 + 1.9 * MONTE_CARLO}) == (start, plan_of(LIFE))
    assert followed(start, {(SINGLE,): 1.0, (LIFE,): 1.0 + 2.1 * MONTE_CARLO}) == (plan_of(LIFE), plan_of(LIFE))


def test_a_plan_that_fails_the_wish_is_not_shortened_but_lengthened_until_it_meets_it() -> None:
    never = dict.fromkeys(itertools.product(WAYS, repeat=1), -np.inf)
    assert followed(plan_of(LIFE), never)[0] == plan_of(LIFE)
    assert followed(plan_of(SINGLE), never | {(RISING,): -3.0})[0] == plan_of(RISING)


@pytest.mark.parametrize("looks", [0, 1, 5])
def test_no_more_plans_are_measured_than_allowed(looks: int) -> None:
    met: list[BatchPlan] = []

    def measure(plan: BatchPlan) -> Measured:
        met.append(plan)
        return invented(plan, 1.0)

    BurnedWays(measure, WAYS, [first := invented(plan_of(LIFE, LIFE, LIFE), 1.0)], looks).followed(first)
    assert len(met) == len(set(met)) == looks


def test_electrodes_that_are_alike_are_changed_once() -> None:
    plan = BatchPlan(6, burned(2.0, 2.0), Use(LIFE))
    found = list(changed(plan, WAYS))
    assert [[one.protocol for one in other.burned] for other in found] == [
        [SINGLE, LIFE],
        [WITH_PRESCAN, LIFE],
        [LIFE, RISING],
    ]


def test_one_electrode_read_in_two_ways_has_the_same_main_reading() -> None:
    batches, true = new_batches(), np.arange(8)
    (key,) = burned_keys(burned(2.0))
    assert burned_keys(burned(2.0, protocol=SINGLE)) == [key]
    once, lived = (batches.lived(batches.standard(way), 2.0, true, key) for way in (SINGLE, LIFE))
    assert once[:, 0] == pytest.approx(lived[:, 0], rel=1e-12)
    other = batches.lived(batches.standard(LIFE), 2.0, true, burned_keys(burned(2.0, 2.0))[1])
    assert not np.allclose(other[:, 0], lived[:, 0], rtol=TRUTH.noise)


def test_no_way_of_reading_the_burned_electrodes_is_better_by_more_than_the_tie() -> None:
    uses = [Use(way, (1.0, 1.0)) for way in WAYS]
    found = planner().allocation(6, uses)
    plan = found.plans[0].figures.plan
    assert plan.burned, "the case has to burn electrodes to say something"
    best = planner().measure(plan)
    levels = [one.level for one in plan.burned]
    every = [planner().measure(read(plan, levels, ways)) for ways in itertools.product(WAYS, repeat=len(levels))]
    assert best.ties_with(max(every, key=lambda one: one.score))
    shorter = [one.figures.plan for one in found.plans if one.tie and one.figures.plan.dips < plan.dips]
    assert any([one.level for one in other.burned] == levels and other.use == plan.use for other in shorter)
    for one in found.plans:
        dips = sum(b.protocol.dips.size for b in one.figures.plan.burned)
        samples = one.figures.plan.samples * one.figures.plan.use.electrodes * one.figures.plan.use.protocol.dips.size
        assert one.figures.hours == pytest.approx(HOUR * (dips + samples))


def read(plan: BatchPlan, levels: list[float], ways: tuple[Protocol, ...]) -> BatchPlan:
    pairs = sorted(zip(levels, ways, strict=True), key=lambda one: (one[0], one[1].dips.size))
    return BatchPlan(plan.electrodes, tuple(Burned(*one) for one in pairs), plan.use)
