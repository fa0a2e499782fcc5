"""A saturating curve of one batch: profile intervals, and the calibration itself reduced to the published model."""

from __future__ import annotations

import math
from functools import cache

import numpy as np
import pytest

from brinemark.science.amount.calibration import calibrate
from brinemark.science.amount.classical import fit_curve
from brinemark.terms.amounts import Calibration, ElectrodeReadings
from brinemark.terms.arrays import FloatArray
from brinemark.terms.settings import AnalyteSection, CalibrationSection, PriorSection
from reference import puromycin

SUBSTRATE, RATE = np.array(puromycin.SUBSTRATE), np.array(puromycin.RATE)
NOTHING = (-7.0, 0.1)
"""A prior that leaves a term of the response next to nothing (a thousandth)."""
MIDDLE_AGREES = 0.2  # of the published standard error: Monte Carlo, and a prior on the scale of the data
END_AGREES = 0.5  # of the same: a tail of few draws, and no profile but a posterior
T_975_10 = 2.228138851964939  # Student's t, 10 degrees of freedom


@pytest.mark.parametrize(("held", "ends"), [(0, puromycin.VM_PROFILE_95), (1, puromycin.K_PROFILE_95)], ids=["Vm", "K"])
def test_ends_of_the_profile_intervals_are_where_they_are_published(held: int, ends: tuple[float, float]) -> None:
    """With one parameter held at an end the residual sum grows by t^2 s^2."""
    start = [puromycin.VM, puromycin.K][1 - held]
    for end in ends:

        def model(free: FloatArray, c: FloatArray, end: float = end) -> FloatArray:
            vm, k = (end, free[0]) if held == 0 else (free[0], end)
            return np.asarray(vm * c / (k + c))

        fit = fit_curve(model, SUBSTRATE, RATE, [start])
        assert math.sqrt((fit.rss - puromycin.RSS) / puromycin.SIGMA**2) == pytest.approx(T_975_10, rel=1e-3)


@cache
def reduced() -> Calibration:
    """One batch, no floor, exponent 1, no scatter but the additive one: rate = Vm c / (K + c) + noise."""
    count = SUBSTRATE.size
    readings = ElectrodeReadings(
        electrode=tuple(f"E{place}" for place in range(count)),
        batch=("A",) * count,
        instrument=("counter",) * count,
        covariate=np.full(count, np.nan),
        unit=np.arange(count),
        signal=RATE,
        u=np.zeros(count),
        level=SUBSTRATE,
    )
    prior = PriorSection(
        ln_h=(0.0, 0.001),
        ln_floor=NOTHING,
        ln_batch_sd=NOTHING,
        ln_K_sd=NOTHING,
        ln_electrode_sd=NOTHING,
        ln_noise=(-2.5, 2.0),
    )
    return calibrate(readings, AnalyteSection(name="substrate", level_unit="ppm"), prior, CalibrationSection(seed=1988))


@pytest.mark.parametrize(
    ("name", "value", "se", "ends"),
    [
        ("gain", puromycin.VM, puromycin.VM_SE, puromycin.VM_PROFILE_95),
        ("K", puromycin.K, puromycin.K_SE, puromycin.K_PROFILE_95),
    ],
)
def test_the_calibration_reduced_to_that_model_gives_its_parameters_and_intervals(
    name: str, value: float, se: float, ends: tuple[float, float]
) -> None:
    found = next(one for one in reduced().summaries if one.name == name)
    assert found.median == pytest.approx(value, abs=MIDDLE_AGREES * se)
    assert found.lower == pytest.approx(ends[0], abs=END_AGREES * se)
    assert found.upper == pytest.approx(ends[1], abs=END_AGREES * se)


def test_the_calibration_reduced_to_that_model_finds_its_noise() -> None:
    found = next(one for one in reduced().summaries if one.name.startswith("additive noise"))
    assert found.lower < puromycin.SIGMA < found.upper
    assert found.median == pytest.approx(puromycin.SIGMA, rel=0.15)
