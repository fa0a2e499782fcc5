"""Two methods on the same samples: lines with errors in both, limits of agreement, found or not found."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from brinemark.science.distributions import student_quantile
from brinemark.science.fish.proportions import normal_quantile
from brinemark.terms.arrays import FloatArray
from brinemark.terms.errors import Refused
from brinemark.terms.surveillance import FittedLine, Interval, LimitsOfAgreement

MAX_STEPS = 500
SETTLED = 1e-13
FEWEST_PAIRS = 3


def line_with_errors(x: FloatArray, y: FloatArray, u_x: FloatArray, u_y: FloatArray, level: float = 0.95) -> FittedLine:
    """Maximum likelihood line through points whose x and y both have known standard uncertainties, uncorrelated.

    Slope by the fixed point b = sum(W beta V)/sum(W beta U) with W = 1/(u_y^2 + b^2 u_x^2); standard errors at the
    adjusted points: Unified equations for the slope, intercept, and standard errors of the best straight line, American
    Journal of Physics 72 (2004) 367, doi 10.1119/1.1632486, equations 13a-13d. Intervals: Student's t with n - 2; the
    standard errors are not enlarged by the scatter about the line, which is returned as sum W r^2/(n - 2).

    Refused: fewer than 3 points, uncertainties not above 0, no spread in x, no convergence.
    """
    _check(x, y, u_x, u_y)
    start = np.polyfit(x, y, 1)[0]
    slope, weight, beta = float(start), np.ones_like(x), np.zeros_like(x)
    for _ in range(MAX_STEPS):
        before = slope
        weight = 1.0 / (u_y**2 + (slope * u_x) ** 2)
        u, v = x - np.average(x, weights=weight), y - np.average(y, weights=weight)
        beta = weight * (u * u_y**2 + slope * v * u_x**2)
        slope = float(np.sum(weight * beta * v) / np.sum(weight * beta * u))
        if abs(slope - before) <= SETTLED * abs(slope):
            return _line_at(slope, (x, y), weight, beta, level)
    raise Refused(
        f"{x.size} pairs through which no line settles", "pairs along a line", "look at a chart of the pairs for strays"
    )


def ranked_line(x: FloatArray, y: FloatArray, level: float = 0.95) -> FittedLine:
    """Line from the ranked slopes of all pairs of points: the same whichever method is called x, strays matter little.

    Slope: median of the pair slopes, shifted by the number of slopes below -1; slopes of exactly -1 and of identical
    points are left out; intercept: median of y - slope x; interval of the slope from ranks by Kendall's variance, of
    the intercept from the slope's ends. Source: A new biometrical procedure for testing the equality of measurements
    from two different analytical methods, Journal of Clinical Chemistry and Clinical Biochemistry 21 (1983) 709,
    doi 10.1515/cclm.1983.21.11.709. Assumes a slope near or above 0 and scatter of both methods in a fixed ratio.

    Refused: fewer than 3 points, no usable slope.
    """
    _check(x, y)
    slopes = _pair_slopes(x, y)
    count = slopes.size
    if count == 0:
        raise Refused(f"{x.size} pairs without a slope", "pairs at different levels", "compare at more levels")
    shift = int(np.sum(slopes < -1.0))
    half = _rank_half_width(x.size, level)
    low = round(0.5 * (count - half))
    slope = _ranked(slopes, 0.5 * (count + 1) + shift)
    lower, upper = _ranked(slopes, low + shift), _ranked(slopes, count - low + 1 + shift)
    intercept = float(np.median(y - slope * x))
    ends = Interval(float(np.median(y - upper * x)), float(np.median(y - lower * x)))
    return FittedLine(intercept, slope, ends, Interval(lower, upper))


def limits_of_agreement(
    x: FloatArray, y: FloatArray, level: float = 0.95, multiple: float | None = None
) -> LimitsOfAgreement:
    """Mean of y - x and mean +- multiple x sd (1.96 unless given), each with an interval by Student's t.

    Standard errors sd/sqrt(n) of the mean and sd sqrt(3/n) of a limit (approximate): Statistical methods for assessing
    agreement between two methods of clinical measurement, Lancet 327 (1986) 307, doi 10.1016/S0140-6736(86)90837-8.
    Refused: fewer than 3 pairs.
    """
    _check(x, y, spread=False)
    differences = y - x
    n = differences.size
    bias, sd = float(np.mean(differences)), float(np.std(differences, ddof=1))
    reach = sd * (normal_quantile(0.975) if multiple is None else multiple)
    t = student_quantile(0.5 + 0.5 * level, n - 1)
    mean_half, limit_half = t * sd / math.sqrt(n), t * sd * math.sqrt(3.0 / n)
    low, high = bias - reach, bias + reach
    return LimitsOfAgreement(
        bias, sd, low, high, _about(bias, mean_half), _about(low, limit_half), _about(high, limit_half)
    )


def exact_mcnemar(first_only: int, second_only: int) -> float:
    """Two-sided exact p that the discordant pairs fall either way alike: binomial with 1/2, 1 when there are none."""
    from scipy.special import bdtr

    discordant = first_only + second_only
    if min(first_only, second_only) < 0:
        raise Refused("a negative number of pairs", "counts from 0 up", "count the pairs again")
    if discordant == 0:
        return 1.0
    return min(1.0, 2.0 * float(bdtr(min(first_only, second_only), discordant, 0.5)))


def _line_at(
    slope: float, points: tuple[FloatArray, FloatArray], weight: FloatArray, beta: FloatArray, level: float
) -> FittedLine:
    x, y = points
    middle_x, middle_y = (float(np.average(values, weights=weight)) for values in (x, y))
    intercept = middle_y - slope * middle_x
    adjusted = middle_x + beta
    middle = float(np.average(adjusted, weights=weight))
    slope_error = 1.0 / math.sqrt(float(np.sum(weight * (adjusted - middle) ** 2)))
    intercept_error = math.sqrt(1.0 / float(np.sum(weight)) + (middle * slope_error) ** 2)
    scatter = float(np.sum(weight * (y - intercept - slope * x) ** 2)) / (x.size - 2)
    t = student_quantile(0.5 + 0.5 * level, x.size - 2)
    return FittedLine(intercept, slope, _about(intercept, t * intercept_error), _about(slope, t * slope_error), scatter)


def _pair_slopes(x: FloatArray, y: FloatArray) -> FloatArray:
    """Sorted slopes; a vertical pair counts as infinite with the sign of its rise."""
    one, other = np.triu_indices(x.size, 1)
    run, rise = x[other] - x[one], y[other] - y[one]
    apart = (run != 0.0) | (rise != 0.0)
    with np.errstate(divide="ignore"):
        slopes = rise[apart] / np.where(run[apart] == 0.0, 0.0, run[apart])
    return np.sort(slopes[slopes != -1.0])


def _rank_half_width(n: int, level: float) -> float:
    z = normal_quantile(0.5 + 0.5 * level)
    return z * math.sqrt(n * (n - 1) * (2 * n + 5) / 18.0)


def _ranked(slopes: FloatArray, rank: float) -> float:
    """Value at a rank from 1, the mean of two neighbours at a half; infinite beyond the first and the last."""
    if rank < 1:
        return -math.inf
    if rank > slopes.size:
        return math.inf
    low, high = math.floor(rank), math.ceil(rank)
    return float(slopes[low - 1]) if low == high else float(0.5 * (slopes[low - 1] + slopes[high - 1]))


def _about(middle: float, half: float) -> Interval:
    return Interval(middle - half, middle + half)


def _check(x: FloatArray, y: FloatArray, *uncertainties: FloatArray, spread: bool = True) -> None:
    every: Sequence[FloatArray] = (x, y, *uncertainties)
    if x.size < FEWEST_PAIRS or any(values.shape != x.shape for values in every):
        raise Refused(f"{x.size} pairs", f"at least {FEWEST_PAIRS} pairs, complete", "measure more split samples")
    if not all(np.all(np.isfinite(values)) for values in every):
        raise Refused("a value that is not finite", "finite values in every pair", "leave out or correct the pair")
    if any(np.any(values <= 0.0) for values in uncertainties):
        raise Refused("an uncertainty not above 0", "standard uncertainties above 0", "give the uncertainty")
    if spread and np.ptp(x) == 0.0:
        raise Refused("pairs that are all at one level of the first method", "several levels", "compare at more levels")
