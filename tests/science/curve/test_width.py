"""Width at half height: on known truth, over every baseline, and the flag where there is no wave to speak of."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from invented import DEFINITION, NOISE_A, bell, known_wave, make_noise, straight, sweep_up, tailed, trace_of

from brinemark.science.curve.electrode_theory import surface_confined_shape, surface_confined_width
from brinemark.science.curve.placing import expected_width
from brinemark.science.curve.voltammetry import measure
from brinemark.science.curve.waves import theoretical_wave
from brinemark.terms.curves import Wave
from brinemark.terms.errors import Refused

WIDTH = replace(DEFINITION, quantity="width")
BASELINES = ["chord", "polynomial", "whittaker"]
HALF = 2.0 * math.acosh(math.sqrt(2.0))
"""Width at half height of 1/cosh^2(x): 1.7627."""

CURVES = 400
BIAS_LIMIT_U = 0.25
PULL_RMS = (0.6, 1.15)
"""u covers what the fit of a stretched shape leaves; it is up to a quarter too large where the width is far off."""

GRID_V = 4e-4
"""The known shape is straight between its places, 2 mV apart."""


def test_the_width_of_an_ideal_wave_is_the_published_one() -> None:
    """90.58 mV for one electron, 45.29 mV for two: 3.5255 RT/nF."""
    assert expected_width(theoretical_wave(DEFINITION)) == pytest.approx(0.090579, abs=GRID_V)
    potential = sweep_up()
    for n in (1.0, 1.4, 0.9):
        current = straight(potential) + 3e-8 * surface_confined_shape(potential, 0.57, n=n)
        signal = measure(trace_of(current, potential), WIDTH, theoretical_wave(DEFINITION))
        assert signal.value == pytest.approx(surface_confined_width(n), abs=GRID_V)
        assert signal.unit == "V"


@pytest.mark.parametrize("baseline", BASELINES)
@pytest.mark.parametrize("stretched", [0.85, 1.0, 1.2])
def test_widths_of_noisy_waves_have_no_bias_and_an_honest_u(baseline: str, stretched: float) -> None:
    rng, potential = np.random.default_rng(20301), sweep_up()
    wave, true = bell(potential, 0.583, 0.0514 * stretched), HALF * 0.0514 * stretched
    found = []
    for _ in range(CURVES):
        noise = make_noise("memory .5", rng, potential.size)
        trace = trace_of(straight(potential) + 3e-8 * wave + NOISE_A * noise, potential)
        signal = measure(trace, replace(WIDTH, baseline=baseline), known_wave())
        assert "no width" not in [flag.name for flag in signal.flags]
        found.append((signal.value - true) / signal.u)
    assert abs(np.mean(found)) < BIAS_LIMIT_U
    assert PULL_RMS[0] < math.sqrt(np.mean(np.square(found))) < PULL_RMS[1]


@pytest.mark.parametrize("baseline", BASELINES)
def test_without_a_wave_the_expected_width_comes_back_with_the_windows_u_and_a_flag(baseline: str) -> None:
    rng, potential = np.random.default_rng(20302), sweep_up()
    for height in (0.0, 3e-10, -3e-10):
        current = straight(potential) + height * bell(potential) + NOISE_A * rng.normal(size=potential.size)
        signal = measure(trace_of(current, potential), replace(WIDTH, baseline=baseline), known_wave())
        flags = {flag.name: flag for flag in signal.flags}
        assert flags["no width"].severe
        assert signal.value == expected_width(known_wave())
        assert signal.u == pytest.approx(0.36 / math.sqrt(12.0), rel=0.01)


def test_a_width_is_the_same_for_the_curve_in_other_units_and_turned_round() -> None:
    rng, potential = np.random.default_rng(20303), sweep_up()
    current = tailed(potential, 1e-9) + 2e-8 * bell(potential, 0.57, 0.06) + NOISE_A * rng.normal(size=potential.size)
    plain = measure(trace_of(current, potential), WIDTH, known_wave())
    large = measure(trace_of(1e6 * current, potential), WIDTH, known_wave())
    back = measure(trace_of(-current[::-1], potential[::-1].copy()), replace(WIDTH, sweep="cathodic"), known_wave())
    for other in (large, back):
        assert (other.value, other.u) == pytest.approx((plain.value, plain.u), rel=1e-6)


def test_a_wave_of_three_times_the_width_has_none_to_tell() -> None:
    potential = sweep_up()
    current = straight(potential) + 3e-8 * bell(potential, 0.58, 3 * 0.0514)
    signal = measure(trace_of(current, potential), WIDTH, known_wave())
    assert "no width" in [flag.name for flag in signal.flags]


def test_a_known_shape_wider_than_its_window_is_refused() -> None:
    grid = np.linspace(0.40, 0.76, 181)
    broad = Wave(grid, bell(grid, 0.58, 0.3), 0.58, "learned", 9)
    with pytest.raises(Refused, match="does not fall to half its height inside the window"):
        measure(trace_of(straight(sweep_up()) + 3e-8 * bell(sweep_up()), sweep_up()), WIDTH, broad)
