"""From a spectrum to one number with its standard uncertainty: the height of a band, or a difference of two places."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from brinemark.science.curve.absorbance_theory import gaussian_band
from brinemark.science.curve.chord import without_spikes
from brinemark.science.curve.flags import no_wave_flag, noise_flag, spike_flag
from brinemark.science.curve.noise import noise_spectrum, weighed
from brinemark.science.curve.sweeps import EDGE_STEPS, MIN_POINTS
from brinemark.science.curve.voltammetry import dissect, measure
from brinemark.science.curve.waves import learn_wave
from brinemark.terms.arrays import BoolArray, FloatArray
from brinemark.terms.curves import (
    BAND,
    DIFFERENCE,
    NOTHING,
    PRESCAN_SPECTRUM,
    STATED,
    THEORETICAL,
    Band,
    Flag,
    Signal,
    SignalDefinition,
    Spectrometer,
    Spectrum,
    SpectrumDefinition,
    SpectrumDissection,
    Trace,
    Wave,
)
from brinemark.terms.errors import Refused

STRETCH_V = 0.36
"""A window is brought onto this stretch, the usual window of a wave [V], for which the functions of waves have their
grid, their widths and their limit for a wave that moved."""

USUAL = Spectrometer()
GRID_STEPS = 180
WIDTH_SHARE = 1.0 / 3.0
"""Width at half height of the theoretical band, as a share of its window: no theory says it (our choice)."""

READ_NM = 1.0
"""Each wavelength of a difference is read as the mean over this far on either side [nm] (our choice) ..."""

AROUND_NM = 8.0
"""... and its noise from this far on either side [nm], where a band of 18 nm or more is smooth (our choice) ..."""

LOCAL_TERMS = 6
"""... after a polynomial of degree 5 of each side is taken off."""

SIDE_POINTS = 10
"""Fewest points on either side of a difference."""

SCALE_ERROR_NM = 0.2
"""Repeatability of a wavelength scale that u_baseline of a difference allows for [nm] (common practice, no source); an
error that all spectra share is in the gain."""

STRAY_LIMIT = 0.1
"""Share of the light at the detector that may be stray before a flag is set: A then reads low by about .04."""

_WORDS = (("window_V", "window_nm"), ("the wave", "the band"), ("sweep", "spectrum"))
_BAND_FLAGS = {
    "no wave": ("no band", "at the expected place the signal is within 3 standard uncertainties of zero"),
    "noisy": ("noisy", "the spectrum's noise is a large share of the signal"),
    "tilted": ("tilted", "the background rises by many times the band: look for scattering or another band"),
    "edge": ("edge", "the band sits at the window's edge: move window_nm"),
    "moved": ("moved", "a band stands away from its place: check the wavelength scale"),
    "spikes": ("spikes", "single points far from their neighbours were left out"),
}


def stated_band(definition: SpectrumDefinition) -> Band:
    """What the definition alone says: a Gaussian amid the window, or the two wavelengths of a difference."""
    if definition.quantity == DIFFERENCE:
        first, second = _wavelengths(definition)
        rising = np.array(sorted((first, second)), dtype=np.float64)
        return Band(rising, np.where(rising == first, 1.0, -1.0), first, STATED, 0)
    low, high = _window(definition)
    grid, middle = np.linspace(low, high, GRID_STEPS + 1), 0.5 * (low + high)
    return Band(grid, gaussian_band(grid, middle, WIDTH_SHARE * (high - low)), middle, THEORETICAL, 0)


def learn_band(spectra: Sequence[Spectrum], definition: SpectrumDefinition, blanks: Sequence[Spectrum] = ()) -> Band:
    """Place and shape of the band from spectra of known standards, as `waves.learn_wave` learns a wave.

    spectra : with the pre-scan taken off where the definition is against it. A difference needs no shape and
    learns none; with no usable spectrum the band is the stated one. Spectra that do not cover the window are left out.
    """
    if definition.quantity == DIFFERENCE:
        return stated_band(definition)
    window = _window(definition)
    taught = [_as_trace(one, window) for one in spectra if _covers(one, window)]
    before = [_as_trace(one, window) for one in blanks if _covers(one, window)]
    wave = learn_wave(taught, _as_height(definition), before)
    stated = stated_band(definition)
    if wave.traces == 0:
        return stated
    grid, place = _nm(wave.potential_V, window), float(_nm(np.array(wave.place_V), window))
    if wave.source == THEORETICAL:
        shape = gaussian_band(grid, place, WIDTH_SHARE * (window[1] - window[0]))
        return Band(grid, shape, place, THEORETICAL, wave.traces)
    return Band(grid, wave.shape, place, wave.source, wave.traces)


def against_prescan(spectrum: Spectrum, prescan: Spectrum) -> Spectrum:
    """What the electrode's spectrum gained since its pre-scan, where both reach (n,); straight lines between the
    pre-scan's points when it has others. Raises Refused when they share no range."""
    if np.array_equal(spectrum.wavelength_nm, prescan.wavelength_nm):
        return Spectrum(spectrum.wavelength_nm, spectrum.absorbance - prescan.absorbance)
    low, high = float(prescan.wavelength_nm[0]), float(prescan.wavelength_nm[-1])
    both = (spectrum.wavelength_nm >= low) & (spectrum.wavelength_nm <= high)
    if not both.any():
        raise Refused(
            f"a pre-scan from {low:g} to {high:g} nm and a spectrum from {spectrum.wavelength_nm[0]:g} to "
            f"{spectrum.wavelength_nm[-1]:g} nm",
            "two spectra of the same range",
            'record both alike, or write [signal] against = "nothing"',
        )
    at = spectrum.wavelength_nm[both]
    before = np.interp(at, prescan.wavelength_nm, prescan.absorbance)
    return Spectrum(at, np.asarray(spectrum.absorbance[both] - before, dtype=np.float64))


