"""Bytes of a tank record, or the cells of a form, to checked rows."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from brinemark.records.sheet_rules import collisions
from brinemark.records.sheet_table import TANK_RECORD, Cells, cells_of, check_column, read_table
from brinemark.records.tank_cells import tank_row_and_faults
from brinemark.records.tank_json import tank_row_key
from brinemark.records.tank_rules import faults_between
from brinemark.terms.errors import Refused
from brinemark.terms.findings import first_fault
from brinemark.terms.tanks import BLANK, SAMPLE, TankRecord, TankRow

if TYPE_CHECKING:
    from brinemark.terms.settings import Settings

FORM = "form"
"""Title of rows that came from a form."""

_NAMES = ("consignment", "tank", "fish", "sample", "system")

Recorded = Mapping[str, Sequence[TankRow]]
"""Rows that the logbook has, by consignment."""


@dataclass(slots=True)
class _Read:
    """Rows that can be understood, and what is wrong with the others. spoilt : consignment to names in its bad rows."""

    rows: list[TankRow] = field(default_factory=list)
    zoneless: list[int] = field(default_factory=list)
    faults: list[Refused] = field(default_factory=list)
    spoilt: dict[str, set[str]] = field(default_factory=dict)


def read_tank_record(data: bytes, name: str, settings: Settings, recorded: Recorded | None = None) -> TankRecord:
    """The checked tank record; recorded : rows of the logbook, beside which its own must make sense.

    Raises Refused for the first fault in the order of the file; the message names the other faulty rows.
    """
    return without_faults(*tank_record_and_faults(data, name, settings, recorded))


def without_faults(record: TankRecord, faults: Sequence[Refused]) -> TankRecord:
    """The record. Raises Refused for its first fault; the message names the other faulty rows."""
    if faults:
        raise first_fault(faults)
    return record


def tank_record_and_faults(
    data: bytes, name: str, settings: Settings, recorded: Recorded | None = None
) -> tuple[TankRecord, list[Refused]]:
    """The rows that can be understood, and every fault. Raises Refused when it is no table at all."""
    table = read_table(data, name, TANK_RECORD)
    record, faults = _record(table.rows, name, settings, recorded or {})
    if table.encoding not in ("latin-1", "cp1252"):
        return record, faults
    warning = "the table is not UTF-8 and was read as Latin-1; check accents in names"
    return TankRecord(name, record.rows, (*record.warnings, warning)), faults


def tank_form_and_faults(
    rows: Sequence[Mapping[str, str]], settings: Settings, recorded: Recorded | None = None
) -> tuple[TankRecord, list[Refused]]:
    """The same for rows that were typed into a form, column to text; the first row has number 1."""
    texts = [{column: cell.strip() for column, cell in row.items()} for row in rows]
    filled = [(number, row) for number, row in enumerate(texts, start=1) if any(row.values())]
    if not filled:
        raise Refused("a form without rows", "one row at least", "fill in the form", file=FORM)
    for number, row in filled:
        for column in row:
            check_column(column, FORM, number, TANK_RECORD)
    return _record(cells_of(filled, FORM, TANK_RECORD), FORM, settings, recorded or {})


def _record(
    table: Sequence[Cells], name: str, settings: Settings, recorded: Recorded
) -> tuple[TankRecord, list[Refused]]:
    zone = settings.logbook.timezone
    read = _read(table, ZoneInfo(zone))
    faults = [*read.faults, *_faults_together(read, name, recorded)]
    warnings = []
    if read.zoneless:
        times = "time without a zone" if len(read.zoneless) == 1 else "times without a zone"
        warnings.append(f"{len(read.zoneless)} {times}, first in row {read.zoneless[0]}, read in {zone}")
    warnings += [line for column in _NAMES for line in collisions(read.rows, column)]
    return TankRecord(name, tuple(read.rows), tuple(warnings)), faults


def _read(table: Iterable[Cells], zone: ZoneInfo) -> _Read:
    read = _Read()
    for cells in table:
        row, zoned, wrong = tank_row_and_faults(cells, zone)
        read.faults += wrong
        if row is None:
            spoilt = read.spoilt.setdefault(cells.texts.get("consignment", ""), set())
            spoilt |= {text for column in ("tank", "fish", "sample", "system") if (text := cells.texts.get(column))}
            continue
        read.rows.append(row)
        read.zoneless += [] if zoned else [row.number]
    return read


def _faults_together(read: _Read, name: str, recorded: Recorded) -> Iterable[Refused]:
    """Faults that show among rows of one consignment, recorded ones included."""
    every = [*(row for rows in recorded.values() for row in rows), *read.rows]
    samples = [(str(row.sample), row.consignment) for row in every if row.what in (SAMPLE, BLANK)]
    for consignment, rows in by_consignment(read.rows).items():
        known = recorded.get(consignment, ())
        new = unrecorded(rows, known)
        elsewhere = {sample: whose for sample, whose in samples if whose != consignment}
        spoilt = read.spoilt.get(consignment, set()) | read.spoilt.get("", set())
        for fault in faults_between([*known, *new], elsewhere, spoilt):
            yield fault.refused(name)


def unrecorded(rows: Sequence[TankRow], known: Sequence[TankRow]) -> list[TankRow]:
    """Rows that say something which none of the known ones says."""
    keys = {tank_row_key(row) for row in known}
    return [row for row in rows if tank_row_key(row) not in keys]


def by_consignment(rows: Iterable[TankRow]) -> dict[str, list[TankRow]]:
    """The rows of each consignment, in the order in which they came."""
    found: dict[str, list[TankRow]] = {}
    for row in rows:
        found.setdefault(row.consignment, []).append(row)
    return found
