"""What a fresh electrode would answer, dip by dip, under joint draws of its population, batch and water.

Levels are sample levels: the cell of a dip holds share * c + added. A negative level -s (0 < s < 1) stands for a floor
lowered to (1 - s) phi: the side on which a statistic may fall when a signal lies below the blank's. It is never an
estimate.
"""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from dataclasses import dataclass, field, fields, replace

import numpy as np

from brinemark.science.amount.covariates import filled, raw_of_portion
from brinemark.science.amount.defects import log_shares
from brinemark.science.amount.normal import normal_cdf, normal_quantile, normal_scores
from brinemark.science.amount.predictive import BatchDraws
from brinemark.science.amount.response import (
    DEFAULT_SHIFT_SD,
    KINDS,
    LogResponse,
    Population,
    occupancy,
    population,
)
from brinemark.science.amount.roots import rising_root
from brinemark.science.amount.salinity import relative_salinity
from brinemark.science.amount.scale import Scale, is_closing_spike
from brinemark.terms.amounts import OtherDip, SamplePortion
from brinemark.terms.arrays import FloatArray, IntArray

# Own-gain nodes: a trapezoid over +-4.5 sd; against 201 nodes the tail probabilities differ by less than 1e-6.
GAIN_NODES = np.linspace(-4.5, 4.5, 21)
GAIN_WEIGHTS = np.exp(-0.5 * GAIN_NODES**2) / np.exp(-0.5 * GAIN_NODES**2).sum()
BLOCK = 2**14  # numbers worked on at once, few enough to stay in the processor's cache


@dataclass(frozen=True, slots=True, eq=False)
class ElectrodeLaw:
    """One electrode under M draws; every field is (M,).

    log_gain, ln_K, h, floor : the response exp(log_gain) [floor + theta(c)] of a typical electrode; spread, floor_sd,
    own_K_sd : sd of the electrode's own ln gain, ln floor, ln K; cv, noise : multiplicative and additive noise (a
    variance) of a reading beyond its trace's own; drift_sd : of every dip but the main one.
    """

    log_gain: FloatArray
    ln_K: FloatArray
    h: FloatArray
    floor: FloatArray
    spread: FloatArray
    floor_sd: FloatArray
    own_K_sd: FloatArray
    cv: FloatArray
    noise: FloatArray
    drift_sd: FloatArray

    def picked(self, which: slice | IntArray) -> ElectrodeLaw:
        """Some of the draws."""
        return ElectrodeLaw(*(getattr(self, field.name)[which] for field in fields(self)))


@dataclass(frozen=True, slots=True, eq=False)
class Responses:
    """What electrodes answer at n levels under M draws, before gain: mean and variance (n, M) of the log response over
    their own floors and K. The same for all electrodes of a batch that are used alike."""

    value: FloatArray
    variance: FloatArray

    def part(self, levels: slice | IntArray, draws: int | None = None) -> Responses:
        """Some of the levels, under the first draws."""
        return Responses(self.value[levels, :draws], self.variance[levels, :draws])