def measure_spectrum(
    spectrum: Spectrum,
    definition: SpectrumDefinition,
    band: Band,
    prescan: Spectrum | None = None,
    spectrometer: Spectrometer = USUAL,
) -> Signal:
    """Read one number [1] from a spectrum; linear in the absorbance, never clipped, negative when it is.

    band : the height of the band above its baseline in the window, as `voltammetry.measure` reads the height of a
    wave, with the same two parts of u. difference : mean absorbance within READ_NM of the first wavelength less that
    of the second; u_noise from the points around both, u_baseline from what a wavelength scale that is off by
    SCALE_ERROR_NM either way would do. With `against` = "prescan" the pre-scan is taken off first.

    Raises
    ------
    Refused
        A spectrum that does not reach over the window or the wavelengths (with its pre-scan, where that is taken
        off), or has too few points there; no pre-scan where one is taken off; an unknown quantity or baseline.
    """
    read = _read_from(spectrum, definition, prescan)
    signal = _difference(read, definition) if definition.quantity == DIFFERENCE else _height(read, definition, band)
    seen = [spectrum] if read is spectrum or prescan is None else [spectrum, prescan]
    return replace(signal, flags=(*signal.flags, *_light_flags(seen, definition, spectrometer)))


def dissect_spectrum(
    spectrum: Spectrum,
    definition: SpectrumDefinition,
    band: Band,
    prescan: Spectrum | None = None,
    spectrometer: Spectrometer = USUAL,
) -> SpectrumDissection:
    """The same signal taken apart: absorbance = baseline + band + residual over the part that was read.

    For a difference the baseline is what is read at the second wavelength, and the band what is read at every
    wavelength above it. Raises Refused as `measure_spectrum`.
    """
    signal = measure_spectrum(spectrum, definition, band, prescan, spectrometer)
    read = _read_from(spectrum, definition, prescan)
    if definition.quantity == DIFFERENCE:
        return _difference_apart(read, definition, signal)
    window = _window(definition)
    parts = dissect(_as_trace(read, window), _as_height(definition), _as_wave(band, window))
    arrays = (parts.current_A, parts.baseline_A, parts.wave_A, parts.residual_A)
    gained = definition.against == PRESCAN_SPECTRUM
    return SpectrumDissection(_nm(parts.potential_V, window), *arrays, band.place_nm, signal, gained)


