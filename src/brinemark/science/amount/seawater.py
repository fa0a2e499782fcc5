"""Seawater by TEOS-10: density, ions of reference composition, and levels from one unit into another.

Known for practical salinity 0 to 42 and -2 to 40 degree Celsius at the surface, the oceanographic range of the
standard; outside the density is nan and a conversion that needs it is refused. Salt of another composition (inland
brines, artificial sea salts without their minor ions) has another density at the same practical salinity, by a few
parts in ten thousand.

1. "The international thermodynamic equation of seawater - 2010", IOC Manuals and Guides 56; the equation itself is
   that of the library gsw (density from the Gibbs function of IAPWS R13-08).
2. "The composition of Standard Seawater and the definition of the Reference-Composition Salinity Scale", Deep-Sea
   Research I 55 (2008) 50, doi 10.1016/j.dsr.2007.10.001: Table 4 (mole fractions), eq. 6.2 (S_R = 35.16504/35 S_P).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from brinemark.terms.errors import Refused
from brinemark.terms.units import THIOCYANATE_G_PER_MOL

if TYPE_CHECKING:
    from brinemark.terms.arrays import FloatArray

SALINITY_RANGE = (0.0, 42.0)
TEMPERATURE_RANGE_C = (-2.0, 40.0)
G_PER_KG_AT_35 = 35.16504  # [2], exact by definition of the scale


@dataclass(frozen=True, slots=True)
class Species:
    """One dissolved species of Reference Composition: charge number, mole fraction x 1e7 and molar mass [g/mol]."""

    charge: int
    fraction: int
    molar_mass: float


# [2] Table 4; mole fractions are exact by definition. From memory, and checked: they sum to 1e7, their charges to
# zero, and with these molar masses (IUPAC 2005, as there) they give the published mass fractions to all digits.
REFERENCE_COMPOSITION: Mapping[str, Species] = {
    "sodium": Species(1, 4188071, 22.98976928),
    "magnesium": Species(2, 471678, 24.305),
    "calcium": Species(2, 91823, 40.078),
    "potassium": Species(1, 91159, 39.0983),
    "strontium": Species(2, 810, 87.62),
    "chloride": Species(-1, 4874839, 35.453),
    "sulfate": Species(-2, 252152, 96.0626),
    "bicarbonate": Species(-1, 15340, 61.01684),
    "bromide": Species(-1, 7520, 79.904),
    "carbonate": Species(-2, 2134, 60.0089),
    "borate": Species(-1, 900, 78.8404),
    "fluoride": Species(-1, 610, 18.9984032),
    "hydroxide": Species(-1, 71, 17.00734),
    "boric acid": Species(0, 2807, 61.833),
    "carbon dioxide": Species(0, 86, 44.0095),
}
_WHOLE = 1e7


def density_kg_per_L(salinity: FloatArray | float, temperature_C: FloatArray | float) -> FloatArray:
    """Density [kg/L] at the surface for practical salinity [1] and temperature [degree Celsius, ITS-90].

    Arrays broadcast; nan outside SALINITY_RANGE and TEMPERATURE_RANGE_C. [1], by the Gibbs function, with the
    absolute salinity taken as the reference salinity: the small regional anomaly of composition is left out.
    """
    import gsw

    salt, warmth = np.broadcast_arrays(np.asarray(salinity, dtype=float), np.asarray(temperature_C, dtype=float))
    known = (salt >= SALINITY_RANGE[0]) & (salt <= SALINITY_RANGE[1])
    known &= (warmth >= TEMPERATURE_RANGE_C[0]) & (warmth <= TEMPERATURE_RANGE_C[1])
    safe_salt, safe_warmth = np.where(known, salt, 35.0), np.where(known, warmth, 20.0)
    density = np.asarray(gsw.rho_t_exact(gsw.SR_from_SP(safe_salt), safe_warmth, 0.0)) / 1000.0
    return np.where(known, density, np.nan)


def salt_g_per_kg(salinity: float) -> float:
    """Reference salinity [g/kg] of practical salinity [1], [2] eq. 6.2."""
    return salinity * G_PER_KG_AT_35 / 35.0


def species_mol_per_kg(salinity: float, *, of_water: bool = False) -> dict[str, float]:
    """Dissolved species [mol/kg of seawater] at a practical salinity; of_water : [mol/kg of pure water] instead.

    Reference Composition in constant proportions, [2] Table 4: real bicarbonate, carbonate and borate follow pH.
    """
    mean = sum(one.fraction * one.molar_mass for one in REFERENCE_COMPOSITION.values()) / _WHOLE
    salt = salt_g_per_kg(salinity)
    total = salt / mean / (1000.0 - salt) * 1000.0 if of_water else salt / mean
    return {name: total * one.fraction / _WHOLE for name, one in REFERENCE_COMPOSITION.items()}


def ionic_strength(salinity: float) -> float:
    """Ionic strength [mol/kg of pure water] at a practical salinity: half the sum of molality x charge^2."""
    molality = species_mol_per_kg(salinity, of_water=True)
    return 0.5 * sum(molality[name] * one.charge**2 for name, one in REFERENCE_COMPOSITION.items())


@dataclass(frozen=True, slots=True)
class Water:
    """What the density of a sample follows from: practical salinity and temperature [degree Celsius]."""

    salinity: float
    temperature_C: float


@dataclass(frozen=True, slots=True)
class _Unit:
    """size in g or mol; whether it counts moles, and whether it is per kg of seawater."""

    size: float
    moles: bool
    per_kg: bool


def _units() -> dict[str, _Unit]:
    prefixes = {"": 1.0, "m": 1e-3, "u": 1e-6, "µ": 1e-6, "μ": 1e-6, "n": 1e-9, "p": 1e-12}
    found = {}
    for sign, size in prefixes.items():
        found[f"{sign}M"] = _Unit(size, True, False)
        for what, moles in (("g", False), ("mol", True)):
            found[f"{sign}{what}/L"] = _Unit(size, moles, False)
            found[f"{sign}{what}/kg"] = _Unit(size, moles, True)
    return found


UNITS: Mapping[str, _Unit] = _units()
OFFERED = "ug/L, ng/L, mg/L, nmol/L, umol/L, ug/kg, nmol/kg and their like"


def needs_water(given: str, wanted: str) -> bool:
    """Whether a conversion between two known units needs the density: one is per litre, the other per kilogram."""
    return UNITS[given].per_kg != UNITS[wanted].per_kg


def known_unit(unit: str) -> str:
    """The unit itself. Raises Refused when it is none of UNITS."""
    if unit not in UNITS:
        raise Refused(f"the unit {unit!r}", f"one of {OFFERED}", "name a unit of level that is known here")
    return unit


def unit_factor(
    given: str, wanted: str, molar_mass: float | None = THIOCYANATE_G_PER_MOL, water: Water | None = None
) -> float:
    """What a level in the unit given is multiplied with to be in the unit wanted.

    molar_mass [g/mol] is needed between masses and moles, water between litres and kilograms of seawater.
    Raises Refused for an unknown unit, a missing molar mass or water, and water outside the range of the density.
    """
    one, other = UNITS[known_unit(given)], UNITS[known_unit(wanted)]
    factor = one.size / other.size
    if one.moles != other.moles:
        if molar_mass is None:
            came = f"{given} into {wanted} without the molar mass of the analyte"
            raise Refused(came, "[analyte] molar_mass [g/mol]", "write it into logbook.toml")
        factor *= molar_mass if one.moles else 1.0 / molar_mass
    if one.per_kg != other.per_kg:
        density = _density(given, wanted, water)
        factor *= density if one.per_kg else 1.0 / density
    return factor


def _density(given: str, wanted: str, water: Water | None) -> float:
    if water is None:
        came = f"{given} into {wanted} without the salinity and temperature of the water"
        raise Refused(came, "both recorded, since its density is needed", "record them, or ask for another unit")
    density = float(density_kg_per_L(water.salinity, water.temperature_C))
    if np.isnan(density):
        came = f"salinity {water.salinity:g} and {water.temperature_C:g} degree Celsius"
        low, high = SALINITY_RANGE
        expected = f"salinity {low:g} to {high:g} and {TEMPERATURE_RANGE_C[0]:g} to {TEMPERATURE_RANGE_C[1]:g} degree"
        raise Refused(came, expected, "ask for a unit that needs no density")
    return density
