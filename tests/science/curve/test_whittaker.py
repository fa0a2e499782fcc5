"""The stiff curve outside the wave: against a library's penalised smoother, and signals of known truth over it."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from invented import DEFINITION, NOISE_A, WINDOW_V, bell, known_wave, make_noise, straight, sweep_up, tailed, trace_of
from pybaselines.whittaker import asls

from brinemark.science.curve.baselines import outside_points
from brinemark.science.curve.chord import make_chord
from brinemark.science.curve.voltammetry import dissect, measure
from brinemark.science.curve.whittaker import KNOTS, STIFFNESS, make_whittaker
from brinemark.terms.arrays import FloatArray
from brinemark.terms.errors import Refused

WHITTAKER = replace(DEFINITION, baseline="whittaker")
CURVES = 1000
BIAS_LIMIT_U = 0.2
PULL_SD = (0.9, 1.1)
ROUNDING = 1e-9
NOISES = ["white", "memory .5", "memory .8", "mean of 5", "mean of 11"]
TAIL_A = 2e-9
"""An oxidation tail whose sag biases a chord by .9 u (`test_baselines.py`)."""


def pulls(noise: str, background: FloatArray, height_A: float | None, quantity: str = "height") -> FloatArray:
    """(value - truth)/u; height None: four heights in turn."""
    rng, potential = np.random.default_rng(20281), sweep_up()
    definition = replace(WHITTAKER, quantity=quantity)
    found = []
    for k in range(CURVES):
        height = (0.0, 3e-10, 1e-9, 3e-8)[k % 4] if height_A is None else height_A
        current = background + height * bell(potential) + NOISE_A * make_noise(noise, rng, potential.size)
        signal = measure(trace_of(current, potential), definition, known_wave(), 0.1)
        found.append((signal.value - height) / signal.u)
    return np.array(found)


def test_the_curve_is_that_of_the_library_where_every_point_is_a_knot() -> None:
    """One round of the library at given weights; its penalty counts points, ours the window."""
    potential = np.linspace(*WINDOW_V, KNOTS)
    shape = make_chord(potential, WINDOW_V).above(bell(potential))
    current = np.random.default_rng(1).normal(size=KNOTS)
    outside = outside_points(potential, WINDOW_V, shape).astype(float)
    penalty = STIFFNESS * outside.sum() * (KNOTS - 1) ** 3
    theirs, _ = asls(current, lam=penalty, weights=outside, max_iter=0)
    assert make_whittaker(potential, WINDOW_V, shape).line(current) == pytest.approx(theirs, abs=ROUNDING)


def test_a_straight_line_is_baseline_and_the_transpose_agrees() -> None:
    potential = np.sort(np.random.default_rng(2).uniform(*WINDOW_V, 500))
    own = make_whittaker(potential, WINDOW_V, make_chord(potential, WINDOW_V).above(bell(potential)))
    weights, current = np.random.default_rng(3).normal(size=(2, 500))
    assert own.above(straight(potential)) == pytest.approx(0.0, abs=1e-6 * NOISE_A)
    assert own.transposed(weights) @ current == pytest.approx(weights @ own.above(current), rel=ROUNDING)


def test_what_lies_under_the_wave_does_not_move_the_curve() -> None:
    potential = np.linspace(*WINDOW_V, 361)
    shape = make_chord(potential, WINDOW_V).above(bell(potential))
    own, current = make_whittaker(potential, WINDOW_V, shape), straight(potential)
    wave = np.where(outside_points(potential, WINDOW_V, shape), 0.0, 1e-6 * bell(potential))
    assert np.array_equal(own.line(current + wave), own.line(current))


@pytest.mark.parametrize("quantity", ["height", "charge"])
def test_the_signal_is_linear_in_the_current(quantity: str) -> None:
    potential, rng = sweep_up(), np.random.default_rng(3)
    first, second = straight(potential) + 2e-9 * bell(potential) + NOISE_A * rng.normal(size=(2, potential.size))

    def value(current: FloatArray) -> float:
        return measure(trace_of(current, potential), replace(WHITTAKER, quantity=quantity), known_wave(), 0.1).value

    assert value(2 * first - 3 * second) == pytest.approx(2 * value(first) - 3 * value(second), rel=ROUNDING)


@pytest.mark.parametrize("noise", NOISES)
def test_pulls_have_no_bias_and_unit_sd(noise: str) -> None:
    got = pulls(noise, straight(sweep_up()), None)
    assert abs(got.mean()) < BIAS_LIMIT_U
    assert PULL_SD[0] < got.std() < PULL_SD[1]


@pytest.mark.parametrize("height_A", [0.0, 1e-9, 3e-8, 3e-7, -3e-9, -3e-8])
def test_at_no_single_height_is_there_a_bias(height_A: float) -> None:
    got = pulls("white", straight(sweep_up()), height_A)
    assert abs(got.mean()) < BIAS_LIMIT_U
    assert PULL_SD[0] < got.std() < PULL_SD[1]


def test_a_tail_that_defeats_the_chord_hardly_moves_the_signal() -> None:
    got = pulls("white", tailed(sweep_up(), TAIL_A), None)
    assert abs(got.mean()) < BIAS_LIMIT_U
    assert PULL_SD[0] < got.std() < PULL_SD[1]


def test_pulls_of_the_charge_have_no_bias_and_unit_sd() -> None:
    got = pulls("memory .5", straight(sweep_up()), 0.0, "charge")
    assert abs(got.mean()) < BIAS_LIMIT_U
    assert PULL_SD[0] < got.std() < PULL_SD[1]


def test_u_stays_honest_on_tails_of_any_size() -> None:
    rng, potential = np.random.default_rng(20282), sweep_up()
    found = []
    for size in np.geomspace(1e-10, 1e-6, 400):
        current = tailed(potential, size) + NOISE_A * rng.normal(size=potential.size)
        signal = measure(trace_of(current, potential), WHITTAKER, known_wave())
        found.append(signal.value / signal.u)
    assert np.mean(np.abs(found) <= 3.0) >= 0.95
    assert math.sqrt(np.mean(np.square(found))) < 2.0


@pytest.mark.parametrize("step_V", [0.005, 0.002, 0.0005, 0.00002])
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


def test_too_few_points_outside_the_wave_are_refused() -> None:
    potential = np.linspace(*WINDOW_V, 21)
    with pytest.raises(Refused, match="points outside the wave for a whittaker baseline"):
        make_whittaker(potential, WINDOW_V, np.ones(21))