def _window(definition: SpectrumDefinition) -> tuple[float, float]:
    if definition.quantity != BAND:
        raise Refused(f"quantity {definition.quantity!r}", f'"{BAND}" or "{DIFFERENCE}"', "change the quantity")
    if definition.window_nm is None or not definition.window_nm[0] < definition.window_nm[1]:
        raise Refused(f"window_nm {definition.window_nm}", "low below high [nm]", "give window_nm for a band")
    return definition.window_nm


def _wavelengths(definition: SpectrumDefinition) -> tuple[float, float]:
    if definition.wavelengths_nm is None or definition.wavelengths_nm[0] == definition.wavelengths_nm[1]:
        raise Refused(f"wavelengths_nm {definition.wavelengths_nm}", "two wavelengths [nm]", "give two that differ")
    return definition.wavelengths_nm


def _read_from(spectrum: Spectrum, definition: SpectrumDefinition, prescan: Spectrum | None) -> Spectrum:
    """The spectrum, or what it gained since the pre-scan; checked to reach over what is read."""
    if definition.against == PRESCAN_SPECTRUM:
        if prescan is None:
            raise Refused(
                "a spectrum without pre-scan, where the signal is read against it",
                "the electrode's own spectrum from before",
                'give its file in the column prescan, or write [signal] against = "nothing"',
            )
        spectrum = against_prescan(spectrum, prescan)
    elif definition.against != NOTHING:
        known = f'"{NOTHING}" or "{PRESCAN_SPECTRUM}"'
        raise Refused(f"against {definition.against!r}", known, "change the signal's against")
    if definition.quantity != DIFFERENCE:
        _check_window(spectrum, _window(definition))
    return spectrum


def _covers(spectrum: Spectrum, window: tuple[float, float]) -> bool:
    slack = EDGE_STEPS * float(np.median(np.diff(spectrum.wavelength_nm))) if spectrum.wavelength_nm.size > 1 else 0.0
    reaches = spectrum.wavelength_nm[0] <= window[0] + slack and spectrum.wavelength_nm[-1] >= window[1] - slack
    return bool(reaches and _inside(spectrum, window).sum() >= MIN_POINTS)


def _inside(spectrum: Spectrum, window: tuple[float, float]) -> BoolArray:
    return np.asarray((spectrum.wavelength_nm >= window[0]) & (spectrum.wavelength_nm <= window[1]), dtype=bool)


def _check_window(spectrum: Spectrum, window: tuple[float, float]) -> None:
    if _covers(spectrum, window):
        return
    ends = f"{spectrum.wavelength_nm[0]:g} to {spectrum.wavelength_nm[-1]:g} nm"
    raise Refused(
        f"a spectrum from {ends} with {int(_inside(spectrum, window).sum())} points in the window",
        f"one over {window[0]:g} to {window[1]:g} nm with at least {MIN_POINTS} points there",
        "change window_nm, or record the whole range in smaller steps",
    )


def _nm(stretch_V: FloatArray, window: tuple[float, float]) -> FloatArray:
    return np.asarray(window[0] + stretch_V * ((window[1] - window[0]) / STRETCH_V), dtype=np.float64)


def _onto_stretch(wavelength_nm: FloatArray, window: tuple[float, float]) -> FloatArray:
    return np.asarray((wavelength_nm - window[0]) * (STRETCH_V / (window[1] - window[0])), dtype=np.float64)


