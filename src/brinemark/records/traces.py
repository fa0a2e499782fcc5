"""Bytes of a trace file to a Trace: delimited text, one point a row, or a current column for every cycle."""

from __future__ import annotations

import csv
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from brinemark.records.text import cell_number, decimal_comma, decode, number, shown, unclear_sign
from brinemark.records.trace_header import (
    DELIMITERS,
    KINDS,
    Column,
    Heading,
    choose,
    choose_wide,
    header_fields,
    heading,
    split,
)
from brinemark.terms.arrays import FloatArray
from brinemark.terms.curves import Trace
from brinemark.terms.errors import Refused

if TYPE_CHECKING:
    from brinemark.terms.settings import InstrumentSection

FEWEST_POINTS = 20
LARGEST_POTENTIAL_V = 20.0  # beyond any electrochemical cell in water; a larger number has the wrong unit
LARGEST_CYCLE = 1_000_000
_HEADER_WITHIN = 500
_COMMENT = ("#", "%", ";", "!")
_PLAIN = frozenset("0123456789+-.")  # begins a row of numbers, whatever the delimiter


@dataclass(frozen=True, slots=True)
class _Table:
    """A trace file taken apart: lines after the header (first is row `first`), delimiter and columns."""

    name: str
    lines: Sequence[str]
    first: int
    delimiter: str
    width: int
    columns: Mapping[str, Column]


def parse_trace(data: bytes, instrument: InstrumentSection | None, name: str) -> Trace:
    """One voltammogram in file order: potential [V], current [A, anodic positive], time [s] and cycle.

    instrument gives the sign of the current and names of columns; None reads with the defaults.
    Raises Refused with file, row (line of the file, from 1) and column for every fault.
    """
    text, _ = decode(data, name)
    wide = instrument is not None and instrument.layout == "wide"
    table = _table(text.split("\n"), _named(instrument), name, wide)
    sign = -1.0 if instrument is not None and instrument.sign == "cathodic positive" else 1.0
    fields = _wide_fields(table) if wide else _long_fields(table)
    return Trace(
        potential_V=fields["potential"],
        current_A=sign * fields["current"],
        time_s=fields.get("time"),
        cycle=fields["cycle"].astype(np.int64) if "cycle" in fields else None,
    )


def _long_fields(table: _Table) -> dict[str, FloatArray]:
    """Values of every kind (n,) in V, A, s and 1."""
    rows = _rows(table)
    values = _fast(table, [line for _, line in rows])
    if values is None:
        values = _exact(table, rows)
    _check_enough(len(values), table.name)
    fields = {kind: values[:, i] * table.columns[kind].factor for i, kind in enumerate(table.columns)}
    _check_fields(table, fields)
    return fields


def _check_enough(points: int, name: str) -> None:
    if points < FEWEST_POINTS:
        raise Refused(
            f"{points} points", f"at least {FEWEST_POINTS} points", "give the file of a whole sweep", file=name
        )


def _wide_fields(table: _Table) -> dict[str, FloatArray]:
    """The long form (n,) of a wide table: its cycles one after another, each with its potentials and times.

    A cycle ends where its column is blank to the bottom of the table: a truncated one is shorter.
    """
    rows = _rows(table)
    trailing = all(line.endswith(table.delimiter) and line.count(table.delimiter) == table.width for _, line in rows)
    cells = [(row, _fields(table, row, line.removesuffix(table.delimiter) if trailing else line)) for row, line in rows]
    comma = (table.delimiter != "," or any('"' in line for _, line in rows)) and _decimal_sign(table, cells)
    parts = [_wide_cycle(table, kind, cells, comma) for kind in table.columns if kind.startswith("current ")]
    longest = max(parts, key=lambda part: part["current"].size, default=None)
    if longest is None or longest["current"].size < len(rows):
        row = rows[-1][0] if rows else table.first
        expected, remedy = "a current in one column at least", "correct the row or remove the whole row"
        raise Refused("a row without any current", expected, remedy, file=table.name, row=row)
    _check_enough(sum(part["current"].size for part in parts), table.name)
    _check_cycles_of(table, parts)
    return {kind: np.concatenate([part[kind] for part in parts]) for kind in longest}


def _wide_cycle(table: _Table, kind: str, cells: list[tuple[int, list[str]]], comma: bool) -> dict[str, FloatArray]:
    """One cycle: its rows down to the last that is not blank in its column."""
    own = table.columns[kind]
    filled = max((place for place, (_, fields) in enumerate(cells, start=1) if fields[own.index]), default=0)
    if filled == 0:
        remedy = "remove the column"
        raise Refused("a cycle without any current", "numbers", remedy, file=table.name, column=own.text)
    number = kind.removeprefix("current ")
    values = {
        name: np.array([_value(table, row, fields, column, comma) for row, fields in cells[:filled]]) * column.factor
        for name, column in _columns_of(table, number).items()
    }
    return {**values, "cycle": np.full(filled, float(number))}


