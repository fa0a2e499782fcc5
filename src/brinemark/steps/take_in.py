"""Add a run sheet: check everything, then keep the files, then commit one transaction."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from brinemark.records.files import keep_originals, sweep_leftovers
from brinemark.records.reader import Reader
from brinemark.records.sheets import canonical_row
from brinemark.records.writer import Writer
from brinemark.steps.answers import Added, AddedSignal, ReadingLine
from brinemark.steps.chosen import newest_waves
from brinemark.steps.identity import Definition, definition_of
from brinemark.steps.incoming import Faults, File, Incoming, OnStep, Progress, parse_files, read_incoming
from brinemark.steps.lives import lives_of
from brinemark.steps.makings import known_makings
from brinemark.steps.measure import RowSignals, Traces, measure_rows
from brinemark.steps.packing import unpack_signal
from brinemark.steps.place import Place
from brinemark.steps.sheet_history import corrected_sheet, history_faults, known_sheet, making_remarks, plan_remarks
from brinemark.steps.sheet_sources import FolderSource, SheetSource
from brinemark.terms.canonical import canonical_bytes, sha256_hex
from brinemark.terms.errors import Refused
from brinemark.terms.findings import Finding, findings_of
from brinemark.terms.runs import SheetRow, StoredRow
from brinemark.terms.stored import Original, Record, StoredSheet


@dataclass(frozen=True, slots=True, eq=False)
class _Measured:
    """A sheet that history has nothing against, with the signals and known cell levels of its rows."""

    supersedes: str | None
    reason: str | None
    signals: Mapping[str, RowSignals]
    levels: Mapping[str, float | None]
    waves: tuple[Record, ...]
    wave: str
    fresh: Mapping[tuple[str, str], Mapping[str, object]]
    remarks: tuple[str, ...]
    definition: Definition


@dataclass(frozen=True, slots=True, eq=False)
class CheckedSheet:
    """A run sheet that was looked through; nothing is stored yet.

    findings : every fault, by row; empty when `keep` will take it. remarks : what is odd but not refused. there : the
    answer when the logbook has this content already, with nothing left to keep.
    """

    title: str
    rows: int
    files: int
    findings: tuple[Finding, ...]
    remarks: tuple[str, ...] = ()
    there: Added | None = None
    incoming: Incoming | None = None
    measured: _Measured | None = None

    @property
    def sound(self) -> bool:
        return not self.findings

    def to_dict(self) -> dict[str, object]:
        return {
            "schema": 1,
            "title": self.title,
            "sound": self.sound,
            "rows": self.rows,
            "files": self.files,
            "new": self.there is None,
            "findings": [one.to_dict() for one in self.findings],
            "remarks": list(self.remarks),
        }


def take_in(place: Place, sheet: Path, corrects: str | None = None, reason: str | None = None) -> Added:
    """Add a run sheet with its files; `corrects` names the sheet that it replaces, and `reason` says why.

    Everything is checked before the first write; the same content again changes nothing. Raises Refused.
    """
    source = FolderSource(sheet)
    return keep(place, _checked(place, source, (corrects, reason), Faults(source.title, strict=True)))


def check_sheet(
    place: Place,
    source: SheetSource,
    corrects: str | None = None,
    reason: str | None = None,
    on_step: OnStep | None = None,
) -> CheckedSheet:
    """Look a run sheet and its files through, as adding it would, and tell every fault; nothing is stored.

    on_step(done, total) : after each file and each curve that is measured; False stops. Raises Stopped.
    """
    faults = Faults(source.title, strict=False)
    try:
        return _checked(place, source, (corrects, reason), faults, on_step)
    except Refused as fault:  # no table at all, or a correction of nothing
        return CheckedSheet(source.title, 0, 0, findings_of([*faults.found, fault]))


def _checked(
    place: Place,
    source: SheetSource,
    correction: tuple[str | None, str | None],
    faults: Faults,
    on_step: OnStep | None = None,
) -> CheckedSheet:
    corrects, reason = correction
    _check_correction(corrects, reason)
    incoming = read_incoming(place, source, faults)
    files = sum((row.trace_sha256 is not None) + (row.prescan_sha256 is not None) for row in incoming.rows)
    said = CheckedSheet(source.title, len(incoming.rows), files, (), tuple(source.remarks()))
    with place.database.reading() as reader:
        known = None if faults.found else known_sheet(reader, incoming)
        if known is not None:
            return replace(said, there=_nothing_new(reader, known, incoming, corrects))
        old = corrected_sheet(reader, corrects)
        makings = known_makings(reader)
        for fault in history_faults(place, reader, incoming, old, makings):
            faults.note(fault)
        curves = sum(row.trace_sha256 is not None for row in incoming.rows)
        progress = Progress(files + curves, on_step)
        measured = _measured(place, reader, incoming, faults, progress)
        remarks = (*said.remarks, *_twins(incoming), *making_remarks(incoming, makings))
        remarks += tuple(plan_remarks(reader, incoming, old))
    if measured is None:
        return replace(said, findings=findings_of(faults.found), remarks=remarks)
    made = replace(measured, supersedes=None if old is None else old.id, reason=reason, remarks=remarks)
    return replace(said, remarks=(*incoming.sheet.warnings, *remarks), incoming=incoming, measured=made)


def _check_correction(corrects: str | None, reason: str | None) -> None:
    if (corrects is None) != (reason is None or not reason.strip()):
        raise Refused(
            "a reason without a sheet to correct" if corrects is None else "a correction without a reason",
            "both or neither",
            "use 'add SHEET --corrects OLD --reason TEXT'",
        )


def _nothing_new(reader: Reader, known: StoredSheet, incoming: Incoming, corrects: str | None) -> Added:
    """The answer to content that is there already. Raises Refused when it was to correct some other sheet."""
    later = next((one for one in reader.sheets() if one.supersedes == known.id), None)
    remark = f"the same content is in the logbook since {known.added_at} as {known.title}"
    if later is not None:
        remark += f", which {later.title} corrected on {later.added_at}"
    if corrects is not None and (later is not None or not _is_named(reader, known.supersedes, corrects)):
        raise Refused(remark, "new content in a correction", "change what was wrong, a note at least")
    return Added(
        sheet=known.id,
        title=known.title,
        new=False,
        supersedes=known.supersedes,
        rows=len(incoming.rows),
        electrodes=len({row.row.electrode for row in incoming.rows}),
        batches=tuple(sorted({row.row.batch for row in incoming.rows})),
        originals=0,
        warnings=(remark,),
    )


def _is_named(reader: Reader, sheet: str | None, name: str) -> bool:
    return any(one.id == sheet for one in reader.sheets_named(name))


def _measured(place: Place, reader: Reader, incoming: Incoming, faults: Faults, progress: Progress) -> _Measured | None:
    """Signals and levels of all rows; None when anything is at fault, after looking for more faults."""
    definition = definition_of(place.settings)
    traces = Traces(place, reader)
    waves, phrase = newest_waves(place, reader)
    rows = faults.sound(incoming.rows)
    try:
        lives = lives_of(rows, place.settings)
    except Refused as fault:
        faults.note(fault)
        return None
    parse_files(incoming, traces, faults, progress)
    rows = faults.sound(incoming.rows)
    signals = measure_rows(rows, definition, waves, traces, faults.note, progress.step)
    if faults.found:
        return None
    return _Measured(
        supersedes=None,
        reason=None,
        signals=signals,
        levels={dip.row.id: dip.level for life in lives for dip in life.dips if dip.number >= 0},
        waves=tuple(waves.waves.values()),
        wave=phrase,
        fresh=traces.fresh,
        remarks=(),
        definition=definition,
    )


def _twins(incoming: Incoming) -> Iterator[str]:
    """Curves that are byte for byte those of another reading: two readings never answer alike."""
    first: dict[str, SheetRow] = {}
    for stored in incoming.rows:
        row = stored.row
        before = row if stored.trace_sha256 is None else first.setdefault(stored.trace_sha256, row)
        if before is not row:
            other = before.electrode if before.electrode != row.electrode else f"row {before.number}"
            yield f"row {row.number}: the curve of {row.electrode} is byte for byte that of {other}"


def keep(place: Place, checked: CheckedSheet, on_step: OnStep | None = None) -> Added:
    """Store a sheet that was checked and found sound: files first, under the database's lock, then one transaction.

    on_step(done, total) : after each file; False stops, and nothing is stored. Raises Refused when the sheet has
    findings, or when settings or logbook have changed since in a way that is against it; and Stopped.
    """
    if checked.there is not None:
        return checked.there
    incoming, measured = checked.incoming, checked.measured
    if incoming is None or measured is None:
        found = checked.findings[0]
        raise Refused(found.came, found.expected, found.remedy, file=checked.title, row=found.row, column=found.column)
    if definition_of(place.settings).identity != measured.definition.identity:
        came = "settings that have changed since the sheet was checked"
        raise Refused(came, "the settings that it was checked by", "check the sheet again", file=checked.title)
    stored = StoredSheet(
        id=incoming.id,
        title=incoming.sheet.title,
        canonical=_canonical(incoming),
        file_sha256=sha256_hex(incoming.file[1]),
        warnings=incoming.sheet.warnings,
        supersedes=measured.supersedes,
        reason=measured.reason,
    )
    with place.database.writing() as writer:
        # Another program may have written since the checks.
        known = known_sheet(writer.reader, incoming)
        if known is not None:
            return _nothing_new(writer.reader, known, incoming, None)
        _check_again(place, writer.reader, incoming, measured)
        swept = sweep_leftovers(place.originals, writer.reader.original_ids())
        new = _write(writer, stored, incoming, measured, _originals(place, incoming, on_step))
    return _added(stored, incoming, measured, new, len(swept))


def _check_again(place: Place, reader: Reader, incoming: Incoming, measured: _Measured) -> None:
    old = corrected_sheet(reader, measured.supersedes)
    faults = Faults(incoming.sheet.title, strict=True)
    for fault in history_faults(place, reader, incoming, old, known_makings(reader)):
        faults.note(fault)


def _originals(place: Place, incoming: Incoming, on_step: OnStep | None) -> list[Original]:
    """Keep the bytes of the sheet and of every file."""
    title, data = incoming.file
    files = {**incoming.files, sha256_hex(data): File(title, len(data), lambda: data)}
    progress = Progress(len(files), on_step)
    keep_originals(place.originals, {sha256: file.load for sha256, file in files.items()}, progress.step)
    return [Original(sha256, file.size, file.name) for sha256, file in files.items()]


def _write(
    writer: Writer, sheet: StoredSheet, incoming: Incoming, measured: _Measured, originals: Iterable[Original]
) -> int:
    new = writer.add_originals(originals)
    writer.add_sheet(sheet, incoming.rows)
    writer.add_records(measured.waves)
    writer.add_records(_records(measured.signals))
    writer.cache_arrays(measured.fresh)  # type: ignore[arg-type]
    action = "sheet added" if sheet.supersedes is None else "sheet corrected"
    writer.seal(
        action,
        sheet.title,
        {
            "sheet": sheet.id,
            "rows": len(incoming.rows),
            "originals": new,
            "supersedes": sheet.supersedes,
            "reason": sheet.reason,
        },
    )
    return new


def _records(signals: Mapping[str, RowSignals]) -> Iterator[Record]:
    for one in signals.values():
        yield from one.records


def _canonical(incoming: Incoming) -> str:
    rows = [canonical_row(row.row, row.trace_sha256, row.prescan_sha256) for row in incoming.rows]
    return canonical_bytes(rows).decode()


def _added(sheet: StoredSheet, incoming: Incoming, measured: _Measured, new: int, swept: int) -> Added:
    return Added(
        sheet=sheet.id,
        title=sheet.title,
        new=True,
        supersedes=sheet.supersedes,
        rows=len(incoming.rows),
        electrodes=len({row.row.electrode for row in incoming.rows}),
        batches=tuple(sorted({row.row.batch for row in incoming.rows})),
        originals=new,
        signals=tuple(_added_signal(row, measured) for row in incoming.rows),
        swept=swept,
        wave=measured.wave,
        warnings=(*sheet.warnings, *measured.remarks),
    )


def _added_signal(stored: StoredRow, measured: _Measured) -> AddedSignal:
    row, signal = stored.row, unpack_signal(measured.signals[stored.id].main)
    return AddedSignal(row.electrode, ReadingLine(row.number, row.role, measured.levels[stored.id], signal))
