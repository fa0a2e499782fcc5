"""Add a run sheet: read and check everything, then keep the files, then commit one transaction."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from brinemark.records.files import read_source, store_originals, sweep_leftovers
from brinemark.records.life_rules import stock_conflicts
from brinemark.records.reader import Reader
from brinemark.records.sheets import canonical_row, read_sheet, row_id, sheet_id
from brinemark.records.writer import Writer
from brinemark.steps.answers import Added, AddedSignal, ReadingLine
from brinemark.steps.chosen import newest_waves
from brinemark.steps.identity import definition_of
from brinemark.steps.lives import lives_of
from brinemark.steps.measure import RowSignals, Traces, measure_rows
from brinemark.steps.packing import unpack_signal
from brinemark.steps.place import Place
from brinemark.terms.canonical import canonical_bytes, sha256_hex
from brinemark.terms.errors import Refused
from brinemark.terms.runs import RunSheet, SheetRow, StoredRow
from brinemark.terms.stored import Original, Record, StoredSheet


@dataclass(frozen=True, slots=True, eq=False)
class _Incoming:
    """A sheet read whole: its rows with their files' hashes, and all bytes by (name, data)."""

    sheet: RunSheet
    file: tuple[str, bytes]
    rows: tuple[StoredRow, ...]
    files: Mapping[str, tuple[str, bytes]]
    id: str


@dataclass(frozen=True, slots=True, eq=False)
class _Checked:
    """A sheet that history has nothing against, with the signals and known cell levels of its rows."""

    supersedes: str | None
    reason: str | None
    signals: Mapping[str, RowSignals]
    levels: Mapping[str, float | None]
    waves: tuple[Record, ...]
    wave: str
    fresh: Mapping[tuple[str, str], Mapping[str, object]]
    remarks: tuple[str, ...]


def take_in(place: Place, sheet: Path, corrects: str | None = None, reason: str | None = None) -> Added:
    """Add a run sheet with its files; `corrects` names the sheet that it replaces, and `reason` says why.

    Everything is checked before the first write; the same content again changes nothing. Raises Refused.
    """
    if (corrects is None) != (reason is None or not reason.strip()):
        raise Refused(
            "a reason without a sheet to correct" if corrects is None else "a correction without a reason",
            "both or neither",
            "use 'add SHEET --corrects OLD --reason TEXT'",
        )
    incoming = _read_all(place, sheet)
    with place.database.reading() as reader:
        known = _known(reader, incoming)
        if known is not None:
            return _nothing_new(reader, known, incoming, corrects)
        old = _corrected(reader, corrects)
        _check_history(place, reader, incoming, old)
        checked = _measured(place, reader, incoming, old, reason)
    return _keep(place, incoming, checked)


def _read_all(place: Place, path: Path) -> _Incoming:
    """The sheet and every file it names, read and parsed as traces where they are voltammograms."""
    data = read_source(path.parent, path.name)
    sheet = read_sheet(data, path.name, place.settings)
    files: dict[str, tuple[str, bytes]] = {}
    rows = []
    for row in sheet.rows:
        trace = _source(path, row, "trace", files)
        prescan = _source(path, row, "prescan", files)
        rows.append(StoredRow(row_id(row, trace, prescan), "", row, trace, prescan))
    identity = sheet_id([row.id for row in rows])
    stored = tuple(replace(row, sheet_id=identity) for row in rows)
    return _Incoming(sheet, (path.name, data), stored, files, identity)


def _source(path: Path, row: SheetRow, column: str, files: dict[str, tuple[str, bytes]]) -> str | None:
    name = row.trace if column == "trace" else row.prescan
    if name is None:
        return None
    data = read_source(path.parent, name, sheet=path.name, row=row.number, column=column)
    sha256 = sha256_hex(data)
    files.setdefault(sha256, (name, data))
    return sha256


def _known(reader: Reader, incoming: _Incoming) -> StoredSheet | None:
    return next((one for one in reader.sheets() if one.id == incoming.id), None)


def _nothing_new(reader: Reader, known: StoredSheet, incoming: _Incoming, corrects: str | None) -> Added:
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


