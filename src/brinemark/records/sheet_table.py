"""Bytes of a run sheet or another table to cells: delimiter, header, decimal sign, and typed reading of one cell."""

from __future__ import annotations

import csv
import io
import re
import unicodedata
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo
from typing import TypeVar

from brinemark.records.ranges import MARKER_RANGES, RANGES, TANK_RANGES, Range
from brinemark.records.text import Unclear, decimal_comma, decode, nearest, number, shown
from brinemark.terms.errors import Refused
from brinemark.terms.markers import COLUMNS as MARKER_COLUMNS
from brinemark.terms.markers import NEEDED as MARKERS_NEED
from brinemark.terms.tanks import COLUMNS as TANK_COLUMNS

NEEDED = ("electrode", "batch", "instrument", "measured_at", "role")
LONGEST_ID = 120
LONGEST_TEXT = 2_000
_DELIMITERS = (",", ";", "\t")
_DATE_AND_TIME = re.compile(r"\d{4}-?\d\d-?\d\d[T ]\d\d.*", re.ASCII)


COLUMNS = (
    *NEEDED,
    *("level", "level_rel_u", "stock", "matrix_lot", "stock_level", "added_volume_mL", "volume_mL"),
    *("sample", "dilution", "expected_level"),
    *("trace", "prescan", "signal", "signal_u", "signal_unit", "prescan_signal", "covariate"),
    *("position", "salinity", "pH", "temperature_C", "contact_s", "stirring", "scan_rate_V_per_s", "reference"),
    *("operator", "note"),
)


@dataclass(frozen=True, slots=True)
class Form:
    """What kind of table it is. name : for messages; verb : of the command that takes it; columns, needed : of its
    header; ranges : of its columns of numbers; either : of them one at least is needed; each : what a row is."""

    name: str
    verb: str
    columns: tuple[str, ...]
    needed: tuple[str, ...]
    ranges: Mapping[str, Range]
    either: tuple[str, ...] = ()
    each: str = "thing that happened"


RUN_SHEET = Form("run sheet", "add", COLUMNS, NEEDED, RANGES, ("trace", "signal"), "reading")
TANK_RECORD = Form("tank record", "tanks", TANK_COLUMNS, TANK_COLUMNS[:3], TANK_RANGES)
MARKER_TABLE = Form(
    "table of other methods", "markers", MARKER_COLUMNS, MARKERS_NEED, MARKER_RANGES, each="result of a method"
)
FORMS = (RUN_SHEET, TANK_RECORD, MARKER_TABLE)

_Read = TypeVar("_Read")


class Tries:
    """Reads cells one after another and keeps every fault."""

    def __init__(self) -> None:
        self.faults: list[Refused] = []

    def __call__(self, read: Callable[[], _Read]) -> _Read | None:
        try:
            return read()
        except Refused as fault:
            self.faults.append(fault)
            return None


