"""A small invented season of the same films read by their absorbance: light and binding, never the model that reads.

The films are those of `making`; a spectrometer sees the dye on the glass, the part that holds thiocyanate, and the
scattering of the titania. What the film takes out of the water is in the balance. Every number is invented.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

import numpy as np

from brinemark.demo import files
from brinemark.demo.curves import Film
from brinemark.demo.plan import SEASON_START, Plan, Planned, Tank, planned
from brinemark.demo.scenario import DEFAULT_SEED, Scenario, World, draw_world, fresh_folder, names_by_role, stream
from brinemark.science.curve.absorbance_theory import (
    absorbance_of_film,
    absorbance_with_stray_light,
    filled_share,
    gaussian_band,
)
from brinemark.terms.arrays import FloatArray
from brinemark.terms.curves import Spectrum
from brinemark.terms.units import THIOCYANATE_G_PER_MOL

FREE_NM, FREE_WIDTH_NM, FREE_ABSORPTIVITY = 432.0, 20.0, 1.0e5
BOUND_NM, BOUND_WIDTH_NM, BOUND_ABSORPTIVITY = 448.0, 21.0, 0.9e5
"""Place and width [nm] and decadic absorptivity [L/(mol cm)] of the dye's band without and with thiocyanate."""
COVERAGE = 6e-9
"""Dye on the glass for a loading of 1 [mol/cm2]: A = .6 at its summit."""
ANSWERING = 0.30
"""Share of the dye that answers."""
AREA_CM2, VOLUME_L = 1.0, 0.25
"""Coated glass in the cell, and water that is stirred past it."""
SCATTER, SCATTER_NM = 0.25, 450.0
"""Absorbance that the titania's scattering looks like at a wavelength; it falls with the fourth power."""
REMOUNTED, SCALE_NM = 0.01, 0.05
"""Standard deviations: of the scattering when the glass is put back, relative, and of the wavelength scale [nm]."""
NOISE, STRAY = 6e-4, 3e-4
"""Noise of the absorbance where all light comes through, and share of stray light."""


@dataclass(frozen=True, slots=True)
class SpectrumDialect:
    """How a spectrum is written: header, delimiter, decimal sign, line end, and whether as transmittance in percent."""

    header: str
    delimiter: str = ","
    decimal: str = "."
    newline: str = "\n"
    percent: bool = False


PLAIN = SpectrumDialect("wavelength_nm,absorbance")
PERCENT = SpectrumDialect("Wavelength (nm);T (%)", ";", ",", "\r\n", percent=True)

TANKS = (
    Tank("F1-tank-1", 0.0, 0.0, "no boat yet"),
    Tank("F1-tank-2", 0.8, 1.6),
    Tank("F1-tank-3", 3.0, 6.0),
    Tank("F1-tank-4", 120.0, 250.0, "water is cloudy"),
    Tank("F1-tank-5", 1.0, 3.0, "one electrode left for this tank"),
    Tank("FC-two", 2.0, 2.0, control=True),
)
_EARLIER: dict[str, tuple[str, ...]] = {
    "L01": ("B 0", "B 0.5", "B 2", "B 8", "B 20"),
    "L02": ("B 0", "B 1", "B 4 lifted", "B 8", "B 0"),
    "L03": ("B 0", "B 2", "B 4", "B 20", "B 1"),
}
_WITH_TANKS: dict[str, tuple[str, ...]] = {
    "L04": ("B 0", "B 4", "B F1-tank-1", "B F1-tank-3", "B F1-tank-4"),
    "L05": ("B 0", "B 2", "B F1-tank-2", "B F1-tank-4/16", "B F1-tank-5 lifted"),
    "L06": ("B 1", "B 8", "B F1-tank-2", "B F1-tank-3", "B FC-two"),
}

SETTINGS = """\
# Ilsundry Quay Laboratory, Quorvenna: an invented place. These electrodes are read by their spectrum.

[logbook]
schema = 1
name = "Ilsundry Quay Laboratory, spectra (invented)"
timezone = "UTC"

[analyte]
name = "thiocyanate"
level_unit = "ug/L"

[signal]
quantity = "band"
window_nm = [439.0, 485.0]
against = "prescan"

[covariate]
quantity = "band"
window_nm = [402.0, 462.0]

[prescan]
use = "covariate"
max_ratio = 2.5

[instrument.bench]
stray_light = 0.0003
"""


