"""The likelihood of a sample's level given all readings of all electrodes, which the signed root is made of.

Each reading is put on the scale w(y) = asinh(k y / s) / k, k^2 the variance that grows with the signal and s^2 the
additive one (means over the draws), and all readings of a sample are taken as jointly normal there. At every candidate
level their mean and covariance are those over joint draws of population, batches and water: what electrodes of one
batch share comes from the draws themselves, what readings of one electrode share from its own gain, floor and K, the
response linear in the latter two. Films of several kinds give a mixture over the assignments of kinds to electrodes.
Deviation from the exact density: none of what makes readings spread is left out, but its shape is normal. The null
distribution is simulated from the exact law, so the statistic is valid whatever its likelihood; what the approximation
can cost is width.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from brinemark.science.amount.law import DipLaw, stretched
from brinemark.science.amount.statistic import Observed
from brinemark.terms.arrays import FloatArray, IntArray

JOINT_DRAWS = 256
RAREST = 12.0  # assignments of kinds that are less likely beforehand than the likeliest by exp(12) are left out


@dataclass(frozen=True, slots=True, eq=False)
class Stretch:
    """How one reading is stretched."""

    k: float
    s: float

    @classmethod
    def of(cls, law: DipLaw) -> Stretch:
        """From the mean variances of a reading's law."""
        relative = float(np.mean(law.electrode.spread**2 + law.relative))
        return cls(float(np.sqrt(relative)), float(np.sqrt(np.mean(law.variance))))

    def at(self, signal: FloatArray) -> FloatArray:
        """w of signals of any shape."""
        return stretched(signal, self.k, self.s)


@dataclass(frozen=True, slots=True, eq=False)
class Moments:
    """Stretched readings (J) of one electrode of one kind at n candidates: mean (n, J), its scatter (D, n, J) over the
    draws, and the covariance (n, J, J) within a draw, averaged over them."""

    mean: FloatArray
    scatter: FloatArray
    within: FloatArray

    @classmethod
    def of(cls, laws: Sequence[DipLaw], stretches: Sequence[Stretch], candidates: FloatArray) -> Moments:
        middle, arm, own = stretched_parts(laws, stretches, candidates)
        within = np.einsum("lndj,lndk->njk", arm, arm) / middle.shape[1]
        diagonal = np.arange(len(laws))
        within[:, diagonal, diagonal] += own.mean(axis=1)
        mean = middle.mean(axis=1)
        return cls(mean, np.moveaxis(middle - mean[:, None], 1, 0), within)


