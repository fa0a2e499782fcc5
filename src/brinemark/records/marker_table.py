"""Bytes of a table of other methods to checked rows, and rows as JSON."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import fields, replace
from datetime import UTC, date, tzinfo
from functools import partial
from typing import Any
from zoneinfo import ZoneInfo

from brinemark.records.sheet_table import MARKER_TABLE, Cells, Tries, read_table
from brinemark.records.text import number, shown
from brinemark.terms.canonical import JsonValue
from brinemark.terms.errors import Refused
from brinemark.terms.markers import NOT_FOUND, MarkerRow, MarkerTable

_DATE = re.compile(r"\d{4}-\d\d-\d\d", re.ASCII)
_MEANT = {
    "sample": "the id of the sample, as on its run sheet or tank record",
    "marker": "what was looked for, such as thiocyanate, or cyanide in tissue",
    "method": "the name of the method",
    "unit": "the unit of the value",
}


def marker_table_and_faults(
    data: bytes,
    name: str,
    timezone: str,
    recorded: Sequence[MarkerRow] = (),
    own_names: Mapping[str, str] | None = None,
) -> tuple[MarkerTable, list[Refused]]:
    """The rows that can be understood, and every fault of the table. Raises Refused when it is no table at all.

    timezone : of times without a zone; recorded : rows of the logbook, beside which these must make sense; own_names :
    of samples by the codes that run sheets had for them, which stand in rows instead.
    """
    table = read_table(data, name, MARKER_TABLE)
    rows: list[MarkerRow] = []
    faults: list[Refused] = []
    for cells in table.rows:
        row, wrong = _row(cells, ZoneInfo(timezone))
        faults += wrong
        rows += [] if row is None else [replace(row, sample=(own_names or {}).get(row.sample, row.sample))]
    faults += faults_between(rows, recorded, name)
    latin = table.encoding in ("latin-1", "cp1252")
    warnings = ("the table is not UTF-8 and was read as Latin-1; check accents in names",) if latin else ()
    return MarkerTable(name, tuple(rows), warnings), faults


def marker_row_to_json(row: MarkerRow) -> dict[str, JsonValue]:
    """What a row says, apart from its place in a file; empty cells left out, but for a value that was not found."""
    said: dict[str, Any] = {one.name: getattr(row, one.name) for one in fields(row) if one.name != "number"}
    return {key: value for key, value in said.items() if value is not None or key == "value"}


def marker_row_from_json(plain: Mapping[str, Any], place: int = 0) -> MarkerRow:
    """The row that marker_row_to_json wrote; place : among the rows that it stands with."""
    return MarkerRow(number=place, **plain)


def same_result(one: MarkerRow, other: MarkerRow) -> bool:
    """Whether two rows say the same."""
    return marker_row_to_json(one) == marker_row_to_json(other)


def faults_between(rows: Sequence[MarkerRow], recorded: Sequence[MarkerRow], name: str) -> Iterator[Refused]:
    """A unit that changes within a method and marker, and samples that stand twice in one."""
    units = {row.kind: (row.unit, "in the logbook") for row in recorded}
    seen: dict[tuple[str, str, str], MarkerRow] = {}
    known = {(row.sample, *row.kind): row for row in recorded}
    for row in rows:
        unit, where = units.setdefault(row.kind, (row.unit, f"in row {row.number}"))
        what = f"{row.marker} by {row.method}"
        if row.unit != unit:
            came, expected = f"{shown(row.unit)} for {what}", f"{shown(unit)}, as {where}"
            yield _fault(row, "unit", name, came, expected, "give all of one method and marker in one unit")
        key = (row.sample, *row.kind)
        before, there = seen.setdefault(key, row), known.get(key)
        if before is not row:
            came = f"sample {shown(row.sample)} twice with {what}, first in row {before.number}"
            yield _fault(row, "sample", name, came, "one result for each sample", "give their mean with its u")
        elif there is not None and not same_result(there, row):
            came = f"sample {shown(row.sample)} with {what}, which is recorded already with other content"
            remedy = "correct the file that it came in: --corrects FILE --reason TEXT"
            yield _fault(row, "sample", name, came, "a result that is not recorded yet", remedy)


def _fault(row: MarkerRow, column: str, name: str, came: str, expected: str, remedy: str) -> Refused:
    return Refused(came, expected, remedy, file=name, row=row.number, column=column)


def _row(cells: Cells, zone: tzinfo) -> tuple[MarkerRow | None, list[Refused]]:
    """One row, or None with every fault of its cells."""
    tries = Tries()
    said: dict[str, Any] = {column: tries(partial(_needed, cells, column)) for column in _MEANT}
    value = tries(partial(_value, cells))
    limit = tries(partial(cells.number, "limit_of_detection"))
    said |= {"limit_of_detection": limit, "u": tries(partial(cells.number, "u"))}
    said["measured_at"] = tries(partial(_moment, cells, zone))
    said |= {column: tries(partial(cells.id, column)) for column in ("fish", "laboratory", "split_seal")}
    said["note"] = tries(partial(cells.line, "note"))
    if value == NOT_FOUND and not cells.has("limit_of_detection"):
        tries(partial(_no_limit, cells))
    if tries.faults:
        return None, tries.faults
    return MarkerRow(number=cells.row, value=None if value == NOT_FOUND else value, **said), []  # type: ignore[arg-type]


def _needed(cells: Cells, column: str) -> str:
    found = cells.id(column)
    if found is None:
        raise cells.refused(column, "an empty cell", _MEANT[column], "fill in the cell")
    return found


def _value(cells: Cells) -> float | str:
    """The number, or NOT_FOUND."""
    text = cells.texts.get("value", "")
    if text.casefold() == NOT_FOUND:
        return NOT_FOUND
    if not text:
        limit = cells.has("limit_of_detection")
        came = "no value" if limit else "neither a value nor a limit of detection"
        expected = f"a number, or '{NOT_FOUND}' with the limit above which it was not found"
        raise cells.refused("value", came, expected, f"write '{NOT_FOUND}'" if limit else "ask the laboratory for it")
    if isinstance(number(text, comma=cells.comma), str):
        came = f"{shown(text)}, which is not a number"
        raise cells.refused("value", came, f"a number, or '{NOT_FOUND}'", "correct the value")
    found = cells.number("value")
    return NOT_FOUND if found is None else found


def _no_limit(cells: Cells) -> None:
    came = f"'{NOT_FOUND}' without a limit of detection"
    expected = "the limit above which it was not found"
    raise cells.refused("limit_of_detection", came, expected, "ask the laboratory for it")


def _moment(cells: Cells, zone: tzinfo) -> str | None:
    """A date alone stays one; a time is kept in UTC."""
    text = cells.texts.get("measured_at", "")
    if not text:
        return None
    if _DATE.fullmatch(text):
        try:
            return date.fromisoformat(text).isoformat()
        except ValueError:
            raise cells.refused("measured_at", shown(text), "a day of the calendar", "correct the date") from None
    return cells.moment("measured_at", zone)[0].astimezone(UTC).isoformat()


def samples_of(rows: Iterable[MarkerRow]) -> tuple[str, ...]:
    """Samples of rows, each once."""
    return tuple(dict.fromkeys(row.sample for row in rows))
