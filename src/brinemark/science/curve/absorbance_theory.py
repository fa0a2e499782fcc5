"""What light and one binding site do to a spectrum, in closed form, for films and invented spectra."""

from __future__ import annotations

import numpy as np

from brinemark.terms.arrays import FloatArray

CM3_PER_L = 1000.0
"""1 L = 1000 cm3, by the definition of the litre."""

FWHM_PER_SD = 2.0 * float(np.sqrt(2.0 * np.log(2.0)))
"""Width at half height of a Gaussian over its standard deviation."""


def absorbance_of_solution(
    absorptivity_L_per_mol_cm: FloatArray, concentration_mol_per_L: FloatArray, path_cm: float
) -> FloatArray:
    """Beer-Lambert: A = l sum_i eps_i c_i, (n,), for absorptivities (k, n) and concentrations (k,).

    Decadic absorbance: IUPAC, Compendium of Chemical Terminology, "Beer-Lambert law", doi 10.1351/goldbook.B00626.
    """
    return np.asarray(path_cm * (concentration_mol_per_L @ absorptivity_L_per_mol_cm), dtype=np.float64)


def absorbance_of_film(absorptivity_L_per_mol_cm: FloatArray, coverage_mol_per_cm2: FloatArray) -> FloatArray:
    """A = 1000 sum_i eps_i Gamma_i, (n,), for absorptivities (k, n) and coverages (k,) of the glass [mol/cm2].

    Beer-Lambert with c l = 1000 Gamma: a layer has no path of its own. Scattering and reflection are left out.
    """
    return absorbance_of_solution(absorptivity_L_per_mol_cm, coverage_mol_per_cm2, CM3_PER_L)


def coverage_from_absorbance(absorbance: float, absorptivity_L_per_mol_cm: float) -> float:
    """Gamma = A/(1000 eps) [mol/cm2] of the glass, for the light's one passage through the film."""
    return absorbance / (CM3_PER_L * absorptivity_L_per_mol_cm)


def bound_concentration(sites: FloatArray | float, ligand: FloatArray | float, constant: float) -> FloatArray:
    """Concentration of the complex at equilibrium, one site, with what is bound taken from both sides.

    All in one unit: sites and ligand in total, constant of dissociation K > 0. From (P - x)(L - x) = K x:
    x = 2 P L/(S + sqrt(S^2 - 4 P L)) with S = P + L + K, the root below both totals, written without the
    difference of near numbers that the other form takes when binding is weak.
    """
    p, ligand_total = np.asarray(sites, dtype=np.float64), np.asarray(ligand, dtype=np.float64)
    total = p + ligand_total + constant
    root = np.sqrt((p - ligand_total) ** 2 + constant * (2.0 * (p + ligand_total) + constant))
    return np.asarray(2.0 * p * ligand_total / (total + root), dtype=np.float64)


def filled_share(sites: float, ligand: FloatArray | float, constant: float) -> FloatArray:
    """Share of the sites that hold the ligand; for sites -> 0 the hyperbola L/(K + L)."""
    if sites == 0.0:
        free = np.asarray(ligand, dtype=np.float64)
        return np.asarray(free / (constant + free), dtype=np.float64)
    return np.asarray(bound_concentration(sites, ligand, constant) / sites, dtype=np.float64)


def depleted_share(sites: float, ligand: FloatArray | float, constant: float) -> FloatArray:
    """Share of the ligand (above 0) that the sites take out of the water: x/L."""
    return np.asarray(bound_concentration(sites, ligand, constant) / np.asarray(ligand), dtype=np.float64)


def gaussian_band(wavelength_nm: FloatArray, place_nm: float, width_nm: float) -> FloatArray:
    """A band of height 1 and width width_nm at half height [nm], Gaussian in the wavelength (usual practice, no source;
    theory has it in the wavenumber, which over a twentieth of the wavelength is the same within a few percent)."""
    return np.asarray(np.exp(-0.5 * (FWHM_PER_SD * (wavelength_nm - place_nm) / width_nm) ** 2), dtype=np.float64)


def isosbestic_points(wavelength_nm: FloatArray, free: FloatArray, bound: FloatArray) -> FloatArray:
    """Wavelengths [nm] where both forms absorb alike, by straight lines between points (n,) of rising wavelength."""
    gap = bound - free
    at = np.flatnonzero(np.signbit(gap[1:]) != np.signbit(gap[:-1]))
    share = gap[at] / (gap[at] - gap[at + 1])
    return np.asarray(wavelength_nm[at] + share * (wavelength_nm[at + 1] - wavelength_nm[at]), dtype=np.float64)


def absorbance_with_stray_light(absorbance: FloatArray | float, share: float) -> FloatArray:
    """What a spectrometer shows when a share of the unabsorbed light reaches the detector past the sample.

    T' = (T + s)/(1 + s), A' = -log10 T': never above log10((1 + s)/s).
    """
    transmittance = 10.0 ** -np.asarray(absorbance, dtype=np.float64)
    return np.asarray(np.log10((1.0 + share) / (transmittance + share)), dtype=np.float64)