def _corrected(reader: Reader, name: str | None) -> StoredSheet | None:
    """The sheet that is to be superseded, by title or beginning of its id."""
    if name is None:
        return None
    found = reader.sheets_named(name)
    current = {one.id for one in reader.sheets(current=True)}
    alive = [one for one in found if one.id in current]
    if len(alive) == 1:
        return alive[0]
    if len(alive) > 1:
        ids = ", ".join(one.id[:12] for one in alive)
        raise Refused(f"{len(alive)} sheets called {name!r}", "one sheet", f"name it by its id: {ids}")
    if found:
        raise Refused(f"sheet {name!r}, which was corrected already", "a current sheet", "correct its correction")
    titles = ", ".join(one.title for one in reader.sheets(current=True)) or "none"
    raise Refused(f"no sheet {name!r} to correct", "a sheet of this logbook", f"its sheets are: {titles}")


def _check_history(place: Place, reader: Reader, incoming: _Incoming, old: StoredSheet | None) -> None:
    """An electrode answers once, and an id means one thing: refuse what other current sheets deny. Raises Refused."""
    titles = {one.id: one.title for one in reader.sheets()}
    names = [row.row.electrode for row in incoming.rows]
    spent: dict[str, StoredRow] = {}
    for row in _rows_of(reader, names):
        if old is None or row.sheet_id != old.id:
            spent.setdefault(row.row.electrode, row)
    for row in incoming.rows:
        before = spent.get(row.row.electrode)
        if before is not None:
            raise _spent(row.row, before, titles[before.sheet_id], incoming.sheet.title)
    _check_samples(reader, incoming, old)
    _check_stocks(place, reader, incoming, old)


def _check_stocks(place: Place, reader: Reader, incoming: _Incoming, old: StoredSheet | None) -> None:
    """A stock has one level and one error, whatever the sheet. Raises Refused."""
    rows = [row.row for row in incoming.rows]
    named = {row.stock for row in rows if row.stock_level is not None or row.level_rel_u is not None} - {None}
    if not named:
        return
    earlier = [one.row for one in reader.rows() if one.row.stock in named and (old is None or one.sheet_id != old.id)]
    for fault in stock_conflicts(rows, earlier, incoming.sheet.title, place.settings):
        raise fault


def _check_samples(reader: Reader, incoming: _Incoming, old: StoredSheet | None) -> None:
    roles = {row.row.sample: row.row for row in _samples_of(reader, incoming) if old is None or row.sheet_id != old.id}
    for row in incoming.rows:
        other = roles.get(row.row.sample) if row.row.sample else None
        if other is not None and other.role != row.row.role:
            raise Refused(
                f"{row.row.sample!r} as a {row.row.role}, in the logbook a {other.role}",
                "one role for an id",
                "give the control an id of its own",
                file=incoming.sheet.title,
                row=row.row.number,
                column="sample",
            )


def _rows_of(reader: Reader, electrodes: Sequence[str]) -> Iterator[StoredRow]:
    for start in range(0, len(electrodes), 500):
        yield from reader.rows(electrodes=electrodes[start : start + 500])


def _samples_of(reader: Reader, incoming: _Incoming) -> Iterator[StoredRow]:
    names = sorted({row.row.sample for row in incoming.rows if row.row.sample is not None})
    for start in range(0, len(names), 500):
        yield from reader.rows(samples=names[start : start + 500])


def _spent(row: SheetRow, before: StoredRow, title: str, sheet: str) -> Refused:
    then = before.row
    if then.batch != row.batch:
        came = f"electrode {row.electrode!r} in batch {row.batch}, in the logbook in {then.batch} ({title})"
        return Refused(
            came,
            "one batch for an electrode",
            "correct the batch or the id",
            file=sheet,
            row=row.number,
            column="batch",
        )
    what = f"{then.role} {then.sample}" if then.sample else f"{then.role} {then.level or 0.0:g}"
    return Refused(
        f"electrode {row.electrode!r} was spent on {what} in {title}, row {then.number}",
        "an electrode that has not been used",
        f"correct the id, or use 'add SHEET --corrects {before.sheet_id[:12]} --reason TEXT'",
        file=sheet,
        row=row.number,
        column="electrode",
    )


def _measured(
    place: Place, reader: Reader, incoming: _Incoming, old: StoredSheet | None, reason: str | None
) -> _Checked:
    definition = definition_of(place.settings)
    traces = Traces(place, reader)
    waves, phrase = newest_waves(place, reader)
    try:
        lives = lives_of(incoming.rows, place.settings)
        _parse(incoming, traces)
        signals = measure_rows(incoming.rows, definition, waves, traces)
    except Refused as fault:
        raise Refused(
            fault.came, fault.expected, fault.remedy, file=incoming.sheet.title, row=fault.row, column=fault.column
        ) from fault
    return _Checked(
        supersedes=None if old is None else old.id,
        reason=reason,
        signals=signals,
        levels={dip.row.id: dip.level for life in lives for dip in life.dips if dip.number >= 0},
        waves=tuple(waves.waves.values()),
        wave=phrase,
        fresh=traces.fresh,
        remarks=tuple(_twins(reader, incoming)),
    )


