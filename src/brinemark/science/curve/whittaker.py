"""A stiff curve through the points outside the wave: as smooth as the penalty asks, and linear in the current."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from brinemark.science.curve.baselines import outside_points
from brinemark.terms.arrays import FloatArray, IntArray
from brinemark.terms.errors import Refused

KNOTS = 121
"""Places of the window that carry the curve, straight between them; any number of points in it, in any steps."""

STIFFNESS = 3e-4
"""Penalty: mean square misfit outside the wave plus STIFFNESS times the integral of z''(x)^2, x = 0..1 (simulated)."""

SOFTER = 0.1
"""Factor on the penalty of the softer curve that u_baseline compares with."""

FEWEST_OUTSIDE = 8
"""Fewest points outside the wave."""


@dataclass(frozen=True, slots=True, eq=False)
class Whittaker:
    """z = B a with a = (B'WB + penalty D'D)^-1 B'W y: a linear operator on the current (m,).

    left, share : (m,) the knot below each point and its share of the step to the next, which make B;
    weights : (m,) 1 outside the wave and 0 elsewhere, the diagonal of W; band : (3, KNOTS) upper band of the system.
    """

    left: IntArray
    share: FloatArray
    weights: FloatArray
    band: FloatArray

    def line(self, current: FloatArray) -> FloatArray:
        """The curve of a current (m,), at every point of the window."""
        return self._at_points(self._solve(self._onto_knots(self.weights * current)))

    def above(self, current: FloatArray) -> FloatArray:
        """C y = y - line(y): the current above its curve; gives 0 for a straight line."""
        return np.asarray(current - self.line(current), dtype=np.float64)

    def transposed(self, weights: FloatArray) -> FloatArray:
        """C^T p: the weights on the raw current that do what p does to the current above the curve."""
        back = self.weights * self._at_points(self._solve(self._onto_knots(weights)))
        return np.asarray(weights - back, dtype=np.float64)

    def _solve(self, right: FloatArray) -> FloatArray:
        from scipy.linalg import solveh_banded

        return np.asarray(solveh_banded(self.band, right, check_finite=False), dtype=np.float64)

    def _onto_knots(self, values: FloatArray) -> FloatArray:
        """B' v: (KNOTS,)"""
        low = np.bincount(self.left, values * (1.0 - self.share), KNOTS)
        return np.asarray(low + np.bincount(self.left + 1, values * self.share, KNOTS), dtype=np.float64)

    def _at_points(self, knots: FloatArray) -> FloatArray:
        """B a: (m,)"""
        return np.asarray((1.0 - self.share) * knots[self.left] + self.share * knots[self.left + 1], dtype=np.float64)


def make_whittaker(
    potential_V: FloatArray, window_V: tuple[float, float], above_chord: FloatArray, stiffness: float = STIFFNESS
) -> Whittaker:
    """Curve of the window [V] on points potential_V (m,), which may reach beyond it; above_chord as `make_polynomial`.

    The penalised smoother of Analytical Chemistry 75 (2003) 3631, doi 10.1021/ac034173t, with second differences
    and with weight 0 for the points under the wave, on knots instead of points. Which points are outside follows
    from potentials, window and wave, never from the current.

    Raises Refused when fewer than FEWEST_OUTSIDE points are outside the wave.
    """
    outside = outside_points(potential_V, window_V, above_chord)
    if int(outside.sum()) < FEWEST_OUTSIDE:
        raise Refused(
            f"{int(outside.sum())} points outside the wave for a whittaker baseline",
            f"at least {FEWEST_OUTSIDE}",
            'widen window_V, record smaller steps, or write baseline = "chord"',
        )
    first, last = float(potential_V[0]), float(potential_V[-1])
    place = (potential_V - first) * ((KNOTS - 1) / (last - first))
    left = np.clip(place.astype(np.int64), 0, KNOTS - 2)
    share, weights = np.asarray(place - left, dtype=np.float64), outside.astype(np.float64)
    return Whittaker(left, share, weights, _band(left, share, weights, stiffness * int(outside.sum())))


def _band(left: IntArray, share: FloatArray, weights: FloatArray, penalty: float) -> FloatArray:
    """Upper band of B'WB + penalty (KNOTS - 1)^3 D'D: the second differences D give z'' times the step squared."""
    band = np.zeros((3, KNOTS))
    band[2] = np.bincount(left, weights * (1.0 - share) ** 2, KNOTS)
    band[2] += np.bincount(left + 1, weights * share**2, KNOTS)
    band[1, 1:] = np.bincount(left, weights * share * (1.0 - share), KNOTS - 1)
    stiff, differences = penalty * (KNOTS - 1) ** 3, (1.0, -2.0, 1.0)
    for row, factor in enumerate(differences):
        for column, beside in enumerate(differences[row:], start=row):
            band[2 - (column - row), column : column + KNOTS - 2] += stiff * factor * beside
    return band
