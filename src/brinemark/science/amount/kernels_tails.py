"""Tail probabilities of one signal in compiled loops, averaged over the draws: the sums of law.py, formulas there.

The normal distribution is the table of normal.py; two of its four coefficients are worked out from the place in the
table, so that fewer numbers are looked up. Sums run in eight rows, which the compiler takes at once.
"""

from __future__ import annotations

from math import sqrt

import numpy as np

from brinemark.science.amount.kernels_base import (
    LN2_HIGH,
    LN2_LOW,
    ONE_BITS,
    ROOT_HALF_BITS,
    ROUND,
    ROUND_BITS,
    bits_of,
    compiled,
    exponential,
    number_of,
)
from brinemark.science.amount.normal import DENSITY, PER_UNIT, REACH, VALUE
from brinemark.terms.arrays import FloatArray

FIRST = int(REACH * PER_UNIT) - ROUND_BITS
ROWS = 8  # sums beside each other


@compiled
def normal(z: float) -> float:
    """P(Z <= z): third-order Taylor steps from the nearest of the table's places."""
    steps = min(max(z, -REACH), REACH) * PER_UNIT
    shifted = steps + ROUND
    place = shifted - ROUND
    i = np.uint64(bits_of(shifted) + FIRST)
    rest, place = (steps - place) * (1.0 / PER_UNIT), place * (1.0 / PER_UNIT)
    turn = place * rest
    bent = 1.0 - 0.5 * turn + (turn * turn - rest * rest) * (1.0 / 6.0)
    return VALUE[i] + DENSITY[i] * (rest * bent)


@compiled
def log_ratio(a: float, b: float) -> float:
    """ln(a / b) of positive ordinary numbers, by one division: k ln 2 + 2 artanh(s), s = (m - b) / (m + b), where
    m = a / 2^k is within a factor of 1.6 of b. The series is summed in pairs, which wait less for each other."""
    k = (bits_of(a) - bits_of(b) + (ONE_BITS - ROOT_HALF_BITS)) >> 52
    m = number_of(bits_of(a) - (k << 52))
    power = number_of(k + ROUND_BITS) - ROUND
    s = (m - b) / (m + b)
    q = s * s
    r = q * q
    t = r * r
    low = (1.0 / 3.0 + q * (1.0 / 5.0)) + r * (1.0 / 7.0 + q * (1.0 / 9.0))
    middle = (1.0 / 11.0 + q * (1.0 / 13.0)) + r * (1.0 / 15.0 + q * (1.0 / 17.0))
    high = (1.0 / 19.0 + q * (1.0 / 21.0)) + r * (1.0 / 23.0)
    p = low + t * (middle + t * high)
    return power * LN2_HIGH + (2.0 * s + (2.0 * s * q * p + power * LN2_LOW))


@compiled
def mean_of(values: FloatArray) -> float:
    """Of (M,) values."""
    sums = np.zeros(ROWS)
    whole = values.size - values.size % ROWS
    for first in range(0, whole, ROWS):
        for row in range(ROWS):
            sums[row] += values[first + row]
    total = 0.0
    for row in range(ROWS):
        total += sums[row]
    for last in range(whole, values.size):
        total += values[last]
    return total / values.size


@compiled
def approximate(factor: FloatArray, gain: FloatArray, below: bool, k: FloatArray, growth: FloatArray) -> FloatArray:
    """(n,) : by the normal scale; factor, gain : (M,) of k and of growth; below : whether the signal is below 0; k,
    growth : (n, M)."""
    found, row = np.empty(k.shape[0]), np.empty(k.shape[1])
    for n in range(k.shape[0]):
        for m in range(row.size):
            a, b = k[n, m] * factor[m], growth[n, m] * gain[m]
            above, under = sqrt(a * a + 1.0) + a, sqrt(b * b + 1.0) + b
            apart = log_ratio(1.0, above * under) if below else log_ratio(above, under)
            row[m] = normal(apart / k[n, m])
        found[n] = mean_of(row)
    return found


@compiled
def by_node(
    signal: FloatArray,
    middle: FloatArray,
    spread: FloatArray,
    additive: FloatArray,
    cv: FloatArray,
    nodes: FloatArray,
) -> FloatArray:
    """(n, N) : of signals (n,) at every node (N,) of the own gain, evenly spaced; middle, spread : (n, M) of the log
    response; additive, cv : (M,) of the noise, a variance the former."""
    found, row = np.empty((middle.shape[0], nodes.size)), np.empty(middle.shape[1])
    mean, growth, apart = np.empty(row.size), np.empty(row.size), nodes[1] - nodes[0]
    for n in range(middle.shape[0]):
        for m in range(row.size):
            mean[m] = exponential(middle[n, m] + spread[n, m] * nodes[0])
            growth[m] = exponential(spread[n, m] * apart)
        for i in range(nodes.size):
            for m in range(row.size):
                part = cv[m] * mean[m]
                row[m] = normal((signal[n] - mean[m]) / sqrt(additive[m] + part * part))
                mean[m] *= growth[m]
            found[n, i] = mean_of(row)
    return found
