"""Band heights and differences of invented spectra, on known truth."""

from __future__ import annotations

from dataclasses import replace
from math import erf, pi, sqrt

import numpy as np
import pytest
from spectra import BAND, DIFFERENCE, NOISE, PLACE, WIDTH, WINDOW, grid, spectrum

from brinemark.science.curve.absorbance import (
    against_prescan,
    dissect_spectrum,
    learn_band,
    measure_spectrum,
    stated_band,
)
from brinemark.science.curve.absorbance_theory import FWHM_PER_SD, gaussian_band
from brinemark.science.curve.chord import make_chord
from brinemark.terms.curves import Band, Spectrometer, Spectrum, SpectrumDefinition
from brinemark.terms.errors import Refused

ROUNDING = 1e-9
RUNS = 300
SEED = 20711
KNOWN = Band(np.linspace(*WINDOW, 241), gaussian_band(np.linspace(*WINDOW, 241), PLACE, WIDTH), PLACE, "learned", 6)


def test_a_band_of_known_shape_is_read_exactly_on_a_straight_background() -> None:
    for height in (-0.02, 0.0, 0.3):
        found = measure_spectrum(spectrum(height), BAND, KNOWN)
        # The shape is interpolated on its grid of a quarter nanometre.
        assert found.value == pytest.approx(height, abs=1e-4)
        assert found.unit == "1"


def test_a_difference_is_the_beer_lambert_difference_of_its_two_wavelengths() -> None:
    found = measure_spectrum(spectrum(0.3, tilt=0.0, step_nm=0.25), DIFFERENCE, stated_band(DIFFERENCE))
    # The mean of a Gaussian within 1 nm of a place, in closed form; straight lines over .25 nm miss it by 1e-4 of it.
    sd = WIDTH / FWHM_PER_SD
    means = [
        sd * sqrt(pi / 8.0) * (erf((x + 1.0) / (sd * sqrt(2.0))) - erf((x - 1.0) / (sd * sqrt(2.0))))
        for x in (0.0, 22.0)
    ]
    assert found.value == pytest.approx(0.3 * (means[0] - means[1]), abs=5e-5)


@pytest.mark.parametrize("definition", [BAND, DIFFERENCE], ids=["band", "difference"])
def test_signals_are_linear_in_the_absorbance(definition: SpectrumDefinition) -> None:
    random = np.random.default_rng(SEED)
    one, other = spectrum(0.2, random), spectrum(0.05, random)
    both = Spectrum(one.wavelength_nm, 2.0 * one.absorbance - 3.0 * other.absorbance)
    band = KNOWN if definition is BAND else stated_band(DIFFERENCE)
    values = [measure_spectrum(each, definition, band).value for each in (one, other, both)]
    assert values[2] == pytest.approx(2.0 * values[0] - 3.0 * values[1], abs=ROUNDING)


@pytest.mark.parametrize("memory", [0.0, 0.5])
@pytest.mark.parametrize("definition", [BAND, DIFFERENCE], ids=["band", "difference"])
def test_u_is_as_wide_as_the_scatter(definition: SpectrumDefinition, memory: float) -> None:
    random = np.random.default_rng(SEED)
    band = KNOWN if definition is BAND else stated_band(DIFFERENCE)
    truth = measure_spectrum(spectrum(0.1), definition, band).value
    found = [measure_spectrum(spectrum(0.1, random, memory=memory), definition, band) for _ in range(RUNS)]
    pull = np.array([(one.value - truth) / one.u for one in found])
    # Monte Carlo: sd of 300 pulls to 4 %; decision 0011 measured .95 to 1.02 on as many points.
    assert 0.8 < pull.std() < 1.2
    assert abs(pull.mean()) < 0.25


def test_a_bowed_background_widens_u_and_is_covered_by_it() -> None:
    found = measure_spectrum(spectrum(0.1, np.random.default_rng(SEED), bow=4e-5), BAND, KNOWN)
    assert found.u_baseline > 3.0 * found.u_noise
    assert abs(found.value - 0.1) < 3.0 * found.u


def test_a_wavelength_on_a_flank_widens_the_difference() -> None:
    flank = SpectrumDefinition("difference", wavelengths_nm=(440.0, 470.0))
    summit = measure_spectrum(spectrum(1.0, np.random.default_rng(SEED)), DIFFERENCE, stated_band(DIFFERENCE))
    side = measure_spectrum(spectrum(1.0, np.random.default_rng(SEED)), flank, stated_band(flank))
    # .2 nm on a slope of x/sd^2 exp(-x^2/2 sd^2) = .079 per nm at x = 8, as a rectangle: .2 .079/sqrt(3).
    assert side.u_baseline == pytest.approx(0.0092, abs=0.001)
    assert side.u_baseline > 3.0 * summit.u_baseline


