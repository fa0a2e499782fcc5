"""The published waves against computed values, the printed tables, their limits and each other."""

from __future__ import annotations

from collections.abc import Callable
from math import factorial, sqrt
from typing import Any

import numpy as np
import pytest

from brinemark.science.curve import electrode_theory as theory
from reference import voltammetry_values as outside

ROUNDING = 1e-12
TABLE_DIGITS = 1e-9
"""The computed tables carry ten significant digits."""


def highest(function: Callable[[float], Any], low: float, high: float) -> tuple[float, float]:
    """Position and value of the one maximum between low and high, by scipy's bounded search."""
    from scipy.optimize import minimize_scalar

    found = minimize_scalar(lambda at: -float(function(at)), bounds=(low, high), options={"xatol": 1e-9})
    return float(found.x), -float(found.fun)


def crossing(function: Callable[[float], Any], level: float, low: float, high: float) -> float:
    from scipy.optimize import brentq

    return float(brentq(lambda at: float(function(at)) - level, low, high, xtol=1e-13))


def test_the_constants_are_those_of_the_2019_si() -> None:
    assert theory.FARADAY.value == pytest.approx(96485.33212, abs=5e-6)  # CODATA 2018 prints these digits
    assert theory.GAS.value == pytest.approx(8.314462618, abs=5e-10)
    assert theory.thermal_voltage() * 1e3 == pytest.approx(outside.RT_OVER_F_MV, rel=1e-11)


def test_the_reversible_wave_has_its_peak_where_it_was_computed() -> None:
    place, height = highest(theory.reversible_current_function, -3.0, 1.0)
    assert height == pytest.approx(outside.REVERSIBLE["peak"], abs=ROUNDING)
    assert place == pytest.approx(outside.REVERSIBLE["peak_x"], abs=1e-6)
    assert outside.REVERSIBLE["peak"] == theory.REVERSIBLE_PEAK
    assert pytest.approx(outside.REVERSIBLE["peak_x"], abs=1e-10) == theory.REVERSIBLE_PEAK_X
    assert theory.REVERSIBLE_PEAK_X * theory.thermal_voltage() * 1e3 == pytest.approx(
        outside.REVERSIBLE["peak_mV"], abs=1e-6
    )


def test_the_reversible_half_peak_lies_56_58_mV_before_the_peak() -> None:
    half = crossing(theory.reversible_current_function, outside.REVERSIBLE["peak"] / 2, 0.0, 3.0)
    assert half == pytest.approx(outside.REVERSIBLE["half_peak_x"], abs=ROUNDING * 10)
    assert pytest.approx(half, abs=1e-10) == theory.REVERSIBLE_HALF_PEAK_X
    gap_mV = (theory.REVERSIBLE_HALF_PEAK_X - theory.REVERSIBLE_PEAK_X) * outside.RT_OVER_F_MV
    assert gap_mV == pytest.approx(outside.REVERSIBLE["peak_minus_half_mV"], abs=1e-7)


def test_the_reversible_wave_at_the_half_wave_potential_is_the_eta_value() -> None:
    assert float(theory.reversible_current_function(0.0)) == pytest.approx(
        outside.REVERSIBLE["at_half_wave"], abs=ROUNDING
    )


def test_the_reversible_wave_follows_the_computed_table_and_the_print_where_it_is_right() -> None:
    table = np.array(outside.REVERSIBLE_TABLE)
    ours = theory.reversible_current_function(table[:, 0] / outside.RT_OVER_F_MV)
    assert np.max(np.abs(ours / table[:, 1] - 1.0)) < TABLE_DIGITS
    assert np.max(np.abs(ours - table[:, 2])) < outside.PRINT_OFF["table 6.3.1"]
    off = np.abs(ours - table[:, 2]) > 0.0005
    assert off.any() and np.all(table[off, 2] < ours[off])  # where the print is off it is low


def test_the_reversible_wave_keeps_its_two_limits() -> None:
    foot = np.array([12.0, 20.0, 40.0])
    assert theory.reversible_current_function(foot) == pytest.approx(np.exp(-foot) * (1 - np.exp(-foot) * np.sqrt(2)))
    far = np.array([-1e4, -1e5])
    assert theory.reversible_current_function(far) == pytest.approx(1 / np.sqrt(np.pi * -far), rel=1e-7)
    seam = theory.reversible_current_function(np.array([-59.9999999, -60.0000001]))
    assert seam[0] == pytest.approx(seam[1], rel=1e-7)


def test_randles_and_sevcik_have_their_constant() -> None:
    assert theory.randles_sevcik_constant() == pytest.approx(outside.REVERSIBLE["randles_sevcik"], abs=1e-3)
    assert theory.randles_sevcik(1.0, 1.0, 1.0, 1.0) == pytest.approx(268645.25, abs=0.005)
    assert theory.randles_sevcik(2.0, 3.0, 4e-10, 0.09, n=2.0) == pytest.approx(
        268645.25 * 2**1.5 * 2.0 * 3.0 * 2e-5 * 0.3, rel=1e-7
    )
    assert theory.randles_sevcik_constant() == pytest.approx(2.69e5, rel=0.002)  # as printed


