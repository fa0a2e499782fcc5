"""Several readings of one sample in one statistic: the signed root of the averaged likelihood, with simulated null.

r(c) = sign(c_hat - c) sqrt(2 [ln L(c_hat) - ln L(c)]), L averaged over joint draws of population and batches. Its
distribution at a level comes from seeded simulation at a few levels (anchors), interpolated between them. Signed roots
are described in "Inference and Asymptotics", Chapman and Hall 1994, section 3.4 (from memory); simulation replaces
the normal approximation.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from brinemark.science.amount.statistic import Observed, crossing, folds_of, search_levels
from brinemark.terms.arrays import FloatArray, IntArray

ROOT_DRAWS = 48
SIMULATIONS = 640
ANCHORS = 7
BELOW_BLANK = -np.array([0.9, 0.7, 0.5, 0.35, 0.2, 0.1, 0.05])


@dataclass(frozen=True, slots=True, eq=False)
class JointLikelihood:
    """ln L(c) of several readings, averaged over ROOT_DRAWS joint draws, on signed candidate levels.

    The density of each reading is taken as normal with unit variance on the scale
    w(y) = asinh(k y / s) / k, k^2 = spread^2 + cv^2, s^2 = additive variance, which stabilises a variance of
    s^2 + k^2 mean^2. Deviation from the exact density: none where one kind of noise rules, small between; the null
    distribution is simulated from the exact law, so the statistic stays valid whatever its likelihood.
    """

    candidates: FloatArray
    centre: FloatArray
    stretch: FloatArray
    scale: FloatArray

    @classmethod
    def of(cls, readings: Sequence[Observed], candidates: FloatArray) -> JointLikelihood:
        laws = [r.law.thinned(ROOT_DRAWS) for r in readings]
        stretch = np.array([np.sqrt(law.spread**2 + law.cv**2) for law in laws])
        scale = np.sqrt(np.array([law.variance for law in laws]))
        levels = [np.where(candidates > 0, candidates / r.dilution, candidates) for r in readings]
        medians = np.array([np.exp(law.log_median(level)) for law, level in zip(laws, levels, strict=True)])
        centre = np.arcsinh(stretch[:, None] * medians / scale[:, None]) / stretch[:, None]
        return cls(candidates, np.moveaxis(centre, 1, 0), stretch, scale)

    def log_likelihood(self, signals: FloatArray) -> FloatArray:
        """(S, n) for signals (S, readings) and n candidates, without terms that are the same for every level."""
        ratio = signals.T[:, :, None] / self.scale[:, None]
        seen = np.arcsinh(self.stretch[:, None] * ratio) / self.stretch[:, None]
        log_slope = -0.5 * np.log1p((self.stretch[:, None] * ratio) ** 2) - np.log(self.scale)[:, None]
        own = log_slope.sum(axis=0)
        out = np.empty((signals.shape[0], self.candidates.size))
        for k in range(self.candidates.size):
            exponent = own.copy()
            for one, centre in zip(seen, self.centre[k], strict=True):
                away = one - centre
                away *= away
                exponent -= 0.5 * away
            top = exponent.max(axis=1)
            exponent -= top[:, None]
            out[:, k] = np.log(np.exp(exponent, out=exponent).mean(axis=1)) + top
        return out

    def signed_root(self, log_l: FloatArray) -> FloatArray:
        """r at every candidate, (S, n), from log-likelihoods (S, n); the top is refined by a parabola."""
        count = log_l.shape[1]
        best = np.argmax(log_l, axis=1)
        row, middle = np.arange(log_l.shape[0]), np.clip(best, 1, count - 2)
        left, top, right = log_l[row, middle - 1], log_l[row, middle], log_l[row, middle + 1]
        bend = np.minimum(left - 2.0 * top + right, -1e-12)
        shift = np.clip(0.5 * (left - right) / bend, -0.5, 0.5)
        inside = best == middle
        peak = np.where(inside, top - 0.125 * (left - right) ** 2 / bend, log_l[row, best])
        place = best + np.where(inside, shift, 0.0)
        root = np.sqrt(np.maximum(0.0, 2.0 * (peak[:, None] - log_l)))
        return np.asarray(np.where(np.arange(count) <= place[:, None], root, -root))


@dataclass(frozen=True, slots=True, eq=False)
class JointReading:
    """The signed root of several readings as the statistic.

    anchors : candidate indices of the simulated levels; null : (anchors, SIMULATIONS) sorted roots there;
    root, typical_root : (n,) observed root, and the larger of it and a blank's median, at the candidates.
    """

    readings: tuple[Observed, ...]
    likelihood: JointLikelihood
    search: FloatArray
    anchors: IntArray
    null: FloatArray
    root: FloatArray
    typical_root: FloatArray

    @classmethod
    def of(cls, readings: Sequence[Observed], seed: int) -> JointReading:
        search = search_levels(readings)
        likelihood = JointLikelihood.of(readings, np.concatenate([BELOW_BLANK, search, [np.inf]]))
        observed = np.array([[r.signal for r in readings]])
        root = likelihood.signed_root(likelihood.log_likelihood(observed))[0]
        anchors = _anchors(root, likelihood.candidates)
        rng = np.random.default_rng(np.random.SeedSequence([seed, 2]))
        pick = rng.integers(0, readings[0].law.ln_K.size, SIMULATIONS).astype(float)
        normal = rng.normal(size=(len(readings), 2, SIMULATIONS))
        null = []
        for index in anchors:
            roots = _simulated_roots(readings, likelihood, float(likelihood.candidates[index]), pick, normal)
            null.append(np.sort(roots[:, index]))
            if likelihood.candidates[index] == 0.0:
                blank = np.median(roots, axis=0)
        return cls(tuple(readings), likelihood, search, anchors, np.array(null), root, np.maximum(root, blank))

    @property
    def ladder(self) -> FloatArray:
        """below at the levels of search."""
        return self.below(self.search)

    def below(self, level: FloatArray) -> FloatArray:
        return self._tail(self.root, level)

    def below_typical(self, level: FloatArray) -> FloatArray:
        return self._tail(self.typical_root, level)

    def best(self) -> float | None:
        return crossing(lambda c: self._root_at(self.root, c), 0.0, self.search)

    def blank_low(self) -> float:
        lows = [float(r.law.cdf(np.array([r.signal]), np.zeros(1))[0]) for r in self.readings]
        return min(1.0, min(lows) * len(lows))

    def shares(self) -> tuple[float, ...]:
        level = self.best()
        at = max(level or 0.0, float(self.search[1])) if level is not None else float(self.search[-1])
        information = []
        for reading in self.readings:
            law = reading.law
            step = law.log_median(np.array([1.05 * at, at]) / reading.dilution)
            mean = np.exp(step[1])
            noise = (law.spread**2 + law.cv**2) * mean**2 + law.variance
            information.append(float(np.mean((np.exp(step[0]) - mean) ** 2 / noise)))
        total = sum(information)
        return tuple(part / total if total > 0 else 1.0 / len(information) for part in information)

    def folds(self, level: FloatArray, tail: float) -> FloatArray:
        medians = np.array([np.exp(np.median(r.law.log_median(level / r.dilution), axis=1)) for r in self.readings])
        roots = self.likelihood.signed_root(self.likelihood.log_likelihood(medians.T))
        table = np.array([self._tail(root, self.search) for root in roots])
        return folds_of(self.search, table.T, tail)

    def monte_carlo_sd(self, level: float) -> float:
        p = float(self.below(np.array([level]))[0])
        return float(np.sqrt(max(p * (1.0 - p), 0.25 / SIMULATIONS) / SIMULATIONS))

    def _place(self, level: FloatArray) -> FloatArray:
        """A coordinate in which roots and tails are smooth: ln(c + first rung), the plateau at the last rung."""
        return np.asarray(np.log(np.minimum(level, self.search[-1]) + self.search[1]))

    def _root_at(self, root: FloatArray, level: FloatArray) -> FloatArray:
        ladder = slice(BELOW_BLANK.size, -1)
        here = np.interp(self._place(level), self._place(self.likelihood.candidates[ladder]), root[ladder])
        return np.where(np.isinf(level), root[-1], here)

    def _tail(self, root: FloatArray, level: FloatArray) -> FloatArray:
        """P(R <= root | level): null distributions of the two neighbouring anchors, interpolated."""
        levels = np.asarray(level, dtype=float)
        place, here = self._place(levels), self._root_at(root, levels)
        anchor = self._place(self.likelihood.candidates[self.anchors])
        table = np.array([smooth_cdf(row, here) for row in self.null])
        right = np.clip(np.searchsorted(anchor, place), 1, anchor.size - 1)
        share = np.clip((place - anchor[right - 1]) / (anchor[right] - anchor[right - 1]), 0.0, 1.0)
        column = np.arange(levels.size)
        mixed = (1.0 - share) * table[right - 1, column] + share * table[right, column]
        return np.asarray(np.where(np.isinf(levels), table[-1], mixed))


def smooth_cdf(ordered: FloatArray, at: FloatArray) -> FloatArray:
    """Empirical distribution of n sorted values, linear between (i + 1/2) / n; never closer to 0 or 1 than
    1/(2 n), since n simulations cannot tell."""
    ranks = (np.arange(ordered.size) + 0.5) / ordered.size
    return np.asarray(np.interp(at, ordered, ranks))


def _anchors(root: FloatArray, candidates: FloatArray) -> IntArray:
    """0, the plateau, and levels where the observed root runs through +-2.5."""
    first = BELOW_BLANK.size
    inside = np.flatnonzero((np.abs(root) < 3.0) & (candidates > 0) & np.isfinite(candidates))
    if inside.size == 0:
        inside = np.arange(first + 1, candidates.size - 1)
    picks = np.linspace(inside[0], inside[-1], ANCHORS - 2).round().astype(int)
    return np.unique(np.concatenate([[first], picks, [candidates.size - 1]]))


def _simulated_roots(
    readings: Sequence[Observed], likelihood: JointLikelihood, level: float, pick: FloatArray, normal: FloatArray
) -> FloatArray:
    """Roots (S, n) of data simulated at one sample level; the same random numbers serve every level."""
    signals = [r.law.simulate(level / r.dilution, pick, normal[i]) for i, r in enumerate(readings)]
    return likelihood.signed_root(likelihood.log_likelihood(np.array(signals).T))
