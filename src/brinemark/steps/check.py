"""Check a whole logbook: the database file, the audit list, every record, every sheet and every original."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from brinemark.records.files import read_original
from brinemark.records.reader import Reader
from brinemark.records.sheets import row_id, sheet_id
from brinemark.steps.place import Place
from brinemark.terms.canonical import content_hash, record_id
from brinemark.terms.errors import Refused
from brinemark.terms.stored import Record

KINDS = (
    *("wave", "signal", "calibration", "limits", "control", "reading", "signal study", "definition lock"),
    *("making", "set aside", "run plan", "plan withdrawn", "report"),
    *("tank record", "interpretation", "trial", "own experiments", "marker results"),
    *("batch plan", "fish plan", "study"),
)
CHECKED, FAULTY = "logbook checked", "faults found"
_BATCH, _TOLD = 200, 50


@dataclass(frozen=True, slots=True)
class CheckReport:
    """What was checked, the head of the audit list, and every fault as a plain sentence."""

    entries: int
    records: int
    originals: int
    head: str
    faults: tuple[str, ...]

    @property
    def sound(self) -> bool:
        return not self.faults

    def to_dict(self) -> dict[str, Any]:
        return {
            "schema": 1,
            "sound": self.sound,
            "entries": self.entries,
            "records": self.records,
            "originals": self.originals,
            "head": self.head,
            "faults": list(self.faults),
        }


def check(place: Place) -> CheckReport:
    """Recompute every hash in the logbook.

    keep : note in the audit list that a sound logbook was checked, and at which head; else nothing is written.
    """
    faults = list(place.database.verify_damage())
    with place.database.reading() as reader:
        chain = reader.verify_chain()
        faults += chain.faults
        faults += _original_faults(place, reader)
        faults += _row_faults(reader)
        records = 0
        for record in _all_records(reader):
            records += 1
            faults += _record_faults(record)
        originals = len(reader.originals())
    return CheckReport(chain.entries, records, originals, chain.head, tuple(faults))


def check_and_note(place: Place) -> CheckReport:
    """The same, and what came of it as an entry of the audit list, so that anyone sees when it was checked last.

    A file so damaged that it takes no entry is told of all the same.
    """
    report = check(place)
    detail = {**report.to_dict(), "faults": list(report.faults[:_TOLD]), "fault_count": len(report.faults)}
    del detail["schema"]
    try:
        with place.database.writing() as writer:
            writer.seal(CHECKED if report.sound else FAULTY, place.settings.logbook.name, detail)
    except Refused:
        if report.sound:
            raise
    return report


def _original_faults(place: Place, reader: Reader) -> Iterator[str]:
    for original in reader.originals():
        try:
            read_original(place.originals, original.sha256)
        except Refused as fault:
            yield f"{original.name}: {fault.came}"


def _row_faults(reader: Reader) -> Iterator[str]:
    by_sheet: dict[str, list[str]] = {}
    for row in reader.rows(superseded=True):
        by_sheet.setdefault(row.sheet_id, []).append(row.id)
        if row_id(row.row, row.trace_sha256, row.prescan_sha256) != row.id:
            yield f"row {row.row.number} of sheet {row.sheet_id[:12]} does not have the content of its id"
    for sheet in reader.sheets():
        if sheet_id(by_sheet.get(sheet.id, [])) != sheet.id:
            yield f"sheet {sheet.title} does not have the rows of its id"


def _all_records(reader: Reader) -> Iterator[Record]:
    for kind in KINDS:
        ids = [record.id for record in reader.newest_first(kind)]
        for start in range(0, len(ids), _BATCH):
            yield from reader.records(ids[start : start + _BATCH], arrays=True).values()


def _record_faults(record: Record) -> Iterator[str]:
    if content_hash(record.results, record.arrays) != record.content:
        yield f"{record.kind} {record.id[:12]} does not have its content"
    made_from = record_id(
        record.kind,
        schema=record.schema,
        parents=[f"{role} {parent}" for role, parent in record.parents],
        role=record.role,
        settings=record.settings,
        engine=record.engine,
        seed=record.seed,
    )
    if made_from != record.id:
        yield f"{record.kind} {record.id[:12]} does not have the recipe of its id"
