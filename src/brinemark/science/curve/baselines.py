"""Polynomial baselines of a window: fitted outside the wave, and as linear in the current as the chord."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from brinemark.science.curve.chord import END_SHARE
from brinemark.terms.arrays import BoolArray, FloatArray
from brinemark.terms.errors import Refused

CHORD = "chord"
POLYNOMIAL = "polynomial"
WHITTAKER = "whittaker"
BASELINES = (CHORD, POLYNOMIAL, WHITTAKER)

DEGREE = 3
"""Degree of the polynomial (our choice): a parabola follows a bow, the cube a wave that is not in the middle."""

OUTSIDE_SHARE = 0.1
"""A point is outside the wave where the wave above its chord is below this share of its largest value (our choice)."""

POINTS_PER_TERM = 2
"""Fewest points outside the wave for each term of the polynomial."""


@dataclass(frozen=True, slots=True, eq=False)
class Polynomial:
    """Least-squares polynomial of degree DEGREE through the points outside the wave.

    terms : (m, DEGREE + 1) Legendre polynomials of the potential at every point; outside : (m, DEGREE + 1) an
    orthonormal basis of the same terms on the points outside the wave, 0 elsewhere; solve : (DEGREE + 1, DEGREE + 1)
    from products with that basis to coefficients.
    """

    terms: FloatArray
    outside: FloatArray
    solve: FloatArray

    def line(self, current: FloatArray) -> FloatArray:
        """The polynomial of a current (m,), at every point of the window."""
        return np.asarray(self.terms @ (self.solve @ (self.outside.T @ current)), dtype=np.float64)

    def above(self, current: FloatArray) -> FloatArray:
        """C y = y - line(y): the current above its polynomial; a linear operator with C C = C."""
        return np.asarray(current - self.line(current), dtype=np.float64)

    def transposed(self, weights: FloatArray) -> FloatArray:
        """C^T p: the weights on the raw current that do what p does to the current above the polynomial."""
        return np.asarray(weights - self.outside @ (self.solve.T @ (self.terms.T @ weights)), dtype=np.float64)


def outside_points(potential_V: FloatArray, window_V: tuple[float, float], above_chord: FloatArray) -> BoolArray:
    """(m,) True for points of the window [V] outside the wave, and for those in its outer END_SHARE on either side."""
    low, high = window_V
    inside = (potential_V >= low) & (potential_V <= high)
    width = END_SHARE * (high - low)
    ends = (potential_V <= low + width) | (potential_V >= high - width)
    size = np.abs(above_chord)
    return np.asarray(inside & (ends | (size < OUTSIDE_SHARE * float(size[inside].max()))), dtype=bool)


def make_polynomial(potential_V: FloatArray, window_V: tuple[float, float], above_chord: FloatArray) -> Polynomial:
    """Polynomial baseline of the window [V] on points potential_V (m,), which may reach beyond it.

    above_chord : (m,) the expected wave above its chord, which says where the wave is: the points that carry the
    polynomial lie where it is below OUTSIDE_SHARE of its largest value, or in the outer END_SHARE of the window
    on either side. They depend on potentials, window and wave alone, never on the current.

    Raises Refused when fewer than POINTS_PER_TERM points a term are outside the wave.
    """
    low, high = window_V
    outside = outside_points(potential_V, window_V, above_chord)
    _check_outside(outside)
    place = (2.0 * potential_V - low - high) / (high - low)
    terms = np.asarray(np.polynomial.legendre.legvander(place, DEGREE), dtype=np.float64)
    basis, triangle = np.linalg.qr(np.where(outside[:, None], terms, 0.0))
    solve = np.asarray(np.linalg.inv(triangle), dtype=np.float64)
    return Polynomial(terms, np.asarray(basis, dtype=np.float64), solve)


def _check_outside(outside: BoolArray) -> None:
    needed = POINTS_PER_TERM * (DEGREE + 1)
    if int(outside.sum()) < needed:
        raise Refused(
            f"{int(outside.sum())} points outside the wave for a polynomial baseline",
            f"at least {needed}",
            'widen window_V, record smaller steps, or write baseline = "chord"',
        )
