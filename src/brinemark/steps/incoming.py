"""A run sheet read whole with its files: its rows, their hashes, and every fault on the way."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

from brinemark.records.sheets import row_id, sheet_and_faults, sheet_id
from brinemark.steps.measure import Traces
from brinemark.steps.place import Place
from brinemark.steps.sheet_sources import SheetSource
from brinemark.terms.canonical import sha256_hex
from brinemark.terms.errors import Refused, Stopped
from brinemark.terms.findings import first_fault
from brinemark.terms.runs import RunSheet, SheetRow, StoredRow

OnStep = Callable[[int, int], bool]
FILE_COLUMNS = ("trace", "prescan")


@dataclass(frozen=True, slots=True, eq=False)
class File:
    """A file of the sheet: the name it came with, its size in bytes, and how its bytes are had."""

    name: str
    size: int
    load: Callable[[], bytes]


@dataclass(frozen=True, slots=True, eq=False)
class Incoming:
    """A sheet as it came. rows : those that can be understood, all of them when there is no fault.

    file : the sheet itself; files : by sha256; id : of the sheet, when no row is at fault.
    """

    sheet: RunSheet
    file: tuple[str, bytes]
    rows: tuple[StoredRow, ...]
    files: Mapping[str, File]
    id: str


@dataclass(slots=True, eq=False)
class Progress:
    """Counts the steps of a piece of work and asks whether to go on."""

    total: int
    on_step: OnStep | None = None
    done: int = 0

    def step(self) -> None:
        """One more is done. Raises Stopped when that was asked for."""
        self.done += 1
        if self.on_step is not None and not self.on_step(self.done, self.total):
            raise Stopped(self.done, self.total)


@dataclass(slots=True, eq=False)
class Faults:
    """Every fault of a sheet, in the order of the checks; strict : the first is raised instead."""

    title: str
    strict: bool
    found: list[Refused] = field(default_factory=list)

    def note(self, fault: Refused) -> None:
        """Keep a fault, or raise it, under the sheet's title."""
        named = Refused(fault.came, fault.expected, fault.remedy, file=self.title, row=fault.row, column=fault.column)
        if self.strict:
            raise named from fault
        self.found.append(named)

    def sound(self, rows: tuple[StoredRow, ...]) -> tuple[StoredRow, ...]:
        """Rows of electrodes without a fault."""
        numbers = {fault.row for fault in self.found}
        spoilt = {row.row.electrode for row in rows if row.row.number in numbers}
        return tuple(row for row in rows if row.row.electrode not in spoilt)


def read_incoming(place: Place, source: SheetSource, faults: Faults) -> Incoming:
    """The sheet and every file that it names, as bytes. Raises Refused for a sheet that is no table."""
    data = source.sheet()
    sheet, wrong = sheet_and_faults(data, source.title, place.settings)
    if wrong and faults.strict:
        raise first_fault(wrong)
    for fault in wrong:
        faults.note(fault)
    files: dict[str, File] = {}
    rows = []
    for row in sheet.rows:
        trace, prescan = (_source(source, row, column, files, faults) for column in FILE_COLUMNS)
        rows.append(StoredRow(row_id(row, trace, prescan), "", row, trace, prescan))
    identity = sheet_id([row.id for row in rows])
    stored = tuple(replace(row, sheet_id=identity) for row in rows)
    return Incoming(sheet, (source.title, data), stored, files, identity)


def _source(source: SheetSource, row: SheetRow, column: str, files: dict[str, File], faults: Faults) -> str | None:
    name = row.trace if column == "trace" else row.prescan
    if name is None:
        return None
    try:
        held = source.file(name, row.number, column)
    except Refused as fault:
        faults.note(fault)
        return None
    sha256 = sha256_hex(held.data)
    files.setdefault(sha256, File(name, len(held.data), held.load))
    return sha256


def parse_files(incoming: Incoming, traces: Traces, faults: Faults, progress: Progress) -> None:
    """Read every file as a curve; a fault names the row and column of the sheet and the place in the file."""
    for row in incoming.rows:
        for column, sha256 in zip(FILE_COLUMNS, (row.trace_sha256, row.prescan_sha256), strict=True):
            if sha256 is None:
                continue
            file = incoming.files[sha256]
            try:
                traces.take(file.load(), sha256, row.row.instrument, file.name)
            except Refused as fault:
                faults.note(_in_file(fault, file.name, row, column))
            progress.step()


def _in_file(fault: Refused, name: str, row: StoredRow, column: str) -> Refused:
    places = [name]
    places += [] if fault.row is None else [f"line {fault.row}"]
    places += [] if fault.column is None else [f"column {fault.column}"]
    came = f"{', '.join(places)}: {fault.came}"
    return Refused(came, fault.expected, fault.remedy, row=row.row.number, column=column)
