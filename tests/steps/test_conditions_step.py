"""Conditions at read time: outside the standards' span nothing is said; unrecorded ones are a warning."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from brinemark.logbook import Logbook
from brinemark.steps.conditions import allowances, compared, condition_findings, recorded
from brinemark.terms.runs import SheetRow, StoredRow
from brinemark.terms.settings import AllowanceSection, Settings
from season import BLANK, Season, sample, standard


def changed(book: Logbook, batch: str, change: dict[str, str]) -> None:
    """A batch with a blank, a standard and two sample electrodes, whose sample rows get the changed cells."""
    folder = book.path.parent / f"more-{batch}"
    folder.mkdir()
    season = Season(folder, np.random.default_rng(12))
    path = season.batch(batch, [BLANK, standard(2.0), sample("S-x", 1.5), sample("S-x", 1.5)], day=9)
    header, *lines = path.read_text(encoding="utf-8").splitlines()
    names = header.split(",")
    added = [name for name in change if name not in names]
    rows = []
    for line in lines:
        cells = dict(zip([*names, *added], [*line.split(","), *("" for _ in added)], strict=True))
        if cells["role"] == "sample":
            cells |= change
        rows.append(",".join(cells.values()))
    path.write_text("\n".join([",".join([*names, *added]), *rows, ""]), encoding="utf-8")
    book.add(path)


def more_settings(book: Logbook, text: str) -> Logbook:
    path = book.path / "logbook.toml"
    path.write_text(path.read_text(encoding="utf-8") + text, encoding="utf-8")
    book.close()
    return Logbook.open(book.path)


@pytest.mark.parametrize(
    ("column", "value", "words"),
    [
        ("salinity", "22", "salinity 22 lies outside 35"),
        ("scan_rate_V_per_s", "0.2", "scan_rate_V_per_s 0.2 lies outside 0.1"),
    ],
)
def test_a_condition_outside_the_span_cannot_say(calibrated: Logbook, column: str, value: str, words: str) -> None:
    changed(calibrated, "B6", {column: value})
    (answer,) = calibrated.read("S-x")
    assert answer.statement == "cannot say"
    assert words in (answer.reading.reason or "")
    assert "measure blanks and standards at" in (answer.reading.reason or "")


def test_within_the_allowance_the_sample_is_read(calibrated: Logbook) -> None:
    changed(calibrated, "B6", {"salinity": "35.9"})
    (answer,) = calibrated.read("S-x")
    assert answer.statement != "cannot say"
    book = more_settings(calibrated, "\n[allowance]\nsalinity = 0.5\n")
    (strict,) = book.read("S-x")
    assert strict.statement == "cannot say"
    assert strict.id != answer.id
    book.close()


def test_what_nobody_recorded_is_one_warning_and_defaults_count_as_recorded(calibrated: Logbook) -> None:
    changed(calibrated, "B6", {})
    (answer,) = calibrated.read("S-x")
    (text,) = [text for text in answer.warnings if text.startswith("conditions not recorded")]
    assert "pH, temperature_C, contact_s" in text
    assert "salinity" not in text
    defaults = '\n[conditions]\npH = 8.1\ntemperature_C = 22.0\ncontact_s = 300.0\nstirring = "none"\nreference = "r"\n'
    book = more_settings(calibrated, defaults)
    (again,) = book.read("S-x")
    (text,) = [text for text in again.warnings if text.startswith("conditions not recorded")]
    assert text.endswith(": volume_mL (of the sample and the standards)")
    book.close()


def test_a_condition_of_the_sample_alone_is_a_warning_and_no_reason(calibrated: Logbook) -> None:
    changed(calibrated, "B6", {"pH": "7.2"})
    (answer,) = calibrated.read("S-x")
    assert answer.statement != "cannot say"
    assert any("pH (of the standards)" in text for text in answer.warnings)


def test_a_row_speaks_before_its_instrument_and_that_before_the_defaults(calibrated: Logbook) -> None:
    settings = Settings.model_validate(
        {
            "instrument": {"bench": {"scan_rate_V_per_s": 0.3, "reference": "bench electrode"}},
            "conditions": {"scan_rate_V_per_s": 0.5, "reference": "any", "pH": 8.1},
        }
    )
    row = calibrated.rows()[0]
    found = recorded(row, settings)
    assert found["scan_rate_V_per_s"] == dict(row.row.conditions)["scan_rate_V_per_s"] == 0.1
    assert (found["reference"], found["pH"], found["salinity"]) == ("bench electrode", 8.1, 35.0)
    assert "contact_s" not in found


def test_a_logbook_of_spectra_compares_neither_scan_rate_nor_reference() -> None:
    spectra = Settings.model_validate({"signal": {"quantity": "band", "window_nm": [400.0, 450.0]}})
    assert set(compared(Settings())) - set(compared(spectra)) == {"scan_rate_V_per_s", "reference"}


def test_what_one_row_of_a_life_recorded_counts_for_its_electrode() -> None:
    def rows(electrode: str, role: str, volume: float | None) -> list[StoredRow]:
        moment = datetime(2031, 5, 1, 9, tzinfo=UTC)
        given: dict[str, float | str] = {"salinity": 35.0, "pH": 8.1, "temperature_C": 22.0, "contact_s": 300.0}
        given |= {"stirring": "none", "scan_rate_V_per_s": 0.1, "reference": "r"}
        first = SheetRow(2, electrode, "B1", "bench", moment, role, conditions=tuple(given.items()))
        later = replace(first, number=3, role="addition", volume_mL=volume)
        return [StoredRow(electrode + one.role, "s", one) for one in (first, later)]

    same = condition_findings(rows("S", "sample", 10.0), rows("B", "blank", 10.0), Settings())
    assert same == ({}, ())
    failures, warnings = condition_findings(rows("S", "sample", 5.0), rows("B", "blank", 10.0), Settings())
    assert failures["S"].startswith("volume_mL 5 lies outside 10, the span of 1 row of")
    assert warnings == ()


def test_every_allowance_of_the_settings_has_its_condition() -> None:
    zero = AllowanceSection(**dict.fromkeys(AllowanceSection.model_fields, 0.0))
    moved = [name for name, one in allowances(AllowanceSection()).items() if one != allowances(zero)[name]]
    assert len(moved) == len(AllowanceSection.model_fields)


def test_the_decision_page_writes_the_allowances_of_the_settings() -> None:
    page = Path(__file__).resolve().parents[2] / "docs" / "decisions" / "0019-seawater-units-and-conditions.md"
    text, section = page.read_text(encoding="utf-8"), AllowanceSection()
    for name in ("salinity", "pH", "temperature_C"):
        assert f"| {name} | {getattr(section, name):g} |" in text
    assert f"| {section.contact_part:.0%} |".replace("%", " %") in text
    assert f"| {section.scan_rate_part:.0%} |".replace("%", " %") in text