def _as_height(definition: SpectrumDefinition) -> SignalDefinition:
    return SignalDefinition("height", "anodic", "last", (0.0, STRETCH_V), definition.baseline)


def _as_trace(spectrum: Spectrum, window: tuple[float, float]) -> Trace:
    """The spectrum as one rising sweep: a band on a background is the same task as a wave on one."""
    return Trace(_onto_stretch(spectrum.wavelength_nm, window), spectrum.absorbance)


def _as_wave(band: Band, window: tuple[float, float]) -> Wave:
    place = float(_onto_stretch(np.array(band.place_nm), window))
    return Wave(_onto_stretch(band.wavelength_nm, window), band.shape, place, band.source, band.spectra)


def _height(read: Spectrum, definition: SpectrumDefinition, band: Band) -> Signal:
    window = _window(definition)
    try:
        found = measure(_as_trace(read, window), _as_height(definition), _as_wave(band, window))
    except Refused as fault:
        raise _in_words_of_spectra(fault) from fault
    flags = tuple(_band_flag(flag, window) for flag in found.flags if flag.name in _BAND_FLAGS)
    return replace(found, unit=definition.unit, flags=flags)


def _in_words_of_spectra(fault: Refused) -> Refused:
    said = [fault.came, fault.expected, fault.remedy]
    for old, new in _WORDS:
        said = [text.replace(old, new) for text in said]
    return Refused(*said, file=fault.file, row=fault.row, column=fault.column)


def _band_flag(flag: Flag, window: tuple[float, float]) -> Flag:
    """The same remark in words of spectra; a converter at its end is seen by the absorbance instead."""
    name, meaning = _BAND_FLAGS[flag.name]
    factor = (window[1] - window[0]) / STRETCH_V if flag.name == "moved" else 1.0
    return Flag(name, flag.value * factor, flag.limit * factor, meaning, flag.severe)


def _light_flags(
    spectra: Sequence[Spectrum], definition: SpectrumDefinition, spectrometer: Spectrometer
) -> tuple[Flag, ...]:
    """Where so little light is left that the spectrometer is not believed, or much of what arrives is stray."""
    largest = max(float(one.absorbance[_looked_at(one, definition)].max()) for one in spectra)
    flags = []
    if largest > spectrometer.max_absorbance:
        limit = spectrometer.max_absorbance
        flags.append(Flag("saturated", largest, limit, "too little light comes through to be measured", severe=True))
    stray = spectrometer.stray_light * 10.0**largest
    if stray > STRAY_LIMIT:
        flags.append(Flag("stray light", stray, STRAY_LIMIT, "a large share of the light that arrives is stray"))
    return tuple(flags)


def _looked_at(spectrum: Spectrum, definition: SpectrumDefinition) -> BoolArray:
    """(n,) True for the points that the signal is read from."""
    if definition.quantity != DIFFERENCE:
        return _inside(spectrum, _window(definition))
    around = _around(definition)
    sides = [np.abs(spectrum.wavelength_nm - one) <= around for one in _wavelengths(definition)]
    return np.asarray(sides[0] | sides[1], dtype=bool)


def _around(definition: SpectrumDefinition) -> float:
    first, second = _wavelengths(definition)
    return min(AROUND_NM, 0.5 * abs(first - second))


def _side(read: Spectrum, place_nm: float, around_nm: float) -> tuple[FloatArray, FloatArray]:
    """Wavelengths and absorbances around one wavelength. Raises Refused when they do not surround it or are few."""
    near = np.abs(read.wavelength_nm - place_nm) <= around_nm
    needed = READ_NM + SCALE_ERROR_NM
    reaches = read.wavelength_nm[0] <= place_nm - needed and read.wavelength_nm[-1] >= place_nm + needed
    if not reaches or int(near.sum()) < SIDE_POINTS:
        raise Refused(
            f"{int(near.sum())} points within {around_nm:g} nm of {place_nm:g} nm in a spectrum from "
            f"{read.wavelength_nm[0]:g} to {read.wavelength_nm[-1]:g} nm",
            f"at least {SIDE_POINTS}, on both sides",
            "change wavelengths_nm (further apart or inside), or record the whole range in smaller steps",
        )
    return read.wavelength_nm[near], read.absorbance[near]


