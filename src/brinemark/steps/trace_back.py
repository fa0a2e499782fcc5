"""From a batch, an electrode or a sample back to its sheets, files, signals and readings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from brinemark.records.files import original_path
from brinemark.records.reader import Reader
from brinemark.records.text import nearest
from brinemark.steps.chosen import Chosen, current, limits_of
from brinemark.steps.packing import unpack_limits, unpack_signal
from brinemark.steps.place import Place
from brinemark.steps.read import answer_of
from brinemark.steps.shown import Shown, ShownFile, ShownReading, ShownRow, ShownSignal
from brinemark.terms.amounts import Limits
from brinemark.terms.errors import Refused
from brinemark.terms.runs import StoredRow
from brinemark.terms.stored import Record, StoredSheet

KINDS = ("sample", "electrode", "batch")


@dataclass(frozen=True, slots=True, eq=False)
class _View:
    place: Place
    reader: Reader
    sheets: dict[str, StoredSheet]
    old: frozenset[str]
    chosen: Chosen | None
    used: frozenset[str]


def show(place: Place, what: str) -> Shown:
    """Everything the logbook knows about a batch, electrode or sample (also its superseded rows).

    what : the id, or "batch:ID", "electrode:ID", "sample:ID" when an id is used for several of them.
    Raises Refused when nothing, or more than one thing, has the name.
    """
    with place.database.reading() as reader:
        kind, name, rows = _found(reader, what)
        view = _view(place, reader)
        return Shown(
            kind=kind,
            name=name,
            unit=place.settings.analyte.level_unit,
            rows=tuple(_rows(view, rows)),
            readings=_readings(reader, rows),
            limits=_limits(view, name) if kind == "batch" else (),
        )


def way_back(place: Place, reader: Reader, rows: Sequence[StoredRow], signals: frozenset[str]) -> list[ShownRow]:
    """The given rows with their sheets and files, and of their signals those of the given ids."""
    shown = _rows(_view(place, reader), rows)
    return [replace(row, signals=tuple(one for one in row.signals if one.id in signals)) for row in shown]


def _found(reader: Reader, what: str) -> tuple[str, str, tuple[StoredRow, ...]]:
    prefix, _, rest = what.partition(":")
    kinds, name = ((prefix,), rest) if prefix in KINDS and rest else (KINDS, what)
    wanted = {kind: _rows_of(reader, kind, name) for kind in kinds}
    hits = [kind for kind, rows in wanted.items() if rows]
    if len(hits) == 1:
        return hits[0], name, wanted[hits[0]]
    if hits:
        ways = " or ".join(f"{kind}:{name}" for kind in hits)
        raise Refused(f"{name!r}, which is {' and '.join(hits)} at once", "one thing", f"write {ways}")
    rows = reader.rows(superseded=True)
    there = (
        {row.row.electrode for row in rows} | {row.row.batch for row in rows} | {row.row.sample or "" for row in rows}
    )
    alike = nearest(name, sorted(there))
    hint = f"did you mean {alike!r}?" if alike else "check the id"
    raise Refused(f"no {' or '.join(kinds)} {name!r} in this logbook", "an id from a run sheet", hint)


def _rows_of(reader: Reader, kind: str, name: str) -> tuple[StoredRow, ...]:
    if kind == "sample":
        lives = {(row.sheet_id, row.row.electrode) for row in reader.rows(samples=[name], superseded=True)}
        rows = reader.rows(electrodes=sorted({electrode for _, electrode in lives}), superseded=True)
        return tuple(row for row in rows if (row.sheet_id, row.row.electrode) in lives)
    if kind == "electrode":
        return reader.rows(electrodes=[name], superseded=True)
    return reader.rows(batches=[name], superseded=True)


def _view(place: Place, reader: Reader) -> _View:
    sheets = {sheet.id: sheet for sheet in reader.sheets()}
    alive = {sheet.id for sheet in reader.sheets(current=True)}
    try:
        chosen: Chosen | None = current(place, reader)
    except Refused:
        chosen = None
    used = frozenset(wave.id for wave in chosen.waves.waves.values()) if chosen else frozenset()
    return _View(place, reader, sheets, frozenset(sheets) - alive, chosen, used)


def _rows(view: _View, rows: Sequence[StoredRow]) -> list[ShownRow]:
    signals = view.reader.made_from([row.id for row in rows], "signal")
    waves = view.reader.records([parent for one in signals for role, parent in one.parents if role == "wave"])
    by_row: dict[str, list[ShownSignal]] = {}
    for record in signals:
        parents = dict(record.parents)
        shown = _signal(view, record, waves.get(parents.get("wave", "")))
        by_row.setdefault(parents["row"], []).append(shown)
    return [_row(view, row, tuple(by_row.get(row.id, ()))) for row in rows]


def _signal(view: _View, record: Record, wave: Record | None) -> ShownSignal:
    name = "none" if wave is None else wave.role
    used = wave is None or not view.used or wave.id in view.used
    return ShownSignal(record.id, record.role, unpack_signal(record), name, record.made_at, used)


def _row(view: _View, stored: StoredRow, signals: tuple[ShownSignal, ...]) -> ShownRow:
    row = stored.row
    return ShownRow(
        id=stored.id,
        number=row.number,
        sheet=stored.sheet_id,
        sheet_title=view.sheets[stored.sheet_id].title,
        superseded=stored.sheet_id in view.old,
        electrode=row.electrode,
        batch=row.batch,
        instrument=row.instrument,
        measured_at=row.measured_at.isoformat(),
        role=row.role,
        level=row.level,
        sample=row.sample,
        dilution=row.dilution,
        conditions=dict(row.conditions),
        note=row.note,
        files=tuple(_files(view, stored)),
        signals=signals,
    )


def _files(view: _View, stored: StoredRow) -> list[ShownFile]:
    wanted = [("sheet", view.sheets[stored.sheet_id].file_sha256)]
    wanted += [("trace", stored.trace_sha256)] if stored.trace_sha256 else []
    wanted += [("prescan", stored.prescan_sha256)] if stored.prescan_sha256 else []
    found = []
    for role, sha256 in wanted:
        original = view.reader.original(sha256)
        path = original_path(view.place.originals, sha256).relative_to(view.place.folder).as_posix()
        if original is not None:
            found.append(ShownFile(role, original.name, sha256, path, original.size))
    return found


def _readings(reader: Reader, rows: Sequence[StoredRow]) -> tuple[ShownReading, ...]:
    """Readings that rest on these rows themselves, oldest first."""
    found = []
    for record in reader.made_from([row.id for row in rows], "reading"):
        answer = answer_of(record)
        found.append(ShownReading(record.id, record.made_at, answer.calibration, answer.statement, answer.sentence))
    return tuple(found)


def _limits(view: _View, batch: str) -> tuple[Limits, ...]:
    if view.chosen is None:
        return ()
    record = limits_of(view.place, view.reader, view.chosen.record.id)
    return () if record is None else tuple(one for one in unpack_limits(record) if one.batch == batch)
