"""An asymmetric Whittaker baseline: the held smoother against the library, and signals of known truth over it."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from invented import DEFINITION, NOISE_A, bell, known_wave, make_noise, straight, sweep_up, tailed, trace_of
from pybaselines import Baseline

from brinemark.science.curve.voltammetry import dissect, measure
from brinemark.science.curve.whittaker import ASYMMETRY, MOST_POINTS, STIFFNESS, make_whittakers
from brinemark.terms.arrays import BoolArray, FloatArray
from brinemark.terms.errors import Refused

WHITTAKER = replace(DEFINITION, baseline="whittaker")
CURVES = 1000
BIAS_LIMIT_U = 0.2
WORST_BIAS_U = 0.75
"""The declared limit at one height: measured .5 u high for a wave of 300 noise sd, .7 u for a negative one of 3."""

PULL_RMS = (0.75, 1.1)
ROUNDING = 1e-9
WINDOW_POINTS = 361


def pulls(noise: str, background: FloatArray, heights_A: tuple[float, ...], curves: int = CURVES) -> FloatArray:
    rng, potential = np.random.default_rng(20281), sweep_up()
    found = []
    for k in range(curves):
        height = heights_A[k % len(heights_A)]
        current = background + height * bell(potential) + NOISE_A * make_noise(noise, rng, potential.size)
        signal = measure(trace_of(current, potential), WHITTAKER, known_wave())
        found.append((signal.value - height) / signal.u)
    return np.array(found)


def invented(points: int = WINDOW_POINTS) -> FloatArray:
    potential = np.linspace(0.40, 0.76, points)
    noise = NOISE_A * np.random.default_rng(1).normal(size=points)
    return np.asarray(straight(potential) + 2e-8 * bell(potential) + noise)


def everywhere(points: int = WINDOW_POINTS) -> BoolArray:
    return np.ones(points, dtype=bool)


def test_the_held_smoother_is_the_curve_of_the_library_at_its_last_weights() -> None:
    """The library stops when two rounds of weights agree to .1 %; the level above its curve is taken off besides."""
    current = invented()
    own, _ = make_whittakers(current, (everywhere(),))
    theirs, _ = Baseline().asls(current, lam=STIFFNESS, p=ASYMMETRY, tol=0.0)
    level = (current - theirs).mean()
    assert own.line(current) == pytest.approx(theirs + level, abs=0.02 * NOISE_A)


def test_a_straight_line_is_baseline_and_the_transpose_agrees() -> None:
    own, _ = make_whittakers(invented(), (everywhere(),))
    line, rng = straight(np.linspace(0.40, 0.76, WINDOW_POINTS)), np.random.default_rng(2)
    weights, current = rng.normal(size=WINDOW_POINTS), rng.normal(size=WINDOW_POINTS)
    assert own.above(line) == pytest.approx(0.0, abs=1e-6 * NOISE_A)
    assert own.transposed(weights) @ current == pytest.approx(weights @ own.above(current), rel=1e-6)


@pytest.mark.parametrize("noise", ["white", "memory .5", "memory .8", "mean of 5", "mean of 11"])
def test_pulls_over_mixed_heights_have_little_bias_and_u_is_not_too_small(noise: str) -> None:
    got = pulls(noise, straight(sweep_up()), (0.0, 3e-10, 1e-9, 3e-8))
    assert abs(got.mean()) < BIAS_LIMIT_U
    assert PULL_RMS[0] < math.sqrt(np.mean(got**2)) < PULL_RMS[1]


@pytest.mark.parametrize("height_A", [0.0, 1e-9, 3e-9, 1e-8, 3e-8, 3e-7, -3e-9, -3e-8])
def test_at_no_single_height_is_the_bias_large_or_u_too_small(height_A: float) -> None:
    got = pulls("white", straight(sweep_up()), (height_A,), 300)
    assert abs(got.mean()) < WORST_BIAS_U
    assert math.sqrt(np.mean(got**2)) < PULL_RMS[1]


def test_it_is_not_linear_in_the_current() -> None:
    potential, rng = sweep_up(), np.random.default_rng(3)
    noise = NOISE_A * rng.normal(size=potential.size)

    def value(current: FloatArray) -> float:
        return measure(trace_of(current, potential), WHITTAKER, known_wave()).value

    small, large = (straight(potential) + height * bell(potential) + noise for height in (0.0, 3e-8))
    assert value(large) - value(small) != pytest.approx(3e-8, rel=1e-6)
    assert value(-small) != pytest.approx(-value(small), rel=1e-3)


def test_value_and_u_scale_with_the_current() -> None:
    potential, current = sweep_up(), tailed(sweep_up(), 1e-9) + 5e-9 * bell(sweep_up())
    current = current + NOISE_A * np.random.default_rng(4).normal(size=potential.size)
    plain = measure(trace_of(current, potential), WHITTAKER, known_wave())
    large = measure(trace_of(1e6 * current, potential), WHITTAKER, known_wave())
    assert (large.value, large.u) == pytest.approx((1e6 * plain.value, 1e6 * plain.u), rel=1e-6)


def test_u_stays_honest_on_tails_of_any_size() -> None:
    rng, potential = np.random.default_rng(20282), sweep_up()
    found = []
    for size in np.geomspace(1e-10, 1e-6, 400):
        current = tailed(potential, size) + NOISE_A * rng.normal(size=potential.size)
        signal = measure(trace_of(current, potential), WHITTAKER, known_wave())
        found.append(signal.value / signal.u)
    assert np.mean(np.abs(found) <= 3.0) >= 0.95
    assert math.sqrt(np.mean(np.square(found))) < 2.0


@pytest.mark.parametrize("step_V", [0.002, 0.0005, 0.0001])
def test_the_step_of_the_potential_hardly_matters(step_V: float) -> None:
    potential = sweep_up(step_V)
    current = straight(potential) + 3e-8 * bell(potential)
    signal = measure(trace_of(current, potential), WHITTAKER, known_wave())
    grid_of_the_wave = 1e-3
    assert signal.value == pytest.approx(3e-8, rel=grid_of_the_wave)


def test_baseline_wave_and_residual_add_up_to_the_current() -> None:
    potential = sweep_up()[::-1].copy()
    current = tailed(potential, 1e-8) - 3e-8 * bell(potential)
    parts = dissect(trace_of(current, potential), replace(WHITTAKER, sweep="cathodic"), known_wave())
    assert parts.baseline_A + parts.wave_A + parts.residual_A == pytest.approx(parts.current_A, abs=1e-18)


def test_a_charge_and_too_many_points_are_refused() -> None:
    potential = sweep_up()
    with pytest.raises(Refused, match="a charge above a whittaker baseline"):
        measure(trace_of(straight(potential), potential), replace(WHITTAKER, quantity="charge"), known_wave(), 0.1)
    many = MOST_POINTS + 1
    with pytest.raises(Refused, match=f"at most {MOST_POINTS}"):
        make_whittakers(invented(many), (everywhere(many),))
