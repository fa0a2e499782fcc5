"""logbook.toml: the specification equals the models, defaults hold, every fault is named."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

import pytest

from brinemark.records.settings_file import (
    BY_ID,
    DEFAULT_TOML,
    LATER_KEYS,
    LATER_VALUES,
    OF_SPECTRA,
    parse_settings,
    read_settings,
    settings_text,
    write_settings,
)
from brinemark.terms.errors import Refused
from brinemark.terms.settings import (
    CovariateSection,
    CurveSection,
    InstrumentSection,
    LotSection,
    Settings,
    StockSection,
)

MODELS = {
    "instrument": InstrumentSection,
    "stock": StockSection,
    "lot": LotSection,
    "covariate": CovariateSection,
    "further_covariate": CovariateSection,
}
# Keys for spectra stand in docs/how-to/optical.md; tests/records/test_spectra_settings.py holds it to them.
FOR_TRACES: dict[str, Any] = {"signal": CurveSection}
LAYER = '[covariate]\n\n[further_covariate.layer]\nquantity = "charging"\n'
SPECIFICATION = Path(__file__).resolve().parents[2] / "docs" / "logbook.toml"


def specification() -> str:
    return SPECIFICATION.read_text(encoding="utf-8")


def without_later(text: str) -> str:
    return "\n".join(line for line in text.splitlines() if not line.startswith("#later "))


def switched_on() -> str:
    """The specification with every key that has no default taken out of its comment."""
    return re.sub(r"^#(?=\S)", "", without_later(specification()), flags=re.MULTILINE)


def keys_of(table: dict[str, Any]) -> set[tuple[str, ...]]:
    """Every key of a settings table, with "*" for an id."""
    found: set[tuple[str, ...]] = set()
    for section, content in table.items():
        if section in BY_ID:
            found |= {(section, "*", key) for one in content.values() for key in one}
        else:
            found |= {(section, key) for key in content}
    return found


def keys_of_models() -> set[tuple[str, ...]]:
    found: set[tuple[str, ...]] = set()
    for section, field in Settings.model_fields.items():
        model: Any = {**MODELS, **FOR_TRACES}.get(section, field.annotation)
        place = (section, "*") if section in BY_ID else (section,)
        found |= {(*place, inner.alias or key) for key, inner in model.model_fields.items()}
    return found - {("instrument", "*", key) for key in OF_SPECTRA}


def refusal(text: str) -> str:
    with pytest.raises(Refused) as caught:
        parse_settings(text, "logbook.toml")
    message = str(caught.value)
    assert message.startswith("logbook.toml: ")
    assert len(message.splitlines()) == 1
    return message


def test_the_specification_gives_the_defaults() -> None:
    assert parse_settings(specification(), "logbook.toml") == Settings()


def test_the_specification_writes_every_default_and_nothing_else() -> None:
    written = keys_of(tomllib.loads(specification()))
    with_default = {
        (section, inner.alias or key)
        for section, field in Settings.model_fields.items()
        if section not in MODELS and field.annotation is not None
        for key, inner in FOR_TRACES.get(section, field.annotation).model_fields.items()
        if inner.default is not None
    }
    assert written == with_default


def test_the_specification_lists_every_key_of_the_models_once() -> None:
    assert keys_of(tomllib.loads(switched_on())) == keys_of_models()


def test_every_key_of_the_specification_is_valid_when_switched_on() -> None:
    settings = parse_settings(switched_on(), "logbook.toml")
    assert settings.covariate == CovariateSection()
    assert settings.instrument["bench"].current == "channel 2 [nA]"
    assert settings.stock["K1"] == StockSection(level=1000.0, rel_u=0.01)
    assert settings.lot["L7"] == LotSection(content=0.1, u=0.03)


def test_every_mark_of_the_specification_is_refused_and_none_is_missing() -> None:
    lines = specification().splitlines()
    marked: set[tuple[tuple[str, ...], str]] = set()
    section = ""
    for line in lines:
        if heading := re.match(r"#?\[(.+)\]", line):
            section = heading[1]
        if not line.startswith("#later "):
            continue
        key, _, value = line.removeprefix("#later ").partition(" = ")
        message = refusal(f"[{section}]\n{key} = {value}\n")
        assert f"[{section}] {key}" in message
        assert "is not accepted yet; expected today " in message
        marked.add(((*section.replace(".bench", ".*").split("."), key), value.strip('"')))
    values = {(keys, value) for keys, values in LATER_VALUES.items() for value in values}
    assert marked - values == {(keys, value) for keys, value in marked if keys in LATER_KEYS}
    assert {keys for keys, _ in marked} == set(LATER_KEYS) | set(LATER_VALUES)
    assert values <= marked


def test_a_new_logbook_gets_the_defaults_and_its_name(tmp_path: Path) -> None:
    text = settings_text(name='Quay "4" \\ north', timezone="Europe/Lisbon")
    written = write_settings(tmp_path / "logbook.toml", text)
    assert read_settings(tmp_path / "logbook.toml") == written
    assert (written.logbook.name, written.logbook.timezone) == ('Quay "4" \\ north', "Europe/Lisbon")
    assert parse_settings(DEFAULT_TOML, "x") == Settings()


def test_settings_are_never_written_over(tmp_path: Path) -> None:
    write_settings(tmp_path / "logbook.toml")
    with pytest.raises(Refused, match="is there already"):
        write_settings(tmp_path / "logbook.toml")
    assert (tmp_path / "logbook.toml").read_text(encoding="utf-8") == DEFAULT_TOML


@pytest.mark.parametrize(
    ("name", "timezone"), [("two\nlines", "UTC"), ("", "UTC"), ("bell\x07", "UTC"), ("plain", "Moon/Base")]
)
def test_a_bad_name_or_zone_writes_nothing(name: str, timezone: str) -> None:
    with pytest.raises(Refused):
        settings_text(name=name, timezone=timezone)


@pytest.mark.parametrize(
    ("text", "phrases"),
    [
        ('[signal]\nquantty = "height"', ["[signal] quantty is an unknown key", "nearest known key, quantity"]),
        ("[sgnal]\n", ["[sgnal] is an unknown section", "nearest known section, signal"]),
        ("[zzzzzz]\n", ["unknown section; expected one of logbook, analyte, signal"]),
        ('[instrument.bench]\nsgn = "x"', ["[instrument.bench] sgn is an unknown key", "nearest known key, sign"]),
        ('[covariate]\nbaselin = "chord"', ["nearest known key, baseline"]),
        ('[prescan]\nuse = "never"', ['use = "never"; expected "covariate", "zero" or "both"']),
        (
            "[run]\ncontrol_limits = [1.1, 1.2]",
            ["control_limits = [1.1, 1.2]; expected recoveries [low, high] with 0 <"],
        ),
        ("[run]\ncontrol_history = 5", ["control_history = 5; expected a number at least 10"]),
        ("[run]\nvolume_rel_u = 1.0", ["volume_rel_u = 1.0; expected a number below 1"]),
        ("[stock.K1]\nlevl = 3", ["[stock.K1] levl is an unknown key", "nearest known key, level"]),
        ("[stock.K1]\nlevel = 0", ["[stock.K1] level = 0; expected a number above 0"]),
        ("[stock.K1]\nrel_u = -0.1", ["[stock.K1] rel_u = -0.1; expected a number at least 0"]),
        ("[stock]\nK1 = 3", ["[stock.K1] = 3; expected a table"]),
        ('[stock." K1"]\nlevel = 1', ["an id without outer spaces"]),
        ("[lot.L7]\ncontent = -1", ["[lot.L7] content = -1; expected a number at least 0"]),
        ("[lot.L7]\ncontent = 0.1\nu = 0.2", ["[lot.L7]: u 0.2 is above content 0.1", "values that agree"]),
        ("[lot.L7]\nu = 0.2", ["[lot.L7]: u 0.2 is above content 0"]),
        ('[signal]\nbaseline = "spline"', ['baseline = "spline"; expected "chord", "polynomial" or "whittaker"']),
        ('[signal]\ncycle = "first"', ['cycle = "first"; expected "last", "mean" or a whole number from 1']),
        ("[signal]\ncycle = 0", ["cycle = 0; expected"]),
        ("[signal]\ncycle = 1.5", ['cycle = 1.5; expected "last", "mean" or a whole number']),
        ("[signal]\ncycle = true", ["cycle = true; expected"]),
        ("[signal]\nwindow_V = [0.7, 0.4]", ["window_V = [0.7, 0.4]; expected a window [low, high]"]),
        ("[signal]\nwindow_V = [0.4]", ["window_V = [0.4]; expected a list of two numbers"]),
        ("[covariate]\nwindow_V = [1, 1]", ["expected a window [low, high]"]),
        (LAYER.replace("charging", "area"), ['[further_covariate.layer] quantity = "area"; expected "height", ']),
        (LAYER + "windw_V = [0, 1]", ["[further_covariate.layer] windw_V is an unknown key", "key, window_V"]),
        (LAYER.partition("\n\n")[2], ["[further_covariate.layer] without [covariate]", "move it there"]),
        (LAYER.replace("charging", "band") + "window_nm = [1, 2]", ["further_covariate.layer", "reads voltammograms"]),
        ("[further_covariate]\nlayer = 3", ["[further_covariate.layer]"]),
        ("[decision]\nalpha = 0.2", ["[decision]: alpha 0.2 is above 1 - interval"]),
        ("[decision]\nalpha = nan", ["alpha = NaN; expected a finite number"]),
        ('[decision]\nalpha = "0.05"', ['alpha = "0.05"; expected a number']),
        ("[decision]\nbeta = 1.0", ["beta = 1.0; expected a number below 1"]),
        ("[calibration]\nseed = true", ["seed = true; expected a whole number"]),
        ("[calibration]\ndraws = 10", ["draws = 10; expected a number at least 256"]),
        ("[logbook]\nschema = 2", ["schema = 2; expected 1"]),
        ('[logbook]\ntimezone = "Mars"', ["timezone = 'Mars'; expected a zone of the tz database"]),
        ('[logbook]\ntimezone = "../etc"', ["expected a zone of the tz database"]),
        ('[analyte]\nlevel_unit = " "', ["[analyte] level_unit = ' '; expected one printable line"]),
        ('[logbook]\nname = "a\\nb"', ["[logbook] name = 'a\\nb'; expected one printable line"]),
        ("[conditions]\nsalinity = 80", ["[conditions] salinity = 80; expected a number from 0 up to 60"]),
        ("[prior]\nln_gain = [0, -1]", ["[prior] ln_gain"]),
        ("signal = 3", ["[signal] = 3; expected a table"]),
        ("[fish]\nalpha = 0", ["[fish] alpha = 0; expected a number above 0"]),
        ("[fish]\nhold_h = 0", ["[fish] hold_h = 0; expected a number above 0"]),
        ("[fish]\ndraws = 100", ["[fish] draws = 100; expected a number at least 200"]),
        ("[fish]\ndraws = 6000", ["[fish] draws = 6000; expected a number at most 5000"]),
        ("[fish]\nscale = []", ["[fish] scale = []; expected pairs such as [10,"]),
        ('[fish]\nscale = [[1, "weak"]]', ["whose starts rise from above 1"]),
        ('[fish]\nscale = [[10, "moderate"], [2, "weak"]]', ["whose starts rise from above 1"]),
        ('[fish]\nscale = [[10, " "]]', ["with plain words"]),
        ('[fish]\nscale = [[10, "a;b"]]', ["with plain words"]),
        ('[fish]\nscale = [["ten", "moderate"]]', ["[fish] scale = ", 'expected pairs such as [10, "moderate"]']),
        ("[fish]\nscale = [10]", ['[fish] scale = 10; expected pairs such as [10, "moderate"]']),
        ('[fish]\nscale = [[10, "moderate"]]', ["[fish]: a scale without scale_source"]),
        ('["instrument"." x"]\n', ["an id without outer spaces"]),
        ('[instrument.x]\npotential = "E"\ncurrent = "e"', ["[instrument.x] names one column twice"]),
        ("alpha", ["not TOML"]),
        ("[signal]\n[signal]\n", ["not TOML"]),
    ],
)
def test_a_wrong_setting_is_named_with_what_is_accepted(text: str, phrases: list[str]) -> None:
    message = refusal(text)
    for phrase in phrases:
        assert phrase in message


def test_all_faults_of_a_file_stand_in_one_line() -> None:
    message = refusal('[signal]\nquantty = 1\nsweep = "up"\n[decision]\nmax_fold = 1.0\n')
    for key in ("[signal] quantty", "[signal] sweep", "[decision] max_fold"):
        assert key in message


def test_a_settings_file_that_cannot_be_read_is_refused(tmp_path: Path) -> None:
    with pytest.raises(Refused, match="settings cannot be read"):
        read_settings(tmp_path / "logbook.toml")
    (tmp_path / "logbook.toml").write_bytes(b'[logbook]\nname = "\xff"\n')
    with pytest.raises(Refused, match="byte 19 is not UTF-8"):
        read_settings(tmp_path / "logbook.toml")


def test_windows_line_ends_and_a_mark_are_accepted(tmp_path: Path) -> None:
    (tmp_path / "logbook.toml").write_bytes(b"\xef\xbb\xbf" + DEFAULT_TOML.replace("\n", "\r\n").encode())
    assert read_settings(tmp_path / "logbook.toml") == Settings()
