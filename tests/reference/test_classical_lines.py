"""Straight lines, plain and weighted, and their limits against worked examples and on known truth."""

from __future__ import annotations

import math

import numpy as np
import pytest

from brinemark.science.amount.classical import fit_line, fit_linear, line_at, line_limits, read_line
from brinemark.terms.arrays import FloatArray
from brinemark.terms.errors import Refused
from reference import fluorescein, thermometer, weighted_line

HALF_DIGIT = 0.5
ROUNDED_ON_THE_WAY = 0.6  # of the last printed digit: the print used rounded intermediate results
TABLE_DIGITS = 1e-6
EXACT = 1e-9


def fluorescein_data() -> tuple[FloatArray, FloatArray]:
    return np.array(fluorescein.LEVEL), np.array(fluorescein.INTENSITY)


def weighted_data() -> tuple[FloatArray, FloatArray, FloatArray]:
    return np.array(weighted_line.LEVEL), np.array(weighted_line.ABSORBANCE), np.array(weighted_line.SD) ** -2.0


def test_the_fluorescein_line_is_the_printed_one() -> None:
    x, y = fluorescein_data()
    line = fit_line(x, y)
    assert line.slope == pytest.approx(fluorescein.SLOPE, abs=HALF_DIGIT * 1e-2)
    assert line.u_slope == pytest.approx(fluorescein.SLOPE_SE, abs=HALF_DIGIT * 1e-4)
    assert line.intercept == pytest.approx(fluorescein.INTERCEPT, abs=HALF_DIGIT * 1e-2)
    assert line.u_intercept == pytest.approx(fluorescein.INTERCEPT_SE, abs=HALF_DIGIT * 1e-3)
    assert line.residual_sd == pytest.approx(fluorescein.RESIDUAL_SD, abs=ROUNDED_ON_THE_WAY * 1e-4)
    total = float(np.sum((y - y.mean()) ** 2))
    assert line.slope * math.sqrt(line.sxx / total) == pytest.approx(fluorescein.CORRELATION, abs=HALF_DIGIT * 1e-4)


@pytest.mark.parametrize(("signal", "readings", "level", "u"), fluorescein.INVERSE)
def test_fluorescein_levels_are_read_back_as_printed(signal: float, readings: int, level: float, u: float) -> None:
    found, found_u = read_line(fit_line(*fluorescein_data()), signal, readings)
    assert found == pytest.approx(level, abs=HALF_DIGIT * 1e-2)
    assert found_u == pytest.approx(u, abs=HALF_DIGIT * 1e-2)


@pytest.mark.parametrize(("alpha", "signal", "critical", "detectable", "delta"), fluorescein.LIMITS)
def test_fluorescein_limits_are_those_of_the_standard(
    alpha: float, signal: float, critical: float, detectable: float, delta: float
) -> None:
    limits = line_limits(fit_line(*fluorescein_data()), alpha, alpha)
    assert limits.critical_signal == pytest.approx(signal, rel=EXACT)
    assert limits.critical_level == pytest.approx(critical, rel=EXACT)
    assert limits.minimum_detectable == pytest.approx(detectable, rel=TABLE_DIGITS)
    assert limits.delta == pytest.approx(delta, rel=TABLE_DIGITS)


def test_limits_of_a_third_set_agree_with_an_independent_evaluation_of_the_standard() -> None:
    """The absorbances of the weighted example, taken as of equal sd; regression and noncentral t by scipy.stats."""
    from scipy.optimize import brentq
    from scipy.stats import linregress, nct, t

    x, y, _ = weighted_data()
    found = line_limits(fit_line(x, y))
    other = linregress(x, y)
    df = x.size - 2
    sd = math.sqrt(float(np.sum((y - other.intercept - other.slope * x) ** 2)) / df)
    spread = math.sqrt(1.0 + 1.0 / x.size + x.mean() ** 2 / float(np.sum((x - x.mean()) ** 2)))
    quantile = float(t.ppf(0.95, df))
    delta = brentq(lambda d: float(nct.cdf(quantile, df, d)) - 0.05, 1.0, 10.0, xtol=1e-12)
    assert found.critical_level == pytest.approx(quantile * sd * spread / other.slope, rel=EXACT)
    assert found.minimum_detectable == pytest.approx(delta * sd * spread / other.slope, rel=TABLE_DIGITS)


def test_the_weighted_line_is_the_printed_one_and_differs_from_the_plain_one() -> None:
    x, y, weights = weighted_data()
    weighted, plain = fit_line(x, y, weights), fit_line(x, y)
    assert weights / weights.mean() == pytest.approx(weighted_line.WEIGHTS, abs=HALF_DIGIT * 1e-3)
    assert weighted.slope == pytest.approx(weighted_line.SLOPE, abs=HALF_DIGIT * 1e-4)
    assert weighted.intercept == pytest.approx(weighted_line.INTERCEPT, abs=HALF_DIGIT * 1e-4)
    assert plain.slope == pytest.approx(weighted_line.UNWEIGHTED_SLOPE, abs=HALF_DIGIT * 1e-4)
    assert plain.intercept == pytest.approx(weighted_line.UNWEIGHTED_INTERCEPT, abs=HALF_DIGIT * 1e-4)


