"""What electrodes that have read nothing yet are expected to tell of a sample, given what has been read of it.

All readings are jointly normal at every level on the scale of joint_likelihood.py, which statements use. So the level
is drawn by its weight, prior times likelihood of what was read; the new readings from their law given that level and
what was read (what a batch or a water shares is learned on the way); then the level's weights are worked out anew:

    information = E ln [p(level | old and new readings) / p(level | old readings)]                          [nat]

(the expected gain of "On a measure of the information provided by an experiment", Annals of Mathematical Statistics 27
(1956) 986-1005, doi 10.1214/aoms/1177728069). Every choice sees the same levels and the same normal deviates, so that
their differences are known better than they are themselves. The interval that would come of it is where the signed
root of the likelihood lies within the normal quantile, as wide as the stated one but for that one's simulated null.
The prior decides what to do next and no more: intervals come from the likelihood alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from brinemark.science.amount.joint import BELOW_BLANK
from brinemark.science.amount.joint_likelihood import (
    ElectrodeMoments,
    NormalReadings,
    Stretch,
    assignments_of,
    joint_normal,
    log_share_of,
    signed_root,
)
from brinemark.science.amount.normal import median
from brinemark.science.amount.statistic import LADDER_STEP, LOWEST, Observed
from brinemark.terms.arrays import BoolArray, FloatArray, IntArray

SIMULATIONS = 1024
MOMENT_DRAWS = 128  # of the joint draws that give the moments; with 1,024 information moves by .018 at most (measured)
OFFSET = 0.1  # in K: below it the prior is nearly uniform in the level, above it in its logarithm
MOST_READINGS = 32


@dataclass(frozen=True, slots=True, eq=False)
class Levels:
    """Sample levels that are thought of: candidates (n,), some below the blank first and the plateau last, as reading
    has them; log_prior (n,), -inf for those that no sample has."""

    candidates: FloatArray
    log_prior: FloatArray

    @classmethod
    def of(cls, K: float, highest: float, top: float) -> Levels:
        """Uniform in ln(c + OFFSET K) from 0 to highest; top : the largest level that an interval may reach."""
        low, high = min(LOWEST * K, OFFSET * highest), max(highest, top)
        count = int(np.ceil(np.log(high / low) / LADDER_STEP)) + 1
        rungs = np.concatenate([[0.0], np.geomspace(low, high, count)])
        inside = rungs <= highest * (1.0 + 1e-9)
        log_prior = np.full(rungs.size, -np.inf)
        log_prior[inside] = np.log(np.gradient(np.log(rungs[inside] + OFFSET * K)))
        candidates = np.concatenate([BELOW_BLANK, rungs, [np.inf]])
        return cls(candidates, np.concatenate([np.full(BELOW_BLANK.size, -np.inf), log_prior, [-np.inf]]))


@dataclass(frozen=True, slots=True, eq=False)
class Part:
    """One electrode on the scale of the likelihood: moments, how its readings are stretched, what they were (J,)."""

    moments: ElectrodeMoments
    stretched: FloatArray
    dilution: float

    @classmethod
    def of(cls, electrode: Observed, levels: Levels) -> Part:
        stretches = [Stretch.of(law) for law in electrode.laws]
        seen = [float(s.at(np.array(y))) for s, y in zip(stretches, electrode.signals, strict=True)]
        moments = ElectrodeMoments.of(electrode, stretches, levels.candidates, MOMENT_DRAWS)
        return cls(moments, np.array(seen), electrode.dilution)


@dataclass(frozen=True, slots=True)
class Aim:
    """What counts as an answer. quantile : of the normal law, for the interval; max_fold : upper over lower end;
    highest : cell level that the standards span."""

    quantile: float
    max_fold: float
    highest: float


@dataclass(frozen=True, slots=True, eq=False)
class Deviates:
    """Random numbers that all choices share: place, kind (S,) uniform, place rising; normal (S, MOST_READINGS)."""

    place: FloatArray
    kind: FloatArray
    normal: FloatArray

    @classmethod
    def draw(cls, seed: int, count: int = SIMULATIONS) -> Deviates:
        rng = np.random.default_rng(np.random.SeedSequence([seed, 5]))
        place = (np.arange(count) + rng.uniform(size=count)) / count
        return cls(place, rng.uniform(size=count), rng.normal(size=(count, MOST_READINGS)))


@dataclass(frozen=True, slots=True, eq=False)
class Outlook:
    """What is expected of new electrodes. gain : (S,) information of each simulated outcome [nat]; fold : (S,) upper
    over lower end of the interval that comes of it, inf where an end is open; max_fold : as in Aim."""

    gain: FloatArray
    fold: FloatArray
    max_fold: float

    @property
    def information(self) -> float:
        """Expected information [nat]; exp of it is how many times narrower a normal interval becomes."""
        return float(self.gain.mean())

    @property
    def error(self) -> float:
        """Its Monte Carlo standard error."""
        return float(self.gain.std(ddof=1) / np.sqrt(self.gain.size))

    @property
    def typical_fold(self) -> float:
        """Median over outcomes; inf where more than half leave an end open."""
        return float(np.median(self.fold))

    @property
    def within(self) -> float:
        """Chance that the interval is as narrow as wanted."""
        return float(np.mean(self.fold <= self.max_fold))

    def differs(self, other: Outlook) -> tuple[float, float]:
        """How much more it tells than another choice [nat], and the standard error of that."""
        apart = self.gain - other.gain
        return float(apart.mean()), float(apart.std(ddof=1) / np.sqrt(apart.size))


@dataclass(frozen=True, slots=True, eq=False)
class Bench:
    """What all choices for one sample are compared on: levels, the electrodes that have read it, deviates, the aim."""

    levels: Levels
    past: tuple[Part, ...]
    deviates: Deviates
    aim: Aim

    def outlook(self, new: Sequence[Part]) -> Outlook:
        """What electrodes that have read nothing yet would tell, all of them together."""
        parts = [*(one.moments for one in self.past), *(one.moments for one in new)]
        seen = np.concatenate([np.zeros(0), *(one.stretched for one in self.past)])
        log_seen, readings, true = self._readings(parts, seen)
        rows = np.concatenate([np.broadcast_to(seen, (len(readings), seen.size)), readings], axis=1)
        log_l = NormalReadings.of(parts).log_likelihood(rows)
        log_old = self.levels.log_prior + log_seen
        told = log_l - log_seen
        weight = log_old - _log_sum(log_old[None])
        gain = told[np.arange(true.size), true] - _log_sum(weight + told)
        span = self.aim.highest * max(one.dilution for one in (*self.past, *new))
        return Outlook(gain, self._folds(log_l, span), self.aim.max_fold)

    def present_fold(self) -> float:
        """Upper over lower end by what has been read; inf where an end is open."""
        if not self.past:
            return float("inf")
        seen = np.concatenate([one.stretched for one in self.past])
        log_l = NormalReadings.of([one.moments for one in self.past]).log_likelihood(seen[None])
        return float(self._folds(log_l, self.aim.highest * max(one.dilution for one in self.past))[0])

    def _readings(self, parts: Sequence[ElectrodeMoments], seen: FloatArray) -> tuple[FloatArray, FloatArray, IntArray]:
        """ln likelihood (n,) of what was read, new readings (S, J), and the candidates (S,) that they come from."""
        laws = [_Given.of(parts, kinds, seen) for kinds in assignments_of(parts)]
        each = np.array([law.log_seen for law in laws])
        log_seen = _log_sum(each.T)
        log_old = self.levels.log_prior + log_seen
        true = _drawn(np.exp(log_old - log_old.max()), self.deviates.place)
        share = np.cumsum(np.exp(each[:, true] - log_seen[true]), axis=0)
        kind = np.minimum((share < self.deviates.kind).sum(axis=0), len(laws) - 1)
        made = np.zeros((true.size, laws[0].center.shape[1]))
        for number, law in enumerate(laws):
            mine = kind == number
            normal = self.deviates.normal[mine, : made.shape[1]]
            made[mine] = law.center[true[mine]] + np.einsum("sjk,sk->sj", law.root[true[mine]], normal)
        return log_seen, made, true

    def _folds(self, log_l: FloatArray, span: float) -> FloatArray:
        """Upper over lower end (S,) of the levels whose signed root lies within the quantile."""
        first = BELOW_BLANK.size
        candidates = self.levels.candidates[first:-1]
        root = signed_root(log_l)
        lower, _ = _crossing(root[:, first:-1], candidates, self.aim.quantile)
        upper, found = _crossing(root[:, first:-1], candidates, -self.aim.quantile)
        closed = found & (root[:, -1] <= -self.aim.quantile) & (upper <= span) & (lower > 0.0)
        return np.where(closed, upper / np.where(closed, lower, 1.0), np.inf)


@dataclass(frozen=True, slots=True, eq=False)
class _Given:
    """One assignment of kinds of film. log_seen : (n,) of what was read, its own share counted; center (n, J), root
    (n, J, J) : the normal law of the new readings given that."""

    log_seen: FloatArray
    center: FloatArray
    root: FloatArray

    @classmethod
    def of(cls, parts: Sequence[ElectrodeMoments], kinds: Sequence[int], seen: FloatArray) -> _Given:
        mean, covariance = joint_normal(parts, kinds)
        old, new = slice(0, seen.size), slice(seen.size, None)
        away = seen - mean[:, old]
        own = covariance[:, old, old]
        regress = np.linalg.solve(own, covariance[:, old, new])  # (n, J_old, J_new)
        center = mean[:, new] + np.einsum("nij,ni->nj", regress, away)
        left = covariance[:, new, new] - np.einsum("nij,nik->njk", covariance[:, old, new], regress)
        pull = np.einsum("ni,ni->n", away, np.linalg.solve(own, away[..., None])[..., 0])
        log_seen = -0.5 * (np.linalg.slogdet(own)[1] + pull) + log_share_of(parts, kinds)
        return cls(log_seen, center, np.linalg.cholesky(left))


def mean_K(electrodes: Sequence[Observed]) -> float:
    """The typical K of electrodes [cell level]."""
    return float(np.exp(np.mean([median(one.laws[0].electrode.ln_K) for one in electrodes])))


def _log_sum(log: FloatArray) -> FloatArray:
    """ln of the sum of exp over the last axis, which holds finite numbers."""
    top = log.max(axis=-1, keepdims=True)
    return np.asarray(np.log(np.exp(log - top).sum(axis=-1)) + top[..., 0])


def _drawn(weight: FloatArray, place: FloatArray) -> IntArray:
    """Candidates (S,) by weight (n,), at rising places (S,) in 0 to 1."""
    share = np.cumsum(weight) / weight.sum()
    return np.asarray(np.minimum(np.searchsorted(share, place, side="right"), int(np.flatnonzero(weight)[-1])))


def _crossing(root: FloatArray, candidates: FloatArray, target: float) -> tuple[FloatArray, BoolArray]:
    """Levels (S,) at which falling roots (S, n) reach a target, and whether they do; 0 where they start below."""
    below = root <= target
    found = below.any(axis=1)
    right = np.argmax(below, axis=1)
    row, left = np.arange(len(root)), np.maximum(right - 1, 0)
    high, low = root[row, left], root[row, right]
    share = np.clip((high - target) / np.where(high > low, high - low, 1.0), 0.0, 1.0)
    place = np.log(candidates + candidates[1])
    level = np.exp(place[left] + share * (place[right] - place[left])) - candidates[1]
    return np.where(right == 0, 0.0, level), np.asarray(found)
