"""The exponential of many small matrices at once.

Scaling and squaring with the diagonal Pade approximant of degree 13 (SIAM Journal on Matrix Analysis and Applications
26 (2005) 1179, doi 10.1137/04061101X, algorithm 2.3; from memory), each matrix with its own number of squarings. A
library's function takes them one by one: for 400 matrices of 5 by 5 it took about ten times as long.
"""

from __future__ import annotations

import math

import numpy as np

from brinemark.terms.arrays import FloatArray

DEGREE = 13
LARGEST_NORM = 5.371920351148152  # 1-norm up to which degree 13 is exact to rounding (table 2.3 there)
COEFFICIENTS = tuple(
    math.factorial(2 * DEGREE - j)
    * math.factorial(DEGREE)
    / (math.factorial(2 * DEGREE) * math.factorial(DEGREE - j) * math.factorial(j))
    for j in range(DEGREE + 1)
)


def exponential(matrices: FloatArray) -> FloatArray:
    """exp of each of the matrices (many, n, n)."""
    norm = np.abs(matrices).sum(axis=-2).max(axis=-1)
    squarings = np.ceil(np.log2(np.maximum(norm / LARGEST_NORM, 1.0))).astype(int)
    found = _pade(matrices * 2.0 ** -squarings[:, None, None])
    for done in range(int(squarings.max(initial=0))):
        again = squarings > done
        found[again] = found[again] @ found[again]
    return found


def _pade(A: FloatArray) -> FloatArray:
    """(V - U)^-1 (V + U), U the odd and V the even part of the numerator."""
    b, one = COEFFICIENTS, np.eye(A.shape[-1])
    A2 = A @ A
    A4 = A2 @ A2
    A6 = A4 @ A2
    U = A @ (A6 @ (b[13] * A6 + b[11] * A4 + b[9] * A2) + b[7] * A6 + b[5] * A4 + b[3] * A2 + b[1] * one)
    V = A6 @ (b[12] * A6 + b[10] * A4 + b[8] * A2) + b[6] * A6 + b[4] * A4 + b[2] * A2 + b[0] * one
    return np.asarray(np.linalg.solve(V - U, V + U))