def _parse(incoming: _Incoming, traces: Traces) -> None:
    """Read every file as a trace; the message names the row and column of the sheet and the place in the file."""
    for row in incoming.rows:
        for column, sha256 in (("trace", row.trace_sha256), ("prescan", row.prescan_sha256)):
            if sha256 is None:
                continue
            name, data = incoming.files[sha256]
            try:
                traces.take(data, sha256, row.row.instrument, name)
            except Refused as fault:
                raise _in_file(fault, name, row, column) from fault


def _in_file(fault: Refused, name: str, row: StoredRow, column: str) -> Refused:
    places = [name]
    places += [] if fault.row is None else [f"line {fault.row}"]
    places += [] if fault.column is None else [f"column {fault.column}"]
    came = f"{', '.join(places)}: {fault.came}"
    return Refused(came, fault.expected, fault.remedy, row=row.row.number, column=column)


def _twins(reader: Reader, incoming: _Incoming) -> Iterator[str]:
    """Curves that are byte for byte those of another reading: two readings never answer alike."""
    first: dict[str, SheetRow] = {}
    for stored in incoming.rows:
        row = stored.row
        before = row if stored.trace_sha256 is None else first.setdefault(stored.trace_sha256, row)
        if before is not row:
            other = before.electrode if before.electrode != row.electrode else f"row {before.number}"
            yield f"row {row.number}: the curve of {row.electrode} is byte for byte that of {other}"


def _keep(place: Place, incoming: _Incoming, checked: _Checked) -> Added:
    """Write: files first, under the database's lock, then one transaction."""
    sheet = incoming.sheet
    stored = StoredSheet(
        id=incoming.id,
        title=sheet.title,
        canonical=_canonical(incoming),
        file_sha256=sha256_hex(incoming.file[1]),
        warnings=sheet.warnings,
        supersedes=checked.supersedes,
        reason=checked.reason,
    )
    with place.database.writing() as writer:
        # Another program may have written since the checks.
        known = _known(writer.reader, incoming)
        if known is not None:
            return _nothing_new(writer.reader, known, incoming, None)
        old = _corrected(writer.reader, checked.supersedes)
        _check_history(place, writer.reader, incoming, old)
        swept = sweep_leftovers(place.originals, writer.reader.original_ids())
        originals = store_originals(place.originals, [incoming.file, *incoming.files.values()])
        new = _write(writer, stored, incoming, checked, originals)
    return _added(stored, incoming, checked, new, len(swept))


def _write(
    writer: Writer, sheet: StoredSheet, incoming: _Incoming, checked: _Checked, originals: Sequence[Original]
) -> int:
    new = writer.add_originals(originals)
    writer.add_sheet(sheet, incoming.rows)
    writer.add_records(checked.waves)
    writer.add_records(_records(checked.signals))
    writer.cache_arrays(checked.fresh)  # type: ignore[arg-type]
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


def _canonical(incoming: _Incoming) -> str:
    rows = [canonical_row(row.row, row.trace_sha256, row.prescan_sha256) for row in incoming.rows]
    return canonical_bytes(rows).decode()


def _added(sheet: StoredSheet, incoming: _Incoming, checked: _Checked, new: int, swept: int) -> Added:
    return Added(
        sheet=sheet.id,
        title=sheet.title,
        new=True,
        supersedes=sheet.supersedes,
        rows=len(incoming.rows),
        electrodes=len({row.row.electrode for row in incoming.rows}),
        batches=tuple(sorted({row.row.batch for row in incoming.rows})),
        originals=new,
        signals=tuple(_added_signal(row, checked) for row in incoming.rows),
        swept=swept,
        wave=checked.wave,
        warnings=(*sheet.warnings, *checked.remarks),
    )


def _added_signal(stored: StoredRow, checked: _Checked) -> AddedSignal:
    row, signal = stored.row, unpack_signal(checked.signals[stored.id].main)
    return AddedSignal(row.electrode, ReadingLine(row.number, row.role, checked.levels[stored.id], signal))
