"""A logbook of spectra: what its sheets need, what is refused, and where each pre-scan comes from."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from brinemark.logbook import Logbook
from brinemark.science.curve.absorbance_theory import gaussian_band
from brinemark.terms.errors import Refused
from build import trace_csv

AGAINST = """
[signal]
quantity = "difference"
wavelengths_nm = [448.0, 475.0]
against = "prescan"

[prescan]
use = "covariate"
"""
HEADER = "electrode,batch,instrument,measured_at,role,level,trace,prescan,signal,signal_unit"
AT = np.arange(400.0, 501.0)


def spectrum_csv(height: float, film: float, seed: int) -> str:
    values = 0.1 + film * gaussian_band(AT, 430.0, 20.0) + height * gaussian_band(AT, 448.0, 20.0)
    values = values + 5e-4 * np.random.default_rng(seed).standard_normal(AT.size)
    return "wavelength_nm,absorbance\n" + "".join(f"{w:.0f},{a:.5f}\n" for w, a in zip(AT, values, strict=True))


def sheet(folder: Path, *rows: str) -> Path:
    path = folder / "run.csv"
    path.write_text("\n".join([HEADER, *rows, ""]), encoding="utf-8")
    return path


def opened(folder: Path, settings: str = AGAINST) -> Logbook:
    Logbook.create(folder / "book").close()
    (folder / "book" / "logbook.toml").write_text(settings, encoding="utf-8")
    return Logbook.open(folder / "book")


@pytest.fixture
def files(tmp_path: Path) -> Path:
    for name, height, film in (("before", 0.0, 0.6), ("one", 0.05, 0.6), ("two", 0.12, 0.6)):
        (tmp_path / f"{name}.csv").write_text(spectrum_csv(height, film, len(name)), encoding="utf-8")
    (tmp_path / "sweep.csv").write_text(trace_csv(), encoding="utf-8")
    return tmp_path


def row(minute: int, role: str, level: str, trace: str, prescan: str = "") -> str:
    return f"B1-1,B1,uv,2026-03-01T10:{minute:02d}+00:00,{role},{level},{trace},{prescan},,"


def test_every_reading_of_a_life_is_read_against_the_pre_scan_of_its_first_row(files: Path) -> None:
    rows = [row(0, "standard", "1", "one.csv", "before.csv"), row(9, "standard", "4", "two.csv")]
    with opened(files) as book:
        added = book.add(sheet(files, *rows))
        found = [one.line.signal for one in added.signals if one.line.role == "standard"]
        kept = [book.dissection_of(one) for one in book.rows()]
    assert [one.unit for one in found] == ["1", "1"]
    foot = float(gaussian_band(np.array([475.0]), 448.0, 20.0)[0])
    for signal, height in zip(found, (0.05, 0.12), strict=True):
        # The mean within 1 nm of the summit is .23 % lower.
        assert abs(signal.value - height * (0.9977 - foot)) < 3.5 * signal.u
    assert [one.signal for one in kept] == found


def test_a_row_without_any_pre_scan_is_refused_with_its_place(files: Path) -> None:
    with opened(files) as book, pytest.raises(Refused, match=r"row 2.*electrode B1-1.*without pre-scan") as refused:
        book.add(sheet(files, row(0, "standard", "1", "one.csv")))
    assert len(str(refused.value).splitlines()) == 1


def test_a_voltammogram_in_a_logbook_of_spectra_is_refused_and_the_other_way_round(files: Path) -> None:
    with opened(files) as book, pytest.raises(Refused, match=r"sweep\.csv.*wavelength_nm,absorbance"):
        book.add(sheet(files, row(0, "standard", "1", "sweep.csv", "before.csv")))
    (files / "other").mkdir()
    with opened(files / "other", "") as book, pytest.raises(Refused, match=r"one\.csv.*potential_V,current_A"):
        book.add(sheet(files, row(0, "standard", "1", "one.csv")))


def test_a_value_read_elsewhere_has_unit_1(files: Path) -> None:
    line = "B1-1,B1,uv,2026-03-01T10:00+00:00,standard,1,,,0.051,1"
    with opened(files) as book:
        assert book.add(sheet(files, line)).signals[0].line.signal.unit == "1"


def test_a_changed_definition_asks_for_a_new_calibration(files: Path) -> None:
    with opened(files) as book:
        book.add(sheet(files, row(0, "standard", "1", "one.csv", "before.csv")))
        first = book.dissection_of(book.rows()[0]).signal
    settings = files / "book" / "logbook.toml"
    settings.write_text(AGAINST.replace("475.0", "490.0"), encoding="utf-8")
    with Logbook.open(files / "book") as book:
        assert book.dissection_of(book.rows()[0]).signal != first


def test_a_stored_spectrum_comes_back_from_the_cache_as_from_its_file(files: Path) -> None:
    with opened(files) as book:
        book.add(sheet(files, row(0, "standard", "1", "one.csv", "before.csv")))
        cached = book.dissection_of(book.rows()[0])
        with book._place.database._transaction(write=True) as connection:
            connection.execute("DELETE FROM array_cache")
        assert book.dissection_of(book.rows()[0]).signal == cached.signal
        assert book.verify().faults == ()
