"""An asymmetric Whittaker baseline: the current decides about its weights, so the signal is not linear in it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from brinemark.terms.arrays import BoolArray, FloatArray
from brinemark.terms.errors import Refused

STIFFNESS = 1e7
"""Penalty on the second differences for REFERENCE_POINTS points in the window (our choice, by simulation) ..."""

REFERENCE_POINTS = 361
"""... scaled by the fourth power of the points, so that finer steps give the same curve."""

MOST_POINTS = 4000
"""Beyond these the penalty outgrows double precision."""

ASYMMETRY = 0.01
"""Weight of a point above the baseline; one below weighs 1 less this (common practice, no source)."""

SOFTER = 0.1
"""Factor on the penalty of the softer curve that u_baseline compares with."""


@dataclass(frozen=True, slots=True, eq=False)
class Whittaker:
    """The smoother with its weights held: z = (W + penalty D'D)^-1 W y, and the level it leaves taken off.

    weights : (m,) the diagonal of W; band : (3, m) upper band of W + penalty D'D; inside : (m,) points whose mean
    above the baseline is made 0. Asymmetric weights put the curve at the lower edge of the noise; the mean over
    the points inside, which is taken off the wave's shape too, makes up for that.
    """

    weights: FloatArray
    band: FloatArray
    inside: BoolArray

    def _solve(self, right: FloatArray) -> FloatArray:
        from scipy.linalg import solveh_banded

        return np.asarray(solveh_banded(self.band, right, check_finite=False), dtype=np.float64)

    def line(self, current: FloatArray) -> FloatArray:
        """The baseline of a current (m,): the smooth curve and the mean of what is left above it."""
        return np.asarray(current - self.above(current), dtype=np.float64)

    def above(self, current: FloatArray) -> FloatArray:
        """C y = M (y - z), M taking the mean over the points inside off; linear while the weights are held."""
        left = current - self._solve(self.weights * current)
        return np.asarray(left - left[self.inside].mean(), dtype=np.float64)

    def transposed(self, weights: FloatArray) -> FloatArray:
        """C^T p: the weights on the raw current that do what p does to the current above the baseline."""
        free = weights - np.where(self.inside, float(weights.sum()) / int(self.inside.sum()), 0.0)
        return np.asarray(free - self.weights * self._solve(free), dtype=np.float64)


def make_whittakers(current: FloatArray, insides: tuple[BoolArray, ...]) -> list[Whittaker]:
    """A baseline for every set of points `insides` (m,), then a softer one for the first, all with the same weights.

    The weights are the last ones of asymmetric least squares on the current (m,): Eilers, Analytical Chemistry 76
    (2004) 404-411, doi 10.1021/ac034800e, by pybaselines. Points outside a set have weight 0.

    Raises Refused for more than MOST_POINTS points.
    """
    points = current.size
    if points > MOST_POINTS:
        raise Refused(
            f"{points} points in the window for a whittaker baseline",
            f"at most {MOST_POINTS}",
            'write baseline = "polynomial" or "chord"',
        )
    penalty = STIFFNESS * (points / REFERENCE_POINTS) ** 4
    weights = _asymmetric_weights(current, penalty)
    found = [_held(np.where(inside, weights, 0.0), penalty, inside) for inside in insides]
    return [*found, _held(np.where(insides[0], weights, 0.0), SOFTER * penalty, insides[0])]


def _asymmetric_weights(current: FloatArray, penalty: float) -> FloatArray:
    from pybaselines.whittaker import asls

    size = float(np.ptp(current)) or 1.0
    _, found = asls((current - current.mean()) / size, lam=penalty, p=ASYMMETRY)
    return np.asarray(found["weights"], dtype=np.float64)


def _held(weights: FloatArray, penalty: float, inside: BoolArray) -> Whittaker:
    """D'D of the second differences has 1, 5, 6 ... 6, 5, 1 on its diagonal, -2, -4 ... and 1 beside it."""
    band = np.zeros((3, weights.size))
    differences = np.ones(weights.size - 2)
    for place, factor in enumerate((1.0, -2.0, 1.0)):
        for other, beside in enumerate((1.0, -2.0, 1.0)[place:], start=place):
            band[2 - (other - place), other : other + differences.size] += penalty * factor * beside * differences
    band[2] += weights
    return Whittaker(weights, band, inside)
