"""Everything that can be asked of logbook.db, within one consistent snapshot."""

from __future__ import annotations

import json
import zlib
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from sqlalchemy import ColumnElement, Connection, Select, or_, select

from brinemark.records import audit, tables
from brinemark.records.rows import row_from_json
from brinemark.terms.runs import StoredRow
from brinemark.terms.stored import Original, Record, StoredSheet

if TYPE_CHECKING:
    from brinemark.terms.arrays import FloatArray

_CHUNK = 500
_CURRENT_SHEETS = tables.sheet.c.id.not_in(
    select(tables.sheet.c.supersedes).where(tables.sheet.c.supersedes.is_not(None))
)


class Reader:
    """One read transaction: everything asked of it belongs to the same moment."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def originals(self) -> tuple[Original, ...]:
        """All originals by sha256."""
        found = self._connection.execute(select(tables.original).order_by(tables.original.c.sha256))
        return tuple(Original(row.sha256, row.size, row.name) for row in found)

    def original_ids(self) -> frozenset[str]:
        """sha256 of every original."""
        return frozenset(self._connection.scalars(select(tables.original.c.sha256)))

    def original(self, sha256: str) -> Original | None:
        """One original, or None."""
        row = self._connection.execute(select(tables.original).where(tables.original.c.sha256 == sha256)).first()
        return None if row is None else Original(row.sha256, row.size, row.name)

    def sheets(self, current: bool = False) -> tuple[StoredSheet, ...]:
        """Sheets in the order they came; current leaves out those that were corrected."""
        query = select(tables.sheet).order_by(tables.sheet.c.seq)
        if current:
            query = query.where(_CURRENT_SHEETS)
        return tuple(_sheet(row) for row in self._connection.execute(query))

    def sheets_named(self, name: str) -> tuple[StoredSheet, ...]:
        """Sheets whose id begins with name, or whose title is name."""
        return tuple(one for one in self.sheets() if one.title == name or (len(name) >= 4 and one.id.startswith(name)))

    def rows(
        self,
        *,
        electrodes: Sequence[str] | None = None,
        batches: Sequence[str] | None = None,
        samples: Sequence[str] | None = None,
        roles: Sequence[str] | None = None,
        superseded: bool = False,
    ) -> tuple[StoredRow, ...]:
        """Rows by sheet, then row number; rows of corrected sheets only when asked for."""
        link, row = tables.sheet_row.c, tables.electrode_row.c
        query = (
            select(link.sheet_id, link.number, row.id, row.trace_sha256, row.prescan_sha256, row.canonical)
            .join_from(tables.sheet_row, tables.electrode_row)
            .join(tables.sheet, tables.sheet.c.id == link.sheet_id)
            .order_by(tables.sheet.c.seq, link.number)
        )
        if not superseded:
            query = query.where(_CURRENT_SHEETS)
        wanted = ((row.electrode, electrodes), (row.batch, batches), (row.sample, samples), (row.role, roles))
        for column, values in wanted:
            if values is not None:
                query = query.where(column.in_(list(values)))
        return tuple(_row(found) for found in self._connection.execute(query))

    def known_row_ids(self, ids: Sequence[str]) -> frozenset[str]:
        """Those of ids that are rows."""
        return self._known(tables.electrode_row.c.id, ids)

    def known_record_ids(self, ids: Sequence[str]) -> frozenset[str]:
        """Those of ids that are records."""
        return self._known(tables.record.c.id, ids)

    def record(self, record_id: str) -> Record | None:
        """One record with its arrays, or None."""
        return self.records([record_id], arrays=True).get(record_id)

    def records(self, ids: Sequence[str], *, arrays: bool = False) -> dict[str, Record]:
        """Those of ids that are records, by id; arrays are left out unless asked for."""
        found: dict[str, Record] = {}
        for part in _chunks(ids):
            query = select(tables.record).where(tables.record.c.id.in_(part))
            found.update((one.id, one) for one in self._load(query, arrays))
        return found

    def newest_first(self, kind: str, role: str | None = None) -> Iterator[Record]:
        """Records of a kind without their arrays, newest first."""
        query = select(tables.record).where(tables.record.c.kind == kind).order_by(tables.record.c.seq.desc())
        if role is not None:
            query = query.where(tables.record.c.role == role)
        yield from self._load(query, arrays=False)

    def records_named(self, kind: str, prefix: str) -> tuple[Record, ...]:
        """Records of a kind whose id begins with prefix, oldest first, without arrays."""
        column = tables.record.c.id
        query = select(tables.record).where(tables.record.c.kind == kind, column.startswith(prefix, autoescape=True))
        return tuple(self._load(query.order_by(tables.record.c.seq), arrays=False))

    def made_from(self, parent_ids: Sequence[str], kind: str) -> tuple[Record, ...]:
        """Records of a kind that have any of parent_ids as a parent, oldest first, without arrays."""
        found: dict[str, int] = {}
        link = tables.parent.c
        for part in _chunks(parent_ids):
            parents = (link.parent_record, link.parent_row, link.parent_original)
            query = (
                select(tables.record.c.id, tables.record.c.seq)
                .join_from(tables.parent, tables.record, link.record_id == tables.record.c.id)
                .where(tables.record.c.kind == kind, or_(*(column.in_(part) for column in parents)))
            )
            found.update((row.id, row.seq) for row in self._connection.execute(query))
        order = sorted(found, key=lambda one: found[one])
        loaded = self.records(order)
        return tuple(loaded[one] for one in order)

    def cached_trace(self, sha256: str, key: str) -> dict[str, FloatArray] | None:
        """Columns kept by cache_traces, or None."""
        cache = tables.trace_cache.c
        query = select(cache.columns, cache.data).where(cache.sha256 == sha256, cache.settings_key == key)
        row = self._connection.execute(query).first()
        return None if row is None else _columns(row.columns, row.data)

    def audit_entries(self) -> tuple[audit.AuditEntry, ...]:
        """The whole audit list."""
        return tuple(audit.entries(self._connection))

    def audit_head(self) -> str:
        """Hash of the last audit entry."""
        return audit.head(self._connection)[1]

    def verify_chain(self) -> audit.ChainReport:
        """Check the audit list and the seals of all rows."""
        return audit.verify(self._connection)

    def _known(self, column: ColumnElement[str], ids: Sequence[str]) -> frozenset[str]:
        found: set[str] = set()
        for part in _chunks(ids):
            found.update(self._connection.scalars(select(column).where(column.in_(part))))
        return frozenset(found)

    def _load(self, query: Select[Any], arrays: bool) -> Iterator[Record]:
        heads = self._connection.execute(query).all()
        for start in range(0, len(heads), _CHUNK):
            part = heads[start : start + _CHUNK]
            ids = [head.id for head in part]
            parents, blobs = self._parents(ids), self._arrays(ids) if arrays else {}
            for head in part:
                yield _record(head, tuple(parents.get(head.id, ())), blobs.get(head.id, {}))

    def _parents(self, ids: Sequence[str]) -> dict[str, list[tuple[str, str]]]:
        link = tables.parent.c
        query = select(tables.parent).where(link.record_id.in_(ids)).order_by(link.record_id, link.position)
        parents: dict[str, list[tuple[str, str]]] = {}
        for row in self._connection.execute(query):
            parent = row.parent_record or row.parent_row or row.parent_original
            parents.setdefault(row.record_id, []).append((row.role, parent))
        return parents

    def _arrays(self, ids: Sequence[str]) -> dict[str, dict[str, FloatArray]]:
        query = select(tables.record_array).where(tables.record_array.c.record_id.in_(ids))
        arrays: dict[str, dict[str, FloatArray]] = {}
        for row in self._connection.execute(query):
            values = np.frombuffer(row.data, dtype="<f8").astype(np.float64).reshape(json.loads(row.shape))
            arrays.setdefault(row.record_id, {})[row.name] = values
        return arrays


def _chunks(ids: Sequence[str]) -> Iterator[list[str]]:
    unique = list(dict.fromkeys(ids))
    for start in range(0, len(unique), _CHUNK):
        yield unique[start : start + _CHUNK]


def _sheet(row: Any) -> StoredSheet:
    return StoredSheet(
        id=row.id,
        title=row.title,
        canonical=row.canonical,
        file_sha256=row.file_sha256,
        warnings=tuple(json.loads(row.warnings)),
        supersedes=row.supersedes,
        reason=row.reason,
        added_at=row.added_at,
    )


def _row(row: Any) -> StoredRow:
    return StoredRow(
        id=row.id,
        sheet_id=row.sheet_id,
        row=row_from_json(json.loads(row.canonical), row.number),
        trace_sha256=row.trace_sha256,
        prescan_sha256=row.prescan_sha256,
    )


def _record(row: Any, parents: tuple[tuple[str, str], ...], arrays: dict[str, FloatArray]) -> Record:
    return Record(
        id=row.id,
        kind=row.kind,
        schema=row.schema,
        role=row.role,
        parents=parents,
        settings=json.loads(row.settings),
        engine=row.engine,
        seed=row.seed,
        results=json.loads(row.results),
        content=row.content,
        arrays=arrays,
        made_at=row.made_at,
    )


def _columns(names: str, data: bytes) -> dict[str, FloatArray]:
    values = np.frombuffer(zlib.decompress(data), dtype="<f8").astype(np.float64)
    columns, start = {}, 0
    for name, length in json.loads(names):
        columns[name] = values[start : start + length]
        start += length
    return columns
