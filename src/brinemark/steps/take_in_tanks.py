"""Take in a tank record: check everything beside what is recorded, keep the file, then commit one transaction."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from brinemark.records.files import keep_originals, read_source, sweep_leftovers
from brinemark.records.reader import Reader
from brinemark.records.tank_json import in_order, tank_row_to_json
from brinemark.records.tank_record import (
    FORM,
    by_consignment,
    tank_form_and_faults,
    tank_record_and_faults,
    unrecorded,
    without_faults,
)
from brinemark.records.text import shown
from brinemark.records.writer import Writer
from brinemark.steps.consignments import (
    AS_RECORDED,
    CORRECTS,
    FOLLOWS,
    TANK_RECORD,
    consignment_named,
    known_consignments,
)
from brinemark.steps.identity import Made, Recipe
from brinemark.steps.making import checked_reason
from brinemark.steps.place import Place
from brinemark.steps.sheet_sources import safe_title
from brinemark.steps.tank_answers import CheckedTanks, TakenConsignment, TanksTaken
from brinemark.steps.tank_remarks import take_in_remarks
from brinemark.terms.canonical import sha256_hex
from brinemark.terms.errors import Refused
from brinemark.terms.findings import findings_of
from brinemark.terms.stored import Original, Record
from brinemark.terms.tanks import Consignment, TankRecord, TankRow

Source = Path | tuple[str, bytes] | list[Mapping[str, str]]
"""A tank record: a file, a name with bytes, or the rows of a form as text by column."""
USAGE = "'tanks FILE --corrects CONSIGNMENT --reason TEXT'"
_ORIGINAL = "original"


@dataclass(frozen=True, slots=True, eq=False)
class _Came:
    """A tank record as it came. data : bytes of the file; None for a form."""

    title: str
    data: bytes | None
    rows: Sequence[Mapping[str, str]] = ()


@dataclass(frozen=True, slots=True, eq=False)
class _Change:
    """What a record changes for one consignment. rows : all that are valid then; old : its newest record before."""

    name: str
    rows: list[TankRow]
    new: list[TankRow]
    known: int
    old: Consignment | None
    corrects: bool = False

    def taken(self, record: str | None) -> TakenConsignment:
        supersedes = self.old.id if self.corrects and self.old is not None else None
        return TakenConsignment(self.name, record, len(self.new), self.known, supersedes)


def take_in_tanks(place: Place, source: Source, corrects: str | None = None, reason: str | None = None) -> TanksTaken:
    """Take in a tank record, all of it or nothing; rows that the logbook has already change nothing.

    corrects : a consignment whose rows are all replaced by those of this record, and reason says why. Raises Refused.
    """
    why = checked_reason(corrects is not None, reason, USAGE)
    came = _came(source)
    with place.database.writing() as writer:
        known = known_consignments(writer.reader)
        record = without_faults(*_read(place, came, _beside(known, corrects)))
        changes = _changes(writer.reader, record, known, corrects)
        remarks = (*record.warnings, *_remarks(changes))
        wanted = [change for change in changes if change.new or change.corrects]
        if not wanted:
            taken = tuple(change.taken(None if change.old is None else change.old.id) for change in changes)
            return TanksTaken(record.title, False, taken, record.warnings)
        records = _write(place, writer, came, wanted, why)
    made = dict(zip((change.name for change in wanted), records, strict=True))
    ids = {name: one.id for name, one in known.items()} | {name: one.id for name, one in made.items()}
    return TanksTaken(record.title, True, tuple(change.taken(ids[change.name]) for change in changes), remarks)


def add_tank_rows(
    place: Place, rows: Sequence[Mapping[str, str]], corrects: str | None = None, reason: str | None = None
) -> TanksTaken:
    """Take in rows of a form, column to text, by the same rules. Raises Refused."""
    return take_in_tanks(place, list(rows), corrects, reason)


def check_tanks(place: Place, source: Source, corrects: str | None = None, reason: str | None = None) -> CheckedTanks:
    """Look a tank record through as taking it in would, and tell every fault; nothing is stored."""
    title = FORM
    try:
        checked_reason(corrects is not None, reason, USAGE)
        came = _came(source)
        title = came.title
        with place.database.reading() as reader:
            known = known_consignments(reader)
            record, faults = _read(place, came, _beside(known, corrects))
            said = CheckedTanks(title, len(record.rows), findings_of(faults), (), record.warnings)
            changes = [] if faults else _changes(reader, record, known, corrects)
    except Refused as fault:  # no table at all, or a correction of nothing
        return CheckedTanks(title, 0, findings_of([fault]))
    taken = tuple(change.taken(None) for change in changes)
    return replace(said, consignments=taken, remarks=(*record.warnings, *_remarks(changes)))


def _came(source: Source) -> _Came:
    if isinstance(source, Path):
        return _Came(source.name, read_source(source.parent, source.name))
    if isinstance(source, tuple):
        return _Came(safe_title(source[0]), source[1])
    return _Came(FORM, None, source)


def _beside(known: Mapping[str, Consignment], corrects: str | None) -> dict[str, tuple[TankRow, ...]]:
    """Recorded rows that a new record stands beside: not those that it takes the place of."""
    if corrects is not None:
        consignment_named(known, corrects)
    return {name: tuple(replace(row, number=0) for row in one.rows) for name, one in known.items() if name != corrects}


def _read(place: Place, came: _Came, recorded: Mapping[str, Sequence[TankRow]]) -> tuple[TankRecord, list[Refused]]:
    if came.data is None:
        return tank_form_and_faults(came.rows, place.settings, recorded)
    return tank_record_and_faults(came.data, came.title, place.settings, recorded)


def _changes(
    reader: Reader, record: TankRecord, known: Mapping[str, Consignment], corrects: str | None
) -> list[_Change]:
    """What the record changes, consignment by consignment. Raises Refused for a correction that cannot be meant."""
    said = by_consignment(record.rows)
    if corrects is not None:
        return [_correction(reader, record, known[corrects])]
    changes = []
    for name, rows in said.items():
        old = known.get(name)
        before = () if old is None else old.rows
        new = unrecorded(rows, before)
        changes.append(_Change(name, in_order([*before, *new]), new, len(rows) - len(new), old))
    return changes


def _correction(reader: Reader, record: TankRecord, old: Consignment) -> _Change:
    other = next((row for row in record.rows if row.consignment != old.name), None)
    if other is not None:
        came = f"consignment {shown(other.consignment)} in a correction of {shown(old.name)}"
        expected, remedy = "rows of the corrected consignment alone", "take in the other rows by themselves"
        raise Refused(came, expected, remedy, file=record.title, row=other.number, column="consignment")
    rows = in_order(record.rows)
    new = unrecorded(rows, old.rows)
    if new or len(rows) != len(old.rows):
        return _Change(old.name, rows, new, len(rows) - len(new), old, corrects=True)
    if CORRECTS not in dict(reader.records([old.id])[old.id].parents):
        came = f"a correction that says what is recorded of consignment {shown(old.name)} already"
        raise Refused(came, "something else than before", "change what was wrong", file=record.title)
    return _Change(old.name, rows, [], len(rows), old)


def _remarks(changes: Sequence[_Change]) -> tuple[str, ...]:
    return tuple(line for change in changes for line in take_in_remarks(change.rows, change.new))


def _write(place: Place, writer: Writer, came: _Came, changes: Sequence[_Change], reason: str | None) -> list[Record]:
    """Files first, under the database's lock; then the records and their audit entry."""
    original = None if came.data is None else Original(sha256_hex(came.data), len(came.data), came.title)
    if original is not None:
        data = came.data or b""
        sweep_leftovers(place.originals, writer.reader.original_ids())
        keep_originals(place.originals, {original.sha256: lambda: data})
        writer.add_originals([original])
    records = [_record(came.title, change, original, reason) for change in changes]
    writer.add_records(records)
    corrected = changes[0].old if changes[0].corrects else None
    detail: dict[str, Any] = {
        "tank_records": [
            {"consignment": change.name, "record": record.id} for change, record in zip(changes, records, strict=True)
        ],
        "rows": sum(len(change.new) for change in changes),
        "original": None if original is None else original.sha256,
        "supersedes": None if corrected is None else corrected.id,
        "reason": reason,
    }
    action = "tank record added" if corrected is None else "tank record corrected"
    writer.seal(action, came.title, detail)
    return records


def _record(title: str, change: _Change, original: Original | None, reason: str | None) -> Record:
    parents = [] if original is None else [(_ORIGINAL, original.sha256)]
    if change.old is not None:
        parents.append((CORRECTS if change.corrects else FOLLOWS, change.old.id))
    settings: dict[str, Any] = {
        "consignment": change.name,
        "rows": [tank_row_to_json(row) for row in change.rows],
        **({"reason": reason} if change.corrects else {}),
    }
    recipe = Recipe(TANK_RECORD, AS_RECORDED, tuple(parents), settings)
    return recipe.record(Made({"title": title, "new": len(change.new), "known": change.known}, {}))
