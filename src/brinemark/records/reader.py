"""Everything that can be asked of logbook.db, within one consistent snapshot."""

from __future__ import annotations

import json
import math
import sqlite3
import zlib
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from brinemark.records import audit, schema, statements
from brinemark.records.rows import row_from_json
from brinemark.terms.runs import RowUse, StoredRow
from brinemark.terms.stored import Original, Record, StoredSheet

if TYPE_CHECKING:
    from brinemark.terms.arrays import FloatArray

_CHUNK = 500


class Reader:
    """One read transaction: everything asked of it belongs to the same moment."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection

    def originals(self) -> tuple[Original, ...]:
        """All originals by sha256."""
        return tuple(_original(row) for row in self._all(statements.in_order(schema.ORIGINAL)))

    def original_ids(self) -> frozenset[str]:
        """sha256 of every original."""
        return frozenset(row[0] for row in self._all(statements.ORIGINAL_IDS))

    def original(self, sha256: str) -> Original | None:
        """One original, or None."""
        row = self._connection.execute(statements.ONE_ORIGINAL, (sha256,)).fetchone()
        return None if row is None else _original(row)

    def sheets(self, current: bool = False) -> tuple[StoredSheet, ...]:
        """Sheets in the order they came; current leaves out those that were corrected."""
        query = statements.CURRENT_SHEETS if current else statements.in_order(schema.SHEET)
        return tuple(_sheet(row) for row in self._all(query))

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
        sheets: Sequence[str] | None = None,
        superseded: bool = False,
    ) -> tuple[StoredRow, ...]:
        """Rows by sheet, then row number; rows of corrected sheets only when asked for."""
        wanted = {"electrode": electrodes, "batch": batches, "sample": samples, "role": roles, "sheet_id": sheets}
        given = {column: list(values) for column, values in wanted.items() if values is not None}
        query = statements.rows([(column, len(values)) for column, values in given.items()], superseded=superseded)
        return tuple(_row(row) for row in self._all(query, [one for values in given.values() for one in values]))

    def uses(self, superseded: bool = False) -> tuple[RowUse, ...]:
        """What the rows of current sheets used their electrodes for, by sheet, then row number."""
        return tuple(RowUse(*row) for row in self._all(statements.uses(superseded=superseded)))

    def known_row_ids(self, ids: Sequence[str]) -> frozenset[str]:
        """Those of ids that are rows."""
        return self._known(schema.ELECTRODE_ROW, ids)

    def known_record_ids(self, ids: Sequence[str]) -> frozenset[str]:
        """Those of ids that are records."""
        return self._known(schema.RECORD, ids)

    def record(self, record_id: str) -> Record | None:
        """One record with its arrays, or None."""
        return self.records([record_id], arrays=True).get(record_id)

    def records(self, ids: Sequence[str], *, arrays: bool = False) -> dict[str, Record]:
        """Those of ids that are records, by id; arrays are left out unless asked for."""
        found: dict[str, Record] = {}
        for part in _chunks(ids):
            found.update((one.id, one) for one in self._load(statements.records(len(part)), part, arrays))
        return found

    def newest_first(self, kind: str, role: str | None = None) -> Iterator[Record]:
        """Records of a kind without their arrays, newest first."""
        if role is None:
            yield from self._load(statements.RECORDS_OF_KIND, [kind])
        else:
            yield from self._load(statements.RECORDS_OF_KIND_AND_ROLE, [kind, role])

    def settings_of(self, kind: str, role: str | None = None) -> list[tuple[str, Any]]:
        """Id and settings of records of a kind, oldest first; nothing else of them is loaded."""
        if role is None:
            rows = self._all(statements.SETTINGS_OF_KIND, [kind])
        else:
            rows = self._all(statements.SETTINGS_OF_KIND_AND_ROLE, [kind, role])
        return [(row["id"], json.loads(row["settings"])) for row in rows]

    def roles_of(self, kind: str) -> frozenset[str]:
        """Every role that records of a kind have."""
        return frozenset(row["role"] for row in self._all(statements.ROLES_OF_KIND, [kind]))

    def sample_readings(self) -> dict[str, tuple[int, int]]:
        """By calibration: how many readings of samples rest on it, and the number of the first of them."""
        return {row["calibration"]: (row["count"], row["first"]) for row in self._all(statements.SAMPLE_READINGS)}

    def readings_of(self, calibration: str) -> list[tuple[str, Any]]:
        """Role and results of every reading that rests on a calibration, oldest first; nothing else is loaded."""
        return [(row["role"], json.loads(row["results"])) for row in self._all(statements.READINGS_OF, [calibration])]

    def records_named(self, kind: str, prefix: str) -> tuple[Record, ...]:
        """Records of a kind whose id begins with prefix, oldest first, without arrays."""
        return tuple(self._load(statements.RECORDS_NAMED, [kind, statements.beginning(prefix)]))

    def made_from(self, parent_ids: Sequence[str], kind: str) -> tuple[Record, ...]:
        """Records of a kind that have any of parent_ids as a parent, oldest first, without arrays."""
        found: dict[str, int] = {}
        for part in _chunks(parent_ids):
            rows = self._all(statements.made_from(len(part)), [kind, *part * len(statements.PARENT_COLUMNS)])
            found.update((row["id"], row["seq"]) for row in rows)
        order = sorted(found, key=lambda one: found[one])
        loaded = self.records(order)
        return tuple(loaded[one] for one in order)

    def cached_arrays(self, key: str, part: str) -> dict[str, FloatArray] | None:
        """Arrays kept by cache_arrays under key and part, in their shapes; None when there are none."""
        row = self._connection.execute(statements.CACHED, (key, part)).fetchone()
        return None if row is None else _unpacked(row["columns"], row["data"])

    def audit_entries(self) -> tuple[audit.AuditEntry, ...]:
        """The whole audit list."""
        return tuple(audit.entries(self._connection))

    def audit_head(self) -> str:
        """Hash of the last audit entry."""
        return audit.head(self._connection)[1]

    def last_entry(self, action: str | None = None) -> tuple[int, str] | None:
        """Number and moment of the newest audit entry of an action; without one, of the first entry of all."""
        values = [] if action is None else [action]
        row = self._connection.execute(statements.LAST_OF_ACTION if values else statements.FIRST_ENTRY, values)
        found = row.fetchone()
        return None if found is None else (int(found["seq"]), str(found["at"]))

    def audit_count(self) -> int:
        """How many entries the audit list has."""
        return audit.head(self._connection)[0]

    def verify_chain(self) -> audit.ChainReport:
        """Check the audit list and the seals of all rows."""
        return audit.verify(self._connection)

    def _all(self, query: str, values: Sequence[str] = ()) -> list[sqlite3.Row]:
        return self._connection.execute(query, values).fetchall()

    def _known(self, table: schema.TableNames, ids: Sequence[str]) -> frozenset[str]:
        found: set[str] = set()
        for part in _chunks(ids):
            found.update(row["id"] for row in self._all(statements.known(table, len(part)), part))
        return frozenset(found)

    def _load(self, query: str, values: Sequence[str], arrays: bool = False) -> Iterator[Record]:
        heads = self._all(query, values)
        for start in range(0, len(heads), _CHUNK):
            part = heads[start : start + _CHUNK]
            ids = [head["id"] for head in part]
            parents, blobs = self._parents(ids), self._arrays(ids) if arrays else {}
            for head in part:
                yield _record(head, tuple(parents.get(head["id"], ())), blobs.get(head["id"], {}))

    def _parents(self, ids: Sequence[str]) -> dict[str, list[tuple[str, str]]]:
        parents: dict[str, list[tuple[str, str]]] = {}
        for row in self._all(statements.parents_of(len(ids)), ids):
            parent = row["parent_record"] or row["parent_row"] or row["parent_original"]
            parents.setdefault(row["record_id"], []).append((row["role"], parent))
        return parents

    def _arrays(self, ids: Sequence[str]) -> dict[str, dict[str, FloatArray]]:
        arrays: dict[str, dict[str, FloatArray]] = {}
        for row in self._all(statements.arrays_of(len(ids)), ids):
            values = np.frombuffer(row["data"], dtype="<f8").astype(np.float64).reshape(json.loads(row["shape"]))
            arrays.setdefault(row["record_id"], {})[row["name"]] = values
        return arrays


def _chunks(ids: Sequence[str]) -> Iterator[list[str]]:
    unique = list(dict.fromkeys(ids))
    for start in range(0, len(unique), _CHUNK):
        yield unique[start : start + _CHUNK]


def _original(row: Any) -> Original:
    return Original(row["sha256"], row["size"], row["name"])


def _sheet(row: Any) -> StoredSheet:
    return StoredSheet(
        id=row["id"],
        title=row["title"],
        canonical=row["canonical"],
        file_sha256=row["file_sha256"],
        warnings=tuple(json.loads(row["warnings"])),
        supersedes=row["supersedes"],
        reason=row["reason"],
        added_at=row["added_at"],
    )


def _row(row: Any) -> StoredRow:
    return StoredRow(
        id=row["id"],
        sheet_id=row["sheet_id"],
        row=row_from_json(json.loads(row["canonical"]), row["number"]),
        trace_sha256=row["trace_sha256"],
        prescan_sha256=row["prescan_sha256"],
    )


def _record(row: Any, parents: tuple[tuple[str, str], ...], arrays: dict[str, FloatArray]) -> Record:
    return Record(
        id=row["id"],
        kind=row["kind"],
        schema=row["schema"],
        role=row["role"],
        parents=parents,
        settings=json.loads(row["settings"]),
        engine=row["engine"],
        seed=row["seed"],
        results=json.loads(row["results"]),
        content=row["content"],
        arrays=arrays,
        made_at=row["made_at"],
    )


def _unpacked(names: str, data: bytes) -> dict[str, FloatArray]:
    values = np.frombuffer(zlib.decompress(data), dtype="<f8").astype(np.float64)
    arrays, start = {}, 0
    for name, shape in json.loads(names):
        stop = start + math.prod(shape)
        arrays[name] = values[start:stop].reshape(shape)
        start = stop
    return arrays
