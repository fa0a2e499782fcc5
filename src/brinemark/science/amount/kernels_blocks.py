"""Symmetric 3 x 3 blocks in compiled loops: made positive definite, inverse, lower and upper root (newton.py)."""

from __future__ import annotations

from math import isfinite, sqrt

import numpy as np

from brinemark.science.amount.kernels_base import compiled, uncounted
from brinemark.science.amount.newton import FLOOR as LEAST
from brinemark.science.amount.newton import THINNEST
from brinemark.terms.arrays import FloatArray


@compiled
def positive(block: FloatArray) -> FloatArray:
    """A symmetric 3 x 3 block with absolute eigenvalues, floored, where it is not positive definite."""
    sound = np.empty((3, 3))
    for i in range(3):
        for j in range(3):
            sound[i, j] = block[i, j] if isfinite(block[i, j]) else (1.0 if i == j else 0.0)
    if is_positive(sound, LEAST):
        return sound
    values, vectors = np.linalg.eigh(sound)
    size = np.abs(values)
    size = np.maximum(size, max(LEAST, 2.0 * THINNEST * size.max()))
    return np.ascontiguousarray(vectors * size) @ np.ascontiguousarray(vectors.T)


@uncounted
def is_positive(block: FloatArray, least: float) -> bool:
    """Whether block - least times the unit matrix is positive definite, by the leading minors; nan is not."""
    a, b, c = block[0, 0] - least, block[1, 1] - least, block[2, 2] - least
    two = a * b - block[0, 1] * block[1, 0]
    three = (
        c * two
        - block[2, 1] * (a * block[1, 2] - block[1, 0] * block[0, 2])
        + block[2, 0] * (block[0, 1] * block[1, 2] - b * block[0, 2])
    )
    return a > 0.0 and two > 0.0 and three > 0.0


@compiled
def inverse(block: FloatArray) -> FloatArray:
    """Of a symmetric 3 x 3 block, after it is made positive definite."""
    m = positive(block)
    cofactor = np.empty((3, 3))
    cofactor[0, 0] = m[1, 1] * m[2, 2] - m[1, 2] * m[2, 1]
    cofactor[1, 1] = m[0, 0] * m[2, 2] - m[0, 2] * m[2, 0]
    cofactor[2, 2] = m[0, 0] * m[1, 1] - m[0, 1] * m[1, 0]
    cofactor[0, 1] = cofactor[1, 0] = m[0, 2] * m[2, 1] - m[0, 1] * m[2, 2]
    cofactor[0, 2] = cofactor[2, 0] = m[0, 1] * m[1, 2] - m[0, 2] * m[1, 1]
    cofactor[1, 2] = cofactor[2, 1] = m[0, 2] * m[1, 0] - m[0, 0] * m[1, 2]
    return cofactor / (m[0, 0] * cofactor[0, 0] + m[0, 1] * cofactor[1, 0] + m[0, 2] * cofactor[2, 0])


@compiled
def root_of(m: FloatArray) -> FloatArray:
    """Lower Cholesky root of a positive definite 3 x 3 block."""
    root = np.zeros((3, 3))
    root[0, 0] = sqrt(m[0, 0])
    root[1, 0], root[2, 0] = m[1, 0] / root[0, 0], m[2, 0] / root[0, 0]
    root[1, 1] = sqrt(m[1, 1] - root[1, 0] ** 2)
    root[2, 1] = (m[2, 1] - root[2, 0] * root[1, 0]) / root[1, 1]
    root[2, 2] = sqrt(m[2, 2] - root[2, 0] ** 2 - root[2, 1] ** 2)
    return root


@compiled
def mend(block: FloatArray) -> None:
    """Make a symmetric 3 x 3 block positive definite in place, where it is not."""
    if not is_positive(block, LEAST):
        block[:] = positive(block)


@uncounted
def inverse_upper_root(m: FloatArray, root: FloatArray) -> None:
    """Into root (3, 3) the upper root of the inverse of a positive definite block: the inverse of its lower root, the
    other way up."""
    first = 1.0 / sqrt(m[0, 0])
    b, c = m[1, 0] * first, m[2, 0] * first
    second = 1.0 / sqrt(m[1, 1] - b * b)
    d = (m[2, 1] - c * b) * second
    third = 1.0 / sqrt(m[2, 2] - c * c - d * d)
    root[0, 0], root[1, 1], root[2, 2] = first, second, third
    root[0, 1], root[1, 2] = -b * first * second, -d * second * third
    root[0, 2] = -(c * first + d * root[0, 1]) * third
    root[1, 0], root[2, 0], root[2, 1] = 0.0, 0.0, 0.0
