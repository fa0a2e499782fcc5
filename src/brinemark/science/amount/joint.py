"""Several readings of one sample in one statistic: the signed root of their likelihood, with simulated null.

r(c) = sign(c_hat - c) sqrt(2 [ln L(c_hat) - ln L(c)]), L of joint_likelihood.py. The distribution of r at a level comes
from seeded simulation at a few levels (anchors), interpolated between them. Signed roots are described in "Inference
and Asymptotics", Chapman and Hall 1994, section 3.4 (from memory); simulation replaces the normal approximation.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from brinemark.science.amount.joint_likelihood import JointLikelihood
from brinemark.science.amount.normal import median
from brinemark.science.amount.statistic import Observed, crossing, folds_of, search_levels
from brinemark.science.amount.tails import place_of, scores_of
from brinemark.terms.arrays import FloatArray, IntArray

SIMULATIONS = 2048
ANCHORS = 7
LIMIT_SIMULATIONS = 640
BELOW_BLANK = -np.array([0.9, 0.7, 0.5, 0.35, 0.2, 0.1, 0.05])


@dataclass(frozen=True, slots=True, eq=False)
class JointReading:
    """The signed root of several readings as the statistic.

    anchors : candidate indices of the simulated levels; null : (anchors, SIMULATIONS) sorted roots there;
    root, typical_root : (n,) observed root, and the larger of it and a blank's median, at the candidates;
    agreement : probability of electrodes lying as far apart as these, or farther; None for one electrode.
    """

    electrodes: tuple[Observed, ...]
    likelihood: JointLikelihood
    search: FloatArray
    anchors: IntArray
    null: FloatArray
    root: FloatArray
    typical_root: FloatArray
    agreement: float | None

    @classmethod
    def of(cls, electrodes: Sequence[Observed], seed: int) -> JointReading:
        """Simulate the null distributions and find the observed roots."""
        search = search_levels(electrodes)
        likelihood = JointLikelihood.of(electrodes, np.concatenate([BELOW_BLANK, search, [np.inf]]))
        log_l, alone = likelihood.both([np.array([e.signals]) for e in electrodes])
        root = likelihood.signed_root(log_l)[0]
        anchors = _anchors(root, likelihood.candidates)
        lives = SimulatedLives.draw(electrodes, seed)
        apart = float(alone[0] - log_l[0].max())
        nearest = anchors[int(np.argmin(np.abs(anchors - int(np.argmax(log_l[0])))))]
        null, agreement = [], None
        for index in anchors:
            seen = lives.signals(float(likelihood.candidates[index]))
            compared = index == nearest and len(electrodes) > 1
            simulated, parted = likelihood.both(seen) if compared else (likelihood.log_likelihood(seen), None)
            roots = likelihood.signed_root(simulated)
            null.append(np.sort(roots[:, index]))
            if likelihood.candidates[index] == 0.0:
                blank = median(roots, axis=0)
            if parted is not None:
                agreement = float((parted - simulated.max(axis=1) >= apart).mean())
        typical = np.maximum(root, blank)
        return cls(tuple(electrodes), likelihood, search, anchors, np.array(null), root, typical, agreement)

    @classmethod
    def everywhere(cls, electrode: Observed, seed: int) -> tuple[JointReading, FloatArray, FloatArray]:
        """For what an electrode can do before it has read anything: anchors all along the ladder, levels (n,) of these
        up to the plateau, and at each of them simulated roots (n, S) for level 0. Fewer simulations."""
        search = search_levels([electrode])
        candidates = np.concatenate([BELOW_BLANK, search, [np.inf]])
        likelihood = JointLikelihood.of([electrode], candidates)
        lives = SimulatedLives.draw([electrode], seed, LIMIT_SIMULATIONS)
        first = BELOW_BLANK.size
        last = candidates.size - 1
        anchors = np.array(sorted({*range(first, last, 3), last - 1, last}))
        roots = [
            likelihood.signed_root(likelihood.log_likelihood(lives.signals(float(candidates[i])))) for i in anchors
        ]
        null = np.array([np.sort(rows[:, i]) for rows, i in zip(roots, anchors, strict=True)])
        nothing = np.zeros(candidates.size)
        statistic = cls((electrode,), likelihood, search, anchors, null, nothing, nothing, None)
        return statistic, candidates[anchors[:-1]], np.array([rows[:, first] for rows in roots[:-1]])

    @property
    def ladder(self) -> FloatArray:
        """below at the levels of search."""
        return self.below(self.search)

    def below(self, level: FloatArray) -> FloatArray:
        return self._tail(self.root, level)

    def falls_to(self, target: float) -> float | None:
        return crossing(self.below, target, self.search, self.ladder)

    def typical_falls_to(self, target: float) -> float | None:
        return crossing(lambda level: self._tail(self.typical_root, level), target, self.search)

    def best(self) -> float | None:
        return crossing(lambda c: self._root_at(self.root, c), 0.0, self.search)

    def blank_low(self) -> float:
        pairs = [pair for e in self.electrodes for pair in zip(e.laws, e.signals, strict=True)]
        lows = [float(law.cdf(np.array([signal]), np.zeros(1))[0]) for law, signal in pairs]
        return min(1.0, min(lows) * len(lows))

    def shares(self) -> tuple[float, ...]:
        ladder = self.likelihood.candidates
        level = self.best()
        index = ladder.size - 2 if level is None else int(np.argmin(np.abs(ladder - max(level, self.search[1]))))
        around = np.clip([index - 1, index, index + 1], 0, ladder.size - 2)
        typical = [typical_signals(electrode, ladder[around[1:2]]) for electrode in self.electrodes]
        information = []
        for log_l in self.likelihood.of_each(typical):
            left, top, right = log_l[0, around]
            information.append(max(0.0, float(2.0 * top - left - right)))
        total = sum(information)
        return tuple(part / total if total > 0 else 1.0 / len(information) for part in information)

    def folds(self, level: FloatArray, tail: float) -> FloatArray:
        typical = [typical_signals(electrode, level) for electrode in self.electrodes]
        roots = self.likelihood.signed_root(self.likelihood.log_likelihood(typical))
        table = np.array([self._tail(root, self.search) for root in roots])
        return folds_of(self.search, scores_of(table).T, tail)

    def monte_carlo_sd(self, level: float) -> float:
        p = float(self.below(np.array([level]))[0])
        return float(np.sqrt(max(p * (1.0 - p), 0.25 / SIMULATIONS) / SIMULATIONS))

    def _root_at(self, root: FloatArray, level: FloatArray) -> FloatArray:
        ladder = slice(BELOW_BLANK.size, -1)
        rungs = place_of(self.likelihood.candidates[ladder], self.search)
        here = np.interp(place_of(level, self.search), rungs, root[ladder])
        return np.where(np.isinf(level), root[-1], here)

    def _tail(self, root: FloatArray, level: FloatArray) -> FloatArray:
        """P(R <= root | level): null distributions of the two neighbouring anchors, interpolated."""
        levels = np.asarray(level, dtype=float)
        place, here = place_of(levels, self.search), self._root_at(root, levels)
        anchor = place_of(self.likelihood.candidates[self.anchors], self.search)
        table = np.array([smooth_cdf(row, here) for row in self.null])
        right = np.clip(np.searchsorted(anchor, place), 1, anchor.size - 1)
        share = np.clip((place - anchor[right - 1]) / (anchor[right] - anchor[right - 1]), 0.0, 1.0)
        column = np.arange(levels.size)
        mixed = (1.0 - share) * table[right - 1, column] + share * table[right, column]
        return np.asarray(np.where(np.isinf(levels), table[-1], mixed))


def typical_signals(electrode: Observed, level: FloatArray) -> FloatArray:
    """Median signals (n, J) of an electrode's readings at sample levels (n,)."""
    return np.stack([np.exp(median(law.log_median(level), axis=1)) for law in electrode.laws], axis=1)


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
    return np.array(sorted({first, *picks.tolist(), candidates.size - 1}))


