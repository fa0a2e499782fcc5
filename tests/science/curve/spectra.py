"""Invented spectra for tests: bands of a free and a bound form on a scattering background, with noise."""

from __future__ import annotations

import numpy as np

from brinemark.science.curve.absorbance_theory import gaussian_band
from brinemark.terms.arrays import FloatArray
from brinemark.terms.curves import Spectrum, SpectrumDefinition

WINDOW = (420.0, 480.0)
PLACE, WIDTH = 448.0, 18.0
BAND = SpectrumDefinition("band", window_nm=WINDOW)
DIFFERENCE = SpectrumDefinition("difference", wavelengths_nm=(448.0, 470.0))
NOISE = 1e-3


def grid(step_nm: float = 0.5) -> FloatArray:
    return np.arange(400.0, 500.0 + step_nm / 2, step_nm)


def noise(size: int, memory: float, random: np.random.Generator, sd: float = NOISE) -> FloatArray:
    """White noise, or with a memory from point to point, of standard deviation sd."""
    steps = random.standard_normal(size) * sd
    if memory == 0.0:
        return steps
    out = np.empty(size)
    out[0] = steps[0]
    for k in range(1, size):
        out[k] = memory * out[k - 1] + np.sqrt(1 - memory**2) * steps[k]
    return out


def spectrum(
    height: float,
    random: np.random.Generator | None = None,
    *,
    memory: float = 0.0,
    tilt: float = -1e-3,
    bow: float = 0.0,
    step_nm: float = 0.5,
    place: float = PLACE,
) -> Spectrum:
    """A band of a height on .2 with a straight tilt [1/nm] and a bow [1/nm2]."""
    at = grid(step_nm)
    values = 0.2 + tilt * (at - 450.0) + bow * (at - 450.0) ** 2 + height * gaussian_band(at, place, WIDTH)
    if random is not None:
        values = values + noise(at.size, memory, random)
    return Spectrum(at, values)
