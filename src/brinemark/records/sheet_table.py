"""Bytes of a run sheet to cells: delimiter, header, decimal sign, and typed reading of one cell."""

from __future__ import annotations

import csv
import io
import re
import unicodedata
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo

from brinemark.records.ranges import RANGES
from brinemark.records.text import Unclear, decimal_comma, decode, nearest, number, shown
from brinemark.terms.errors import Refused

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
class Cells:
    """One row of a sheet, column to trimmed text; every reader raises Refused with row and column."""

    sheet: str
    row: int
    texts: Mapping[str, str]
    comma: bool

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

    def number(self, column: str) -> float | None:
        """A finite number within RANGES, or None for an empty cell."""
        if not self.has(column):
            return None
        value = number(self.texts[column], comma=self.comma)
        allowed = RANGES[column]
        if isinstance(value, str):
            raise self.refused(column, value, str(allowed), "correct the number")
        if not allowed.holds(value):
            raise self.refused(column, shown(self.texts[column]), str(allowed), "correct the number or its unit")
        return value

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


def read_table(data: bytes, name: str) -> SheetTable:
    """All rows of a run sheet that are not blank. Raises Refused for a table that cannot be understood."""
    text, encoding = decode(data, name)
    skipped = 0
    delimiter = _delimiter(text.split("\n", 1)[0])
    if (marked := re.match(r"sep=(.)\n", text)) is not None:
        skipped, delimiter = 1, marked[1]
    records = _records(text, delimiter, name)[skipped:]
    header = [cell.strip() for cell in records[0]] if records else []
    _check_header(header, name, skipped + 1)
    rows = [
        (number_, _texts(header, record, name, number_))
        for number_, record in enumerate(records[1:], start=skipped + 2)
        if any(cell.strip() for cell in record)
    ]
    if not rows:
        raise Refused("a header without rows", "one row for each reading", "fill in the sheet", file=name)
    comma = _comma(rows, name)
    return SheetTable(tuple(Cells(name, row, texts, comma) for row, texts in rows), encoding)


def is_sheet_header(head: bytes) -> bool:
    """Whether the first bytes of a file are those of a run sheet: a line with every needed column."""
    for encoding in ("utf-8-sig", "utf-16"):
        text = head.decode(encoding, errors="ignore")
        for line in text.splitlines()[:2]:  # a line "sep=;" may stand before
            cells = {cell.strip().strip('"') for cell in line.split(_delimiter(line))}
            if cells.issuperset(NEEDED):
                return True
    return False


def _delimiter(line: str) -> str:
    """The delimiter under which most columns are known ones."""
    counts = {d: sum(field.strip().strip('"') in COLUMNS for field in line.split(d)) for d in _DELIMITERS}
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


def _check_header(header: Sequence[str], name: str, row: int) -> None:
    if not set(header) & set(COLUMNS):
        came = f"no known column in {shown(', '.join(header))}"
        expected = "a header with columns such as electrode, batch, role, parted by comma, semicolon or tab"
        raise Refused(came, expected, "write the header into the first row", file=name, row=row)
    for column, times in Counter(filter(None, header)).items():
        if column not in COLUMNS:
            alike = nearest(column, COLUMNS)
            expected = f"the nearest known column, {alike}" if alike else "a column of the run sheet"
            came, remedy = f"the unknown column {shown(column)}", "correct the name or remove the column"
            raise Refused(came, expected, remedy, file=name, row=row, column=column[:LONGEST_ID])
        if times > 1:
            came, remedy = f"{times} columns named {column}", "remove the duplicate column"
            raise Refused(came, "every column once", remedy, file=name, row=row, column=column)
    for column in NEEDED:
        if column not in header:
            raise Refused(
                f"no column {column}", f"the columns {', '.join(NEEDED)}", "add it", file=name, row=row, column=column
            )
    if not {"trace", "signal"} & set(header):
        raise Refused("no column trace or signal", "one of them", "add it", file=name, row=row, column="trace")


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


def _comma(rows: Sequence[tuple[int, Mapping[str, str]]], name: str) -> bool:
    columns = (*RANGES, "stirring")
    found = decimal_comma(texts[column] for _, texts in rows for column in columns if texts.get(column))
    if not isinstance(found, Unclear):
        return found
    row, column = next((row, c) for row, texts in rows for c in columns if texts.get(c) == found.cell)
    expected, remedy = "one decimal sign and no sign between thousands", "write the numbers plainly"
    raise Refused(found.phrase, expected, remedy, file=name, row=row, column=column)
