"""A polynomial baseline: the operator itself, and signals read over it from curves of known truth."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from invented import DEFINITION, NOISE_A, WINDOW_V, bell, known_wave, make_noise, straight, sweep_up, tailed, trace_of

from brinemark.science.curve.baselines import DEGREE, make_polynomial
from brinemark.science.curve.chord import make_chord
from brinemark.science.curve.voltammetry import dissect, measure
from brinemark.terms.arrays import FloatArray
from brinemark.terms.errors import Refused

POLYNOMIAL = replace(DEFINITION, baseline="polynomial")
CURVES = 1000
BIAS_LIMIT_U = 0.2
PULL_SD = (0.9, 1.1)
ROUNDING = 1e-9
TAIL_A = 2e-8
"""An oxidation tail twenty times the noise at its end, whose sag moves a straight chord's signal by many u."""


def window() -> FloatArray:
    potential = sweep_up()
    return potential[(potential >= WINDOW_V[0]) & (potential <= WINDOW_V[1])]


def above_chord() -> FloatArray:
    return make_chord(window(), WINDOW_V).above(bell(window()))


def pulls(noise: str, background: FloatArray, quantity: str = "height", baseline: str = "polynomial") -> FloatArray:
    rng, potential = np.random.default_rng(20271), sweep_up()
    definition = replace(DEFINITION, quantity=quantity, baseline=baseline)
    found = []
    for k in range(CURVES):
        height = 0.0 if quantity == "charge" else (0.0, 3e-10, 1e-9, 3e-8)[k % 4]
        current = background + height * bell(potential) + NOISE_A * make_noise(noise, rng, potential.size)
        signal = measure(trace_of(current, potential), definition, known_wave(), 0.1)
        found.append((signal.value - height) / signal.u)
    return np.array(found)


def test_the_polynomial_is_the_weighted_least_squares_fit_of_numpy() -> None:
    potential, rng = window(), np.random.default_rng(1)
    current = rng.normal(size=potential.size)
    shape = above_chord()
    width = 0.12 * (WINDOW_V[1] - WINDOW_V[0])
    ends = (potential <= WINDOW_V[0] + width) | (potential >= WINDOW_V[1] - width)
    weights = (ends | (np.abs(shape) < 0.1 * np.abs(shape).max())).astype(float)
    fitted = np.polynomial.Polynomial.fit(potential, current, DEGREE, w=weights)(potential)
    assert make_polynomial(potential, WINDOW_V, shape).line(current) == pytest.approx(fitted, abs=ROUNDING)


def test_taking_the_polynomial_off_twice_is_taking_it_off_once_and_its_transpose_agrees() -> None:
    baseline, rng = make_polynomial(window(), WINDOW_V, above_chord()), np.random.default_rng(2)
    current, weights = rng.normal(size=window().size), rng.normal(size=window().size)
    assert baseline.above(baseline.above(current)) == pytest.approx(baseline.above(current), abs=ROUNDING)
    assert baseline.transposed(weights) @ current == pytest.approx(weights @ baseline.above(current))


@pytest.mark.parametrize("quantity", ["height", "charge"])
def test_the_signal_over_a_polynomial_is_linear_in_the_current(quantity: str) -> None:
    potential, rng = sweep_up(), np.random.default_rng(3)
    definition = replace(POLYNOMIAL, quantity=quantity)
    first, second = straight(potential) + 2e-9 * bell(potential) + NOISE_A * rng.normal(size=(2, potential.size))

    def value(current: FloatArray) -> float:
        return measure(trace_of(current, potential), definition, known_wave(), 0.1).value

    assert value(2 * first - 3 * second) == pytest.approx(2 * value(first) - 3 * value(second), rel=ROUNDING)


def test_a_cubic_more_or_less_changes_neither_value_nor_u() -> None:
    potential = sweep_up()
    current = 2e-9 * bell(potential) + NOISE_A * np.random.default_rng(4).normal(size=potential.size)
    cubic = 1e-8 * (potential - 0.5) + 4e-7 * (potential - 0.6) ** 2 - 3e-6 * (potential - 0.5) ** 3
    plain = measure(trace_of(current, potential), POLYNOMIAL, known_wave())
    moved = measure(trace_of(current + cubic, potential), POLYNOMIAL, known_wave())
    assert (moved.value, moved.u) == pytest.approx((plain.value, plain.u), rel=1e-6)


@pytest.mark.parametrize("background", ["straight", "curved"])
@pytest.mark.parametrize("noise", ["white", "memory .5", "memory .8", "mean of 5", "mean of 11"])
def test_pulls_over_a_polynomial_have_no_bias_and_unit_sd(noise: str, background: str) -> None:
    """The curved background defeats the chord (next test) and is nothing to the polynomial."""
    potential = sweep_up()
    got = pulls(noise, straight(potential) if background == "straight" else tailed(potential, TAIL_A / 10))
    assert abs(got.mean()) < BIAS_LIMIT_U
    assert PULL_SD[0] < got.std() < PULL_SD[1]


def test_the_same_curved_background_biases_a_chord() -> None:
    assert abs(pulls("white", tailed(sweep_up(), TAIL_A / 10), baseline="chord").mean()) > BIAS_LIMIT_U


def test_pulls_of_the_charge_over_a_polynomial_have_no_bias_and_unit_sd() -> None:
    got = pulls("memory .5", straight(sweep_up()), quantity="charge")
    assert abs(got.mean()) < BIAS_LIMIT_U
    assert PULL_SD[0] < got.std() < PULL_SD[1]


def test_u_stays_honest_on_tails_of_any_size() -> None:
    rng, potential = np.random.default_rng(20272), sweep_up()
    found = []
    for size in np.geomspace(1e-10, 1e-6, 400):
        current = tailed(potential, size) + NOISE_A * rng.normal(size=potential.size)
        signal = measure(trace_of(current, potential), POLYNOMIAL, known_wave())
        found.append(signal.value / signal.u)
    assert np.mean(np.abs(found) <= 3.0) >= 0.95
    assert math.sqrt(np.mean(np.square(found))) < 2.0


@pytest.mark.parametrize("sweep", ["anodic", "cathodic"])
def test_baseline_wave_and_residual_add_up_to_the_current(sweep: str) -> None:
    potential = sweep_up() if sweep == "anodic" else sweep_up()[::-1].copy()
    current = tailed(potential, 1e-8) + 3e-8 * bell(potential)
    parts = dissect(trace_of(current, potential), replace(POLYNOMIAL, sweep=sweep), known_wave())
    total = parts.baseline_A + parts.wave_A + parts.residual_A
    assert total == pytest.approx(parts.current_A, abs=1e-18)
    assert np.abs(np.diff(parts.baseline_A, 2)).max() > 1e-13  # a curve, not a straight line


def test_too_few_points_outside_the_wave_are_refused() -> None:
    potential = np.linspace(0.40, 0.76, 21)
    broad = np.ones(21)
    with pytest.raises(Refused, match="points outside the wave for a polynomial baseline"):
        make_polynomial(potential, WINDOW_V, broad)
