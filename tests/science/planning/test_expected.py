"""What a plan is said to lead to, against brute force: the program reads the same batches in full."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from planned_history import LIFE, burned, new_batches
from planned_in_full import InFull, two_sided_folds

from brinemark.science.amount.simulate import SINGLE
from brinemark.science.planning.expected import Expectation
from brinemark.science.planning.new_batches import NewBatches
from brinemark.science.planning.plans import BatchPlan, Burned, Use
from brinemark.terms.settings import DecisionSection

pytestmark = pytest.mark.usefixtures("compiled_loops")

DECISION = DecisionSection()
SIZE, BRUTE = 160, 32
SIGMAS = 3.0
# Folds by the weighted normal likelihood lie within this of those of full readings, in ln (measured on 64 batches:
# .00 to .08 narrower at a lone level, methods "Planning"); medians of 32 samples err by 1.25 sd / sqrt(32) beside it.
ROUGHNESS = 0.08


def expectation(*levels: float) -> Expectation:
    return Expectation.of(new_batches(), DECISION, levels, SIZE)


@pytest.mark.parametrize(
    ("plan", "level"),
    [
        (BatchPlan(6, burned(2.0), Use(LIFE)), 2.0),
        (BatchPlan(6, burned(0.0, 2.0, 8.0), Use(LIFE, (1.0, 1.0))), 1.0),
    ],
    ids=["one electrode, one burned", "two electrodes, three burned"],
)
def test_the_median_fold_is_that_of_samples_read_in_full(plan: BatchPlan, level: float) -> None:
    batches = new_batches()
    full = two_sided_folds(InFull(batches, plan, np.arange(BRUTE)).readings(level), batches.calibration.highest_level)
    wide = np.log(full[np.isfinite(full)])
    said = np.median(expectation(level).of_plan(plan).fold[0])
    error = 1.2533 * wide.std(ddof=1) / np.sqrt(BRUTE)
    assert np.median(np.log(full)) == pytest.approx(np.log(said), abs=ROUGHNESS + SIGMAS * error)


def test_the_power_is_that_of_samples_read_in_full() -> None:
    plan = BatchPlan(6, burned(0.0, 2.0, protocol=SINGLE), Use(SINGLE))
    found = [
        bool(r.detection and r.detection.detected) for r in InFull(new_batches(), plan, np.arange(64)).readings(0.5)
    ]
    power = expectation(0.5).of_plan(plan).found.mean()
    error = np.sqrt(power * (1.0 - power) * (1.0 / 64 + 1.0 / SIZE))
    assert np.mean(found) == pytest.approx(power, abs=SIGMAS * error)


def test_a_blank_is_found_as_often_as_alpha_says() -> None:
    plan = BatchPlan(6, burned(0.0, 2.0), Use(LIFE))
    outcome = expectation(1e-9).of_plan(plan)
    rate = outcome.found.mean(axis=2).ravel()
    assert rate.mean() == pytest.approx(DECISION.alpha, abs=SIGMAS * (rate.std() / np.sqrt(rate.size) + 0.007))


def test_nothing_beats_full_knowledge_and_burning_helps() -> None:
    bench, use = expectation(1.0), Use(LIFE)
    limit = np.log(np.median(bench.at_best(use).fold[0]))
    none, one = (np.log(np.median(bench.of_plan(BatchPlan(6, b, use)).fold[0])) for b in ((), burned(2.0)))
    assert limit < one < none


def test_a_true_batch_is_not_judged_by_its_own_draw() -> None:
    batches, true = new_batches(), np.arange(40)
    weights = batches.weights((Burned(2.0, LIFE), Burned(2.0, LIFE)), true)
    assert not weights[true, true].any()
    assert weights.sum(axis=1) == pytest.approx(1.0)


def test_one_batch_of_history_is_enough_and_its_uncertainty_counts() -> None:
    """As if the population were known to be what its draws are in the middle, folds would be narrower."""
    plan, made = BatchPlan(6, burned(2.0), Use(LIFE)), new_batches(1).calibration
    sure = replace(made, draws=np.repeat(np.median(made.draws, axis=0)[None], made.draws.shape[0], axis=0))
    honest, plugged = (
        np.median(Expectation.of(NewBatches.of(one, made.seed), DECISION, (2.0,), SIZE).of_plan(plan).fold[0])
        for one in (made, sure)
    )
    assert 1.0 < plugged < honest
