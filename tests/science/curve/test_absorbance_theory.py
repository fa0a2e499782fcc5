"""Light and one binding site against closed forms, limits, and roots found another way."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from brinemark.science.curve.absorbance_theory import (
    absorbance_of_film,
    absorbance_of_solution,
    absorbance_with_stray_light,
    bound_concentration,
    coverage_from_absorbance,
    depleted_share,
    filled_share,
    gaussian_band,
    isosbestic_points,
)

ROUNDING = 1e-12
WAVELENGTH = np.linspace(380.0, 520.0, 561)
FREE = 1.0e5 * gaussian_band(WAVELENGTH, 430.0, 18.0)
BOUND = 0.9e5 * gaussian_band(WAVELENGTH, 446.0, 20.0)
concentrations = st.floats(1e-3, 1e3)


def test_two_dyes_absorb_as_their_sum() -> None:
    # eps 2e4 and 5e3 L/(mol cm) at 1e-5 and 4e-5 mol/L over 2 cm: 2 (0.2 + 0.2) = 0.8 by hand.
    found = absorbance_of_solution(np.array([[2e4], [5e3]]), np.array([1e-5, 4e-5]), 2.0)
    assert found == pytest.approx(0.8, rel=ROUNDING)


def test_a_layer_absorbs_as_the_solution_it_would_make() -> None:
    # 1e-8 mol/cm2 dissolved in a cell of 0.5 cm: 2e-8 mol/cm3 = 2e-5 mol/L, whose absorbance has to be the same.
    layer = absorbance_of_film(np.array([[3e4]]), np.array([1e-8]))
    dissolved = absorbance_of_solution(np.array([[3e4]]), np.array([2e-5]), 0.5)
    assert layer == pytest.approx(dissolved, rel=ROUNDING)
    assert coverage_from_absorbance(float(layer[0]), 3e4) == pytest.approx(1e-8, rel=ROUNDING)


@given(concentrations, concentrations, concentrations)
def test_the_complex_balances_both_masses(sites: float, ligand: float, constant: float) -> None:
    x = float(bound_concentration(sites, ligand, constant))
    smaller = min(sites, ligand)
    root = brentq(lambda y: (sites - y) * (ligand - y) - constant * y, 0.0, smaller, xtol=1e-300, rtol=1e-15)
    assert 0.0 < x < smaller
    assert x == pytest.approx(root, rel=1e-9)


def test_with_few_sites_the_titration_is_a_hyperbola() -> None:
    ligand = np.geomspace(0.01, 100.0, 9)
    assert filled_share(0.0, ligand, 2.0) == pytest.approx(ligand / (2.0 + ligand), rel=ROUNDING)
    assert filled_share(1e-9, ligand, 2.0) == pytest.approx(ligand / (2.0 + ligand), rel=1e-8)


def test_tight_binding_is_two_straight_lines() -> None:
    ligand = np.array([0.25, 0.5, 2.0, 4.0])
    assert bound_concentration(1.0, ligand, 1e-9) == pytest.approx([0.25, 0.5, 1.0, 1.0], rel=1e-6)


def test_half_of_the_sites_are_filled_at_the_constant_and_half_of_the_sites_more() -> None:
    # x = P/2 gives L = K + P/2 exactly.
    for sites in (0.01, 1.0, 30.0):
        assert float(filled_share(sites, 2.0 + sites / 2.0, 2.0)) == pytest.approx(0.5, rel=ROUNDING)


def test_weak_binding_keeps_its_digits() -> None:
    # x = P L/K (1 - ...) to 1e-12: the form with a difference of roots would leave 4 digits.
    assert float(bound_concentration(1e-6, 1e-6, 1.0)) == pytest.approx(1e-12 / (1.0 + 2e-6), rel=1e-11)


def test_what_the_film_takes_is_missing_in_the_water() -> None:
    # One layer, 2e-9 mol on the glass, in 0.1 L with 17 nmol/L: P = 20 nmol/L and K = 25 nmol/L.
    sites, ligand, constant = 20.0, 17.0, 25.0
    taken = float(depleted_share(sites, ligand, constant))
    free = ligand * (1.0 - taken)
    assert float(filled_share(sites, ligand, constant)) == pytest.approx(free / (constant + free), rel=ROUNDING)
    assert float(depleted_share(sites, 1e-9, constant)) == pytest.approx(sites / (sites + constant), rel=1e-9)


def test_all_spectra_of_a_titration_cross_in_the_isosbestic_points() -> None:
    crossings = isosbestic_points(WAVELENGTH, FREE, BOUND)
    assert crossings.size == 1
    for level in (0.0, 0.3, 1.0, 4.0, 50.0):
        filled = float(filled_share(1.0, level, 2.0))
        spectrum = absorbance_of_film(np.stack([FREE, BOUND]), 2e-9 * np.array([1.0 - filled, filled]))
        at = np.interp(crossings[0], WAVELENGTH, spectrum)
        # Between two points the crossing is by straight lines: 1e-6 of the absorbance there.
        assert at == pytest.approx(2e-6 * np.interp(crossings[0], WAVELENGTH, FREE), rel=1e-6)


def test_gaussians_of_one_width_cross_midway() -> None:
    one, other = gaussian_band(WAVELENGTH, 430.0, 18.0), gaussian_band(WAVELENGTH, 446.0, 18.0)
    assert isosbestic_points(WAVELENGTH, one, other) == pytest.approx([438.0], abs=1e-6)


def test_a_band_is_half_as_high_half_its_width_away() -> None:
    assert gaussian_band(np.array([430.0, 439.0, 421.0]), 430.0, 18.0) == pytest.approx([1.0, 0.5, 0.5], rel=ROUNDING)


def test_stray_light_bounds_what_a_spectrometer_can_show() -> None:
    assert absorbance_with_stray_light(0.0, 1e-3) == pytest.approx(0.0, abs=ROUNDING)
    assert absorbance_with_stray_light(1.3, 0.0) == pytest.approx(1.3, rel=ROUNDING)
    assert absorbance_with_stray_light(60.0, 1e-3) == pytest.approx(np.log10(1001.0), rel=ROUNDING)
    # At A = 2 and a share of .001 a tenth more light arrives: log10(1.1) less, and log10(1.001) more.
    assert absorbance_with_stray_light(2.0, 1e-3) == pytest.approx(2.0 - np.log10(1.1) + np.log10(1.001), rel=ROUNDING)
