"""The tail probability of one reading as a smooth curve over the level.

P(Y <= y | c) averages 21 nodes of the electrode's own gain over every draw. On the scale w(y) = asinh(k y / s) / k,
k^2 the variance that grows with the signal and s^2 the additive one, a reading is nearly normal with sd 1, which needs
no nodes: that score errs by .02 in the median and .07 at most. So all draws give the approximate score at every level
of the search, and a part of the draws the exact one at a few levels; their difference varies little from draw to draw
and runs smoothly. Against all draws and nodes at every level the score then errs by .003 in the median and .012 at most
(invented season), where the draws themselves leave some .03.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from brinemark.science.amount.curves import SmoothCurve
from brinemark.science.amount.law import DipLaw, Shape, stretched
from brinemark.science.amount.normal import normal_cdf, normal_quantile, normal_scores
from brinemark.science.amount.roots import rising_root
from brinemark.terms.arrays import FloatArray

PART = 256  # draws of the correction
SCORES = (2.6, 1.96, 1.3, 0.65, 0.0, -0.65, -1.3, -1.96, -2.6)  # approximate scores near which it is worked out
LEAST = 1e-12  # probabilities are told apart down to this one
FAR = 4.5  # approximate scores beyond which 0 and the plateau tell nothing of the correction
GROUPS = 8  # of draws, whose scatter is the Monte Carlo error
PLACE_TOLERANCE = 1e-9
COARSE = 1.0  # scores between neighbouring rungs, beyond which an end is not read off the curve


@dataclass(frozen=True, slots=True, eq=False)
class SignalTail:
    """P(Y <= signal | level) for levels of a search (n,) that starts at 0, and on the plateau.

    shape : of what electrodes answer at these levels and on the plateau; score : normal scores over place_of;
    correction : exact minus approximate score, over minus the latter; ladder : the probability at the levels;
    plateau : the probability there; ends : by tail probability, those that were looked for.
    """

    law: DipLaw
    signal: float
    search: FloatArray
    shape: Shape
    score: SmoothCurve
    correction: SmoothCurve
    ladder: FloatArray
    plateau: float
    ends: dict[float, float | None] = field(default_factory=dict)

    @classmethod
    def of(cls, law: DipLaw, signal: float, search: FloatArray) -> SignalTail:
        """For one signal (relative) of an electrode."""
        levels = np.append(search, np.inf)
        shape = law.shared_shape(levels)
        rough = scores_of(law.approximate_cdf(signal, shape))
        correction = _correction(law, signal, shape, (levels, rough))
        scores = rough + correction.at(-rough)
        score = SmoothCurve.through(place_of(search, search), scores[:-1])
        chances = normal_cdf(scores)
        return cls(law, signal, search, shape, score, correction, chances[:-1], float(chances[-1]))

    def below(self, level: FloatArray) -> FloatArray:
        """P(Y <= signal | level) at levels (m,), inf allowed; beyond the search as at its end."""
        beyond = np.isinf(level)
        if beyond.all():
            return np.full(level.shape, self.plateau)
        chances = normal_cdf(self.score.at(place_of(level, self.search)), spent=True)
        return np.where(beyond, self.plateau, chances) if beyond.any() else chances

    def falls_to(self, target: float) -> float | None:
        """Level at which the probability falls to target: 0 if it starts there or below, None if it stays above."""
        if target not in self.ends:
            self.ends[target] = self._falls_to(target)
        return self.ends[target]

    def _falls_to(self, target: float) -> float | None:
        wanted = normal_quantile(target)
        place = self.score.falls_to(wanted, PLACE_TOLERANCE)
        if place is None or place <= self.score.place[0]:
            return None if place is None else 0.0
        right = int(np.searchsorted(self.score.place, place))
        low, high = self.score.place[right - 1 : right + 1]
        if self.score.value[right - 1] - self.score.value[right] > COARSE:
            place = rising_root(lambda x: wanted - self._score_at(x), float(low), float(high), PLACE_TOLERANCE)
        return float(np.exp(place) - self.search[1])

    def _score_at(self, place: float) -> float:
        """The score between two rungs that are too far apart for a curve: of an electrode that hardly scatters."""
        level = np.array([max(0.0, float(np.exp(place) - self.search[1]))])
        rough = scores_of(self.law.approximate_cdf(self.signal, self.law.shape(self.law.responses(level))))
        return float((rough + self.correction.at(-rough))[0])

    def monte_carlo_sd(self, level: float) -> float:
        """Standard error (1) of below near a level, at the rung above it, from groups of draws."""
        rung = min(int(np.searchsorted(self.search, level)), self.search.size - 1)
        each = self.law.approximate_by_draw(self.signal, self.shape.part(slice(rung, rung + 1)))[0]
        group = np.arange(each.size) % GROUPS
        means = np.bincount(group, each) / np.bincount(group)
        away = means - means.sum() / GROUPS
        return float(np.sqrt(away @ away / (GROUPS - 1) / GROUPS))


def place_of(level: FloatArray, search: FloatArray) -> FloatArray:
    """A coordinate of levels in which scores and roots are smooth: ln(level + first rung), at most the last rung's."""
    return np.asarray(np.log(np.minimum(level, search[-1]) + search[1]))


def scores_of(probability: FloatArray) -> FloatArray:
    """Normal scores of probabilities of any shape, kept between LEAST and 1 - LEAST."""
    return normal_scores(probability.ravel().tolist(), LEAST).reshape(probability.shape)


def normal_draws_scores(law: DipLaw, signal: FloatArray, shape: Shape) -> FloatArray:
    """Scores (n, k) of signals (k,) at n levels, the draws' scatter on the scale w taken as normal too: for typical
    electrodes, not for statements (folds of 2 to 20 differ by 1 to 4 % from those of all draws)."""
    k, s = shape.k.mean(axis=1, keepdims=True), float(np.sqrt(law.variance).mean())
    typical = shape.growth / shape.k
    typical *= np.exp(law.electrode.log_gain + law.shift)
    placed = stretched(typical, k, s)
    mean = placed.mean(axis=1, keepdims=True)
    placed -= mean
    variance = np.einsum("nm,nm->n", placed, placed)[:, None] / placed.shape[1]
    return np.asarray((stretched(signal, k, s) - mean) / np.sqrt(1.0 + variance))


def _correction(law: DipLaw, signal: float, shape: Shape, known: tuple[FloatArray, FloatArray]) -> SmoothCurve:
    """Exact minus approximate score over minus the approximate one. shape : at levels, plateau last; known : these
    (n,), and the approximate scores there."""
    levels, rough = known
    inner = np.abs(rough[1:-1] - np.array(SCORES)[:, None]).argmin(axis=1) + 1
    chosen = {-rough[n]: n for n in sorted({0, *inner.tolist(), rough.size - 1}, reverse=True) if abs(rough[n]) < FAR}
    if not chosen:
        return SmoothCurve.through(np.zeros(1), np.zeros(1))
    place = np.array(sorted(chosen))
    at, part = np.array([chosen[score] for score in place.tolist()]), law.thinned(PART)
    exact = part.cdf(np.array([signal]), law.shared_responses(levels).part(at, PART))
    rough_part = part.approximate_cdf(signal, shape.part(at, PART))
    return SmoothCurve.through(place, scores_of(exact) - scores_of(rough_part))
