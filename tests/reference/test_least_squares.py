"""Least squares against the certified values of NIST, and against published fits."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest

from brinemark.science.amount.classical import (
    fit_curve,
    fit_line,
    fit_linear,
    known_sd_limits,
    line_limits,
    noncentrality,
    read_line,
)
from brinemark.terms.arrays import FloatArray
from brinemark.terms.errors import Refused
from reference import cadmium_a5, nist_linear, nist_nonlinear, noncentral_t, puromycin
from reference.nist_nonlinear import NonlinearSet

VALUE_DIGITS = 8.5
"""Most sets reach 10 and more; the last digits of Thurber's cubics are rounding, and differ between processors (9.07 on
one, above 9.5 on another)."""
SD_DIGITS = 8.0
LINEAR_DIGITS = 9.0
PRINTED_ROUNDING = 0.5

Model = Callable[[FloatArray, FloatArray], FloatArray]


def ratio_of_cubics(b: FloatArray, x: FloatArray) -> FloatArray:
    top: FloatArray = b[0] + b[1] * x + b[2] * x**2 + b[3] * x**3
    bottom: FloatArray = 1 + b[4] * x + b[5] * x**2 + b[6] * x**3
    return top / bottom


MODELS: dict[str, tuple[NonlinearSet, Model]] = {
    "Misra1a": (nist_nonlinear.MISRA1A, lambda b, x: b[0] * (1 - np.exp(-b[1] * x))),
    "Misra1b": (nist_nonlinear.MISRA1B, lambda b, x: b[0] * (1 - (1 + b[1] * x / 2) ** -2.0)),
    "Misra1c": (nist_nonlinear.MISRA1C, lambda b, x: b[0] * (1 - (1 + 2 * b[1] * x) ** -0.5)),
    "Misra1d": (nist_nonlinear.MISRA1D, lambda b, x: b[0] * b[1] * x / (1 + b[1] * x)),
    "DanWood": (nist_nonlinear.DANWOOD, lambda b, x: b[0] * x ** b[1]),
    "MGH09": (nist_nonlinear.MGH09, lambda b, x: b[0] * (x**2 + x * b[1]) / (x**2 + x * b[2] + b[3])),
    "Rat42": (nist_nonlinear.RAT42, lambda b, x: b[0] / (1 + np.exp(b[1] - b[2] * x))),
    "Rat43": (nist_nonlinear.RAT43, lambda b, x: b[0] / (1 + np.exp(b[1] - b[2] * x)) ** (1 / b[3])),
    "Thurber": (nist_nonlinear.THURBER, ratio_of_cubics),
    "Chwirut2": (nist_nonlinear.CHWIRUT2, lambda b, x: np.exp(-b[0] * x) / (b[1] + b[2] * x)),
}


def digits(found: FloatArray, certified: FloatArray) -> float:
    """Fewest digits in which found agrees with certified (log relative error)."""
    error = np.max(np.abs(found - certified) / np.abs(certified))
    return 16.0 if error == 0 else -math.log10(float(error))


@pytest.mark.parametrize("start", ["start1", "start2"])
@pytest.mark.parametrize("name", MODELS)
def test_nonlinear_fit_reaches_the_certified_values_from_both_starts(name: str, start: str) -> None:
    data, model = MODELS[name]
    fit = fit_curve(model, np.array(data.x), np.array(data.y), getattr(data, start))
    assert fit.converged, fit.reason
    assert digits(fit.parameters, np.array(data.value)) > VALUE_DIGITS
    assert digits(fit.sd, np.array(data.sd)) > SD_DIGITS
    assert digits(np.array([fit.rss, fit.residual_sd]), np.array([data.rss, data.residual_sd])) > VALUE_DIGITS


@pytest.mark.parametrize(("name", "powers"), [("NORRIS", (0, 1)), ("PONTIUS", (0, 1, 2)), ("NOINT1", (1,))])
def test_linear_fit_reaches_the_certified_values(name: str, powers: tuple[int, ...]) -> None:
    x, y = np.array(getattr(nist_linear, f"{name}_X")), np.array(getattr(nist_linear, f"{name}_Y"))
    fit = fit_linear(np.column_stack([x**power for power in powers]), y)
    assert digits(fit.coefficients, np.array(getattr(nist_linear, f"{name}_VALUE"))) > LINEAR_DIGITS
    assert digits(fit.sd, np.array(getattr(nist_linear, f"{name}_SD"))) > LINEAR_DIGITS
    assert digits(np.array([fit.residual_sd]), np.array([getattr(nist_linear, f"{name}_RESIDUAL_SD")])) > LINEAR_DIGITS


def test_puromycin_fit_agrees_with_the_published_analysis() -> None:
    x, y = np.array(puromycin.SUBSTRATE), np.array(puromycin.RATE)
    fit = fit_curve(lambda b, c: b[0] * c / (b[1] + c), x, y, (200.0, 0.1))
    assert fit.parameters == pytest.approx([puromycin.VM, puromycin.K], rel=1e-6)
    assert fit.sd == pytest.approx([puromycin.VM_SE, puromycin.K_SE], rel=1e-4)
    assert fit.residual_sd == pytest.approx(puromycin.SIGMA, rel=1e-9)
    assert fit.rss == pytest.approx(puromycin.RSS, rel=1e-9)


def test_equal_weights_change_nothing_and_double_readings_equal_weight_two() -> None:
    x, y = np.array(puromycin.SUBSTRATE), np.array(puromycin.RATE)
    model: Model = lambda b, c: b[0] * c / (b[1] + c)  # noqa: E731
    plain = fit_curve(model, x, y, (200.0, 0.1))
    scaled = fit_curve(model, x, y, (200.0, 0.1), weights=np.full(y.size, 7.0))
    assert scaled.parameters == pytest.approx(plain.parameters, rel=1e-8)
    assert scaled.sd == pytest.approx(plain.sd, rel=1e-6)
    weights = np.where(np.arange(y.size) < 4, 2.0, 1.0)
    heavy = fit_curve(model, x, y, (200.0, 0.1), weights=weights)
    twice = fit_curve(model, np.concatenate([x, x[:4]]), np.concatenate([y, y[:4]]), (200.0, 0.1))
    assert heavy.parameters == pytest.approx(twice.parameters, rel=1e-8)


def test_a_curve_that_the_data_do_not_determine_says_so() -> None:
    x = np.linspace(1.0, 5.0, 8)
    fit = fit_curve(lambda b, c: (b[0] + b[1]) * c, x, 2.0 * x + np.sin(x), (1.0, 2.0))
    assert not fit.converged
    assert "do not determine" in str(fit.reason)
    assert np.all(np.isnan(fit.sd))


def test_a_start_where_the_curve_is_not_finite_is_an_answer_with_a_reason() -> None:
    x = np.linspace(0.0, 5.0, 8)
    fit = fit_curve(lambda b, c: b[0] / (c - b[1]), x, x, (1.0, 0.0))
    assert not fit.converged
    assert "not finite at the start" in str(fit.reason)


@pytest.mark.parametrize("broken", [math.nan, math.inf])
def test_values_that_are_not_finite_are_refused(broken: float) -> None:
    with pytest.raises(Refused, match="not finite"):
        fit_curve(lambda b, c: b[0] * c, np.array([1.0, 2.0]), np.array([1.0, broken]), (1.0,))


def test_too_few_readings_are_refused() -> None:
    with pytest.raises(Refused, match="at least 3 readings"):
        fit_line(np.array([0.0, 1.0]), np.array([0.0, 1.0]))
    with pytest.raises(Refused, match="at least 3"):
        fit_curve(lambda b, c: b[0] + b[1] * c, np.array([1.0, 2.0]), np.array([1.0, 2.0]), (1.0, 1.0))
    with pytest.raises(Refused, match="add a level"):
        fit_linear(np.ones((5, 2)), np.arange(5.0))


def cadmium() -> tuple[FloatArray, FloatArray]:
    return np.array(cadmium_a5.LEVEL), np.array(cadmium_a5.ABSORBANCE)


def test_cadmium_example_gives_the_printed_level_and_its_uncertainty() -> None:
    line = fit_line(*cadmium())
    assert line.intercept == pytest.approx(cadmium_a5.INTERCEPT, abs=PRINTED_ROUNDING * 1e-4)
    assert line.u_intercept == pytest.approx(cadmium_a5.INTERCEPT_SE, abs=PRINTED_ROUNDING * 1e-4)
    assert line.slope == pytest.approx(cadmium_a5.SLOPE, abs=PRINTED_ROUNDING * 1e-4)
    assert line.u_slope == pytest.approx(cadmium_a5.SLOPE_SE, abs=PRINTED_ROUNDING * 1e-4)
    assert line.residual_sd == pytest.approx(cadmium_a5.RESIDUAL_SD, abs=PRINTED_ROUNDING * 1e-6)
    signal = line.intercept + line.slope * cadmium_a5.C0
    level, u = read_line(line, signal, cadmium_a5.READINGS_OF_SAMPLE)
    assert level == pytest.approx(cadmium_a5.C0, abs=PRINTED_ROUNDING * 1e-2)
    assert u == pytest.approx(cadmium_a5.U_C0, abs=PRINTED_ROUNDING * 1e-3)


def test_limits_of_a_line_agree_with_the_standard_s_formulas() -> None:
    line = fit_line(*cadmium())
    one, two = line_limits(line), line_limits(line, repeats=2)
    assert one.critical_signal == pytest.approx(cadmium_a5.CRITICAL_SIGNAL, rel=1e-9)
    assert one.critical_level == pytest.approx(cadmium_a5.CRITICAL_LEVEL, rel=1e-9)
    assert one.minimum_detectable == pytest.approx(cadmium_a5.MINIMUM_DETECTABLE, rel=1e-7)
    assert two.critical_level == pytest.approx(cadmium_a5.CRITICAL_LEVEL_2, rel=1e-9)
    assert two.minimum_detectable == pytest.approx(cadmium_a5.MINIMUM_DETECTABLE_2, rel=1e-7)


def test_a_falling_line_has_no_limits_and_says_why() -> None:
    limits = line_limits(fit_line(np.arange(6.0), np.array([5.0, 4.1, 2.9, 2.0, 1.1, 0.0])))
    assert limits.critical_level is None
    assert limits.minimum_detectable is None
    assert "not positive" in str(limits.reason)


def test_limits_for_a_known_sd_are_the_recommended_multiples() -> None:
    critical, detectable = known_sd_limits(2.0)
    assert critical / 2.0 == pytest.approx(1.645, abs=5e-4)
    assert detectable / 2.0 == pytest.approx(3.290, abs=5e-4)


@pytest.mark.parametrize("row", noncentral_t.DELTA, ids=lambda row: f"nu={row[0]:g}")
def test_noncentrality_agrees_with_the_table(row: tuple[float, float, float, float, float]) -> None:
    nu, _, five_percent, _, one_percent = row
    assert noncentrality(nu, 0.05, 0.05) == pytest.approx(five_percent, abs=1e-6)
    assert noncentrality(nu, 0.01, 0.01) == pytest.approx(one_percent, abs=1e-6)


def test_the_limits_of_a_line_keep_their_error_rates_on_known_truth() -> None:
    """20,000 simulated calibrations: blanks above the critical signal, and levels at x_d below it."""
    rng = np.random.default_rng(11843)
    trials, x = 20_000, np.repeat([0.0, 1.0, 2.0, 4.0], 2)
    noise = rng.normal(size=(trials, x.size))
    slopes = noise @ (x - x.mean()) / np.sum((x - x.mean()) ** 2)
    intercepts = noise.mean(axis=1) - slopes * x.mean()
    residual = noise - intercepts[:, None] - slopes[:, None] * x
    s = np.sqrt(np.sum(residual**2, axis=1) / (x.size - 2))
    spread = math.sqrt(1.0 + 1.0 / x.size + x.mean() ** 2 / np.sum((x - x.mean()) ** 2))
    exact = line_limits(fit_line(x, 10.0 * x + noise[0]))
    t = (exact.critical_signal - fit_line(x, 10.0 * x + noise[0]).intercept) / (s[0] * spread)
    above = rng.normal(size=trials) > intercepts + t * s * spread
    missed = exact.delta * spread + rng.normal(size=trials) <= intercepts + t * s * spread
    monte_carlo = 3.0 * math.sqrt(0.05 * 0.95 / trials)
    assert np.mean(above) == pytest.approx(0.05, abs=monte_carlo)
    assert np.mean(missed) == pytest.approx(0.05, abs=monte_carlo)
