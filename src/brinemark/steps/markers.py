"""Take in results of other methods, and what the logbook holds of them now."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from brinemark.records.files import keep_originals, read_source, sweep_leftovers
from brinemark.records.marker_table import (
    marker_row_from_json,
    marker_row_to_json,
    marker_table_and_faults,
    same_result,
    samples_of,
)
from brinemark.records.reader import Reader
from brinemark.records.text import nearest, shown
from brinemark.records.writer import Writer
from brinemark.steps.consignments import known_consignments
from brinemark.steps.identity import Made, Recipe
from brinemark.steps.making import checked_reason
from brinemark.steps.marker_answers import CheckedMarkers, MarkersTaken
from brinemark.steps.place import Place
from brinemark.steps.run_plans import sample_names, with_plans
from brinemark.steps.sheet_sources import safe_title
from brinemark.terms.canonical import JsonValue, sha256_hex
from brinemark.terms.errors import Refused
from brinemark.terms.findings import findings_of, first_fault
from brinemark.terms.markers import MarkerRow, MarkerTable
from brinemark.terms.stored import Original, Record
from brinemark.terms.tanks import BLANK, SAMPLE

MARKERS, AS_REPORTED = "marker results", "as reported"
CORRECTS, ORIGINAL = "corrects", "original"
USAGE = "'markers FILE --corrects OLD --reason TEXT'"
FEWEST_DIGITS = 4

Source = Path | tuple[str, bytes]
"""A table of other methods: a file, or a name with bytes."""


@dataclass(frozen=True, slots=True, eq=False)
class KnownMarkers:
    """Results of one file that hold now."""

    record: Record
    title: str
    rows: tuple[MarkerRow, ...]


def known_markers(reader: Reader) -> list[KnownMarkers]:
    """What holds now, file by file in the order in which they came; corrected ones are left out."""
    records = list(reader.newest_first(MARKERS))
    gone = {parent for record in records for role, parent in record.parents if role == CORRECTS}
    return [_known(record) for record in reversed(records) if record.id not in gone]


def marker_rows(reader: Reader) -> list[MarkerRow]:
    """Every result of another method that holds now."""
    return [row for one in known_markers(reader) for row in one.rows]


def take_in_markers(
    place: Place, source: Source, corrects: str | None = None, reason: str | None = None
) -> MarkersTaken:
    """Take in a table of other methods, all of it or nothing; results that the logbook has already change nothing.

    corrects : title of the file, or the beginning of the id of its record, whose results these take the place of, and
    reason says why. Raises Refused.
    """
    why = checked_reason(corrects is not None, reason, USAGE)
    title, data = _came(source)
    with place.database.writing() as writer:
        known = known_markers(writer.reader)
        old = None if corrects is None else _named(known, corrects)
        table, faults = _read(place, writer.reader, (title, data), known, old)
        if faults:
            raise first_fault(faults)
        warnings = (*table.warnings, *_unknown_samples(writer.reader, table.rows))
        new = _new(table.rows, known, old)
        if not _changes(new, old):
            there = old or next(one for one in known if _holds(one, table.rows))
            return MarkersTaken(title, False, there.record.id, 0, len(table.rows), None, warnings)
        record = _record(title, data, new, old, why)
        _write(place, writer, title, data, record)
        count = len(table.rows) - len(new)
    return MarkersTaken(title, True, record.id, len(new), count, None if old is None else old.record.id, warnings)


def check_markers(
    place: Place, source: Source, corrects: str | None = None, reason: str | None = None
) -> CheckedMarkers:
    """Look a table of other methods through as taking it in would, and tell every fault; nothing is stored."""
    title = source.name if isinstance(source, Path) else source[0]
    try:
        checked_reason(corrects is not None, reason, USAGE)
        title, data = _came(source)
        with place.database.reading() as reader:
            known = known_markers(reader)
            old = None if corrects is None else _named(known, corrects)
            table, faults = _read(place, reader, (title, data), known, old)
            new = _new(table.rows, known, old)
            changed = not faults and _changes(new, old)
            remarks = (*table.warnings, *_unknown_samples(reader, table.rows))
    except Refused as fault:  # no table at all, or a correction of nothing
        return CheckedMarkers(title, 0, 0, findings_of([fault]))
    return CheckedMarkers(title, len(table.rows), len(new) if changed else 0, findings_of(faults), remarks)


def _came(source: Source) -> tuple[str, bytes]:
    if isinstance(source, Path):
        return source.name, read_source(source.parent, source.name)
    return safe_title(source[0]), source[1]


def _known(record: Record) -> KnownMarkers:
    settings: Any = record.settings
    results: Any = record.results
    rows = (marker_row_from_json(plain, place) for place, plain in enumerate(settings["rows"], start=1))
    return KnownMarkers(record, str(results["title"]), tuple(rows))


def _named(known: Sequence[KnownMarkers], name: str) -> KnownMarkers:
    """The newest file of this title, or the one whose record's id begins so. Raises Refused."""
    for one in reversed(known):
        if one.title == name or (len(name) >= FEWEST_DIGITS and one.record.id.startswith(name)):
            return one
    alike = nearest(name, [one.title for one in known])
    hint = f"did you mean {shown(alike)}?" if alike else "leave out the correction"
    raise Refused(f"no file {shown(name)} of other methods in this logbook", "one that was taken in", hint)


