"""A negative control: ten batches that are alike, and the same ten when they are not, through the whole calibration.

Invented readings of a fixed seed, as of an assay that several laboratories and lots share: electrodes differ by 12 %,
batches not at all.
"""

from __future__ import annotations

import math
from functools import cache

import numpy as np
import pytest

from brinemark.science.amount.calibration import calibrate
from brinemark.terms.amounts import Calibration, ElectrodeReadings
from brinemark.terms.arrays import FloatArray
from brinemark.terms.settings import AnalyteSection, CalibrationSection, PriorSection

BATCHES = 10
LEVELS = np.array([0.0, 0.0, 0.5, 1.0, 2.0, 4.0, 8.0, 20.0])
K, FLOOR, ELECTRODE_SD, TRACE_NOISE = 2.0, 0.15, 0.12, 0.002
ALIKE, APART = 0.0, 0.3
SEED = 1996


def made(batch_sd: float) -> ElectrodeReadings:
    """The same electrodes either way; only what their batches add differs."""
    rng = np.random.default_rng(SEED)
    level, batch = np.tile(LEVELS, BATCHES), np.repeat(np.arange(BATCHES), LEVELS.size)
    of_batch = batch_sd * rng.normal(size=BATCHES)
    gain = np.exp(of_batch[batch] + ELECTRODE_SD * rng.normal(size=level.size))
    signal = gain * (FLOOR + level / (K + level)) + TRACE_NOISE * rng.normal(size=level.size)
    return ElectrodeReadings(
        electrode=tuple(f"E{place}" for place in range(level.size)),
        batch=tuple(f"B{name}" for name in batch),
        instrument=("bench",) * level.size,
        covariate=np.full(level.size, np.nan),
        unit=np.arange(level.size),
        signal=signal,
        u=np.full(level.size, TRACE_NOISE),
        level=level,
    )


@cache
def calibrated(batch_sd: float) -> Calibration:
    return calibrate(made(batch_sd), AnalyteSection(), PriorSection(), CalibrationSection(seed=SEED))


def batch_sd_draws(batch_sd: float) -> FloatArray:
    one = calibrated(batch_sd)
    return np.asarray(np.exp(one.draws[:, one.names.index("ln_batch_sd")]))


def prior_below(limit: float) -> float:
    """Probability that the prior gives a batch sd below a limit."""
    prior = next(one for one in calibrated(ALIKE).priors if one.name == "ln_batch_sd")
    return 0.5 * math.erfc((prior.center - math.log(limit)) / (prior.sd * math.sqrt(2.0)))


def test_batches_that_are_alike_leave_small_batch_sds_possible() -> None:
    """The prior is log-normal and has no zero in it; the data push the posterior to its small end."""
    draws = batch_sd_draws(ALIKE)
    assert np.quantile(draws, 0.025) < 0.05
    assert np.median(draws) < ELECTRODE_SD
    assert np.mean(draws < 0.1) > 5.0 * prior_below(0.1)


def test_batches_that_are_apart_rule_small_batch_sds_out() -> None:
    draws = batch_sd_draws(APART)
    assert np.mean(draws < 0.1) < 0.01
    assert np.quantile(draws, 0.025) < APART < np.quantile(draws, 0.975)


def test_the_upper_end_of_an_effect_that_is_not_there_is_small() -> None:
    """Eight electrodes give a batch's gain to 0.12 / sqrt(8); a batch sd of twice the electrodes' is ruled out."""
    assert np.quantile(batch_sd_draws(ALIKE), 0.975) < 2.0 * ELECTRODE_SD


@pytest.mark.parametrize("batch_sd", [ALIKE, APART])
def test_the_electrodes_scatter_is_found_either_way(batch_sd: float) -> None:
    one = calibrated(batch_sd)
    draws = np.exp(one.draws[:, one.names.index("ln_electrode_sd")])
    assert np.quantile(draws, 0.025) < ELECTRODE_SD < np.quantile(draws, 0.975)
