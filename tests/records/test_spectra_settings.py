"""Settings for spectra: the how-to page shows every key in valid files, and mixed kinds of curves are refused."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

import pytest

from brinemark.records.settings_file import OF_SPECTRA, parse_settings
from brinemark.terms.curves import Spectrometer
from brinemark.terms.errors import Refused
from brinemark.terms.settings import COVARIATE_SECTIONS, SIGNAL_SECTIONS, BandSection, DifferenceSection

PAGE = Path(__file__).resolve().parents[2] / "docs" / "how-to" / "optical.md"
BAND = '[signal]\nquantity = "band"\nwindow_nm = [425, 475]\n'
DIFFERENCE = '[signal]\nquantity = "difference"\nwavelengths_nm = [446, 430]\n'


def examples() -> list[str]:
    return re.findall(r"^```toml\n(.*?)^```", PAGE.read_text(encoding="utf-8"), re.MULTILINE | re.DOTALL)


def test_the_page_shows_every_key_for_spectra() -> None:
    tables: list[dict[str, Any]] = [tomllib.loads(text) for text in examples()]
    shown = {(table["signal"]["quantity"], key) for table in tables for key in table["signal"]}
    assert shown == {(name, key) for name in ("band", "difference") for key in SIGNAL_SECTIONS[name].model_fields}
    covariates = [table["covariate"] for table in tables if "covariate" in table]
    named = {(one["quantity"], key) for one in covariates for key in one}
    assert named == {(name, key) for name in ("band", "difference") for key in COVARIATE_SECTIONS[name].model_fields}
    keys = {key for table in tables for one in table.get("instrument", {}).values() for key in one}
    assert keys == set(OF_SPECTRA)


def test_every_example_of_the_page_is_a_valid_logbook_of_spectra() -> None:
    assert len(examples()) >= 2
    assert all(parse_settings(text, "logbook.toml").of_spectra for text in examples())


def test_the_page_gives_the_usual_spectrometer() -> None:
    usual = Spectrometer()
    given = [one for text in examples() for one in parse_settings(text, "x").instrument.values()]
    assert [one.max_absorbance for one in given if one.max_absorbance is not None] == [usual.max_absorbance]
    assert [one.stray_light for one in given if one.stray_light is not None] == [usual.stray_light]


def test_a_quantity_chooses_its_keys() -> None:
    band = parse_settings(BAND, "x")
    assert band.signal == BandSection(quantity="band", window_nm=(425.0, 475.0))
    assert parse_settings(DIFFERENCE, "x").signal == DifferenceSection(
        quantity="difference", wavelengths_nm=(446.0, 430.0)
    )
    assert not parse_settings("", "x").of_spectra


@pytest.mark.parametrize(
    ("text", "phrases"),
    [
        ('[signal]\nquantity = "band"\n', ["no [signal] window_nm", "write it"]),
        (BAND + 'sweep = "anodic"\n', ["[signal] sweep is an unknown key"]),
        (BAND + "window_V = [0.4, 0.7]\n", ["[signal] window_V is an unknown key", "window_nm"]),
        (DIFFERENCE + 'baseline = "chord"\n', ["[signal] baseline is an unknown key"]),
        (DIFFERENCE.replace("430", "446"), ["wavelengths_nm", "two wavelengths that differ"]),
        (BAND.replace("425", "485"), ["window_nm", "low below high"]),
        ('[signal]\nquantity = "bend"\n', ['"height"', 'of a spectrum "band" or "difference"']),
        (BAND + '[covariate]\nquantity = "charge"\n', ['"band" or "difference"', "one kind of curve"]),
        ('[covariate]\nquantity = "band"\nwindow_nm = [1, 2]\n', ["reads voltammograms"]),
        (BAND + '[covariate]\nquantity = "band"\nwindow_nm = [1, 2]\nagainst = "prescan"\n', ["[covariate] against"]),
        (BAND + '[instrument.uv]\nsign = "anodic positive"\n', ["[instrument.uv] sign", "reads spectra"]),
        ("[instrument.bench]\nstray_light = 0.001\n", ["[instrument.bench] stray_light", "reads voltammograms"]),
        ("[instrument.bench]\nmax_absorbance = 0\n", ["max_absorbance", "above 0"]),
        (BAND + 'against = "prescan"\n', ['[prescan] use = "both"', 'use = "covariate"']),
        (BAND + '[instrument.uv]\nwavelength = "A"\nabsorbance = "a"\n', ["names one column twice"]),
    ],
)
def test_mixed_and_wrong_settings_are_refused_in_one_line(text: str, phrases: list[str]) -> None:
    with pytest.raises(Refused) as refused:
        parse_settings(text, "logbook.toml")
    message = str(refused.value)
    assert len(message.splitlines()) == 1
    for phrase in phrases:
        assert phrase in message
