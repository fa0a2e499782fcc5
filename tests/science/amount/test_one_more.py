"""Supposing one more electrode: against simulated electrodes of known truth, and the choice among dilutions."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from histories import TRUTH, history

from brinemark.science.amount.electrodes import electrode_laws
from brinemark.science.amount.limits import batch_limits
from brinemark.science.amount.one_more import (
    BEYOND_LOWER,
    DILUTIONS,
    Known,
    Narrowing,
    narrowest,
    own_range,
    read_with,
    supposed_levels,
    width,
    with_typical_signals,
)
from brinemark.science.amount.predictive import DrawMemory
from brinemark.science.amount.reading import read_sample
from brinemark.science.amount.scale import scale_of_calibration
from brinemark.science.amount.simulate import Protocol, draw_batches, median_response, simulate_sample
from brinemark.terms.amounts import OtherDip, Reading, SamplePortion
from brinemark.terms.arrays import FloatArray
from brinemark.terms.settings import DecisionSection

SEED = 11
DECISION = DecisionSection()
ELECTRODES = 80
ORDINARY = 10  # batches that the history knows
# A median of n values has 1.25 times the standard error of their mean (normal values); the calibration knows the middle
# of its population to about 1 / sqrt(batches) of the scatter between electrodes of new batches.
MEDIAN_ERROR = 1.2533 * math.sqrt(1.0 / ELECTRODES + 1.0 / ORDINARY)
SIGMAS = 3.0
SHAPE = 0.02
"""How far the median of the log response may lie from the median of the predictive signal, relative."""


def read_at(level: float, dilution: float = 1.0) -> SamplePortion:
    """An ordinary electrode of the new batch that read a level."""
    signal = float(median_response(TRUTH, history(SEED).new, np.zeros(1), np.array([level / dilution]))[0])
    return SamplePortion("X", "B9", "bench", 1.0, signal, 0.0, dilution)


@cache
def memory() -> DrawMemory:
    return DrawMemory()


def known(*portions: SamplePortion) -> Known:
    here = history(SEED)
    return Known(portions, here.calibration, here.readings, DECISION, memory())


def present(one: Known) -> Reading:
    return read_sample(one.portions, one.calibration, one.readings, DECISION, one.calibration.seed, one.memory)


def fresh(dilution: float, batch: str = "B9", others: tuple[OtherDip, ...] = ()) -> SamplePortion:
    """A new electrode with the median covariate."""
    covariate = history(SEED).calibration.covariate_ref
    return SamplePortion("new", batch, "bench", covariate, 0.0, 0.0, dilution, others=others)


def best_dilution(one: Known) -> float | None:
    now = present(one)
    levels = supposed_levels(now)
    upper_only = now.statement == "not detected"
    choices = [
        Narrowing.of([width(read_with(fresh(d), level, one), upper_only=upper_only) for level in levels])
        for d in DILUTIONS
    ]
    place, _ = narrowest(choices, Narrowing.of([width(now, upper_only=upper_only)] * len(levels)))
    return None if place is None else DILUTIONS[place]


@pytest.mark.parametrize("dilution", [2.0, 5.0, 20.0])
def test_half_of_real_electrodes_give_a_higher_interval_and_half_a_lower_one(dilution: float) -> None:
    """Electrodes of as many batches that the history does not know, which read the level that was supposed."""
    one = known(read_at(12.0, 10.0))
    (level,) = supposed_levels(present(one))
    supposed, elsewhere = (ends_of(read_with(fresh(dilution, "N"), c, one)) for c in (level, 0.1 * level))
    rng = np.random.default_rng(4)
    real = []
    for batch in draw_batches(TRUTH, ["N"] * ELECTRODES, rng):
        (portion,) = simulate_sample(TRUTH, [batch], level, Protocol(), rng, [dilution])
        portions = [*one.portions, portion]
        real.append(ends_of(read_sample(portions, one.calibration, one.readings, DECISION, SEED, one.memory)))
    middle = np.median(real, axis=0)
    quarter, three = np.quantile(real, [0.25, 0.75], axis=0)
    error = SIGMAS * MEDIAN_ERROR * (three - quarter) / 1.349
    assert np.all(np.abs(middle - supposed) < error)
    # Were the signals those of a tenth of the level, it would be seen.
    assert np.any(np.abs(middle - elsewhere) > error)


def ends_of(reading: Reading) -> FloatArray:
    """ln of both ends of the two-sided interval."""
    ends = reading.two_sided
    assert ends is not None
    assert ends.lower
    return np.log([ends.lower, math.inf if ends.upper is None else ends.upper])


def test_the_supposed_signals_are_the_medians_of_what_is_predicted() -> None:
    one = known(read_at(6.0))
    spike, before = OtherDip(1, 0.0, 0.0, 0.1, 100.0), OtherDip(-1, 0.0, 0.0, 0.0, 0.0)
    made = with_typical_signals(fresh(10.0, others=(before, spike)), 6.0, one)
    laws, relative = electrode_laws(one.draws("B9"), scale_of_calibration(one.calibration), made)
    for law, signal in zip(laws, relative, strict=True):
        assert signal == pytest.approx(float(law.quantile(0.5, np.array([6.0]))[0]), rel=SHAPE, abs=SHAPE)
    assert [dip.dip for dip in made.others] == [-1, 1]
    assert made.others[0].signal < made.signal < made.others[1].signal


def test_a_dilution_that_brings_a_saturated_sample_into_range_is_preferred_to_the_same_again() -> None:
    one = known(read_at(60.0))
    now = present(one)
    assert now.statement == "at or above"
    found = best_dilution(one)
    assert found is not None
    assert found >= 10.0
    again, diluted = (read_with(fresh(d), 60.0, one) for d in (1.0, found))
    assert again.statement == "at or above"
    assert diluted.estimate is not None
    assert diluted.estimate.upper is not None
    assert diluted.estimate.lower is not None
    assert diluted.estimate.lower < 60.0 < diluted.estimate.upper


def test_a_sample_within_range_is_best_read_as_it_is() -> None:
    assert best_dilution(known(read_at(1.0))) in (1.0, 2.0)


def test_of_an_absent_sample_only_an_undiluted_electrode_lowers_the_upper_end() -> None:
    one = known(read_at(0.0))
    now = present(one)
    assert now.statement == "not detected"
    assert now.estimate is not None
    assert now.estimate.upper is not None
    assert supposed_levels(now) == (0.0, now.estimate.upper / 3.0)
    assert best_dilution(one) in (1.0, None)
    undiluted, thin = (width(read_with(fresh(d), 0.0, one), upper_only=True) for d in (1.0, 100.0))
    assert undiluted < thin


def test_what_is_supposed_follows_the_statement() -> None:
    middle = present(known(read_at(1.0)))
    assert middle.estimate is not None
    assert supposed_levels(middle) == (middle.estimate.median,)
    full = present(known(read_at(60.0)))
    assert full.lower_limit is not None
    assert supposed_levels(full) == tuple(factor * full.lower_limit.value for factor in BEYOND_LOWER)
    failed = present(known(replace(read_at(1.0), failure="pre-scan failed")))
    assert failed.statement == "cannot say"
    assert supposed_levels(failed) == ()


def test_the_range_of_the_electrode_is_that_of_its_batch() -> None:
    one = known(read_at(1.0))
    limits = batch_limits(one.calibration, one.readings, "B9", "bench", DECISION, one.draws("B9"))[0]
    critical, working = own_range(fresh(1.0), one)
    assert critical == pytest.approx(limits.critical_value, rel=1e-6)
    assert (working or (None, None)) == (limits.working_lower, limits.working_upper)


def test_fewer_open_ends_come_before_narrower_ones_and_near_ones_are_alike() -> None:
    wide, narrow, near = Narrowing.of([2.0, 2.0]), Narrowing.of([1.0, 1.0]), Narrowing.of([1.03, 1.03])
    open_once, open_wide = Narrowing.of([0.1, math.inf]), Narrowing.of([math.inf, math.inf])
    assert narrowest([open_once, wide], open_wide) == (1, ())
    assert narrowest([wide, near, narrow], open_once) == (2, (1,))
    assert narrowest([near, wide], narrow) == (None, ())
    assert narrowest([open_wide], open_wide) == (None, ())
    assert Narrowing.of([math.inf]).mean == math.inf
