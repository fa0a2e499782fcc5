"""Bytes of a table of curves at several scan rates to its rows."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass

from brinemark.records.text import Unclear, decimal_comma, decode, nearest, number, shown
from brinemark.terms.errors import Refused

COLUMNS = ("trace", "scan_rate_V_per_s", "instrument")
NEEDED = COLUMNS[:2]
MOST_ROWS = 1000
FASTEST_V_PER_S = 1e6
_DELIMITERS = (",", ";", "\t")


@dataclass(frozen=True, slots=True)
class RateRow:
    """One curve: its line of the table, file, scan rate [V/s] and instrument, or None when none is named."""

    number: int
    trace: str
    scan_rate_V_per_s: float
    instrument: str | None


def read_rate_table(data: bytes, name: str) -> tuple[RateRow, ...]:
    """All rows of the table. Raises Refused with row and column for one that cannot be understood."""
    text, _ = decode(data, name)
    first = text.split("\n", 1)[0]
    delimiter = max(_DELIMITERS, key=lambda mark: sum(field.strip() in COLUMNS for field in first.split(mark)))
    try:
        records = list(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True))
    except csv.Error as error:
        raise Refused(f"a row that is not a table ({error})", "closed quotes", "correct the row", file=name) from None
    header = [cell.strip() for cell in records[0]]
    _check_header(header, name)
    rows = [(place, record) for place, record in enumerate(records[1:], start=2) if any(map(str.strip, record))]
    if not 0 < len(rows) <= MOST_ROWS:
        raise Refused(f"{len(rows)} rows", f"1 to {MOST_ROWS} rows, one for each curve", "fill in the table", file=name)
    cells = [(place, _cells(header, record, name, place)) for place, record in rows]
    comma = decimal_comma(found["scan_rate_V_per_s"] for _, found in cells)
    if isinstance(comma, Unclear):
        raise Refused(comma.phrase, "one decimal sign", "write the numbers plainly", file=name)
    return tuple(_row(place, found, comma, name) for place, found in cells)


def _check_header(header: Sequence[str], name: str) -> None:
    for column in header:
        if column not in COLUMNS:
            alike = nearest(column, COLUMNS)
            expected = f"the nearest known column, {alike}" if alike else f"the columns {', '.join(COLUMNS)}"
            raise Refused(f"the unknown column {shown(column)}", expected, "correct the name", file=name, row=1)
    for column in NEEDED:
        if header.count(column) != 1:
            came = f"{header.count(column)} columns {column}"
            raise Refused(came, "one", "correct the header", file=name, row=1, column=column)


def _cells(header: Sequence[str], record: Sequence[str], name: str, row: int) -> dict[str, str]:
    if len(record) != len(header):
        expected = f"{len(header)} fields as in the header"
        raise Refused(f"{len(record)} fields", expected, "complete the row", file=name, row=row)
    return {column: cell.strip() for column, cell in zip(header, record, strict=True)}


def _row(row: int, cells: dict[str, str], comma: bool, name: str) -> RateRow:
    if not cells["trace"]:
        raise Refused("an empty cell", "the file of a curve", "fill in the cell", file=name, row=row, column="trace")
    rate = number(cells["scan_rate_V_per_s"], comma=comma)
    if isinstance(rate, str) or not 0.0 < rate <= FASTEST_V_PER_S:
        came = rate if isinstance(rate, str) else f"a scan rate of {rate:g} V/s"
        raise Refused(
            came, "a number above 0 [V/s]", "correct the number", file=name, row=row, column="scan_rate_V_per_s"
        )
    return RateRow(row, cells["trace"], rate, cells.get("instrument") or None)