@dataclass(frozen=True, slots=True)
class Cells:
    """One row of a table, column to trimmed text; every reader raises Refused with row and column."""

    sheet: str
    row: int
    texts: Mapping[str, str]
    comma: bool
    ranges: Mapping[str, Range]

    def refused(self, column: str, came: str, expected: str, remedy: str) -> Refused:
        return Refused(came, expected, remedy, file=self.sheet, row=self.row, column=column)

    def has(self, column: str) -> bool:
        return bool(self.texts.get(column))

    def line(self, column: str, longest: int = LONGEST_TEXT) -> str | None:
        """Text without control or invisible characters, or None for an empty cell."""
        text = self.texts.get(column, "")
        allowed = "\n\t" if column == "note" else ""
        if any(unicodedata.category(c) in ("Cc", "Cf", "Zl", "Zp") and c not in allowed for c in text):
            came = f"a control or invisible character in {shown(text)}"
            raise self.refused(column, came, "plain text", "type the cell anew")
        if len(text) > longest:
            came = f"{len(text):,} characters"
            raise self.refused(column, came, f"at most {longest}", "shorten the text")
        return text or None

    def id(self, column: str) -> str | None:
        """A trimmed id with composed accents (Unicode NFC), or None for an empty cell."""
        text = self.line(column, LONGEST_ID)
        return None if text is None else unicodedata.normalize("NFC", text)

    def needed_id(self, column: str) -> str:
        found = self.id(column)
        if found is None:
            raise self.refused(column, "an empty cell", f"the id of the {column}", "fill in the cell")
        return found

    def number(self, column: str, outside: str = "correct the number or its unit") -> float | None:
        """A finite number within its range, or None for an empty cell; outside : what to do about one that is not."""
        if not self.has(column):
            return None
        value = number(self.texts[column], comma=self.comma)
        allowed = self.ranges[column]
        if isinstance(value, str):
            raise self.refused(column, value, str(allowed), "correct the number")
        if not allowed.holds(value):
            raise self.refused(column, shown(self.texts[column]), str(allowed), outside)
        return value

    def one_of(self, column: str, known: Sequence[str]) -> str:
        """One of some words."""
        text = self.texts.get(column, "")
        if text in known:
            return text
        alike = nearest(text, known)
        remedy = f"did you mean {alike}?" if alike else f"fill in the {column}"
        came = shown(text) if text else "an empty cell"
        raise self.refused(column, came, f"one of {', '.join(known)}", remedy)

    def number_or_word(self, column: str) -> float | str | None:
        text = self.line(column, LONGEST_ID)
        if text is None:
            return None
        value = number(text, comma=self.comma)
        return value if isinstance(value, float) else text

    def moment(self, column: str, zone: tzinfo) -> tuple[datetime, bool]:
        """The date and time of the cell, and whether it named its own zone; zone is used when not."""
        text = self.texts.get(column, "")
        try:
            if not _DATE_AND_TIME.fullmatch(text):
                raise ValueError("no date with a time")
            moment = datetime.fromisoformat(text)
        except ValueError:
            came = shown(text) if text else "an empty cell"
            expected = "date and time by ISO 8601 such as 2026-03-01T10:15+01:00"
            raise self.refused(column, came, expected, "write date and time so") from None
        if not 1950 <= moment.year <= 2100:
            raise self.refused(column, shown(text), "a year from 1950 to 2100", "correct the date")
        if moment.tzinfo is not None:
            return moment, True
        return self._in_zone(column, moment, zone), False

    def _in_zone(self, column: str, moment: datetime, zone: tzinfo) -> datetime:
        """The local time in the zone; a time that the clock skipped or showed twice is refused."""
        first, second = (moment.replace(tzinfo=zone, fold=fold) for fold in (0, 1))
        if first.utcoffset() != second.utcoffset():
            came = f"{shown(self.texts[column])}, which the clocks of {zone} showed twice or never"
            raise self.refused(column, came, "a time with its zone", "write the offset behind it, such as +02:00")
        return first


@dataclass(frozen=True, slots=True)
class SheetTable:
    rows: tuple[Cells, ...]
    encoding: str


def read_table(data: bytes, name: str, form: Form = RUN_SHEET) -> SheetTable:
    """All rows of a table that are not blank. Raises Refused for a table that cannot be understood."""
    text, encoding = decode(data, name)
    skipped = 0
    delimiter = _delimiter(text.split("\n", 1)[0])
    if (marked := re.match(r"sep=(.)\n", text)) is not None:
        skipped, delimiter = 1, marked[1]
    records = _records(text, delimiter, name)[skipped:]
    header = [cell.strip() for cell in records[0]] if records else []
    _check_header(header, name, skipped + 1, form)
    rows = [
        (number_, _texts(header, record, name, number_))
        for number_, record in enumerate(records[1:], start=skipped + 2)
        if any(cell.strip() for cell in record)
    ]
    if not rows:
        raise Refused("a header without rows", f"one row for each {form.each}", f"fill in the {form.name}", file=name)
    return SheetTable(cells_of(rows, name, form), encoding)


def cells_of(rows: Sequence[tuple[int, Mapping[str, str]]], name: str, form: Form) -> tuple[Cells, ...]:
    """Rows by number, column to trimmed text, as cells. Raises Refused when their decimal sign is not clear."""
    comma = _comma(rows, name, form)
    return tuple(Cells(name, row, texts, comma, form.ranges) for row, texts in rows)