def _columns_of(table: _Table, number: str) -> dict[str, Column]:
    """Columns of one cycle by kind: its own, and those that all cycles share."""
    kinds = ("potential", "time", "current")
    found = {kind: table.columns.get(f"{kind} {number}", table.columns.get(kind)) for kind in kinds}
    return {kind: column for kind, column in found.items() if column is not None}


def _check_cycles_of(table: _Table, parts: Sequence[Mapping[str, FloatArray]]) -> None:
    """Check potentials and times of every cycle; those that all cycles share are the same in each."""
    for part in parts:
        columns = _columns_of(table, f"{part['cycle'][0]:.0f}")
        _check_fields(replace(table, columns=columns), {kind: part[kind] for kind in columns if kind != "current"})


def _named(instrument: InstrumentSection | None) -> dict[str, str]:
    if instrument is None:
        return {}
    return {kind: text for kind in KINDS if (text := getattr(instrument, kind)) is not None}


def _table(lines: list[str], named: Mapping[str, str], name: str, wide: bool) -> _Table:
    """Find the header: the first line that names a potential and a current, before the first numbers."""
    best: tuple[int, list[str]] | None = None
    for place, line in enumerate(lines[:_HEADER_WITHIN]):
        found = _as_header(line, named, wide) or _as_header(line.lstrip().lstrip("#%;!"), named, wide)
        if found:
            delimiter, headings = found
            columns = (choose_wide if wide else choose)(headings, named, name, place + 1)
            return _Table(name, lines[place + 1 :], place + 2, delimiter, len(headings), columns)
        if _numbers_only(line):
            raise _no_header(name, place + 1, best, named)
        fields = max((header_fields(line, delimiter) for delimiter in DELIMITERS), key=len)
        if len(fields) > 1 and (best is None or _known(fields, named) > _known(best[1], named)):
            best = place + 1, fields
    raise _no_header(name, None, best, named)


def _known(fields: list[str], named: Mapping[str, str]) -> int:
    return len({heading(field, named).kind for field in fields} - {None})


def _numbers_only(line: str) -> bool:
    """Whether some delimiter parts the line into two or more numbers."""
    parted = (split(line, delimiter) for delimiter in DELIMITERS)
    return any(
        len(fields) > 1 and all(isinstance(number(field, comma=True), float) for field in fields if field)
        for fields in parted
    )


def _as_header(line: str, named: Mapping[str, str], wide: bool) -> tuple[str, list[Heading]] | None:
    for delimiter in DELIMITERS:
        headings = [heading(field, named, wide) for field in header_fields(line, delimiter)]
        if {"potential", "current"} <= {head.kind for head in headings}:
            return delimiter, headings
    return None


def _no_header(name: str, row: int | None, words: tuple[int, list[str]] | None, named: Mapping[str, str]) -> Refused:
    if words and len(words[1]) > 1:
        row, fields = words
        kinds = {heading(field, named).kind for field in fields}
        lacks = " and no ".join(kind for kind in ("potential", "current") if kind not in kinds)
        came = f"no {lacks} column among {', '.join(field for field in fields[:12])}"[:300]
    else:
        came = "no header before the numbers"
    return Refused(
        came,
        "a header such as potential_V,current_A or E / V;I / uA",
        "head the columns with names and units, or name them in [instrument.ID]",
        file=name,
        row=row,
    )


def _rows(table: _Table) -> list[tuple[int, str]]:
    """Rows of the table with their line of the file: not blank, no comment, not delimiters alone."""
    blank = f"{table.delimiter} \t"
    marks = tuple(mark for mark in _COMMENT if mark != table.delimiter)
    return [
        (row, line)
        for row, line in enumerate(table.lines, start=table.first)
        if line[:1] in _PLAIN or (line.strip(blank) and not line.lstrip().startswith(marks))
    ]


def _fast(table: _Table, kept: list[str]) -> FloatArray | None:
    """All values at once, (n, columns); None when anything at all is unusual and the exact way must look."""
    delimiter, parting = table.delimiter, table.width - 1
    parting += all(line.endswith(delimiter) for line in kept)  # a delimiter behind every row
    body = "\n".join(kept)
    if '"' in body or "\u2212" in body or not kept:
        return None
    if delimiter == " ":
        if "," in body or any(len(line.split()) != table.width for line in kept):
            return None
    elif any(line.count(delimiter) != parting for line in kept):
        return None
    elif delimiter != "," and "," in body:
        if "." in body or decimal_comma(_cells(table, kept)) is not True:
            return None
        kept = body.replace(",", ".").split("\n")
    places = [column.index for column in table.columns.values()]
    try:
        values = np.loadtxt(
            kept, delimiter=None if delimiter == " " else delimiter, usecols=places, comments=None, ndmin=2
        )
    except ValueError:
        return None
    return values if np.isfinite(values).all() else None