def stretched_parts(
    laws: Sequence[DipLaw], stretches: Sequence[Stretch], candidates: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """What an electrode's J stretched readings are at n candidates under D draws: their middle (n, D, J), what a
    standard deviate of its own gain, floor and K does to each (3, n, D, J), and the variance of each alone (n, D, J).
    """
    electrode = laws[0].electrode
    middles, arms, own = [], [], []
    for law, stretch in zip(laws, stretches, strict=True):
        response = law.response(candidates)
        bend = response.floor_bend * electrode.floor_sd**2 + response.K_bend * electrode.own_K_sd**2
        mean = np.exp(electrode.log_gain + law.shift + response.value + 0.5 * bend)
        by_level = np.sqrt(np.maximum(law.own_K(candidates) ** 2 - electrode.own_K_sd**2, 0.0)) * response.by_K
        slope = 1.0 / np.sqrt(stretch.s**2 + (stretch.k * mean) ** 2)  # dw/dy
        middles.append(stretch.at(mean))
        each = (electrode.spread, electrode.floor_sd * response.by_floor, electrode.own_K_sd * response.by_K)
        arms.append(np.stack([slope * mean * part for part in each]))
        own.append(slope**2 * (law.variance + (law.relative + by_level**2) * mean**2))
    return np.stack(middles, axis=-1), np.stack(arms, axis=-1), np.stack(own, axis=-1)


@dataclass(frozen=True, slots=True, eq=False)
class ElectrodeMoments:
    """An electrode's moments by the kind of its film, and the log of each kind's share."""

    moments: tuple[Moments, ...]
    log_share: FloatArray

    @classmethod
    def of(
        cls, seen: Observed, stretches: Sequence[Stretch], candidates: FloatArray, draws: int = JOINT_DRAWS
    ) -> ElectrodeMoments:
        """Of an electrode whose readings are stretched each in its way; draws : how many give the moments."""
        kinds = [kind.laws for kind in seen.kinds] or [seen.laws]
        share = [float(np.exp(kind.log_share).mean()) for kind in seen.kinds] or [1.0]
        made = (Moments.of([law.thinned(draws) for law in laws], stretches, candidates) for laws in kinds)
        return cls(tuple(made), np.log(share))


@dataclass(frozen=True, slots=True, eq=False)
class NormalReadings:
    """ln L (S, n) of some electrodes' stretched readings (S, J), as quadratic forms with coefficients (F, A n) for A
    assignments of a kind to each electrode, whose logs of shares are part of them; terms that do not depend on level or
    kind are left out."""

    coefficients: FloatArray
    assignments: tuple[tuple[int, ...], ...]

    @classmethod
    def of(cls, electrodes: Sequence[ElectrodeMoments]) -> NormalReadings:
        """Of electrodes that share their draws."""
        assignments = tuple(assignments_of(electrodes))
        found = [_quadratic(electrodes, kinds) for kinds in assignments]
        return cls(np.concatenate(found, axis=1), assignments)

    def log_likelihood(self, stretched: FloatArray) -> FloatArray:
        """(S, n) for stretched readings (S, J)."""
        each = self.by_assignment(stretched)
        return each[:, 0] if len(self.assignments) == 1 else np.asarray(np.logaddexp.reduce(each, axis=1))

    def by_assignment(self, stretched: FloatArray) -> FloatArray:
        """(S, A, n) for stretched readings (S, J)."""
        i, j = np.triu_indices(stretched.shape[1])
        features = np.concatenate([stretched[:, i] * stretched[:, j], stretched, np.ones((len(stretched), 1))], axis=1)
        return np.asarray((features @ self.coefficients).reshape(len(stretched), len(self.assignments), -1))


def assignments_of(electrodes: Sequence[ElectrodeMoments]) -> list[tuple[int, ...]]:
    """A kind of film for each electrode, in all ways that are not too rare."""
    kinds = list(itertools.product(*(range(len(one.moments)) for one in electrodes)))
    weight = np.array([log_share_of(electrodes, one) for one in kinds])
    return [one for one, log in zip(kinds, weight, strict=True) if log > weight.max() - RAREST]


def log_share_of(electrodes: Sequence[ElectrodeMoments], kinds: Sequence[int]) -> float:
    """Log of how common one assignment of kinds is."""
    return float(sum(one.log_share[kind] for one, kind in zip(electrodes, kinds, strict=True)))


def joint_normal(electrodes: Sequence[ElectrodeMoments], kinds: Sequence[int]) -> tuple[FloatArray, FloatArray]:
    """Mean (n, J) and covariance (n, J, J) of all stretched readings for one assignment of kinds."""
    chosen = [one.moments[kind] for one, kind in zip(electrodes, kinds, strict=True)]
    mean = np.concatenate([one.mean for one in chosen], axis=-1)
    scatter = np.concatenate([one.scatter for one in chosen], axis=-1)
    covariance = np.einsum("dnj,dnk->njk", scatter, scatter, optimize=True) / scatter.shape[0]
    start = 0
    for one in chosen:
        own = slice(start, start + one.mean.shape[-1])
        covariance[:, own, own] += one.within
        start = own.stop
    return mean, covariance


def _quadratic(electrodes: Sequence[ElectrodeMoments], kinds: Sequence[int]) -> FloatArray:
    """Coefficients (F, n) of w_i w_j (i <= j), w_i and 1 for one assignment of kinds."""
    mean, covariance = joint_normal(electrodes, kinds)
    precision = np.linalg.inv(covariance)
    pull = np.einsum("njk,nk->nj", precision, mean)
    _, log_det = np.linalg.slogdet(covariance)
    constant = -0.5 * (log_det + (pull * mean).sum(axis=-1)) + log_share_of(electrodes, kinds)
    i, j = np.triu_indices(mean.shape[-1])
    pairs = -np.where(i == j, 0.5, 1.0)[:, None] * precision[:, i, j].T
    return np.concatenate([pairs, pull.T, constant[None]])


@dataclass(frozen=True, slots=True, eq=False)
class JointLikelihood:
    """ln L(c) of several electrodes on signed candidate levels (n,); readings of all electrodes in a row (J,)."""

    candidates: FloatArray
    stretches: tuple[Stretch, ...]
    owner: IntArray
    together: NormalReadings
    alone: tuple[NormalReadings, ...]

    @classmethod
    def of(cls, electrodes: Sequence[Observed], candidates: FloatArray, draws: int = JOINT_DRAWS) -> JointLikelihood:
        """From the laws of every electrode's readings; draws : how many of the joint draws give the moments."""
        each = [tuple(Stretch.of(law) for law in one.laws) for one in electrodes]
        pairs = zip(electrodes, each, strict=True)
        parts = [ElectrodeMoments.of(one, stretches, candidates, draws) for one, stretches in pairs]
        owner = np.repeat(np.arange(len(each)), [len(one) for one in each])
        alone = tuple(NormalReadings.of([part]) for part in parts) if len(parts) > 1 else ()
        return cls(candidates, tuple(itertools.chain(*each)), owner, NormalReadings.of(parts), alone)

    def stretched(self, signals: Sequence[FloatArray]) -> FloatArray:
        """(S, J) of one array of signals (S, J_e) per electrode."""
        columns = np.concatenate(signals, axis=1).T
        return np.stack([one.at(column) for one, column in zip(self.stretches, columns, strict=True)], axis=1)

    def log_likelihood(self, signals: Sequence[FloatArray]) -> FloatArray:
        """(S, n) for one array of signals (S, J_e) per electrode."""
        return self.together.log_likelihood(self.stretched(signals))

    def of_each(self, signals: Sequence[FloatArray]) -> list[FloatArray]:
        """(S, n) of every electrode alone."""
        stretched = self.stretched(signals)
        if not self.alone:
            return [self.together.log_likelihood(stretched)]
        return [one.log_likelihood(stretched[:, self.owner == e]) for e, one in enumerate(self.alone)]

    def both(self, signals: Sequence[FloatArray]) -> tuple[FloatArray, FloatArray]:
        """(S, n) of all electrodes together, and (S,) the sum of what each would reach alone at its own best level."""
        return self.log_likelihood(signals), np.sum([one.max(axis=1) for one in self.of_each(signals)], axis=0)

    def signed_root(self, log_l: FloatArray) -> FloatArray:
        """As the function of that name."""
        return signed_root(log_l)


def signed_root(log_l: FloatArray) -> FloatArray:
    """r at every candidate, (S, n), from log-likelihoods (S, n); the top is refined by a parabola."""
    place, peak = refined_top(log_l)
    root = np.sqrt(np.maximum(0.0, 2.0 * (peak[:, None] - log_l)))
    return np.asarray(np.where(np.arange(log_l.shape[1]) <= place[:, None], root, -root))


def refined_top(log_l: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Place among the candidates and height (S,) of the top of each row (S, n), refined by a parabola."""
    count = log_l.shape[1]
    best = np.argmax(log_l, axis=1)
    row, middle = np.arange(log_l.shape[0]), np.clip(best, 1, count - 2)
    left, top, right = log_l[row, middle - 1], log_l[row, middle], log_l[row, middle + 1]
    bend = np.minimum(left - 2.0 * top + right, -1e-12)
    shift = np.clip(0.5 * (left - right) / bend, -0.5, 0.5)
    inside = best == middle
    peak = np.where(inside, top - 0.125 * (left - right) ** 2 / bend, log_l[row, best])
    return best + np.where(inside, shift, 0.0), peak


def kind_probabilities(electrode: Observed, level: float) -> FloatArray:
    """Probability (K,) of each kind of film given all readings of an electrode at a sample level."""
    found = JointLikelihood.of([electrode], np.array([level]))
    log = found.together.by_assignment(found.stretched([np.array([electrode.signals])]))[0, :, 0]
    probability = np.zeros(len(electrode.kinds))
    probability[[kinds[0] for kinds in found.together.assignments]] = np.exp(log - log.max())
    return np.asarray(probability / probability.sum())