def _read(
    place: Place, reader: Reader, came: tuple[str, bytes], known: Iterable[KnownMarkers], old: KnownMarkers | None
) -> tuple[MarkerTable, list[Refused]]:
    title, data = came
    beside = [row for one in known if one is not old for row in one.rows]
    own_names = sample_names(with_plans(reader)[1])
    return marker_table_and_faults(data, title, place.settings.logbook.timezone, beside, own_names)


def _new(rows: Sequence[MarkerRow], known: Iterable[KnownMarkers], old: KnownMarkers | None) -> list[MarkerRow]:
    """Rows that are to be recorded: what no other file says already."""
    there = [row for one in known if one is not old for row in one.rows]
    by_key = {(row.sample, *row.kind): row for row in there}
    return [row for row in rows if (row.sample, *row.kind) not in by_key]


def _holds(one: KnownMarkers, rows: Sequence[MarkerRow]) -> bool:
    return any(same_result(row, rows[0]) for row in one.rows)


def _changes(new: Sequence[MarkerRow], old: KnownMarkers | None) -> bool:
    """Whether anything is to be stored. Raises Refused for a correction that corrects nothing."""
    if old is None:
        return bool(new)
    if not new:
        came = f"a correction of {shown(old.title)} without a result of its own"
        raise Refused(came, "results that no other file has", "leave out the correction")
    if [marker_row_to_json(row) for row in new] != [marker_row_to_json(row) for row in old.rows]:
        return True
    if CORRECTS not in dict(old.record.parents):
        came = f"a correction that says what {shown(old.title)} says already"
        raise Refused(came, "something else than before", "change what was wrong")
    return False


def _unknown_samples(reader: Reader, rows: Iterable[MarkerRow]) -> tuple[str, ...]:
    """Samples that no run sheet and no tank record names: a remark, since another method may have been first."""
    read = {row.row.sample for row in reader.rows(roles=["sample", "control"])}
    taken = {row.sample for one in known_consignments(reader).values() for row in one.of(SAMPLE, BLANK)}
    names = sample_names(with_plans(reader)[1])
    known = {names.get(name, name) for name in read | taken if name}
    found = []
    for name in samples_of(rows):
        if name not in known:
            alike = nearest(name, known)
            hint = f"; did you mean {shown(alike)}?" if alike else ""
            found.append(f"sample {shown(name)} is on no run sheet and in no tank record yet{hint}")
    return tuple(found)


def _record(title: str, data: bytes, rows: Sequence[MarkerRow], old: KnownMarkers | None, reason: str | None) -> Record:
    parents = [(ORIGINAL, sha256_hex(data))] + ([] if old is None else [(CORRECTS, old.record.id)])
    settings: dict[str, Any] = {"rows": [marker_row_to_json(row) for row in rows]}
    if reason is not None:
        settings["reason"] = reason
    return Recipe(MARKERS, AS_REPORTED, tuple(parents), settings).record(Made({"title": title}, {}))


def _write(place: Place, writer: Writer, title: str, data: bytes, record: Record) -> None:
    """The file first, under the database's lock; then the record and its audit entry."""
    original = Original(sha256_hex(data), len(data), title)
    sweep_leftovers(place.originals, writer.reader.original_ids())
    keep_originals(place.originals, {original.sha256: lambda: data})
    writer.add_originals([original])
    if not writer.add_records([record]):
        came = "results that were recorded once and corrected since"
        raise Refused(came, "results that differ from the corrected ones", "correct the newer file instead", file=title)
    settings: Any = record.settings
    superseded = dict(record.parents).get(CORRECTS)
    detail: dict[str, JsonValue] = {
        "marker_results": record.id,
        "rows": len(settings["rows"]),
        "original": original.sha256,
        "supersedes": superseded,
        "reason": settings.get("reason"),
    }
    writer.seal("marker results added" if superseded is None else "marker results corrected", title, detail)