@dataclass(frozen=True, slots=True, eq=False)
class DipLaw:
    """One reading of an electrode under M draws.

    u : of its trace, relative signal; share, added (M,), added_u : the cell holds share * c + added;
    shift : (M,) of the log response against the main reading; apart : whether this is another dip than the main one;
    K_factor, floor_factor : (M,) what the salinity of its water makes of K and of the floor, or 1; known : responses by
    levels that laws of electrodes used alike have worked out.
    """

    electrode: ElectrodeLaw
    u: float
    share: float
    added: FloatArray
    added_u: float
    shift: FloatArray
    apart: bool
    K_factor: FloatArray | float = 1.0
    floor_factor: FloatArray | float = 1.0
    known: dict[bytes, Responses] = field(default_factory=dict)

    def picked(self, which: slice | IntArray) -> DipLaw:
        """Some of the draws."""
        return DipLaw(
            self.electrode.picked(which),
            self.u,
            self.share,
            self.added[which],
            self.added_u,
            self.shift[which],
            self.apart,
            self.K_factor if isinstance(self.K_factor, float) else self.K_factor[which],
            self.floor_factor if isinstance(self.floor_factor, float) else self.floor_factor[which],
        )

    def thinned(self, count: int) -> DipLaw:
        """The first count draws (stored draws are in random order)."""
        return self.picked(slice(count))

    @property
    def variance(self) -> FloatArray:
        """Additive noise variance (M,)."""
        return self.electrode.noise + self.u**2

    @property
    def relative(self) -> FloatArray:
        """Variance (M,) of the noise that grows with the signal, drift between dips included."""
        return self.electrode.cv**2 + self.apart * self.electrode.drift_sd**2

    def cell(self, level: FloatArray) -> FloatArray:
        """Cell levels (n, M) at sample levels (n,)."""
        held = np.maximum(np.asarray(level, dtype=float), 0.0)
        return np.asarray((self.share * held if self.share else np.zeros_like(held))[:, None] + self.added)

    def response(self, level: FloatArray) -> LogResponse:
        """Log response (n, M) before gain and shift, with its derivatives by the electrode's own latents."""
        law, column = self.electrode, np.asarray(level, dtype=float)[:, None]
        floor = law.floor * self.floor_factor * np.where(column < 0, 1.0 + column, 1.0)
        return LogResponse.at(occupancy(self.cell(level) / self.K_factor, law.ln_K, law.h), floor, law.h)

    def log_median(self, level: FloatArray) -> FloatArray:
        """Log response (n, M) of a typical electrode at sample levels (n,); inf is the plateau."""
        return np.asarray(self.electrode.log_gain + self.shift + self.response(level).value)

    def own_K(self, level: FloatArray) -> FloatArray:
        """Sd (n, M) of ln K of the electrode, the relative uncertainty of its own added level counted as one of K."""
        cell = self.cell(level)
        rel = np.divide(self.added_u, cell, out=np.zeros_like(cell), where=cell > 0)
        return np.asarray(np.sqrt(self.electrode.own_K_sd**2 + rel**2))

    def responses(self, level: FloatArray) -> Responses:
        """Responses at sample levels (n,)."""
        return Responses(*self.response(level).moments(self.electrode.floor_sd, self.own_K(level)))

    def shared_responses(self, level: FloatArray) -> Responses:
        """The same, worked out once for all laws that share what is known; only the last levels are kept."""
        key = level.tobytes()
        if key not in self.known:
            self.known.clear()
            self.known[key] = self.responses(level)
        return self.known[key]

    def log_normal(self, responses: Responses) -> tuple[FloatArray, FloatArray]:
        """Mean and sd (n, M) of the log response over electrodes (and drift), before the reading's noise."""
        law = self.electrode
        spread = np.sqrt(law.spread**2 + self.apart * law.drift_sd**2 + responses.variance)
        return np.asarray(law.log_gain + self.shift + responses.value), spread

    def cdf(self, signal: FloatArray, level: FloatArray | Responses) -> FloatArray:
        """P(Y <= signal | level) averaged over the draws; signal and level (n,) broadcast, giving (n,)."""
        seen = level if isinstance(level, Responses) else self.responses(np.atleast_1d(level))
        y = np.broadcast_to(np.atleast_1d(signal), max(np.size(signal), seen.value.shape[0]))
        rows = max(1, BLOCK // (GAIN_NODES.size * self.shift.size))
        found = np.empty(y.size)
        for start in range(0, y.size, rows):
            part = slice(start, start + rows)
            middle, spread = self.log_normal(seen.part(part) if seen.value.shape[0] > 1 else seen)
            mean = np.exp(middle[..., None] + spread[..., None] * GAIN_NODES)
            noise = np.sqrt(self.variance[:, None] + (self.electrode.cv[:, None] * mean) ** 2)
            z = (y[part, None, None] - mean) / noise
            found[part] = (normal_cdf(z) @ GAIN_WEIGHTS).mean(axis=-1)
        return found

    def approximate_cdf(self, signal: float | FloatArray, responses: Responses) -> FloatArray:
        """approximate_by_draw averaged over the draws: (n,), or (k, n) for signals (k, 1, 1)."""
        rows = max(1, BLOCK // (np.size(signal) * self.shift.size))
        count = responses.value.shape[0]
        parts = (responses.part(slice(start, start + rows)) for start in range(0, count, rows))
        return np.concatenate([self.approximate_by_draw(signal, part).mean(axis=-1) for part in parts], axis=-1)

    def approximate_by_draw(self, signal: float | FloatArray, responses: Responses) -> FloatArray:
        """P(Y <= signal | level) of every draw (n, M): normal on the scale asinh(k y / s) / k, k^2 the variance that
        grows with the signal, s^2 the additive one."""
        middle, spread = self.log_normal(responses)
        k, s = np.sqrt(spread**2 + self.electrode.cv**2), np.sqrt(self.variance)
        return normal_cdf(arcsinh_difference(k * signal / s, k * np.exp(middle) / s) / k)

    def quantile(self, probability: float, level: FloatArray) -> FloatArray:
        """Signals (n,) with P(Y <= signal | level) = probability, to 1e-9 of the signal's scale."""
        return np.array([self._quantile(probability, float(c)) for c in np.atleast_1d(level)])

    def _quantile(self, probability: float, level: float) -> float:
        at, wanted = np.array([level]), normal_quantile(probability)
        middle, spread = self.log_normal(self.responses(at))
        top, cv = float(np.exp(middle.max())), float(self.electrode.cv.max())
        noise = 9.0 * float(np.sqrt(self.variance.max() + (cv * top) ** 2))
        high = top * float(np.exp(GAIN_NODES[-1] * spread.max())) * (1.0 + 9.0 * cv) + noise

        def score(signal: float) -> float:
            return float(normal_scores(self.cdf(np.array([signal]), at), 1e-15)[0]) - wanted

        return rising_root(score, -noise, high, 1e-9 * top)

    def simulate(self, level: float, pick: IntArray, own: FloatArray, normal: FloatArray) -> FloatArray:
        """Signals (S,) at one level for draws pick (S,), own latents (3, S) of the electrode (gain, floor, K, standard
        normal, shared by its dips) and standard normals (3, S) of this dip: level, drift, noise."""
        one = self.picked(pick)
        law = one.electrode
        cell = one.cell(np.array([level]))[0]
        cell = np.maximum(cell + self.added_u * normal[0], 0.0) if self.added_u else cell
        occupied = occupancy(cell / one.K_factor, law.ln_K + law.own_K_sd * own[2], law.h)
        log_gain = law.log_gain + one.shift + law.spread * own[0] + self.apart * law.drift_sd * normal[1]
        floor = law.floor * one.floor_factor * np.exp(law.floor_sd * own[1])
        mean = np.exp(log_gain) * (floor + occupied)
        return np.asarray(mean + np.sqrt(one.variance + (law.cv * mean) ** 2) * normal[2])


def stretched(signal: FloatArray, k: FloatArray | float, s: FloatArray | float) -> FloatArray:
    """w = asinh(k signal / s) / k, broadcast: where k^2 is the variance that grows with the signal and s^2 the additive
    one, a reading is nearly normal on this scale, with sd 1."""
    return np.asarray(np.arcsinh(k * signal / s) / k)


def arcsinh_difference(a: FloatArray, b: FloatArray) -> FloatArray:
    """asinh(a) - asinh(b), by one logarithm."""
    x = a * np.sqrt(1.0 + b * b) - b * np.sqrt(1.0 + a * a)
    return np.asarray(np.copysign(np.log1p(np.abs(x) + (np.sqrt(1.0 + x * x) - 1.0)), x))


@dataclass(frozen=True, slots=True, eq=False)
class FilmKind:
    """An electrode as if its film were of one kind. name : "sound" or of KINDS; log_share : (M,); laws."""

    name: str
    log_share: FloatArray
    laws: tuple[DipLaw, ...]


def film_kinds(draws: BatchDraws, scale: Scale, portion: SamplePortion) -> tuple[FilmKind, ...]:
    """A sample electrode of every kind, sound first; none where the calibration knows sound films only."""
    if not scale.layout.defects:
        return ()
    names = ("sound", *(kind.name for kind in KINDS))
    shares = log_shares(draws.theta, scale.layout).T
    count = draws.theta.shape[0]
    kinds = (electrode_laws(draws, scale, portion, np.full(count, k))[0] for k in range(len(names)))
    return tuple(FilmKind(*one) for one in zip(names, shares, kinds, strict=True))


def electrode_laws(
    draws: BatchDraws, scale: Scale, portion: SamplePortion, kinds: IntArray | None = None
) -> tuple[tuple[DipLaw, ...], tuple[float, ...]]:
    """Laws of a sample electrode's readings, main one first, and their relative signals.

    kinds : (M,) of its film under each draw, 0 sound; None draws them where the calibration allows for defects.
    """
    pop = population(draws.theta.T[:, :, None], scale.layout)
    electrode = _electrode(pop, draws, scale, portion)
    if scale.layout.defects:
        electrode = _of_kinds(electrode, _drawn_kinds(draws, scale, portion.electrode) if kinds is None else kinds)
    share = 1.0 / portion.dilution if portion.share is None else portion.share
    held = portion.added, portion.added_u, portion.stock_parts, portion.salinity
    main = OtherDip(0, portion.signal, portion.u, share, *held)
    dips = (main, *portion.others)
    spikes = closing_spike(portion.others, scale.spike_level)
    laws = tuple(_dip(pop, electrode, draws, scale, dip, dip is spikes) for dip in dips)
    laws = tuple(replace(law, known=_known(draws, portion, dip)) for law, dip in zip(laws, dips, strict=True))
    return laws, tuple(dip.signal / scale.signal_ref for dip in dips)


def _known(draws: BatchDraws, portion: SamplePortion, dip: OtherDip) -> dict[bytes, Responses]:
    """What is known of the responses of electrodes of the same batch that are used like this one."""
    used = portion.batch, dip.share, dip.added, dip.added_u, dip.stock_parts, dip.salinity
    return draws.known.setdefault(used, {})


def closing_spike(others: Sequence[OtherDip], spike_level: float) -> OtherDip | None:
    """The last dip, when what was added by then saturates the electrode."""
    last = max(others, key=lambda dip: dip.dip, default=None)
    return last if last is not None and is_closing_spike(last.dip, last.dip, last.added, spike_level) else None


def _electrode(pop: Population, draws: BatchDraws, scale: Scale, portion: SamplePortion) -> ElectrodeLaw:
    z = draws.latents[portion.batch]
    instrument = scale.instruments.index(portion.instrument)
    x, cov = filled(scale.covariates, raw_of_portion(portion))
    slope = pop.slope[:, :, 0]
    return ElectrodeLaw(
        log_gain=pop.gain[:, 0] + pop.offset[instrument, :, 0] + x[:, 0] @ slope + pop.batch_sd[:, 0] * z[0],
        ln_K=pop.ln_K[:, 0] + pop.ln_K_sd[:, 0] * z[1] + draws.matrix,
        h=pop.h[:, 0],
        floor=np.exp(pop.ln_floor[:, 0] + pop.floor_batch_sd[:, 0] * z[2]),
        spread=np.sqrt(pop.electrode_sd[:, 0] ** 2 + np.einsum("id,ij,jd->d", slope, cov[:, :, 0], slope)),
        floor_sd=pop.floor_sd[:, 0],
        own_K_sd=pop.own_K_sd[:, 0],
        cv=pop.cv[:, 0],
        noise=pop.noise[instrument, :, 0] ** 2,
        drift_sd=pop.drift_sd[:, 0],
    )


def _of_kinds(electrode: ElectrodeLaw, kinds: IntArray) -> ElectrodeLaw:
    mean, sd = np.array([[0.0, *(k.mean for k in KINDS)], [0.0, *(k.sd for k in KINDS)]])
    spread = np.sqrt(electrode.spread**2 + sd[kinds] ** 2)
    return replace(electrode, log_gain=electrode.log_gain + mean[kinds], spread=spread)


def _drawn_kinds(draws: BatchDraws, scale: Scale, electrode: str) -> IntArray:
    """A kind for every draw. As many of each as their shares say, to within one or two (systematic sampling over the
    draws in random order), since few draws of a small share would make its tail uncertain."""
    share = np.exp(log_shares(draws.theta, scale.layout))
    rng = np.random.default_rng([draws.seed, 3, zlib.crc32(electrode.encode())])
    count = share.shape[0]
    rest, left, kinds = rng.permutation(count), np.ones(count), np.zeros(count, dtype=np.int64)
    for kind in range(1, share.shape[1]):
        start = rng.uniform()
        steps = np.floor(start + np.cumsum((share[:, kind] / left)[rest]))
        taken = np.diff(steps, prepend=np.floor(start)) > 0
        kinds[rest[taken]] = kind
        rest, left = rest[~taken], left - share[:, kind]
    return kinds


def _dip(
    pop: Population, electrode: ElectrodeLaw, draws: BatchDraws, scale: Scale, dip: OtherDip, spike: bool
) -> DipLaw:
    """The law of one dip; a shift that the calibration knows nothing of is drawn from its default."""
    layout, unseen = scale.layout, draws.unseen
    shift = pop.shift(np.array([dip.dip]), np.array([spike]))[:, 0]
    if dip.dip < 0 and not layout.prescan:
        shift = DEFAULT_SHIFT_SD["prescan_shift"] * unseen[0]
    elif spike and not layout.spike:
        shift = DEFAULT_SHIFT_SD["spike_shift"] * unseen[1]
    elif dip.dip > 0 and not spike and not layout.later:
        shift = DEFAULT_SHIFT_SD["dip_drift"] * dip.dip * unseen[2]
    factor = dict(zip(layout.stocks, pop.stock[:, :, 0], strict=True))
    added = np.full(electrode.ln_K.size, dip.added)
    for stock, part in dip.stock_parts:
        added = added + part * (factor.get(stock, 1.0) - 1.0)
    factors = _salt(pop, scale, dip.salinity)
    return DipLaw(electrode, dip.u / scale.signal_ref, dip.share, added, dip.added_u, shift, dip.dip != 0, *factors)


def _salt(pop: Population, scale: Scale, salinity: float | None) -> tuple[FloatArray | float, FloatArray | float]:
    """What a salinity makes of K and of the floor; 1 at the reference, where it is not known or has no part."""
    if salinity is None or not scale.layout.salinity:
        return 1.0, 1.0
    apart = relative_salinity(np.array([salinity]), scale.salinity_ref)
    return 1.0 + pop.salinity_K[:, 0] * apart, np.exp(pop.salinity_floor[:, 0] * apart)