def _read_places(place_nm: float) -> FloatArray:
    return np.asarray(place_nm + READ_NM * (np.arange(-9.0, 10.0, 2.0) / 10.0), dtype=np.float64)


def _mean_weights(wavelength_nm: FloatArray, place_nm: float) -> FloatArray:
    """(m,) weights of the mean within READ_NM of a place, over straight lines between the points."""
    at = _read_places(place_nm)
    return np.array([np.interp(at, wavelength_nm, unit).mean() for unit in np.eye(wavelength_nm.size)])


def _difference(read: Spectrum, definition: SpectrumDefinition) -> Signal:
    places, around = _wavelengths(definition), _around(definition)
    absorbance, _ = without_spikes(read.absorbance)
    cleared = _looked_at(read, definition) & (absorbance != read.absorbance)
    clean = Spectrum(read.wavelength_nm, absorbance)
    sides = [_side(clean, place, around) for place in places]
    values = np.concatenate([side[1] for side in sides])
    shifts = (0.0, -SCALE_ERROR_NM, SCALE_ERROR_NM)
    weights = np.stack([_difference_weights(sides, places, shift) for shift in shifts])
    local = np.concatenate([(side[0] - place) / around for side, place in zip(sides, places, strict=True)])
    second = np.concatenate([np.full(side[0].size, sign) for side, sign in zip(sides, (1.0, -1.0), strict=True)])
    value, u_noise, u_scale = weighed(weights, values, noise_spectrum(values, local, _local_terms(local, second)))
    u = float(np.hypot(u_noise, u_scale))
    nothing = no_wave_flag(value, u)
    if nothing is not None:
        nothing = replace(nothing, name="no difference", meaning="within 3 standard uncertainties of zero")
    found = (nothing, noise_flag(value, u_noise) if nothing is None else None, spike_flag(int(cleared.sum())))
    return Signal(value, u, definition.unit, tuple(flag for flag in found if flag is not None), u_noise, u_scale)


def _difference_weights(
    sides: Sequence[tuple[FloatArray, FloatArray]], places: tuple[float, float], shift_nm: float
) -> FloatArray:
    """(m,) weights on both sides, one after the other: +1 in all on the first, -1 on the second."""
    first, second = (_mean_weights(side[0], place + shift_nm) for side, place in zip(sides, places, strict=True))
    return np.concatenate([first, -second])


def _local_terms(local: FloatArray, side: FloatArray) -> FloatArray:
    """(m, 8) what makes a polynomial of degree 5 of each side out of the common cubic that the noise takes off."""
    powers = np.polynomial.legendre.legvander(local, LOCAL_TERMS - 1)
    return np.column_stack([powers * side[:, None], powers[:, 4:]])


def _difference_apart(read: Spectrum, definition: SpectrumDefinition, signal: Signal) -> SpectrumDissection:
    (first, second), around = _wavelengths(definition), _around(definition)
    near = _inside(read, (min(first, second) - around, max(first, second) + around))
    at = read.wavelength_nm[near]
    smooth = np.mean([np.interp(at + off, read.wavelength_nm, read.absorbance) for off in _read_places(0.0)], axis=0)
    base = float(np.interp(_read_places(second), read.wavelength_nm, read.absorbance).mean())
    level, left = np.full(at.size, base), read.absorbance[near] - smooth
    gained = definition.against == PRESCAN_SPECTRUM
    return SpectrumDissection(at, read.absorbance[near], level, smooth - base, left, first, signal, gained)
