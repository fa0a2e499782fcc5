"""How an electrode's response moves with salinity: a competing ion on the sites, and a floor of its own.

With a competitor whose level follows the practical salinity S (chloride, bromide: Reference Composition in constant
proportions), sites obey

    theta = (c/K) / (1 + c/K + S/K_s)      (methods, "Response"; two ligands on one kind of site, mass action)

which is the response without competitor at K_eff(S) = K (1 + S/K_s). Against the reference salinity S_0 of the
standards, with w = (S_0/K_s) / (1 + S_0/K_s) in 0..1, the exponent d ln K_eff / d ln S at S_0,

    ln K_eff(S) - ln K_eff(S_0) = ln(1 - w + w S/S_0)
    ln phi(S)   - ln phi(S_0)   = f (S/S_0 - 1)

w and f are parameters of the one response (response.py), estimated with all others from blanks and standards that
span salinities. Deviations, our own: for h other than 1 the same K_eff is put into c^h / (K_eff^h + c^h); the floor
moves with a coefficient f of its own that stands for bound chloride and capacitance alike (f is its exponent at S_0,
and the form stays finite in fresh water). Neither says anything of an ion that is missing from these proportions.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from brinemark.terms.amounts import ElectrodeReadings
    from brinemark.terms.arrays import FloatArray

FEWEST_SALINITIES = 2
APART = 2.0  # practical salinity; salinities nearer than this are one (a hand refractometer reads to about 1)


def ln_K_shift(salinity: FloatArray | float, reference: float, K_exponent: FloatArray | float) -> FloatArray:
    """ln K_eff(S) - ln K_eff(S_0) for an exponent w in 0..1 at S_0; broadcasts."""
    return np.asarray(np.log1p(np.asarray(K_exponent) * (np.asarray(salinity, dtype=float) / reference - 1.0)))


def ln_floor_shift(salinity: FloatArray | float, reference: float, floor_slope: FloatArray | float) -> FloatArray:
    """ln phi(S) - ln phi(S_0); broadcasts."""
    return np.asarray(np.asarray(floor_slope) * (np.asarray(salinity, dtype=float) / reference - 1.0))


def local_exponent(salinity: FloatArray | float, reference: float, K_exponent: float) -> FloatArray:
    """d ln K_eff / d ln S at S: (S/K_s) / (1 + S/K_s), rising from 0 to 1."""
    relative = np.asarray(salinity, dtype=float) / reference
    return np.asarray(K_exponent * relative / (1.0 - K_exponent + K_exponent * relative))


def reference_salinity(readings: ElectrodeReadings) -> float:
    """S_0: median salinity of the calibration readings that recorded it; nan where none did."""
    known = readings.salinity[np.isfinite(readings.salinity) & (readings.salinity > 0)]
    return float(np.median(known)) if known.size else math.nan


def relative_salinity(salinity: FloatArray, reference: float) -> FloatArray:
    """S/S_0 - 1; 0 where it was not recorded, which takes that water to be the standards'."""
    return np.asarray(np.where(np.isfinite(salinity), salinity / reference - 1.0, 0.0))


def distinct(salinity: FloatArray) -> tuple[float, ...]:
    """Recorded salinities, rising, of which each lies at least APART above the one before."""
    found: list[float] = []
    for value in np.sort(salinity[np.isfinite(salinity)]):
        if not found or value - found[-1] >= APART:
            found.append(float(value))
    return tuple(found)


def correction_refusal(readings: ElectrodeReadings) -> str | None:
    """Why these electrodes allow no correction for salinity; None when they do.

    Blanks at two salinities at least are required: without them a floor that moves reads as analyte.
    """
    blanks = distinct(readings.salinity[readings.level == 0])
    if len(blanks) >= FEWEST_SALINITIES:
        return None
    at = f" (all at {blanks[0]:g})" if blanks else ""
    return (
        f"blanks at {FEWEST_SALINITIES} salinities are required before any correction, and there is {len(blanks)}{at}"
    )
