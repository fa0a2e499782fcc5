"""What a fresh electrode would answer: draws of the population and of its batch, and the law of its signal.

Every electrode that reads a sample is described by M equally weighted draws of (population, batch). The batch's two
latents come from that batch's calibration electrodes and each stored draw of the population; a batch without
calibration electrodes takes them from history, N(0, 1), and is wider. Electrodes added to a batch since the
calibration reweight the population draws by the ratio of that batch's marginal likelihoods.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from brinemark.science.amount.calibration import Scale, latent_model, scale_of_calibration
from brinemark.science.amount.quadrature import (
    Nodes,
    adapt,
    log_group_integrand,
    log_marginal,
)
from brinemark.science.amount.response import (
    occupancy,
    population,
)
from brinemark.science.amount.roots import rising_root
from brinemark.science.amount.weights import normalised, systematic_resample
from brinemark.terms.amounts import Calibration, ElectrodeReadings, SamplePortion
from brinemark.terms.arrays import BoolArray, FloatArray

CANDIDATES = 8
# Own-gain nodes: a trapezoid over +-4.5 sd; against 201 nodes the tail probabilities differ by less than 1e-6.
GAIN_NODES = np.linspace(-4.5, 4.5, 21)
GAIN_WEIGHTS = np.exp(-0.5 * GAIN_NODES**2) / np.exp(-0.5 * GAIN_NODES**2).sum()
BLOCK = 2**16  # numbers worked on at once, few enough to stay in the processor's cache


@dataclass(frozen=True, slots=True, eq=False)
class BatchDraws:
    """Joint draws: theta (M, P) and, per batch name, its two latents (2, M) in population sd."""

    theta: FloatArray
    latents: dict[str, FloatArray]


def batch_draws(calibration: Calibration, readings: ElectrodeReadings, batches: Sequence[str], seed: int) -> BatchDraws:
    """Draws of population and batch latents given the stored draws and the batches' present electrodes.

    readings : the present calibration electrodes (others than those of the batches asked for are ignored).
    """
    rng = np.random.default_rng(np.random.SeedSequence([seed, 1]))
    theta = calibration.draws
    latents, log_ratio = {}, np.zeros(theta.shape[0])
    for batch in dict.fromkeys(batches):
        now, then = of_batch(readings, batch), of_batch(calibration.readings, batch)
        latents[batch] = _latents(calibration, now, rng)
        if not same_electrodes(now, then):
            log_ratio += _log_evidence(calibration, now) - _log_evidence(calibration, then)
    if not log_ratio.any():
        return BatchDraws(theta, latents)
    picked = systematic_resample(normalised(log_ratio), theta.shape[0], rng)
    return BatchDraws(theta[picked], {name: values[:, picked] for name, values in latents.items()})


def of_batch(readings: ElectrodeReadings, batch: str) -> ElectrodeReadings:
    """The electrodes of one batch only."""
    keep = np.array([name == batch for name in readings.batch], dtype=bool)
    return subset(readings, keep)


def subset(readings: ElectrodeReadings, keep: BoolArray) -> ElectrodeReadings:
    """The electrodes marked in keep (E,), with their readings."""
    new_index = np.cumsum(keep) - 1
    rows = keep[readings.unit] if readings.unit.size else np.zeros(0, dtype=bool)

    def pick(names: tuple[str, ...]) -> tuple[str, ...]:
        return tuple(name for name, kept in zip(names, keep, strict=True) if kept)

    return ElectrodeReadings(
        pick(readings.electrode),
        pick(readings.batch),
        pick(readings.instrument),
        readings.covariate[keep],
        new_index[readings.unit[rows]],
        readings.signal[rows],
        readings.u[rows],
        readings.level[rows],
    )


def same_electrodes(one: ElectrodeReadings, other: ElectrodeReadings) -> bool:
    """Whether two sets hold the same electrodes with the same levels and signals (to six digits)."""

    def key(readings: ElectrodeReadings) -> list[tuple[str, float, str]]:
        rows = zip(readings.unit, readings.level, readings.signal, strict=True)
        return sorted((readings.electrode[u], float(c), f"{y:.5e}") for u, c, y in rows)

    return key(one) == key(other)


def _latents(calibration: Calibration, readings: ElectrodeReadings, rng: np.random.Generator) -> FloatArray:
    """One draw of the batch latents (2, M) per stored draw: the best of CANDIDATES by importance resampling."""
    count = calibration.draws.shape[0]
    if not readings.electrode:
        return rng.normal(size=(2, count))
    model = latent_model(readings, scale_of_calibration(calibration))
    adapted = adapt(model, calibration.draws, adapt(model, np.median(calibration.draws, axis=0)[None]))
    normal = rng.normal(size=(2, CANDIDATES, count))
    widen = 1.2
    z = adapted.z[:, None, :, 0] + widen * np.einsum("ijd,jad->iad", adapted.z_root[..., 0], normal)
    target = log_group_integrand(model, calibration.draws, adapted, z[..., None], Nodes().unit)[..., 0]
    weights = target + 0.5 * (normal**2).sum(axis=0)
    gumbel = rng.gumbel(size=weights.shape)
    best = np.argmax(np.where(np.isfinite(weights), weights, -np.inf) + gumbel, axis=0)
    return np.asarray(np.take_along_axis(z, best[None, None], axis=1)[:, 0])


def _log_evidence(calibration: Calibration, readings: ElectrodeReadings) -> FloatArray:
    """Log marginal likelihood (M,) of one batch's electrodes at every stored draw; 0 without electrodes."""
    if not readings.electrode:
        return np.zeros(calibration.draws.shape[0])
    return log_marginal(latent_model(readings, scale_of_calibration(calibration)), calibration.draws, Nodes())