def is_sheet_header(head: bytes, form: Form = RUN_SHEET) -> bool:
    """Whether the first bytes of a file are those of such a table: a line with every needed column."""
    for encoding in ("utf-8-sig", "utf-16"):
        text = head.decode(encoding, errors="ignore")
        for line in text.splitlines()[:2]:  # a line "sep=;" may stand before
            cells = {cell.strip().strip('"') for cell in line.split(_delimiter(line))}
            if cells.issuperset(form.needed):
                return True
    return False


def _delimiter(line: str) -> str:
    """The delimiter under which most columns are known ones."""
    known = {column for form in FORMS for column in form.columns}
    counts = {d: sum(field.strip().strip('"') in known for field in line.split(d)) for d in _DELIMITERS}
    return max(counts, key=counts.__getitem__)


def _records(text: str, delimiter: str, name: str) -> list[list[str]]:
    records: list[list[str]] = []
    try:
        for record in csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True):
            records.append(record)
    except csv.Error as error:
        raise Refused(
            f"a row that is not a table ({error})", "closed quotes", "correct the row", file=name, row=len(records) + 1
        ) from None
    return records


def _check_header(header: Sequence[str], name: str, row: int, form: Form) -> None:
    _check_form(header, name, row, form)
    known, needed = form.columns, form.needed
    if not set(header) & set(known):
        came = f"no known column in {shown(', '.join(header))}"
        some = "electrode, batch, role" if form is RUN_SHEET else ", ".join(needed)
        expected = f"a header with columns such as {some}, parted by comma, semicolon or tab"
        raise Refused(came, expected, "write the header into the first row", file=name, row=row)
    for column, times in Counter(filter(None, header)).items():
        check_column(column, name, row, form)
        if times > 1:
            came, remedy = f"{times} columns named {column}", "remove the duplicate column"
            raise Refused(came, "every column once", remedy, file=name, row=row, column=column)
    for column in needed:
        if column not in header:
            expected = f"the columns {', '.join(needed)}"
            raise Refused(f"no column {column}", expected, "add it", file=name, row=row, column=column)
    if form.either and not set(form.either) & set(header):
        came, column = f"no column {' or '.join(form.either)}", form.either[0]
        raise Refused(came, "one of them", "add it", file=name, row=row, column=column)


def _check_form(header: Sequence[str], name: str, row: int, form: Form) -> None:
    """A table of another kind is named as what it is, with the command that takes it."""
    for other in FORMS:
        if other is not form and set(header).issuperset(other.needed) and not set(header).issuperset(form.needed):
            came = f"a {other.name}, with the columns {', '.join(other.needed)}"
            raise Refused(came, f"a {form.name}", f"use '{other.verb} FILE' for it", file=name, row=row)


def check_column(column: str, name: str, row: int | None, form: Form) -> None:
    """Raises Refused for a column that the table does not have."""
    if column not in form.columns:
        alike = nearest(column, form.columns)
        expected = f"the nearest known column, {alike}" if alike else f"a column of the {form.name}"
        came, remedy = f"the unknown column {shown(column)}", "correct the name or remove the column"
        raise Refused(came, expected, remedy, file=name, row=row, column=column[:LONGEST_ID])


def _texts(header: Sequence[str], record: Sequence[str], name: str, row: int) -> dict[str, str]:
    if len(record) != len(header):  # also when the extra field is empty: an unquoted comma moves all cells
        raise Refused(
            f"{len(record)} fields",
            f"{len(header)} fields as in the header",
            "complete the row, or quote cells that hold the delimiter",
            file=name,
            row=row,
        )
    for column, cell in zip(header, record, strict=True):
        if not column and cell.strip():
            came, remedy = f"{shown(cell)} in a column without a name", "name the column or empty it"
            raise Refused(came, "cells below named columns", remedy, file=name, row=row)
    return {column: cell.strip() for column, cell in zip(header, record, strict=True) if column}


def _comma(rows: Sequence[tuple[int, Mapping[str, str]]], name: str, form: Form) -> bool:
    columns = (*form.ranges, "stirring")
    found = decimal_comma(texts[column] for _, texts in rows for column in columns if texts.get(column))
    if not isinstance(found, Unclear):
        return found
    row, column = next((row, c) for row, texts in rows for c in columns if texts.get(c) == found.cell)
    expected, remedy = "one decimal sign and no sign between thousands", "write the numbers plainly"
    raise Refused(found.phrase, expected, remedy, file=name, row=row, column=column)