def test_the_band_is_learned_from_spectra_and_reads_better_than_the_stated_one() -> None:
    random = np.random.default_rng(SEED)
    taught = [spectrum(height, random) for height in (0.05, 0.1, 0.1, 0.2, 0.2, 0.3)]
    learned = learn_band(taught, BAND, [spectrum(0.0, random) for _ in range(3)])
    assert (learned.source, learned.spectra) == ("learned", 6)
    # The place to half a step of the grid of waves, 2 mV of 360 mV: .17 nm.
    assert learned.place_nm == pytest.approx(PLACE, abs=0.5)
    chord = make_chord(learned.wavelength_nm, WINDOW)
    truth = chord.above(gaussian_band(learned.wavelength_nm, PLACE, WIDTH))
    # Decision 0012 measured .04 for six traces of 5 to 20 times the noise; a line is no matter to the signal.
    assert float(np.abs(chord.above(learned.shape) - truth).max()) < 0.05
    read = [measure_spectrum(spectrum(0.3), BAND, band) for band in (learned, stated_band(BAND))]
    # The tail that the shape is given sets the scale of all heights alike, which the gain takes up.
    assert read[0].value == pytest.approx(0.3, rel=0.06)
    assert read[0].u < 0.5 * read[1].u


def test_few_or_useless_spectra_leave_the_stated_shape() -> None:
    random = np.random.default_rng(SEED)
    assert learn_band([], BAND).source == "theoretical"
    assert learn_band([spectrum(0.0)], BAND).spectra == 0
    two = learn_band([spectrum(0.2, random), spectrum(0.3, random)], BAND)
    assert (two.source, two.spectra) == ("theoretical", 2)
    assert two.place_nm == pytest.approx(PLACE, abs=0.5)
    assert learn_band([spectrum(0.2, random)], DIFFERENCE).source == "stated"


def test_against_the_prescan_the_film_itself_is_gone() -> None:
    random = np.random.default_rng(SEED)
    film = 1.2 * gaussian_band(grid(), 440.0, 20.0)
    before, after = spectrum(0.0, random), spectrum(0.08, random)
    pair = [Spectrum(one.wavelength_nm, one.absorbance + film) for one in (before, after)]
    definition = replace(BAND, against="prescan")
    found = measure_spectrum(pair[1], definition, KNOWN, pair[0])
    assert abs(found.value - 0.08) < 3.0 * found.u
    assert found.u < 2.0 * NOISE
    with pytest.raises(Refused, match="without pre-scan"):
        measure_spectrum(pair[1], definition, KNOWN)


def test_a_prescan_on_another_grid_is_interpolated_where_both_reach() -> None:
    coarse = Spectrum(np.arange(410.0, 491.0), 0.01 * np.arange(410.0, 491.0))
    fine = Spectrum(grid(), 0.01 * grid() + 0.5)
    gained = against_prescan(fine, coarse)
    assert (gained.wavelength_nm[0], gained.wavelength_nm[-1]) == (410.0, 490.0)
    assert gained.absorbance == pytest.approx(0.5, rel=ROUNDING)
    with pytest.raises(Refused, match="same range"):
        against_prescan(fine, Spectrum(np.arange(600.0, 700.0), np.zeros(100)))


def test_too_little_light_is_flagged() -> None:
    found = measure_spectrum(spectrum(3.2), BAND, KNOWN)
    flags = {flag.name: flag for flag in found.flags}
    assert flags["saturated"].severe
    assert "stray light" in flags
    # Stray light of 5e-4 is a tenth of the light that arrives at A = log10(200) = 2.3.
    assert "stray light" not in {flag.name for flag in measure_spectrum(spectrum(2.0), BAND, KNOWN).flags}
    assert "stray light" in {flag.name for flag in measure_spectrum(spectrum(2.2), BAND, KNOWN).flags}
    strict = measure_spectrum(spectrum(1.0), DIFFERENCE, stated_band(DIFFERENCE), spectrometer=Spectrometer(1.0, 0.0))
    assert [flag.name for flag in strict.flags] == ["saturated"]


