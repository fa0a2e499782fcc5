"""Student's t and chi-square without a library: reading a sample needs few of them, and a library takes long to load.

Sources are chapters of the Digital Library of Mathematical Functions (https://dlmf.nist.gov).
"""

from __future__ import annotations

import math

SETTLED = 1e-15
TINY = 1e-300
MAX_STEPS = 10_000
FEWEST_HALVES = 40.0


def student_above(t: float, freedom: float) -> float:
    """P(T > t) of Student's t with any positive degrees of freedom, accurate relatively in the far tail.

    Half the incomplete beta function I_x(freedom/2, 1/2) at x = freedom/(freedom + t^2) for t >= 0 (DLMF 8.17(i)).
    """
    if t < 0.0:
        return 1.0 - student_above(-t, freedom)
    square = t * t / freedom
    x, rest = 1.0 / (1.0 + square), square / (1.0 + square)
    half = 0.5 * freedom
    if x < (half + 1.0) / (half + 2.5):
        return 0.5 * _beta_tail(x, rest, half, 0.5)
    return 0.5 - 0.5 * _beta_tail(rest, x, 0.5, half)


def student_quantile(probability: float, freedom: float) -> float:
    """t with P(T <= t) = probability, between 0 and 1; to about 1e-12 of t.

    Newton's method for log P(T > t) as a function of log t, which falls ever more steeply: after one step every guess
    lies beyond the root and comes down to it.
    """
    if not 0.0 < probability < 1.0:
        raise ValueError(f"a probability of {probability:g}")
    if probability == 0.5:
        return 0.0
    if probability < 0.5:
        return -_upper_quantile(probability, freedom)
    return _upper_quantile(1.0 - probability, freedom)


def _upper_quantile(tail: float, freedom: float) -> float:
    from statistics import NormalDist

    t = -NormalDist().inv_cdf(tail)
    for _ in range(MAX_STEPS):
        above = student_above(t, freedom)
        step = math.log(above / tail) * above / (t * _student_density(t, freedom))
        t *= math.exp(step)
        if abs(step) < 1e-13:
            break
    return t


def _student_density(t: float, freedom: float) -> float:
    scale = _gamma_ratio(0.5 * freedom) / math.sqrt(freedom * math.pi)
    return scale * math.exp(-0.5 * (freedom + 1.0) * math.log1p(t * t / freedom))


def chi_square_above(x: float, freedom: int) -> float:
    """P(X > x) of chi-square with whole degrees of freedom >= 1, x >= 0: the finite sum of DLMF 8.4(ii), 8.8.2."""
    half = 0.5 * x
    total, order = (math.erfc(math.sqrt(half)), 0.5) if freedom % 2 else (0.0, 0.0)
    term = math.exp(-half) * half**order / math.gamma(order + 1.0)
    while order < 0.5 * freedom:
        total += term
        order += 1.0
        term *= half / order
    return total


def chi_square_below(x: float, freedom: int) -> float:
    """P(X <= x) as chi_square_above, by the series of DLMF 8.11.4, whose terms are all positive: accurate near 0."""
    half, order = 0.5 * x, 0.5 * freedom
    if half == 0.0:
        return 0.0
    term = math.exp(order * math.log(half) - half - math.lgamma(order + 1.0))
    total = 0.0
    while term > SETTLED * total or half > order:
        total += term
        order += 1.0
        term *= half / order
    return total


def _beta_tail(x: float, rest: float, a: float, b: float) -> float:
    """I_x(a, b) with rest = 1 - x and one of a and b 1/2, for x < (a + 1)/(a + b + 2), where it converges fast.

    The continued fraction DLMF 8.17.22 by the method of Lentz (Applied Optics 15 (1976) 668, doi 10.1364/AO.15.000668).
    """
    if x == 0.0:
        return 0.0
    scale = _gamma_ratio(a if b == 0.5 else b) / math.sqrt(math.pi)  # 1/B(a, b)
    front = scale * math.exp(a * math.log(x) + b * math.log(rest)) / a
    value, above, below = 1.0, 1.0, 0.0
    for step in range(1, MAX_STEPS):
        part, odd = divmod(step, 2)
        if odd:
            factor = -(a + part) * (a + b + part) * x / ((a + 2 * part) * (a + 2 * part + 1.0))
        else:
            factor = part * (b - part) * x / ((a + 2 * part - 1.0) * (a + 2 * part))
        below = 1.0 / (1.0 + factor * below or TINY)
        above = 1.0 + factor / above or TINY
        value *= above * below
        if abs(above * below - 1.0) < SETTLED:
            break
    return front / value


def _gamma_ratio(a: float) -> float:
    """Gamma(a + 1/2)/Gamma(a) without the loss of a difference of logarithms.

    DLMF 5.11.13 from FEWEST_HALVES on, where the first term left out is below 1e-15; below it by 5.5.1.
    """
    factor = 1.0
    while a < FEWEST_HALVES:
        factor *= a / (a + 0.5)
        a += 1.0
    e = 1.0 / a
    tail = 1.0 - e / 8 + e**2 / 128 + 5 * e**3 / 1024 - 21 * e**4 / 32768 - 399 * e**5 / 262144
    tail += 869 * e**6 / 4194304 + 39325 * e**7 / 33554432
    return factor * math.sqrt(a) * tail
