"""What a fresh electrode would answer, dip by dip, under joint draws of its population, batch and water.

Levels are sample levels: the cell of a dip holds share * c + added. A negative level -s (0 < s < 1) stands for a floor
lowered to (1 - s) phi: the side on which a statistic may fall when a signal lies below the blank's. It is never an
estimate.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields

import numpy as np

from brinemark.science.amount.compiled import loaded
from brinemark.science.amount.memo import Memo
from brinemark.science.amount.normal import normal_cdf, normal_quantile, normal_scores
from brinemark.science.amount.response import LogResponse, occupancy
from brinemark.science.amount.roots import NOTHING, rising_root, root_near
from brinemark.terms.arrays import FloatArray, IntArray

# Own-gain nodes: a trapezoid over +-4.5 sd; against 201 nodes the tail probabilities differ by less than 1e-6.
GAIN_NODES = np.linspace(-4.5, 4.5, 21)
GAIN_WEIGHTS = np.exp(-0.5 * GAIN_NODES**2) / np.exp(-0.5 * GAIN_NODES**2).sum()
BLOCK = 2**14  # numbers worked on at once, few enough to stay in the processor's cache
KNOWN = 6  # tables by level that electrodes used alike keep


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
        return ElectrodeLaw(*(getattr(self, name)[which] for name in LAW_FIELDS))


LAW_FIELDS = tuple(one.name for one in fields(ElectrodeLaw))


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
class Shape:
    """Responses (n, M) on the scale asinh(k y / s) / k, where a reading is nearly normal: k, and k times the response
    before gain. The same for all electrodes of a batch that are used alike and have the same spread."""

    k: FloatArray
    growth: FloatArray

    def part(self, levels: slice | IntArray, draws: int | None = None) -> Shape:
        """Some of the levels, under the first draws."""
        return Shape(self.k[levels, :draws], self.growth[levels, :draws])

    @property
    def packed(self) -> tuple[FloatArray, FloatArray]:
        """k and growth as compiled loops take them."""
        return np.ascontiguousarray(self.k), np.ascontiguousarray(self.growth)


@dataclass(frozen=True, slots=True, eq=False)
class DipLaw:
    """One reading of an electrode under M draws.

    u : of its trace, relative signal; share, added (M,), added_u : the cell holds share * c + added;
    shift : (M,) of the log response against the main reading; apart : whether this is another dip than the main one;
    K_factor, floor_factor : (M,) what the salinity of its water makes of K and of the floor, or 1; known : what laws of
    electrodes used alike have worked out.
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
    known: Memo = field(default_factory=lambda: Memo(KNOWN))

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

    def shared_log_median(self, level: FloatArray) -> FloatArray:
        """The same, what is before gain worked out once for all laws that share what is known."""
        value = self.known.of(("value", level.tobytes()), lambda: self.response(level).value)
        return np.asarray(self.electrode.log_gain + self.shift + value)

    def own_K(self, level: FloatArray) -> FloatArray:
        """Sd (n, M) of ln K of the electrode, the relative uncertainty of its own added level counted as one of K."""
        cell = self.cell(level)
        rel = np.divide(self.added_u, cell, out=np.zeros_like(cell), where=cell > 0)
        return np.asarray(np.sqrt(self.electrode.own_K_sd**2 + rel**2))

    def responses(self, level: FloatArray) -> Responses:
        """Responses at sample levels (n,)."""
        return Responses(*self.response(level).moments(self.electrode.floor_sd, self.own_K(level)))

    def shared_responses(self, level: FloatArray) -> Responses:
        """The same, worked out once for all laws that share what is known."""
        return self.known.of(("responses", level.tobytes()), lambda: self.responses(level))

    def shared_shape(self, level: FloatArray) -> Shape:
        """The shape of the shared responses, likewise."""
        key = ("shape", level.tobytes(), self.electrode.spread.tobytes(), self.apart)
        return self.known.of(key, lambda: self.shape(self.shared_responses(level)))

    def shape(self, responses: Responses) -> Shape:
        """Responses on the scale on which a reading is nearly normal."""
        k = np.sqrt(self.electrode.spread**2 + self.relative + responses.variance)
        return Shape(k, k * np.exp(responses.value))

    def log_normal(self, responses: Responses) -> tuple[FloatArray, FloatArray]:
        """Mean and sd (n, M) of the log response over electrodes (and drift), before the reading's noise."""
        law = self.electrode
        spread = np.sqrt(law.spread**2 + self.apart * law.drift_sd**2 + responses.variance)
        return np.asarray(law.log_gain + self.shift + responses.value), spread

    def cdf(self, signal: FloatArray, level: FloatArray | Responses) -> FloatArray:
        """P(Y <= signal | level) averaged over the draws; signal and level (n,) broadcast, giving (n,)."""
        seen = level if isinstance(level, Responses) else self.responses(np.atleast_1d(level))
        y = np.broadcast_to(np.atleast_1d(signal), max(np.size(signal), seen.value.shape[0]))
        loops = loaded()
        if loops is not None:
            middle, spread = (np.broadcast_to(one, (y.size, self.shift.size)) for one in self.log_normal(seen))
            packed = map(np.ascontiguousarray, (y, middle, spread, self.variance, self.electrode.cv))
            return np.asarray(loops.tails_by_node(*packed, GAIN_NODES) @ GAIN_WEIGHTS)
        rows = max(1, BLOCK // (GAIN_NODES.size * self.shift.size))
        parts = (slice(start, start + rows) for start in range(0, y.size, rows))
        found = [self._by_node(y[part], seen.part(part) if seen.value.shape[0] > 1 else seen) for part in parts]
        return np.asarray(np.concatenate(found) @ GAIN_WEIGHTS)

    def _by_node(self, signal: FloatArray, responses: Responses) -> FloatArray:
        """P(Y <= signal | level, own gain) averaged over the draws: (n, GAIN_NODES.size)."""
        middle, spread = self.log_normal(responses)
        mean = spread[:, None] * GAIN_NODES[:, None]
        mean += middle[:, None]
        np.exp(mean, out=mean)
        noise = self.electrode.cv * mean
        noise *= noise
        noise += self.variance
        np.sqrt(noise, out=noise)
        z = np.subtract(signal[:, None, None], mean)
        z /= noise
        return _average(normal_cdf(z, spent=True))

    def approximate_cdf(self, signal: float | FloatArray, shape: Shape) -> FloatArray:
        """approximate_by_draw averaged over the draws: (n,), or (k, n) for signals (k, 1, 1)."""
        loops = loaded()
        if loops is not None and np.ndim(signal) == 0:
            return np.asarray(loops.tails(*self._factors(signal), bool(signal < 0.0), *shape.packed))
        rows = max(1, BLOCK // (np.size(signal) * self.shift.size))
        parts = (shape.part(slice(start, start + rows)) for start in range(0, shape.k.shape[0], rows))
        return np.concatenate([_average(self.approximate_by_draw(signal, part)) for part in parts], axis=-1)

    def approximate_by_draw(self, signal: float | FloatArray, shape: Shape) -> FloatArray:
        """P(Y <= signal | level) of every draw (n, M): normal on the scale asinh(k y / s) / k, k^2 the variance that
        grows with the signal, s^2 the additive one."""
        of_signal, of_growth = self._factors(signal)
        z, below = exp_arcsinh(shape.k * of_signal), np.less(signal, 0.0)
        if below.any():
            z = np.where(below, 1.0 / z, z)
        z /= exp_arcsinh(shape.growth * of_growth)
        np.log(z, out=z)
        z /= shape.k
        return normal_cdf(z, spent=True)

    def _factors(self, signal: float | FloatArray) -> tuple[FloatArray, FloatArray]:
        """Of k, which make of it k |y| / s, and of the growth, which make of it k times the typical response over s."""
        s = np.sqrt(self.variance)
        return np.asarray(np.abs(signal) / s), np.asarray(np.exp(self.electrode.log_gain + self.shift) / s)

    def quantile(self, probability: float, level: FloatArray) -> FloatArray:
        """Signals (n,) with P(Y <= signal | level) = probability, to 1e-10 of a normal score."""
        return np.array([self._quantile(probability, float(c)) for c in np.atleast_1d(level)])

    def _quantile(self, probability: float, level: float) -> float:
        """Looked for on the scale asinh(signal / s), near what the normal scale says."""
        seen, wanted = self.responses(np.array([level])), normal_quantile(probability)
        shape, s = self.shape(seen), float(np.sqrt(self.variance).mean())

        def score(place: float) -> float:
            return float(normal_scores(self.cdf(np.array([s * np.sinh(place)]), seen), 1e-15)[0]) - wanted

        def rough(place: float) -> float:
            return float(normal_scores(self.approximate_cdf(float(s * np.sinh(place)), shape), 1e-15)[0]) - wanted

        low, high = (float(np.arcsinh(end / s)) for end in self._ends(seen))
        place = root_near(score, rising_root(rough, low, high, 1e-4), 1.0 / float(shape.k.mean()))
        return s * float(np.sinh(rising_root(score, low, high, NOTHING) if place is None else place))

    def _ends(self, seen: Responses) -> tuple[float, float]:
        """Signals below and above all that an electrode gives."""
        middle, spread = self.log_normal(seen)
        top, cv = float(np.exp(middle.max())), float(self.electrode.cv.max())
        noise = 9.0 * float(np.sqrt(self.variance.max() + (cv * top) ** 2))
        return -noise, top * float(np.exp(GAIN_NODES[-1] * spread.max())) * (1.0 + 9.0 * cv) + noise

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


def exp_arcsinh(x: FloatArray) -> FloatArray:
    """exp(asinh(x)) of numbers from 0, so that a difference of two asinh costs one logarithm."""
    found = x * x
    found += 1.0
    np.sqrt(found, out=found)
    found += x
    return found


def _average(values: FloatArray) -> FloatArray:
    """Mean over the last axis, without what numpy's own looks at first."""
    return np.asarray(np.add.reduce(values, axis=-1) / values.shape[-1])


@dataclass(frozen=True, slots=True, eq=False)
class FilmKind:
    """An electrode as if its film were of one kind. name : "sound" or of KINDS; log_share : (M,); laws."""

    name: str
    log_share: FloatArray
    laws: tuple[DipLaw, ...]
