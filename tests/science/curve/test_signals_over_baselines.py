"""Charge and potential over every baseline, on curves of known truth."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from invented import DEFINITION, NOISE_A, PLACE_V, WINDOW_V, bell, known_wave, make_noise, straight, sweep_up, trace_of

from brinemark.science.curve.electrode_theory import surface_confined_peak_from_charge, surface_confined_shape
from brinemark.science.curve.voltammetry import measure
from brinemark.science.curve.waves import theoretical_wave
from brinemark.terms.arrays import FloatArray

BASELINES = ["chord", "polynomial", "whittaker"]
RATE = 0.1
CHARGE_C = 2e-7
CURVES = 500
BIAS_LIMIT_U = 0.2
PULL_SD = (0.85, 1.1)
TAILS = {"chord": 0.04, "polynomial": 0.005, "whittaker": 0.005}
"""Share of the charge of an ideal wave that is lost: a chord leans on the wave's feet; the others give them back, all
but what lies outside the window (0.2 %)."""


def bound_wave(charge_C: float) -> FloatArray:
    """Current of an ideal surface-bound couple that holds this charge [A]."""
    peak = float(surface_confined_peak_from_charge(charge_C, RATE))
    return np.asarray(peak * surface_confined_shape(sweep_up(), PLACE_V))


@pytest.mark.parametrize("baseline", BASELINES)
def test_the_charge_of_a_bound_couple_is_what_it_holds(baseline: str) -> None:
    definition = replace(DEFINITION, quantity="charge", baseline=baseline)
    trace = trace_of(straight(sweep_up()) + bound_wave(CHARGE_C), sweep_up())
    signal = measure(trace, definition, theoretical_wave(definition), RATE)
    assert 1.0 - TAILS[baseline] < signal.value / CHARGE_C <= 1.0
    assert signal.unit == "C"


@pytest.mark.parametrize("baseline", BASELINES)
@pytest.mark.parametrize("noise", ["white", "memory .5"])
def test_charges_have_no_bias_and_unit_pulls(noise: str, baseline: str) -> None:
    """Against the charge that the same baseline finds without noise, which the test above holds to the truth."""
    definition = replace(DEFINITION, quantity="charge", baseline=baseline)
    rng, potential, wave = np.random.default_rng(20321), sweep_up(), theoretical_wave(DEFINITION)
    clean = straight(potential) + bound_wave(CHARGE_C)
    true = measure(trace_of(clean, potential), definition, wave, RATE).value
    found = []
    for _ in range(CURVES):
        current = clean + NOISE_A * make_noise(noise, rng, potential.size)
        signal = measure(trace_of(current, potential), definition, wave, RATE)
        found.append((signal.value - true) / signal.u)
    assert abs(np.mean(found)) < BIAS_LIMIT_U
    assert PULL_SD[0] < np.std(found) < PULL_SD[1]


@pytest.mark.parametrize("baseline", BASELINES)
@pytest.mark.parametrize("place_V", [0.56, 0.58, 0.605])
def test_places_have_no_bias_and_an_honest_u(place_V: float, baseline: str) -> None:
    definition = replace(DEFINITION, quantity="potential", baseline=baseline)
    rng, potential = np.random.default_rng(20322), sweep_up()
    found = []
    for _ in range(CURVES // 2):
        current = straight(potential) + 2e-8 * bell(potential, place_V) + NOISE_A * rng.normal(size=potential.size)
        signal = measure(trace_of(current, potential), definition, known_wave())
        found.append((signal.value - place_V) / signal.u)
    assert abs(np.mean(found)) < BIAS_LIMIT_U
    assert np.std(found) < PULL_SD[1]


@pytest.mark.parametrize("baseline", BASELINES)
def test_without_a_wave_the_place_is_the_expected_one_with_a_flag(baseline: str) -> None:
    definition = replace(DEFINITION, quantity="potential", baseline=baseline)
    potential = sweep_up()
    current = straight(potential) + NOISE_A * np.random.default_rng(20323).normal(size=potential.size)
    signal = measure(trace_of(current, potential), definition, known_wave())
    assert "no wave" in [flag.name for flag in signal.flags]
    assert signal.value == PLACE_V
    assert signal.u == pytest.approx((WINDOW_V[1] - WINDOW_V[0]) / math.sqrt(12.0), rel=0.01)
