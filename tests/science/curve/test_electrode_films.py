"""The pieces of a film electrode's current against their limits, an independent solver and known statistics."""

from __future__ import annotations

import numpy as np
import pytest

from brinemark.science.curve import electrode_films as films
from brinemark.terms.arrays import FloatArray
from brinemark.terms.errors import Refused

ROUNDING = 1e-12
MONTE_CARLO = 0.03
"""About three standard errors of the moments below at 40,000 points."""


def test_a_triangle_goes_up_and_down_in_equal_steps_and_times() -> None:
    potential, time, direction = films.triangle_sweep(-0.5, 0.8, 0.005, 0.1, cycles=2)
    assert potential.size == 1 + 2 * 2 * 260
    assert np.abs(np.diff(potential)) == pytest.approx(0.005)
    assert np.diff(time) == pytest.approx(0.05)
    assert potential[[0, 260, 520]] == pytest.approx([-0.5, 0.8, -0.5])
    assert np.all(np.sign(np.diff(potential)) == direction[1:])


def test_sites_fill_by_the_isotherm_and_a_weak_share_climbs_on() -> None:
    assert films.site_filling(2.0, 2.0) == 0.5
    assert films.site_filling(0.0, 2.0) == 0.0
    assert films.two_site_filling(3.0, 2.0, 0.3, 1.0) == pytest.approx(films.site_filling(3.0, 2.0), rel=ROUNDING)
    assert films.two_site_filling(1e9, 2.0, 0.1, 30.0) == pytest.approx(1.0, abs=1e-6)
    single = films.site_filling(200.0, 2.0) - films.site_filling(20.0, 2.0)
    double = films.two_site_filling(200.0, 2.0, 0.1, 30.0) - films.two_site_filling(20.0, 2.0, 0.1, 30.0)
    assert double == pytest.approx(0.9 * single + 0.1 * (200 / 260 - 20 / 80), rel=1e-9)


def test_the_charging_current_obeys_its_differential_equation() -> None:
    rate, capacitance, resistance = 0.1, 3e-5, 2e4
    potential, time, direction = films.triangle_sweep(-0.5, 0.8, 0.0005, rate)
    current = films.charging_current(time, direction, capacitance, rate, resistance)
    # E - iR is the voltage across the capacitor, so its slope times C is the current itself.
    across = potential - current * resistance
    slope = np.gradient(across, time) * capacitance
    away_from_turns = (np.abs(np.gradient(direction)) == 0.0) & (time > time[2]) & (time < time[-3])
    assert np.max(np.abs(slope - current)[away_from_turns]) < 1e-4 * rate * capacitance
    assert current[0] == 0.0
    assert current[np.flatnonzero(direction == 1.0)[-1]] == pytest.approx(rate * capacitance, rel=1e-6)
    assert current[-1] == pytest.approx(-rate * capacitance, rel=1e-6)


def test_the_tail_is_a_straight_line_in_the_logarithm() -> None:
    tail = films.oxidation_tail(np.array([0.7, 0.8, 0.9]), 0.8, 2e-6, 0.05)
    assert np.log(tail / 2e-6) == pytest.approx([-2.0, 0.0, 2.0])


def test_resistance_shifts_a_wave_by_i_R_and_a_resistor_adds_to_it() -> None:
    from scipy.optimize import brentq

    def wave(at: FloatArray) -> FloatArray:
        return np.asarray(1e-5 / np.cosh(at / 0.05) ** 2, dtype=np.float64)

    potential = np.linspace(-0.2, 0.2, 81)
    seen = films.with_resistance(wave, potential, 800.0)
    for at, value in zip(potential[::10], seen[::10], strict=True):
        exact = brentq(lambda i, at=at: i - float(wave(at - 800.0 * i)), 0.0, 2e-5, xtol=1e-18)
        assert value == pytest.approx(exact, rel=1e-9)
    ohmic = films.with_resistance(lambda at: at / 5000.0, potential, 1000.0)
    assert ohmic == pytest.approx(potential / 6000.0, abs=1e-15)
    with pytest.raises(Refused, match="ohm"):
        films.with_resistance(lambda at: at / 500.0, potential, 1000.0)


def test_drift_starts_at_zero_and_ends_with_its_stated_spread() -> None:
    random = np.random.default_rng(11)
    time = np.linspace(0.0, 10.0, 201)
    ends = np.array([films.slow_drift(time, 1e-8, 5e-8, random)[[0, -1]] for _ in range(4000)])
    assert np.all(ends[:, 0] == 0.0)
    assert np.std(ends[:, 1]) == pytest.approx(5e-8, rel=2 * MONTE_CARLO)
    assert np.mean(ends[:, 1]) == pytest.approx(1e-7, rel=2 * MONTE_CARLO)


def test_noise_has_its_standard_deviation_and_correlation() -> None:
    noise = films.correlated_noise(40_000, 2e-8, 0.6, np.random.default_rng(5))
    assert np.std(noise) == pytest.approx(2e-8, rel=MONTE_CARLO)
    for lag in (1, 2, 3):
        product = np.mean(noise[lag:] * noise[:-lag]) / np.var(noise)
        assert product == pytest.approx(0.6**lag, abs=MONTE_CARLO)


def test_the_filter_lags_a_ramp_by_its_time_constant_and_keeps_a_level() -> None:
    step, lag = 0.01, 0.2
    assert films.low_pass(np.full(50, 3e-6), step, lag) == pytest.approx(np.full(50, 3e-6))
    ramp = np.linspace(0.0, 1999 * step, 2000)
    delay = (ramp - films.low_pass(ramp, step, lag))[-1]
    assert delay == pytest.approx(lag, abs=step)


def test_the_converter_gives_whole_steps_and_is_flat_at_full_scale() -> None:
    current = np.linspace(-6e-5, 6e-5, 1001)
    seen = films.converted(current, 5e-5, 12)
    step = 5e-5 / 2048
    assert np.allclose(seen / step, np.rint(seen / step), atol=1e-9)
    inside = np.abs(current) < 4.99e-5
    assert np.max(np.abs(seen - current)[inside]) <= step / 2 * (1 + 1e-9)
    assert seen[0] == pytest.approx(-5e-5) and seen[-1] == pytest.approx(5e-5 - step)