@dataclass(frozen=True, slots=True, eq=False)
class ElectrodeLaw:
    """Law of the relative signal of one electrode under M draws; every field is (M,).

    log_gain, ln_K, h, floor : the median response exp(log_gain) [floor + theta(c)]; spread : sd of the own log
    gain; cv, variance : multiplicative and additive noise of the reading (u(y) included).
    """

    log_gain: FloatArray
    ln_K: FloatArray
    h: FloatArray
    floor: FloatArray
    spread: FloatArray
    cv: FloatArray
    variance: FloatArray

    def thinned(self, count: int) -> ElectrodeLaw:
        """The first count draws (stored draws are in random order)."""
        return ElectrodeLaw(*(values[:count] for values in self.fields()))

    def fields(self) -> tuple[FloatArray, ...]:
        """All fields in order."""
        return self.log_gain, self.ln_K, self.h, self.floor, self.spread, self.cv, self.variance

    def log_median(self, level: FloatArray) -> FloatArray:
        """Log of the median response, (n, M), at cell levels (n,); inf is the plateau.

        A negative level -s (0 < s < 1) stands for a floor lowered to (1 - s) phi: the side on which a statistic
        may fall when a signal lies below the blank's. It is never an estimate.
        """
        column = np.asarray(level, dtype=float)[:, None]
        share = np.where(np.isinf(column), 1.0, occupancy(np.maximum(column, 0.0), self.ln_K, self.h))
        floor = self.floor * np.where(column < 0, 1.0 + column, 1.0)
        return np.asarray(self.log_gain + np.log(floor + share))

    def cdf(self, signal: FloatArray, level: FloatArray) -> FloatArray:
        """P(Y <= signal | level) averaged over the draws; signal and level (n,) broadcast, giving (n,)."""
        from scipy.special import ndtr

        y, c = np.broadcast_arrays(np.atleast_1d(signal), np.atleast_1d(level))
        own = np.exp(self.spread[:, None] * GAIN_NODES)
        rows = max(1, BLOCK // own.size)
        found = np.empty(c.size)
        for start in range(0, c.size, rows):
            part = slice(start, start + rows)
            mean = np.exp(self.log_median(c[part]))[..., None] * own
            noise = np.sqrt(self.variance[:, None] + (self.cv[:, None] * mean) ** 2)
            z = (y[part, None, None] - mean) / noise
            found[part] = (ndtr(z) @ GAIN_WEIGHTS).mean(axis=-1)
        return found

    def quantile(self, probability: float, level: FloatArray) -> FloatArray:
        """Signals (n,) with P(Y <= signal | level) = probability, to 1e-9 of the signal's scale."""
        return np.array([self._quantile(probability, float(c)) for c in np.atleast_1d(level)])

    def _quantile(self, probability: float, level: float) -> float:
        from scipy.special import ndtri

        at, wanted = np.array([level]), float(ndtri(probability))
        middle = float(np.exp(self.log_median(at).max()))
        noise = 9.0 * float(np.sqrt(self.variance.max() + (self.cv.max() * middle) ** 2))
        high = middle * float(np.exp(GAIN_NODES[-1] * self.spread.max())) * (1.0 + 9.0 * float(self.cv.max())) + noise

        def score(signal: float) -> float:
            return float(ndtri(np.clip(self.cdf(np.array([signal]), at)[0], 1e-15, 1.0 - 1e-15))) - wanted

        return rising_root(score, -noise, high, 1e-9 * middle)

    def simulate(self, level: float, pick: FloatArray, normal: FloatArray) -> FloatArray:
        """Signals (S,) at one level for draws pick (S,) and standard normals (2, S): own gain, reading noise."""
        law = ElectrodeLaw(*(values[pick.astype(np.int64)] for values in self.fields()))
        mean = np.exp(law.log_median(np.array([level]))[0] + law.spread * normal[0])
        return np.asarray(mean + np.sqrt(law.variance + (law.cv * mean) ** 2) * normal[1])


def electrode_law(draws: BatchDraws, scale: Scale, portion: SamplePortion) -> ElectrodeLaw:
    """The law of a sample electrode's relative signal under the joint draws of its population and batch."""
    pop = population(draws.theta.T[:, :, None], scale.layout)
    z = draws.latents[portion.batch]
    instrument = scale.instruments.index(portion.instrument)
    x, extra = scale.covariate_center, scale.covariate_sd
    if scale.covariate_ref is not None and portion.covariate is not None:
        x, extra = float(np.log(portion.covariate / scale.covariate_ref)), 0.0
    flat = {name: getattr(pop, name)[:, 0] for name in ("gain", "ln_K", "h", "floor", "cv", "slope")}
    offset, noise = pop.offset[instrument, :, 0], pop.noise[instrument, :, 0]
    u = portion.u / scale.signal_ref
    return ElectrodeLaw(
        log_gain=flat["gain"] + offset + flat["slope"] * x + pop.batch_sd[:, 0] * z[0],
        ln_K=flat["ln_K"] + pop.ln_K_sd[:, 0] * z[1],
        h=flat["h"],
        floor=flat["floor"],
        spread=np.sqrt(pop.electrode_sd[:, 0] ** 2 + (flat["slope"] * extra) ** 2),
        cv=flat["cv"],
        variance=noise**2 + u**2,
    )
