"""Density, ions and units of seawater against published values, closed forms and their limits."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from brinemark.science.amount.seawater import (
    REFERENCE_COMPOSITION,
    UNITS,
    Water,
    density_kg_per_L,
    ionic_strength,
    needs_water,
    salt_g_per_kg,
    species_mol_per_kg,
    unit_factor,
)
from brinemark.terms.errors import Refused
from reference import seawater_values as outside

PRINTED = 6e-10  # [kg/L] half of the last digit of the values, and rounding
BETWEEN_EQUATIONS = 1e-5  # [kg/L] the equations of 1983 and 2010 differ by less than 0.01 kg/m3 at the surface
LAST_DIGIT = 5.1e-8  # of a printed mass fraction
NINTH_PLACE = 6e-10  # of a molality


def test_the_density_is_that_of_teos_10() -> None:
    for temperature, salinity, wanted in outside.DENSITY_TEOS10:
        assert abs(float(density_kg_per_L(salinity, temperature)) - wanted / 1000) < PRINTED


def test_the_density_agrees_with_the_older_equation_of_state() -> None:
    for temperature_68, salinity, wanted in outside.DENSITY_1983:
        found = float(density_kg_per_L(salinity, temperature_68 / 1.00024))
        assert abs(found - wanted / 1000) < BETWEEN_EQUATIONS


def test_outside_its_range_the_density_is_not_a_number() -> None:
    found = density_kg_per_L(np.array([-0.1, 42.1, 35.0, 35.0, 35.0]), np.array([20.0, 20.0, -2.1, 40.1, 20.0]))
    assert np.isnan(found[:4]).all()
    assert np.isfinite(found[4])


def test_reference_composition_is_neutral_whole_and_has_the_printed_mass_fractions() -> None:
    species = REFERENCE_COMPOSITION
    assert sum(one.fraction for one in species.values()) == 10**7
    assert sum(one.fraction * one.charge for one in species.values()) == 0
    mean = sum(one.fraction * one.molar_mass for one in species.values()) / 1e7
    assert abs(mean - outside.MEAN_MOLAR_MASS) < 5e-6
    assert species.keys() == outside.REFERENCE_35.keys()
    for name, (mass_fraction, _, _) in outside.REFERENCE_35.items():
        found = species[name].fraction * species[name].molar_mass / 1e7 / mean
        assert abs(found - mass_fraction) < LAST_DIGIT, name


def test_ions_at_salinity_35_are_those_computed_in_exact_arithmetic() -> None:
    of_seawater, of_water = species_mol_per_kg(35.0), species_mol_per_kg(35.0, of_water=True)
    for name, (_, per_kg, per_kg_water) in outside.REFERENCE_35.items():
        assert abs(of_seawater[name] - per_kg) < NINTH_PLACE, name
        assert abs(of_water[name] - per_kg_water) < NINTH_PLACE, name
    assert abs(sum(of_water.values()) - outside.TOTAL_MOLALITY) < 5e-8
    assert abs(ionic_strength(35.0) - outside.IONIC_STRENGTH) < 5e-8


def test_ions_follow_the_salinity_and_vanish_with_it() -> None:
    half, whole = species_mol_per_kg(17.5), species_mol_per_kg(35.0)
    assert all(math.isclose(2 * half[name], whole[name], rel_tol=1e-12) for name in whole)
    assert ionic_strength(0.0) == 0.0
    assert salt_g_per_kg(35.0) == 35.16504


def test_one_microgram_of_thiocyanate_is_17_22_nanomoles() -> None:
    # 1 ug / (58.08 g/mol) = 17.218 nmol; at salinity 35 and 20 degree a litre weighs 1.024766 kg.
    assert abs(unit_factor("ug/L", "nmol/L") - 1e3 / 58.078) < 1e-9
    water = Water(35.0, 20.0)
    assert abs(unit_factor("ug/L", "nmol/kg", water=water) - 1e3 / 58.078 / 1.024766) < 1e-5
    assert abs(unit_factor("ug/L", "ug/kg", water=water) - 1 / 1.024766) < 1e-9


def test_another_analyte_has_its_own_molar_mass() -> None:
    assert abs(unit_factor("mg/L", "umol/L", molar_mass=126.90447) - 1e3 / 126.90447) < 1e-9


known = st.sampled_from(sorted(UNITS))
rounding = 1e-12


@given(known, known, known)
def test_conversions_follow_one_another_and_back(one: str, two: str, three: str) -> None:
    water = Water(33.0, 18.0)
    direct = unit_factor(one, three, water=water)
    assert math.isclose(
        unit_factor(one, two, water=water) * unit_factor(two, three, water=water), direct, rel_tol=rounding
    )
    assert math.isclose(unit_factor(three, one, water=water) * direct, 1.0, rel_tol=rounding)
    assert needs_water(one, two) == (one.endswith("/kg") != two.endswith("/kg"))


@pytest.mark.parametrize(
    ("given_unit", "wanted", "molar_mass", "water", "words"),
    [
        ("cups", "ug/L", 58.0, None, "the unit 'cups'"),
        ("ug/L", "nmol/L", None, None, "without the molar mass"),
        ("ug/L", "ug/kg", 58.0, None, "without the salinity and temperature"),
        ("ug/L", "ug/kg", 58.0, Water(50.0, 20.0), "salinity 50 and 20 degree"),
    ],
)
def test_what_a_conversion_lacks_is_named(
    given_unit: str, wanted: str, molar_mass: float | None, water: Water | None, words: str
) -> None:
    with pytest.raises(Refused, match=words):
        unit_factor(given_unit, wanted, molar_mass, water)