def test_the_sphere_adds_what_the_table_says() -> None:
    table = np.array(outside.REVERSIBLE_TABLE)
    assert theory.spherical_correction(table[:, 0] / outside.RT_OVER_F_MV) == pytest.approx(table[:, 3], rel=1e-7)
    assert float(theory.spherical_correction(outside.REVERSIBLE["peak_x"])) == pytest.approx(
        outside.REVERSIBLE["spherical_at_peak"], abs=ROUNDING
    )


def test_the_irreversible_wave_has_its_peak_where_it_was_computed() -> None:
    place, height = highest(theory.irreversible_current_function, -2.0, 1.0)
    assert height == pytest.approx(outside.IRREVERSIBLE["peak"], abs=ROUNDING)
    assert place == pytest.approx(outside.IRREVERSIBLE["peak_w"], abs=1e-6)
    assert outside.IRREVERSIBLE["peak"] == theory.IRREVERSIBLE_PEAK
    assert pytest.approx(outside.IRREVERSIBLE["peak_mV"], abs=1e-7) == theory.IRREVERSIBLE_PEAK_W * outside.RT_OVER_F_MV


def test_the_irreversible_half_peak_lies_47_72_mV_before_the_peak() -> None:
    half = crossing(theory.irreversible_current_function, outside.IRREVERSIBLE["peak"] / 2, 0.5, 3.0)
    assert half == pytest.approx(outside.IRREVERSIBLE["half_peak_w"], abs=ROUNDING * 10)
    gap_mV = (theory.IRREVERSIBLE_HALF_PEAK_W - theory.IRREVERSIBLE_PEAK_W) * outside.RT_OVER_F_MV
    assert gap_mV == pytest.approx(outside.IRREVERSIBLE["peak_minus_half_mV"], abs=1e-6)


def test_the_irreversible_wave_follows_the_computed_table_and_the_print() -> None:
    table = np.array(outside.IRREVERSIBLE_TABLE)
    ours = theory.irreversible_current_function(table[:, 0] / outside.RT_OVER_F_MV)
    assert np.max(np.abs(ours / table[:, 1] - 1.0)) < TABLE_DIGITS
    assert np.max(np.abs(ours - table[:, 2])) < outside.PRINT_OFF["table 6.3.2"]


def test_the_irreversible_wave_is_its_published_series_where_the_series_keeps_digits() -> None:
    w = np.linspace(0.0, 8.0, 33)
    series = sum((-1) ** (j + 1) * np.sqrt(np.pi) ** j / sqrt(factorial(j - 1)) * np.exp(-j * w) for j in range(1, 90))
    assert theory.irreversible_current_function(w) == pytest.approx(series, rel=1e-11)


def test_the_irreversible_wave_solves_its_own_integral_equation_in_the_tail() -> None:
    from scipy.integrate import quad

    for s in (6.0, 40.0, 150.0):
        held, _ = quad(
            lambda u, s=s: 2.0 * float(theory.irreversible_current_function(u * u - s)),
            0.0,
            np.sqrt(s + 30.0),
            limit=400,
        )
        here = float(theory.irreversible_current_function(-s))
        assert held / np.sqrt(np.pi) == pytest.approx(1.0 - here * np.exp(-s) / np.sqrt(np.pi), abs=1e-7)


def test_the_irreversible_wave_is_not_known_beyond_its_table() -> None:
    assert np.isnan(theory.irreversible_current_function(-201.0))
    assert theory.irreversible_constant() == pytest.approx(outside.IRREVERSIBLE["constant"], abs=1e-3)


def test_the_surface_wave_is_90_58_mV_wide_at_half_height() -> None:
    half = crossing(lambda e: theory.surface_confined_shape(np.array([e]), 0.58)[0], 0.5, 0.58, 0.70)
    assert 2 * (half - 0.58) * 1e3 == pytest.approx(outside.SURFACE["width_mV"], abs=1e-6)
    assert pytest.approx(outside.SURFACE["width_x"], abs=ROUNDING) == theory.SURFACE_WIDTH_X
    assert theory.surface_confined_width(n=2.0) * 2e3 == pytest.approx(outside.SURFACE["width_mV"], abs=1e-8)


def test_the_surface_wave_holds_the_charge_of_its_sites() -> None:
    area, excess, rate, n = 1e-4, 1.3e-6, 0.1, 1.0
    potential = np.linspace(-0.6, 1.6, 4001)
    peak = theory.surface_confined_peak_current(area, excess, rate, n)
    current = theory.surface_confined_current(potential, 0.5, peak, n)
    charge = float(np.trapezoid(current, potential)) / rate
    assert charge == pytest.approx(n * 96485.33212 * area * excess, rel=1e-9)
    assert theory.coverage(charge, n, area) == pytest.approx(excess, rel=1e-9)
    assert peak == pytest.approx(outside.SURFACE["peak_constant"] * rate * area * excess, rel=1e-10)
    assert theory.surface_confined_peak_from_charge(charge, rate, n) == pytest.approx(peak, rel=1e-9)


def test_the_surface_wave_has_height_one_falls_evenly_and_never_overflows() -> None:
    shape = theory.surface_confined_shape(np.array([0.58, 0.53, 0.63, 1e6, -1e6]), 0.58)
    assert shape[0] == 1.0 and shape[1] == pytest.approx(shape[2], rel=1e-12)
    assert 0.0 <= shape[3] < 1e-200 and 0.0 <= shape[4] < 1e-200
