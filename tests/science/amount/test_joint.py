"""Several readings in one statistic: it agrees with the exact tails of one reading, and keeps its promise when data
come from the very law that it reads by."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from histories import history

from brinemark.science.amount.electrodes import electrode_laws
from brinemark.science.amount.joint import SIMULATIONS, JointReading
from brinemark.science.amount.law import DipLaw
from brinemark.science.amount.predictive import batch_draws
from brinemark.science.amount.reading import two_sided
from brinemark.science.amount.scale import scale_of_calibration
from brinemark.science.amount.statistic import Observed, SingleReading
from brinemark.terms.amounts import SamplePortion
from brinemark.terms.arrays import FloatArray
from brinemark.terms.settings import DecisionSection

SEED = 11
DILUTIONS = (1.0, 4.0, 16.0)
DATA_SETS = 80
SIMULATION_SE = 0.5 / np.sqrt(SIMULATIONS)
"""Largest standard error of a simulated tail probability."""


@cache
def laws() -> tuple[DipLaw, ...]:
    """Three electrodes: two of the new batch, one of an old one."""
    here = history(SEED)
    draws = batch_draws(here.calibration, here.readings, ["B9", "B3"], SEED)
    scale = scale_of_calibration(here.calibration)
    portions = [
        SamplePortion(f"X{i}", batch, "bench", 1.0, 0.0, 0.0, dilution)
        for i, (batch, dilution) in enumerate(zip(("B9", "B9", "B3"), DILUTIONS, strict=True))
    ]
    return tuple(electrode_laws(draws, scale, one)[0][0] for one in portions)


def data(level: float, rng: np.random.Generator) -> tuple[Observed, ...]:
    """Signals of the three electrodes at a sample level, from one joint draw of population and batches."""
    pick = rng.integers(0, laws()[0].shift.size, 1)
    return tuple(
        Observed((law,), (float(law.simulate(level, pick, *rng.normal(size=(2, 3, 1)))[0]),), dilution)
        for law, dilution in zip(laws(), DILUTIONS, strict=True)
    )


@cache
def tails(level: float) -> FloatArray:
    """P(R <= r | true level) of DATA_SETS sets of three signals; uniform when the statistic is honest."""
    rng = np.random.default_rng([SEED, int(level)])
    values = [JointReading.of(data(level, rng), k).below(np.array([level]))[0] for k in range(DATA_SETS)]
    return np.array(values)


@pytest.mark.parametrize("level", [0.0, 2.0, 20.0])
def test_tail_probabilities_at_the_truth_are_uniform(level: float) -> None:
    ordered = np.sort(tails(level))
    steps = np.arange(DATA_SETS + 1) / DATA_SETS
    distance = max(np.max(steps[1:] - ordered), np.max(ordered - steps[:-1]))
    # Kolmogorov's 0.1 % point, 1.95 / sqrt(n).
    assert distance < 1.95 / np.sqrt(DATA_SETS)


@pytest.mark.parametrize("level", [2.0, 20.0])
def test_the_two_sided_interval_holds_the_truth_as_often_as_it_says(level: float) -> None:
    covered = np.mean((tails(level) > 0.025) & (tails(level) < 0.975))
    assert covered >= 0.95 - 3.0 * np.sqrt(0.95 * 0.05 / DATA_SETS)


@pytest.mark.parametrize("level", [0.0, 0.5, 2.0])
def test_one_reading_through_the_joint_statistic_agrees_with_its_exact_tails(level: float) -> None:
    law = laws()[0]
    signal = float(np.exp(np.median(law.log_median(np.array([level]))[0])))
    one = Observed((law,), (signal,), 1.0)
    exact, joint = SingleReading.of(one), JointReading.of([one], SEED)
    at = np.array([0.0, 0.2, 0.5, 1.0, 2.0, 4.0, 8.0])
    # Between simulated levels the null is interpolated, which adds about as much again.
    assert np.abs(exact.below(at) - joint.below(at)).max() < 3.0 * 2.0 * SIMULATION_SE


def test_a_ladder_of_dilutions_narrows_the_interval() -> None:
    observed = data(8.0, np.random.default_rng(1))
    joint = two_sided(JointReading.of(observed, SEED), DecisionSection())
    alone = two_sided(SingleReading.of(observed[0]), DecisionSection())
    assert joint.lower is not None
    assert joint.upper is not None
    wide = np.inf if alone.upper is None or not alone.lower else alone.upper / alone.lower
    assert joint.upper / joint.lower < wide


def test_shares_sum_to_one_and_go_to_the_electrode_that_is_not_saturated() -> None:
    reading = JointReading.of(data(60.0, np.random.default_rng(2)), SEED)
    assert sum(reading.shares()) == pytest.approx(1.0)
    assert int(np.argmax(reading.shares())) == 2


def test_signals_below_a_blank_leave_no_lump_of_probability_at_zero() -> None:
    rng = np.random.default_rng(3)
    at_zero = [float(JointReading.of(data(0.0, rng), k).ladder[0]) for k in range(12)]
    assert len({round(value, 6) for value in at_zero}) == 12


def test_the_same_seed_gives_the_same_reading() -> None:
    observed = data(4.0, np.random.default_rng(4))
    one, two = JointReading.of(observed, 5), JointReading.of(observed, 5)
    assert np.array_equal(one.ladder, two.ladder)
    assert not np.array_equal(one.ladder, JointReading.of(observed, 6).ladder)


def test_the_monte_carlo_error_of_a_tail_covers_another_seed() -> None:
    observed = data(4.0, np.random.default_rng(4))
    level = float(JointReading.of(observed, 5).best() or 0.0)
    values = [float(JointReading.of(observed, seed).below(np.array([level]))[0]) for seed in range(12)]
    said = JointReading.of(observed, 5).monte_carlo_sd(level)
    # The sd of twelve values is known to a factor of 1.5 or so.
    assert np.std(values, ddof=1) < 2.0 * said
