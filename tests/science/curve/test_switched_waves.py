"""Reversible cycles by where they are switched, the ratio of their peaks, irreversible peaks, scan-rate relations."""

from __future__ import annotations

import math

import numpy as np
import pytest

from brinemark.science.curve import electrode_kinetics as kinetics
from brinemark.science.curve import electrode_theory as theory
from reference import reversible_switching as outside

FAST = 1e5
"""psi of a couple that is reversible to within 1e-4; its separation is larger by 26/psi mV."""

GRID_MV = 0.01
"""Steps of 0.5 mV leave at most 0.002 mV."""

SHARE = 5e-4
"""Readings off a computed curve against quadrature, over the forward peak."""


@pytest.mark.parametrize("row", outside.SWITCHED, ids=lambda row: f"{row[0]:g} mV")
def test_separation_and_readings_of_reversible_cycles_are_those_of_quadrature(
    row: tuple[float, float, float, float, float],
) -> None:
    switch_mV, separation_mV, back, switch, ratio = row
    wave = kinetics.quasi_reversible_wave(FAST, switch_mV / 1e3)
    got = kinetics.peak_separation(FAST, switch_mV / 1e3)
    assert got is not None
    assert 1e3 * got == pytest.approx(separation_mV, abs=GRID_MV)
    forward = float(wave.function[: wave.turn + 1].max())
    readings = -float(wave.function[wave.turn :].min()) / forward, float(wave.function[wave.turn]) / forward
    assert readings == pytest.approx((back, switch), abs=SHARE)
    assert kinetics.peak_ratio(readings[0], 1.0, readings[1]) == pytest.approx(ratio, abs=2 * SHARE)


@pytest.mark.parametrize("row", outside.SWITCHED, ids=lambda row: f"{row[0]:g} mV")
def test_the_empirical_ratio_is_one_for_early_switches_and_drifts_for_late_ones(
    row: tuple[float, float, float, float, float],
) -> None:
    got = kinetics.peak_ratio(row[2], 1.0, row[3])
    assert got == pytest.approx(row[4], abs=2e-6)
    assert abs(got - 1.0) < (0.004 if row[0] <= 200.0 else 0.043)


@pytest.mark.parametrize(("switch_mV", "printed_mV"), outside.PRINTED)
def test_printed_separations_hold_within_their_stated_discrepancy(switch_mV: float, printed_mV: float) -> None:
    got = kinetics.peak_separation(FAST, switch_mV / 1e3)
    assert got is not None
    assert 1e3 * got == pytest.approx(printed_mV, abs=outside.PRINT_OFF_MV[switch_mV])


def test_a_cycle_that_is_never_switched_has_peaks_that_mirror_each_other() -> None:
    never = -2e3 * theory.REVERSIBLE_PEAK_X * theory.thermal_voltage()
    assert never == pytest.approx(outside.NEVER_SWITCHED_MV, abs=1e-5)
    beyond = np.array([row[1] - never for row in outside.SWITCHED])
    assert np.all(np.diff(beyond) < 0.0)
    assert 0.0 < beyond[-1] < 0.12


def test_the_constants_of_an_irreversible_peak_are_the_computed_ones() -> None:
    """At k0 = sqrt(D alpha F v/RT) the logarithms vanish, so the place is the bare constant."""
    alpha, diffusion, rate = 0.4, 8e-10, 0.2
    volt = theory.thermal_voltage() / alpha
    k0 = math.sqrt(diffusion * rate / volt)
    shift = kinetics.irreversible_peak_shift(k0, diffusion, rate, alpha)
    assert -shift / volt == pytest.approx(outside.IRREVERSIBLE_PLACE, abs=5e-7)
    bare = kinetics.irreversible_peak_at(1.0, 0.0, 1.0, 1.0, alpha) / theory.FARADAY.value
    assert bare == pytest.approx(outside.IRREVERSIBLE_SIZE, abs=5e-7)


def test_a_slow_wave_stands_where_and_is_as_high_as_the_irreversible_formulas_say() -> None:
    """Against the integral equation: psi 1e-4, alpha 1/2; E_half = E0 for equal diffusion coefficients."""
    psi, diffusion, rate, area, concentration = 1e-4, 1e-9, 0.1, 1e-4, 2.0
    volt = theory.thermal_voltage()
    k0 = psi * math.sqrt(math.pi * diffusion * rate / volt)
    wave = kinetics.quasi_reversible_wave(psi, 0.8)
    top = int(np.argmax(wave.function[: wave.turn + 1]))
    shift = kinetics.irreversible_peak_shift(k0, diffusion, rate)
    step_V = 0.0006
    assert shift == pytest.approx(float(wave.potential_V[top]), abs=step_V)
    current = theory.FARADAY.value * area * concentration * math.sqrt(diffusion * rate / volt) * wave.function[top]
    assert kinetics.irreversible_peak_at(k0, shift, area, concentration) == pytest.approx(float(current), rel=1e-3)


@pytest.mark.parametrize("alpha", [0.3, 0.5, 0.7])
def test_an_irreversible_peak_moves_by_29_6_mV_over_alpha_for_a_decade_of_scan_rate(alpha: float) -> None:
    places = [kinetics.irreversible_peak_shift(1e-8, 1e-9, rate, alpha) for rate in (0.01, 0.1, 1.0)]
    decade_mV = -29.5798 / alpha  # RT ln(10)/(2 F)
    assert 1e3 * np.diff(places) == pytest.approx(decade_mV, abs=1e-3)


def test_peaks_go_with_the_root_of_the_scan_rate_when_diffusing_and_with_it_when_bound() -> None:
    def irreversible(rate: float) -> float:
        shift = kinetics.irreversible_peak_shift(1e-8, 1e-9, rate)
        return kinetics.irreversible_peak_at(1e-8, shift, 1e-4, 1.0)

    assert irreversible(0.4) / irreversible(0.1) == pytest.approx(2.0, rel=1e-9)
    assert theory.randles_sevcik(1.0, 1.0, 1e-9, 0.4) == pytest.approx(2.0 * theory.randles_sevcik(1.0, 1.0, 1e-9, 0.1))
    bound = [theory.surface_confined_peak_current(1e-4, 1e-6, rate) for rate in (0.1, 0.4)]
    assert bound[1] == pytest.approx(4.0 * bound[0])