@dataclass(frozen=True, slots=True, eq=False)
class SimulatedLives:
    """Random numbers of simulated electrodes; the same serve every level.

    pick : (S,) joint draw of each; own : per electrode (3, S); normal : per electrode and dip (3, S).
    """

    electrodes: tuple[Observed, ...]
    pick: IntArray
    own: tuple[FloatArray, ...]
    normal: tuple[FloatArray, ...]

    @classmethod
    def draw(cls, electrodes: Sequence[Observed], seed: int, count: int = SIMULATIONS) -> SimulatedLives:
        rng = np.random.default_rng(np.random.SeedSequence([seed, 2]))
        draws = electrodes[0].laws[0].shift.size
        pick = rng.integers(0, draws, count)
        own = tuple(rng.normal(size=(3, count)) for _ in electrodes)
        normal = tuple(rng.normal(size=(len(e.laws), 3, count)) for e in electrodes)
        return cls(tuple(electrodes), pick, own, normal)

    def signals(self, level: float) -> list[FloatArray]:
        """Per electrode, signals (S, J) at one sample level."""
        found = []
        for electrode, own, normal in zip(self.electrodes, self.own, self.normal, strict=True):
            dips = [law.simulate(level, self.pick, own, dip) for law, dip in zip(electrode.laws, normal, strict=True)]
            found.append(np.stack(dips, axis=1))
        return found