def test_a_saturated_prescan_is_seen_where_it_is_taken_off() -> None:
    thick = spectrum(3.4, np.random.default_rng(SEED))
    found = measure_spectrum(spectrum(0.3), replace(BAND, against="prescan"), KNOWN, thick)
    assert "saturated" in {flag.name for flag in found.flags}


def test_nothing_noise_a_moved_and_a_spiked_band_are_flagged() -> None:
    random = np.random.default_rng(SEED)
    assert {flag.name for flag in measure_spectrum(spectrum(0.0, random), BAND, KNOWN).flags} == {"no band"}
    faint = measure_spectrum(spectrum(0.0, random), DIFFERENCE, stated_band(DIFFERENCE))
    assert faint.flags == () or faint.flags[0].name in ("no difference", "noisy")
    moved = {flag.name: flag for flag in measure_spectrum(spectrum(0.3, random, place=456.0), BAND, KNOWN).flags}
    # Far from its place the shift is found to about a nanometre; the limit is 30 mV of 360 mV, here 5 nm.
    assert moved["moved"].value == pytest.approx(8.0, abs=2.0)
    assert moved["moved"].limit == pytest.approx(5.0)
    spiked = spectrum(0.3, random)
    values = spiked.absorbance.copy()
    values[np.searchsorted(spiked.wavelength_nm, 447.0)] += 1.0
    for definition, band in ((BAND, KNOWN), (DIFFERENCE, stated_band(DIFFERENCE))):
        flags = measure_spectrum(Spectrum(spiked.wavelength_nm, values), definition, band).flags
        assert "spikes" in {flag.name for flag in flags}


@pytest.mark.parametrize("baseline", ["chord", "polynomial", "whittaker"])
def test_a_band_taken_apart_adds_up_to_the_spectrum(baseline: str) -> None:
    seen = spectrum(0.3, np.random.default_rng(SEED))
    parts = dissect_spectrum(seen, replace(BAND, baseline=baseline), KNOWN)
    assert parts.baseline + parts.band + parts.residual == pytest.approx(parts.absorbance, abs=ROUNDING)
    assert parts.wavelength_nm == pytest.approx(grid()[40:161])
    assert parts.read_nm == PLACE
    assert parts.signal == measure_spectrum(seen, replace(BAND, baseline=baseline), KNOWN)


def test_a_difference_taken_apart_shows_its_value_at_its_place() -> None:
    seen = spectrum(0.3, np.random.default_rng(SEED))
    parts = dissect_spectrum(seen, DIFFERENCE, stated_band(DIFFERENCE))
    assert parts.baseline + parts.band + parts.residual == pytest.approx(parts.absorbance, abs=ROUNDING)
    at = int(np.searchsorted(parts.wavelength_nm, parts.read_nm))
    assert float(parts.band[at]) == pytest.approx(parts.signal.value, abs=ROUNDING)


@pytest.mark.parametrize(
    ("definition", "words"),
    [
        (replace(BAND, window_nm=(420.0, 520.0)), "window_nm"),
        (replace(BAND, window_nm=(440.0, 444.0)), "at least 20 points"),
        (replace(BAND, window_nm=(480.0, 420.0)), "low below high"),
        (replace(BAND, window_nm=None), "give window_nm"),
        (replace(BAND, baseline="spline"), "baseline"),
        (replace(BAND, quantity="height"), '"band" or "difference"'),
        (replace(BAND, against="air"), '"nothing" or "prescan"'),
        (replace(DIFFERENCE, wavelengths_nm=(448.0, 505.0)), "wavelengths_nm"),
        (replace(DIFFERENCE, wavelengths_nm=(448.0, 450.0)), "at least 10"),
        (replace(DIFFERENCE, wavelengths_nm=(448.0, 448.0)), "two that differ"),
    ],
)
def test_what_cannot_be_read_is_refused_in_words_of_spectra(definition: SpectrumDefinition, words: str) -> None:
    with pytest.raises(Refused, match=words) as refused:
        measure_spectrum(spectrum(0.3), definition, KNOWN)
    assert "window_V" not in str(refused.value)
    assert "sweep" not in str(refused.value)


def test_too_few_points_for_a_polynomial_are_refused_in_words_of_spectra() -> None:
    coarse = spectrum(0.3, step_nm=3.0)
    with pytest.raises(Refused, match=r"outside the band.*window_nm"):
        measure_spectrum(coarse, replace(BAND, baseline="polynomial"), KNOWN)
