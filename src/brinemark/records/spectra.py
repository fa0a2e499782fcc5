"""Bytes of a spectrum file to a Spectrum: delimited text, one wavelength a row, absorbance or transmittance."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from brinemark.records.text import Unclear, cell_number, decimal_comma, decode, nearest, shown, unclear_sign
from brinemark.records.trace_header import DELIMITERS, header_fields, plain, split
from brinemark.terms.arrays import BoolArray, FloatArray
from brinemark.terms.curves import Spectrum
from brinemark.terms.errors import Refused

if TYPE_CHECKING:
    from brinemark.terms.settings import InstrumentSection

FEWEST_POINTS = 20
SHORTEST_NM, LONGEST_NM = 150.0, 3500.0  # from the vacuum ultraviolet to where glass and water let no light through
LARGEST_ABSORBANCE = 12.0  # no spectrometer shows more; a larger number is another quantity
_HEADER_WITHIN = 500
_COMMENT = ("#", "%", ";", "!")

WAVELENGTH, ABSORBANCE, TRANSMITTANCE = "wavelength", "absorbance", "transmittance"
# Names as tables of spectra are headed; common practice, no source. A bare T is a transmittance here.
_NAMES: Mapping[str, str] = {
    **dict.fromkeys(("wavelength", "lambda", "wl", "λ"), WAVELENGTH),
    **dict.fromkeys(("absorbance", "abs", "a", "extinction", "optical density", "od"), ABSORBANCE),
    **dict.fromkeys(("transmittance", "transmission", "t"), TRANSMITTANCE),
}
_UNITS: Mapping[str, Mapping[str, float]] = {
    WAVELENGTH: {"nm": 1.0, "um": 1e3, "Å": 0.1, "A": 0.1},
    ABSORBANCE: {"": 1.0, "1": 1.0, "-": 1.0, "AU": 1.0, "a.u.": 1.0, "au": 1.0, "mAU": 1e-3, "m": 1e-3},
    TRANSMITTANCE: {"": 1.0, "1": 1.0, "-": 1.0, "%": 0.01, "percent": 0.01},
}
_ACCEPTED = {WAVELENGTH: "nm, um or Å", ABSORBANCE: "no unit, AU or mAU", TRANSMITTANCE: "no unit, or %"}
_BRACKETS = re.compile(r"(?P<name>.*?)\s*(?:\((?P<round>[^()]*)\)|\[(?P<square>[^\[\]]*)\]|/\s*(?P<slash>[^/\s]+))")
_BEHIND = re.compile(r"(?P<name>.+?)[_ ]+(?P<unit>nm|um|AU|mAU|%|percent)")
_BEFORE = re.compile(r"%\s*(?P<name>T|transmittance|transmission)", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class _Head:
    """One field of the header: its place and text, what it holds (or None), and its unit as written."""

    index: int
    text: str
    kind: str | None
    unit: str


@dataclass(frozen=True, slots=True)
class _Table:
    """A spectrum file taken apart: rows (line of the file, fields) behind a header, and the two columns to read."""

    name: str
    rows: Sequence[tuple[int, list[str]]]
    wavelength: _Head
    light: _Head


def parse_spectrum(data: bytes, instrument: InstrumentSection | None, name: str) -> Spectrum:
    """One spectrum in rising order of wavelength [nm], as decadic absorbance; a transmittance becomes -log10 T.

    instrument names columns; None reads with the defaults. Raises Refused with file, row (line of the file, from 1)
    and column for every fault, a transmittance that is not positive among them.
    """
    text, _ = decode(data, name)
    table = _table(text.split("\n"), _named(instrument), name)
    wavelength, light = _values(table)
    if wavelength.size < FEWEST_POINTS:
        expected = f"at least {FEWEST_POINTS} points"
        raise Refused(f"{wavelength.size} points", expected, "give the file of a whole spectrum", file=name)
    wavelength = wavelength * _factor(table.wavelength, name)
    light = light * _factor(table.light, name)
    if table.light.kind == TRANSMITTANCE:
        _check(table, table.light, light > 0.0, light, "a transmittance above 0")
        light = np.asarray(-np.log10(light), dtype=np.float64)
    _check_ranges(table, wavelength, light)
    order = np.argsort(wavelength, kind="stable")
    return Spectrum(wavelength[order], light[order])


def _named(instrument: InstrumentSection | None) -> dict[str, str]:
    if instrument is None:
        return {}
    kinds = (WAVELENGTH, ABSORBANCE, TRANSMITTANCE)
    return {kind: text for kind in kinds if (text := getattr(instrument, kind)) is not None}


def _head(index: int, text: str, named: Mapping[str, str]) -> _Head:
    """What a header field says; a column that the settings name is that, whatever else it could be."""
    words = plain(text)
    name, unit = _parted(words)
    for kind, wanted in named.items():
        its_name, its_unit = _parted(plain(wanted))
        if words.casefold() == plain(wanted).casefold() or (its_unit and words.casefold() == its_name.casefold()):
            return _Head(index, text, kind, its_unit)
    kind_found = _NAMES.get(name.casefold().replace("_", " ").strip(" .,:"))
    return _Head(index, text, None if kind_found in named else kind_found, unit)


def _parted(words: str) -> tuple[str, str]:
    """Name and unit of a heading: "Wavelength (nm)", "A / mAU", "wavelength_nm", "%T"."""
    if found := _BEFORE.fullmatch(words):
        return found["name"], "%"
    if found := _BRACKETS.fullmatch(words):
        return found["name"], next(unit.strip() for unit in found.group("round", "square", "slash") if unit is not None)
    if found := _BEHIND.fullmatch(words):
        return found["name"], found["unit"]
    return words, ""


def _table(lines: list[str], named: Mapping[str, str], name: str) -> _Table:
    """Find the header, the first line that names a wavelength and an absorbance or transmittance, and part the rows."""
    words: tuple[int, list[str]] | None = None
    for place, line in enumerate(lines[:_HEADER_WITHIN]):
        for delimiter in DELIMITERS:
            fields = header_fields(line.lstrip().lstrip("#%!;") if line.lstrip()[:1] in _COMMENT else line, delimiter)
            heads = [_head(index, field, named) for index, field in enumerate(fields)]
            kinds = {head.kind for head in heads}
            if WAVELENGTH in kinds and kinds & {ABSORBANCE, TRANSMITTANCE}:
                columns = _columns(heads, named, name, place + 1)
                return _Table(name, _rows(lines[place + 1 :], place + 2, delimiter, (len(fields), name)), *columns)
            if len(fields) > 1 and kinds != {None}:
                words = words or (place + 1, fields)
    if words is not None:
        _refuse_absent([_head(index, field, named) for index, field in enumerate(words[1])], named, name, words[0])
    raise Refused(
        "no header before the numbers" if words is None else f"a header {', '.join(words[1][:12])}"[:300],
        "a header such as wavelength_nm,absorbance or Wavelength (nm);T (%)",
        "head the columns with names and units, or name them in [instrument.ID]",
        file=name,
        row=None if words is None else words[0],
    )


def _refuse_absent(heads: Sequence[_Head], named: Mapping[str, str], name: str, row: int) -> None:
    there = [head.text for head in heads if head.text]
    for kind, wanted in named.items():
        if not any(head.kind == kind for head in heads):
            alike = nearest(wanted, there)
            came = f"no column {shown(wanted)}, which [instrument] {kind} names, among {', '.join(there[:12])}"
            expected = f"the nearest known one, {shown(alike)}" if alike else "a column with that name"
            raise Refused(came, expected, "correct the settings or the file", file=name, row=row)


def _columns(heads: Sequence[_Head], named: Mapping[str, str], name: str, row: int) -> tuple[_Head, _Head]:
    """The column of the wavelength and that of the light. Raises Refused for missing and several ones."""
    _refuse_absent(heads, named, name, row)
    of_kind = {kind: [head for head in heads if head.kind == kind] for kind in (WAVELENGTH, ABSORBANCE, TRANSMITTANCE)}
    light = ABSORBANCE if of_kind[ABSORBANCE] and TRANSMITTANCE not in named else TRANSMITTANCE
    found = {kind: of_kind[kind] for kind in (WAVELENGTH, light)}
    for kind, columns in found.items():
        if len(columns) != 1:
            came = f"several columns to take: {', '.join(head.text for head in columns[:12])}"
            remedy = f"name the one to read in [instrument.ID] {kind}"
            raise Refused(came, f"one {kind}", remedy, file=name, row=row, column=columns[0].text)
    return found[WAVELENGTH][0], found[light][0]


def _rows(lines: Sequence[str], first: int, delimiter: str, table: tuple[int, str]) -> list[tuple[int, list[str]]]:
    """Rows of the table with their line of the file: not blank and no comment. Raises Refused for a wrong width."""
    width, name = table
    marks = tuple(mark for mark in _COMMENT if mark != delimiter)
    found = []
    for row, line in enumerate(lines, start=first):
        if not line.strip(f"{delimiter} \t") or line.lstrip().startswith(marks):
            continue
        fields = split(line, delimiter)
        if len(fields) == width + 1 and not fields[-1]:
            fields.pop()
        if len(fields) != width:
            expected = f"{width} fields as in the header"
            remedy = "complete the row, or use a delimiter that is not the decimal sign"
            raise Refused(f"{len(fields)} fields", expected, remedy, file=name, row=row)
        found.append((row, fields))
    return found


def _values(table: _Table) -> tuple[FloatArray, FloatArray]:
    """Both columns as written, (n,) each."""
    columns = (table.wavelength, table.light)
    cells = [fields[head.index] for _, fields in table.rows for head in columns]
    comma = decimal_comma(cells)
    if isinstance(comma, Unclear):
        at = next((row, head) for row, fields in table.rows for head in columns if fields[head.index] == comma.cell)
        raise unclear_sign(comma, file=table.name, row=at[0], column=at[1].text)
    parted = [[_value(table, row, fields, head, comma) for head in columns] for row, fields in table.rows]
    values = np.array(parted, dtype=np.float64).reshape(-1, 2)
    return values[:, 0], values[:, 1]


def _value(table: _Table, row: int, fields: Sequence[str], head: _Head, comma: bool) -> float:
    return cell_number(fields[head.index], comma=comma, file=table.name, row=row, column=head.text)


def _factor(head: _Head, name: str) -> float:
    kind = head.kind or WAVELENGTH
    if head.unit in _UNITS[kind]:
        return _UNITS[kind][head.unit]
    came = f"the {kind} column {shown(head.text)} " + (
        f"in the unknown unit {shown(head.unit)}" if head.unit else "without a unit"
    )
    remedy = f'write the unit in the header, or name column and unit in [instrument.ID] {kind} = "NAME [UNIT]"'
    raise Refused(came, _ACCEPTED[kind], remedy, file=name, column=head.text)


def _check(table: _Table, head: _Head, good: BoolArray, values: FloatArray, expected: str) -> None:
    wrong = np.flatnonzero(~good)
    if wrong.size:
        point = int(wrong[0])
        came = f"{head.kind} {values[point]:g}"
        remedy = "check column and unit, and take the point out if it is no measurement"
        raise Refused(came, expected, remedy, file=table.name, row=table.rows[point][0], column=head.text)


def _check_ranges(table: _Table, wavelength_nm: FloatArray, absorbance: FloatArray) -> None:
    inside = (wavelength_nm >= SHORTEST_NM) & (wavelength_nm <= LONGEST_NM)
    _check(table, table.wavelength, inside, wavelength_nm, f"from {SHORTEST_NM:g} to {LONGEST_NM:g} nm")
    _check(table, table.light, np.abs(absorbance) <= LARGEST_ABSORBANCE, absorbance, f"at most {LARGEST_ABSORBANCE:g}")
    first = np.ones(wavelength_nm.size, dtype=bool)
    order = np.argsort(wavelength_nm, kind="stable")
    first[order[1:]] = np.diff(wavelength_nm[order]) > 0.0
    _check(table, table.wavelength, first, wavelength_nm, "every wavelength once: one spectrum in a file")
