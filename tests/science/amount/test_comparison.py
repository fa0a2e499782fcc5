"""The ordinary calibrations that the accuracy study compares with, on known truth."""

from __future__ import annotations

import math

import numpy as np
import pytest

from brinemark.science.amount.classical import (
    batch_curves,
    charge_scaled_curve,
    fit_curve,
    pooled_curve,
    saturating,
)
from brinemark.terms.amounts import ElectrodeReadings
from brinemark.terms.arrays import FloatArray

LEVELS = np.array([0.0, 0.25, 0.5, 1.0, 2.0, 4.0, 8.0, 20.0])
TRUTH = np.array([0.3, 1.0, math.log(2.5), math.log(1.2)])
INVERSION = 2e-3


def made(
    rng: np.random.Generator, batches: int, batch_sd: float, noise: float, charge_share: float = 0.0
) -> ElectrodeReadings:
    """One reading at every level in each batch; gain differs by batch, and goes with the charge when asked."""
    n = batches * LEVELS.size
    batch = np.repeat(np.arange(batches), LEVELS.size)
    level = np.tile(LEVELS, batches)
    gain = np.exp(batch_sd * rng.normal(size=batches))[batch]
    charge = np.exp(charge_share * rng.normal(size=n))
    signal = gain * charge * saturating(TRUTH, level) + noise * rng.normal(size=n)
    return ElectrodeReadings(
        electrode=tuple(f"E{i}" for i in range(n)),
        batch=tuple(f"B{b}" for b in batch),
        instrument=("bench",) * n,
        covariate=charge,
        unit=np.arange(n),
        signal=signal,
        u=np.full(n, noise),
        level=level,
    )


def test_a_curve_without_noise_is_found_and_read_back() -> None:
    curve = pooled_curve(made(np.random.default_rng(1), 2, 0.0, 1e-9))
    assert curve.reason is None
    assert curve.parameters == pytest.approx(TRUTH, abs=1e-6)
    for level in (0.1, 1.0, 6.0):
        reading = curve.read(float(saturating(TRUTH, np.array(level))))
        assert reading.estimate == pytest.approx(level, rel=1e-6)


def test_interval_ends_are_where_the_prediction_band_meets_the_signal() -> None:
    curve = pooled_curve(made(np.random.default_rng(2), 3, 0.0, 0.02))
    reading = curve.read(0.6)
    assert reading.lower is not None
    assert reading.upper is not None
    t = 2.085963447  # t_0.975 at 20 degrees of freedom: 24 readings, 4 parameters (scipy.special.stdtrit)
    for end, sign in ((reading.lower, 1.0), (reading.upper, -1.0)):
        at = np.array([end])
        step = 1e-6 * np.maximum(np.abs(curve.parameters), 1e-3)
        gradient = np.array(
            [
                (saturating(curve.parameters + s, at)[0] - saturating(curve.parameters - s, at)[0]) / (2.0 * s[k])
                for k, s in enumerate(np.diag(step))
            ]
        )
        spread = math.sqrt(curve.residual_sd**2 + gradient @ curve.covariance @ gradient)
        edge = saturating(curve.parameters, at)[0] + sign * t * spread
        assert edge == pytest.approx(0.6, abs=INVERSION * spread)


def test_signals_beyond_the_plateau_and_below_the_floor_have_open_ends() -> None:
    curve = pooled_curve(made(np.random.default_rng(3), 3, 0.0, 0.02))
    high, low = curve.read(1.32), curve.read(0.25)
    assert high.estimate is None
    assert high.upper is None
    assert high.lower is not None
    assert low.estimate == 0.0
    assert low.lower == 0.0
    assert low.p_blank is not None
    assert low.p_blank > 0.5


def test_pooled_interval_keeps_its_coverage_when_electrodes_are_alike_and_loses_it_when_batches_differ() -> None:
    rng = np.random.default_rng(4)

    def coverage(batch_sd: float) -> float:
        held = []
        for _ in range(60):
            curve = pooled_curve(made(rng, 3, batch_sd, 0.03))
            gains = np.exp(batch_sd * rng.normal(size=20))
            for signal in gains * saturating(TRUTH, np.array(4.0)) + 0.03 * rng.normal(size=20):
                reading = curve.read(float(signal))
                over = reading.upper is None or reading.upper >= 4.0
                held.append(reading.lower is not None and reading.lower <= 4.0 and over)
        return float(np.mean(held))

    clustered_monte_carlo = 0.03
    assert coverage(0.0) == pytest.approx(0.95, abs=clustered_monte_carlo)
    assert coverage(0.3) < 0.92


def test_dividing_by_charge_takes_off_the_scatter_that_goes_with_it() -> None:
    readings = made(np.random.default_rng(5), 4, 0.0, 0.01, charge_share=0.25)
    plain, scaled = pooled_curve(readings), charge_scaled_curve(readings)
    assert scaled.residual_sd < plain.residual_sd / 4.0
    signal = 1.4 * float(saturating(TRUTH, np.array(1.0)))
    reading = scaled.read(signal, charge=1.4)
    assert reading.estimate == pytest.approx(1.0, rel=0.1)
    assert scaled.read(signal) == (None, None, None, None)


def test_a_curve_per_batch_follows_each_batch_and_can_share_its_residual_sd() -> None:
    readings = made(np.random.default_rng(6), 4, 0.3, 0.01)
    own, shared = batch_curves(readings), batch_curves(readings, pooled_sd=True)
    assert sorted(own) == ["B0", "B1", "B2", "B3"]
    assert max(curve.residual_sd for curve in own.values()) < pooled_curve(readings).residual_sd / 2.0
    assert {curve.df for curve in shared.values()} == {4 * (LEVELS.size - 2)}
    assert len({curve.residual_sd for curve in shared.values()}) == 1
    mean_square = np.mean([curve.residual_sd**2 for curve in own.values()])
    assert shared["B0"].residual_sd == pytest.approx(math.sqrt(float(mean_square)))


def test_too_few_levels_give_a_reason_and_no_reading() -> None:
    readings = made(np.random.default_rng(7), 1, 0.0, 0.01)
    few = ElectrodeReadings(
        readings.electrode[:4],
        readings.batch[:4],
        readings.instrument[:4],
        readings.covariate[:4],
        readings.unit[:4],
        readings.signal[:4],
        readings.u[:4],
        readings.level[:4],
    )
    curve = pooled_curve(few)
    assert curve.reason == "4 readings at 4 levels; a curve needs 5 readings at 3 levels"
    assert curve.read(0.5).p_blank is None


@pytest.mark.parametrize("factor", [1e-6, 1e6])
def test_the_unit_of_the_signal_changes_no_reading(factor: float) -> None:
    readings = made(np.random.default_rng(8), 3, 0.1, 0.02)
    other = ElectrodeReadings(
        readings.electrode,
        readings.batch,
        readings.instrument,
        readings.covariate,
        readings.unit,
        readings.signal * factor,
        readings.u * factor,
        readings.level,
    )
    here, there = pooled_curve(readings).read(0.6), pooled_curve(other).read(0.6 * factor)
    assert there == pytest.approx(here, rel=1e-6)


def test_the_gradient_of_the_band_is_the_derivative_of_the_curve() -> None:
    """The fit's own covariance and a direct least-squares fit of the same curve agree."""
    readings = made(np.random.default_rng(9), 3, 0.0, 0.02)
    direct: FloatArray = fit_curve(saturating, readings.level, readings.signal, TRUTH.tolist()).covariance
    assert pooled_curve(readings).covariance == pytest.approx(direct, rel=1e-4, abs=1e-9)