def _cells(table: _Table, kept: Sequence[str]) -> list[str]:
    places = [column.index for column in table.columns.values()]
    rows = (split(line, table.delimiter) for line in kept)
    return [row[place] for row in rows for place in places if place < len(row)]


def _exact(table: _Table, rows: list[tuple[int, str]]) -> FloatArray:
    """The same values read one by one, slower, so that the first fault can be named."""
    trailing = all(line.endswith(table.delimiter) for _, line in rows)
    cells = [(row, _fields(table, row, line.removesuffix(table.delimiter) if trailing else line)) for row, line in rows]
    comma = False
    if table.delimiter != "," or any('"' in line for _, line in rows):
        comma = _decimal_sign(table, cells)
    values = [[_value(table, row, fields, column, comma) for column in table.columns.values()] for row, fields in cells]
    return np.array(values, dtype=np.float64).reshape(len(values), len(table.columns))


def _fields(table: _Table, row: int, line: str) -> list[str]:
    try:
        fields = split(line, table.delimiter)
    except csv.Error as error:
        raise Refused(
            f"a row that is not a table ({error})", "closed quotes", "correct the row", file=table.name, row=row
        ) from None
    if len(fields) != table.width:
        raise Refused(
            f"{len(fields)} fields",
            f"{table.width} fields as in the header",
            "complete the row, or use a delimiter that is not the decimal sign",
            file=table.name,
            row=row,
        )
    return fields


def _decimal_sign(table: _Table, cells: list[tuple[int, list[str]]]) -> bool:
    columns = tuple(table.columns.values())
    found = decimal_comma(fields[column.index] for _, fields in cells for column in columns)
    if isinstance(found, bool):
        return found
    row, column = next(
        (row, column) for row, fields in cells for column in columns if fields[column.index] == found.cell
    )
    raise unclear_sign(found, file=table.name, row=row, column=column.text)


def _value(table: _Table, row: int, fields: list[str], column: Column, comma: bool) -> float:
    return cell_number(fields[column.index], comma=comma, file=table.name, row=row, column=column.text)


def _row_of(table: _Table, point: int) -> int:
    """Line in the file of the point with this place."""
    return _rows(table)[point][0]


def _fault(table: _Table, kind: str, point: int, came: str, expected: str, remedy: str) -> Refused:
    row, column = _row_of(table, point), table.columns[kind].text
    return Refused(came, expected, remedy, file=table.name, row=row, column=column)


def _check_fields(table: _Table, fields: Mapping[str, FloatArray]) -> None:
    potential = fields["potential"]
    widest = int(np.argmax(np.abs(potential)))
    if abs(potential[widest]) > LARGEST_POTENTIAL_V:
        came = f"a potential of {potential[widest]:g} V"
        limit = f"at most {LARGEST_POTENTIAL_V:g} V either way"
        raise _fault(table, "potential", widest, came, limit, "check the unit in the header; is it mV?")
    if float(np.ptp(potential)) == 0.0:
        came = f"a constant potential of {potential[0]:g} V"
        raise _fault(table, "potential", 0, came, "a sweep", "give the file of a voltammogram")
    if "cycle" in fields:
        _check_cycles(table, fields["cycle"])
    if "time" in fields:
        _check_time(table, fields["time"], fields.get("cycle"))


def _check_cycles(table: _Table, cycle: FloatArray) -> None:
    odd = np.flatnonzero((cycle != np.floor(cycle)) | (cycle < 0) | (cycle > LARGEST_CYCLE))
    if odd.size:
        came = f"cycle {shown(f'{cycle[odd[0]]:g}')}"
        raise _fault(table, "cycle", int(odd[0]), came, "a whole number from 0", "number the cycles")
    falls = np.flatnonzero(np.diff(cycle) < 0)
    if falls.size:
        point = int(falls[0]) + 1
        came = f"cycle {cycle[point]:g} after cycle {cycle[point - 1]:g}"
        raise _fault(table, "cycle", point, came, "cycles in their order", "sort the rows as they were measured")


def _check_time(table: _Table, time: FloatArray, cycle: FloatArray | None) -> None:
    back = np.diff(time) < 0
    if cycle is not None:
        back &= np.diff(cycle) == 0  # some write the time anew for every cycle
    falls = np.flatnonzero(back)
    if falls.size:
        point = int(falls[0]) + 1
        came = f"time {time[point]:g} s after {time[point - 1]:g} s"
        raise _fault(table, "time", point, came, "time that does not run back", "sort the rows as they were measured")