def test_the_weighted_line_agrees_with_a_polynomial_fit_of_another_library() -> None:
    x, y, weights = weighted_data()
    line = fit_line(x, y, weights)
    (slope, intercept), covariance = np.polyfit(x, y, 1, w=np.sqrt(weights), cov=True)
    assert (line.slope, line.intercept) == pytest.approx((slope, intercept), rel=EXACT)
    assert (line.u_slope, line.u_intercept) == pytest.approx(np.sqrt(np.diag(covariance)), rel=EXACT)


def test_weights_of_one_size_change_nothing_and_double_readings_equal_weight_two() -> None:
    x, y, _ = weighted_data()
    plain, same = fit_line(x, y), fit_line(x, y, np.full(x.size, 7.0))
    assert same == plain
    heavy = fit_line(x, y, np.where(x < 3.0, 2.0, 1.0))
    twice = fit_line(np.append(x, x[:2]), np.append(y, y[:2]))
    assert (heavy.slope, heavy.intercept, heavy.mean_x) == pytest.approx((twice.slope, twice.intercept, twice.mean_x))


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan, math.inf])
def test_a_weight_that_is_no_weight_is_refused(bad: float) -> None:
    x, y, weights = weighted_data()
    with pytest.raises(Refused, match="weight above 0"):
        fit_line(x, y, np.append(weights[:-1], bad))
    with pytest.raises(Refused, match="5 weights for 6 readings"):
        fit_line(x, y, weights[:-1])


def test_weighted_inverse_prediction_holds_its_coverage_on_known_truth() -> None:
    """4,000 weighted lines with sd in proportion to the signal; t interval of a new signal of known weight."""
    from scipy.special import stdtrit

    rng = np.random.default_rng(411)
    trials, x = 4_000, np.repeat([0.5, 1.0, 2.0, 4.0, 8.0], 2)
    height, level = 0.1 + x, 3.0
    t = float(stdtrit(x.size - 2, 0.975))
    # The sample's weight on the scale on which the standards' weights have mean 1.
    weight = (0.1 + level) ** -2.0 / np.mean(height**-2.0)
    held = 0
    for _ in range(trials):
        line = fit_line(x, height * (1.0 + 0.02 * rng.normal(size=x.size)), height**-2.0)
        found, u = read_line(line, (0.1 + level) * (1.0 + 0.02 * rng.normal()), weight)
        held += abs(found - level) <= t * u
    assert held / trials == pytest.approx(0.95, abs=3.0 * math.sqrt(0.95 * 0.05 / trials))


def test_the_thermometer_line_is_the_printed_one_with_its_correlation() -> None:
    x, y = np.array(thermometer.READING) - thermometer.ABOUT, np.array(thermometer.CORRECTION)
    line = fit_line(x, y)
    assert line.intercept == pytest.approx(thermometer.INTERCEPT, abs=HALF_DIGIT * 1e-4)
    assert line.u_intercept == pytest.approx(thermometer.INTERCEPT_SE, abs=HALF_DIGIT * 1e-4)
    assert line.slope == pytest.approx(thermometer.SLOPE, abs=HALF_DIGIT * 1e-5)
    assert line.u_slope == pytest.approx(thermometer.SLOPE_SE, abs=HALF_DIGIT * 1e-5)
    assert line.residual_sd == pytest.approx(thermometer.RESIDUAL_SD, abs=HALF_DIGIT * 1e-4)
    fit = fit_linear(np.column_stack([np.ones_like(x), x]), y)
    correlation = fit.covariance[0, 1] / (fit.sd[0] * fit.sd[1])
    assert correlation == pytest.approx(thermometer.CORRELATION, abs=HALF_DIGIT * 1e-3)


def test_the_thermometer_s_correction_beyond_its_readings_is_the_printed_one() -> None:
    x, y = np.array(thermometer.READING) - thermometer.ABOUT, np.array(thermometer.CORRECTION)
    value, u = line_at(fit_line(x, y), thermometer.AT - thermometer.ABOUT)
    assert value == pytest.approx(thermometer.CORRECTION_AT, abs=HALF_DIGIT * 1e-4)
    assert u == pytest.approx(thermometer.CORRECTION_AT_SE, abs=HALF_DIGIT * 1e-4)
    # Guide, H.3.4: the same from the two uncertainties and the correlation of the parameters.
    fit = fit_linear(np.column_stack([np.ones_like(x), x]), y)
    design = np.array([1.0, thermometer.AT - thermometer.ABOUT])
    assert u == pytest.approx(math.sqrt(design @ fit.covariance @ design), rel=EXACT)
