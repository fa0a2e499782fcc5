"""Names of units and what one of them is in the base unit (V, A, C, s; ug/L of thiocyanate for levels)."""

from __future__ import annotations

# Standard atomic weights, IUPAC 2021, Pure and Applied Chemistry 94 (2022) 573, doi 10.1515/pac-2019-0603:
# S 32.06, C 12.011, N 14.007.
THIOCYANATE_G_PER_MOL = 58.078

_GRAMS_PER_L = {"g/L": 1e6, "mg/L": 1e3, "ug/L": 1.0, "µg/L": 1.0, "μg/L": 1.0, "ng/L": 1e-3, "pg/L": 1e-6}
_MOLES_PER_L = {"mol/L": 1e6, "mmol/L": 1e3, "umol/L": 1.0, "µmol/L": 1.0, "μmol/L": 1.0, "nmol/L": 1e-3}
_MOLAR = {"M": 1e6, "mM": 1e3, "uM": 1.0, "µM": 1.0, "μM": 1.0, "nM": 1e-3, "pM": 1e-6, "pmol/L": 1e-6}


def thiocyanate_ug_per_L(unit: str) -> float | None:
    """How many ug/L of thiocyanate one of unit is; None for a unit that is not known here."""
    if unit in _GRAMS_PER_L:
        return _GRAMS_PER_L[unit]
    moles = {**_MOLES_PER_L, **_MOLAR}
    return moles[unit] * THIOCYANATE_G_PER_MOL if unit in moles else None
