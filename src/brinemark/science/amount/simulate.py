"""Electrodes simulated from the response model, for studies on known truth."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from brinemark.science.amount.response import occupancy
from brinemark.terms.amounts import ElectrodeReadings
from brinemark.terms.arrays import FloatArray


@dataclass(frozen=True, slots=True)
class Truth:
    """A population of electrodes, in units of its own plateau (gain 1) and of the level unit.

    batch_sd, electrode_sd : of the log gain, the latter beyond the covariate; slope, covariate_sd : of
    x = ln covariate; ln_K, ln_K_sd; h; floor : floor over top; noise, cv : additive and multiplicative reading noise.
    """

    batch_sd: float = 0.25
    electrode_sd: float = 0.15
    slope: float = 0.8
    covariate_sd: float = 0.25
    ln_K: float = float(np.log(2.0))
    ln_K_sd: float = 0.2
    h: float = 1.3
    floor: float = 0.3
    noise: float = 0.02
    cv: float = 0.05


@dataclass(frozen=True, slots=True)
class TrueBatch:
    """One batch's own numbers: log gain and ln K."""

    name: str
    log_gain: float
    ln_K: float


def draw_batches(truth: Truth, names: Sequence[str], rng: np.random.Generator) -> tuple[TrueBatch, ...]:
    """Batches drawn from the population."""
    gains = truth.batch_sd * rng.normal(size=len(names))
    ln_K = truth.ln_K + truth.ln_K_sd * rng.normal(size=len(names))
    return tuple(TrueBatch(n, float(a), float(k)) for n, a, k in zip(names, gains, ln_K, strict=True))


def median_response(truth: Truth, batch: TrueBatch, x: FloatArray, level: FloatArray) -> FloatArray:
    """Median signal (n,) of electrodes with log covariate x at levels."""
    share = occupancy(level, np.asarray(batch.ln_K), np.asarray(truth.h))
    return np.asarray(np.exp(batch.log_gain + truth.slope * x) * (truth.floor + share))


def simulate_electrodes(
    truth: Truth, batch: TrueBatch, level: FloatArray, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    """Log covariates and signals (n,) of fresh electrodes of a batch, one reading each at the levels (n,)."""
    x = truth.covariate_sd * rng.normal(size=level.size)
    mean = median_response(truth, batch, x, level) * np.exp(truth.electrode_sd * rng.normal(size=level.size))
    noise = np.sqrt(truth.noise**2 + (truth.cv * mean) ** 2)
    return x, mean + noise * rng.normal(size=level.size)


def simulate_history(
    truth: Truth, batches: Sequence[TrueBatch], levels: Sequence[FloatArray], rng: np.random.Generator
) -> ElectrodeReadings:
    """Calibration electrodes of several batches, levels per batch; one instrument, u(y) = 0, covariate exp(x)."""
    parts = [
        simulate_electrodes(truth, b, np.asarray(c, dtype=float), rng) for b, c in zip(batches, levels, strict=True)
    ]
    owner = [b.name for b, c in zip(batches, levels, strict=True) for _ in c]
    count = len(owner)
    return ElectrodeReadings(
        electrode=tuple(f"{name}-{i}" for i, name in enumerate(owner)),
        batch=tuple(owner),
        instrument=("bench",) * count,
        covariate=np.exp(np.concatenate([x for x, _ in parts])),
        unit=np.arange(count),
        signal=np.concatenate([y for _, y in parts]),
        u=np.zeros(count),
        level=np.concatenate([np.asarray(c, dtype=float) for c in levels]),
    )