def optical_season() -> Plan:
    """Two sheets, six batches, one spectrometer."""
    tanks = {tank.name: tank for tank in TANKS}
    return Plan(
        {
            "spectra": planned(_EARLIER, tanks, SEASON_START, 9),
            "spectra-tanks": planned(_WITH_TANKS, tanks, SEASON_START + timedelta(days=60), 1),
        },
        tanks,
    )


def write_optical(folder: Path, seed: int = DEFAULT_SEED) -> Scenario:
    """Write the small season's sheets and spectra under folder/sheets and the truth to folder/truth.json.

    The same seed gives the same bytes. Raises Refused when folder/sheets is already there.
    """
    plan = optical_season()
    sheets = fresh_folder(folder / "sheets")
    world = draw_world(plan, seed)
    columns = tuple(name for name in files.COLUMNS if name != "scan_rate_V_per_s")
    written: list[Path] = []
    for (title, readings), dialect in zip(plan.sheets.items(), (PLAIN, PERCENT), strict=True):
        for reading in readings:
            write_spectra(sheets, reading, world, dialect)
        written.append(sheets / f"{len(written) + 1}-{title}.csv")
        files.write_sheet(written[-1], readings, plan.tanks, files.SheetDialect(), columns)
    truth_file = folder / "truth.json"
    truth_file.write_text(json.dumps(world.as_json(), indent=1, sort_keys=True) + "\n", encoding="utf-8")
    names: Mapping[str, tuple[str, ...]] = names_by_role(plan)
    return Scenario(folder, seed, SETTINGS, tuple(written), names["sample"], names["control"], truth_file)


def film_absorbance(film: Film, level: float, wavelength_nm: FloatArray) -> FloatArray:
    """What the dye of a film absorbs in water with level [ug/L] of thiocyanate, (n,).

    The floor is dye that looks bound without thiocyanate (chloride); the rest fills by one site, with the mass balance
    of film and water.
    """
    dye = COVERAGE * film.loading
    answering = ANSWERING * film.yield_per_site * dye
    sites_ug_per_L = answering * AREA_CM2 / VOLUME_L * THIOCYANATE_G_PER_MOL * 1e6
    filled = float(filled_share(sites_ug_per_L, level, film.constant))
    bound = answering * (film.floor + (1.0 - film.floor) * filled)
    forms = np.stack(
        [
            FREE_ABSORPTIVITY * gaussian_band(wavelength_nm, FREE_NM, FREE_WIDTH_NM),
            BOUND_ABSORPTIVITY * gaussian_band(wavelength_nm, BOUND_NM, BOUND_WIDTH_NM),
        ]
    )
    return absorbance_of_film(forms, np.array([dye - bound, bound]))


def spectrum(film: Film, level: float, random: np.random.Generator) -> Spectrum:
    """One spectrum of a film as the spectrometer shows it: scattering, stray light, noise of the light, its scale."""
    shown = np.arange(390.0, 521.0)
    true = shown + random.normal(0.0, SCALE_NM)
    scatter = SCATTER * (1.0 + random.normal(0.0, REMOUNTED)) * (SCATTER_NM / true) ** 4
    seen = absorbance_with_stray_light(film_absorbance(film, level, true) + scatter, STRAY)
    light = 10.0**-seen + NOISE * np.log(10.0) * random.standard_normal(shown.size)
    return Spectrum(shown, np.asarray(-np.log10(light), dtype=np.float64))


def write_spectra(sheets: Path, reading: Planned, world: World, dialect: SpectrumDialect) -> None:
    """Spectrum and pre-scan of one electrode, under the folder of its sheet."""
    film = world.films[reading.electrode]
    for name, level in zip(files.curve_names(reading), (world.cells[reading.electrode], 0.0), strict=True):
        write_spectrum(sheets / name, spectrum(film, level, stream(world.seed, "spectrum", name)), dialect)


def write_spectrum(file: Path, one: Spectrum, dialect: SpectrumDialect) -> None:
    """One spectrum file."""
    light = 100.0 * 10.0**-one.absorbance if dialect.percent else one.absorbance
    rows = [
        dialect.delimiter.join((f"{at:.1f}", f"{value:.5f}")).replace(".", dialect.decimal)
        for at, value in zip(one.wavelength_nm, light, strict=True)
    ]
    file.write_bytes((dialect.newline.join([dialect.header, *rows]) + dialect.newline).encode("utf-8"))
