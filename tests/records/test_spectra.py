"""Spectrum files as laboratories write them: the same spectrum from every dialect, and every fault with its place."""

from __future__ import annotations

import numpy as np
import pytest

from brinemark.records.spectra import parse_spectrum
from brinemark.terms.errors import Refused
from brinemark.terms.settings import InstrumentSection

WAVELENGTH = np.arange(400.0, 430.0)
ABSORBANCE = 0.2 + 0.01 * np.arange(30)
ROUNDING = 5e-4  # three decimals


def text(header: str, rows: list[str], comments: str = "") -> bytes:
    return (comments + header + "\n" + "\n".join(rows) + "\n").encode()


def plain(header: str = "wavelength_nm,absorbance", delimiter: str = ",") -> bytes:
    return text(header, [f"{w:.1f}{delimiter}{a:.3f}" for w, a in zip(WAVELENGTH, ABSORBANCE, strict=True)])


@pytest.mark.parametrize(
    "header",
    [
        "wavelength_nm,absorbance",
        "Wavelength (nm),A",
        "Wavelength [nm],Abs (AU)",
        "lambda / nm,A / 1",
        "# wavelength_nm,absorbance",
        "Wavelength_nm,ABSORBANCE",
    ],
)
def test_columns_are_found_by_name_and_unit(header: str) -> None:
    found = parse_spectrum(plain(header), None, "s.csv")
    assert found.wavelength_nm == pytest.approx(WAVELENGTH)
    assert found.absorbance == pytest.approx(ABSORBANCE, abs=ROUNDING)


def test_dialects_give_the_same_spectrum() -> None:
    rows = [f"{w:.1f};{a:.3f};".replace(".", ",") for w, a in zip(WAVELENGTH, ABSORBANCE, strict=True)]
    german = parse_spectrum(text("Wavelength (nm);A;", rows).replace(b"\n", b"\r\n"), None, "s.csv")
    rows = [f"{w:.1f}\t{1000 * a:.1f}" for w, a in zip(WAVELENGTH, ABSORBANCE, strict=True)]
    milli = parse_spectrum(text("wavelength_nm\tA (mAU)", rows, "% film 3\n").decode().encode("utf-16"), None, "s.txt")
    rows = [f"{w / 1000:.4f} {a:.3f}" for w, a in zip(WAVELENGTH[::-1], ABSORBANCE[::-1], strict=True)]
    falling = parse_spectrum(text("wavelength_um absorbance", rows), None, "s.txt")
    for found in (german, milli, falling):
        assert found.wavelength_nm == pytest.approx(WAVELENGTH)
        assert found.absorbance == pytest.approx(ABSORBANCE, abs=ROUNDING)


@pytest.mark.parametrize(
    ("header", "factor"),
    [
        ("wavelength_nm,T", 1.0),
        ("wavelength_nm,T (%)", 100.0),
        ("wavelength_nm,%T", 100.0),
        ("Wavelength / nm,Transmittance / %", 100.0),
    ],
)
def test_a_transmittance_becomes_an_absorbance(header: str, factor: float) -> None:
    rows = [f"{w:.1f},{factor * 10**-a:.6f}" for w, a in zip(WAVELENGTH, ABSORBANCE, strict=True)]
    assert parse_spectrum(text(header, rows), None, "s.csv").absorbance == pytest.approx(ABSORBANCE, abs=1e-5)


def test_an_absorbance_is_taken_before_a_transmittance_unless_the_settings_name_that() -> None:
    rows = [f"{w:.1f},{a:.3f},{50.0 + k}" for k, (w, a) in enumerate(zip(WAVELENGTH, ABSORBANCE, strict=True))]
    data = text("wavelength_nm,A,T (%)", rows)
    assert parse_spectrum(data, None, "s.csv").absorbance == pytest.approx(ABSORBANCE, abs=ROUNDING)
    other = parse_spectrum(data, InstrumentSection(transmittance="T (%)"), "s.csv")
    assert float(other.absorbance[0]) == pytest.approx(np.log10(2.0), rel=1e-9)


def test_the_settings_name_columns_and_units() -> None:
    section = InstrumentSection(wavelength="channel 1 [nm]", absorbance="channel 2")
    assert parse_spectrum(plain("channel 1,channel 2"), section, "s.csv").absorbance.size == 30


def with_cell(row: int, cells: str) -> bytes:
    lines = plain().decode().split("\n")
    lines[row - 1] = cells
    return "\n".join(lines).encode()


@pytest.mark.parametrize(
    ("data", "phrases"),
    [
        (with_cell(7, "405.0,n/a"), ["row 7", "absorbance", "not a number"]),
        (with_cell(7, "405.0"), ["row 7", "2 fields"]),
        (with_cell(7, "404.0,0.3"), ["row 7", "404", "every wavelength once"]),
        (with_cell(7, "5.0,0.3"), ["row 7", "from 150 to 3500 nm"]),
        (with_cell(7, "405.0,250"), ["row 7", "at most 12"]),
        (with_cell(7, "405.0,1,2"), ["row 7", "3 fields"]),
        (plain().replace(b"0.300", b"0,300", 1), ["row 12", "3 fields"]),
        (plain("potential_V,current_A"), ["no header", "wavelength_nm,absorbance"]),
        (plain("wavelength_nm,current_A"), ["wavelength_nm, current_A", "name them in [instrument.ID]"]),
        (plain("wavelength,absorbance"), ["without a unit", "nm, um"]),
        (plain("wavelength (eV),absorbance"), ["unknown unit 'eV'"]),
        (plain("wavelength_nm,A (dB)"), ["unknown unit 'dB'"]),
        (text("wavelength_nm,A,Abs", ["400,1,2"]), ["several columns", "[instrument.ID] absorbance"]),
        (b"\n".join(plain().split(b"\n")[:12]), ["11 points", "at least 20"]),
        (b"PK\x03\x04", ["not a text file"]),
    ],
)
def test_every_fault_is_named_with_its_place(data: bytes, phrases: list[str]) -> None:
    with pytest.raises(Refused) as refused:
        parse_spectrum(data, None, "s.csv")
    message = str(refused.value)
    assert len(message.splitlines()) == 1
    for phrase in ["s.csv", *phrases]:
        assert phrase in message


@pytest.mark.parametrize("light", ["0", "-0.1"])
def test_no_light_at_all_is_no_absorbance(light: str) -> None:
    rows = [f"{w:.1f},{0.5 if w != 410.0 else light}" for w in WAVELENGTH]
    with pytest.raises(Refused, match=r"row 12.*column T.*a transmittance above 0"):
        parse_spectrum(text("wavelength_nm,T", rows), None, "s.csv")


def test_a_column_that_the_settings_name_has_to_be_there() -> None:
    with pytest.raises(Refused, match=r"no column 'Absorbanse'.*nearest known one, 'absorbance'"):
        parse_spectrum(plain(), InstrumentSection(absorbance="Absorbanse"), "s.csv")
