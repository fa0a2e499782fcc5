"""Every key is described once: words are the comments of docs/logbook.toml, those of spectra stand in the models."""

from __future__ import annotations

import tomllib
from importlib.resources import files
from pathlib import Path

import pytest

from brinemark.records.settings_file import OF_SPECTRA, SECTIONS
from brinemark.records.settings_keys import CHOICE, EITHER, NUMBER, PAIRS, TEXT, TWO, WHOLE, YES_NO, keys_of, meaning_of
from brinemark.terms.settings import Settings

DOCUMENTED = Path(__file__).resolve().parents[2] / "docs" / "logbook.toml"


def test_the_package_carries_the_documented_file() -> None:
    """The form needs its comments where the docs are not installed: `cp docs/logbook.toml` over it after a change."""
    carried = files("brinemark.terms").joinpath("settings.toml").read_text(encoding="utf-8")
    assert carried == DOCUMENTED.read_text(encoding="utf-8")


def test_the_sections_are_those_of_the_models_in_the_order_of_the_documented_file() -> None:
    assert set(SECTIONS) == set(Settings.model_fields)
    written = list(tomllib.loads(DOCUMENTED.read_text(encoding="utf-8")))
    assert [name for name in SECTIONS if name in written] == written


@pytest.mark.parametrize("family", ["wave", "band", "difference"])
def test_every_key_has_a_meaning(family: str) -> None:
    silent = [
        f"{one.section}.{one.key}"
        for section in SECTIONS
        for one in keys_of(section, family, family != "wave")
        if not one.meaning
    ]
    assert silent == []


def test_a_comment_over_several_lines_is_one_meaning() -> None:
    baseline = next(one for one in keys_of("signal") if one.key == "baseline")
    assert baseline.meaning.startswith('"chord": straight line')
    assert baseline.meaning.endswith("between the two")


def test_units_kinds_and_defaults_are_those_of_the_models() -> None:
    found = {(one.section, one.key): one for section in SECTIONS for one in keys_of(section)}
    window = found["signal", "window_V"]
    assert (window.unit, window.kind, window.default) == ("V", TWO, [0.40, 0.76])
    assert (found["run", "max_gap_h"].unit, found["run", "max_gap_h"].kind) == ("h", NUMBER)
    assert found["calibration", "seed"].kind == WHOLE
    assert found["prior", "defects"].kind == YES_NO
    assert found["signal", "cycle"].kind == EITHER
    assert found["analyte", "name"].kind == TEXT
    assert found["prescan", "use"].choices == ("covariate", "zero", "both")
    assert found["signal", "quantity"].kind == CHOICE
    assert found["signal", "quantity"].choices == ("height", "charge", "potential", "width", "band", "difference")
    assert found["logbook", "schema"].fixed
    assert found["stock", "level"].default is None
    assert (found["fish", "scale"].kind, found["fish", "scale"].default) == (PAIRS, None)
    assert (found["fish", "hold_h"].kind, found["fish", "hold_h"].unit) == (NUMBER, "h")


def test_keys_follow_the_kind_of_curve() -> None:
    assert [one.key for one in keys_of("signal", "difference")] == ["quantity", "wavelengths_nm", "against"]
    assert [one.key for one in keys_of("signal", "band") if one.needed] == ["window_nm"]
    assert {one.key for one in keys_of("instrument", of_spectra=True)} == set(OF_SPECTRA)
    assert not {one.key for one in keys_of("instrument")} & set(OF_SPECTRA)


def test_sections_say_what_they_are_for() -> None:
    assert meaning_of("signal") == "how the answer is read from a trace"
    assert "lot of seawater" in meaning_of("lot")
