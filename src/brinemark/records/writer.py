"""Everything that may be written into logbook.db: inserts only, all within one transaction."""

from __future__ import annotations

import json
import sqlite3
import zlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import numpy as np

from brinemark.records import audit, schema, statements
from brinemark.records.reader import Reader
from brinemark.records.rows import row_to_json
from brinemark.terms.canonical import JsonValue, canonical_bytes
from brinemark.terms.runs import StoredRow
from brinemark.terms.stored import Original, Record, StoredSheet

if TYPE_CHECKING:
    from brinemark.terms.arrays import FloatArray


def utc_now() -> str:
    """The present as ISO 8601 UTC to the millisecond."""
    return datetime.now(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


class Writer:
    """One write transaction. Whatever it inserts carries one audit entry, written at the end by `seal`.

    reader sees the state inside this transaction, for checks that must hold at the moment of writing.
    """

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection
        self._entry = audit.head(connection)[0] + 1
        self._sealed = False
        self._changed = False
        self.now = utc_now()
        self.reader = Reader(connection)

    @property
    def unsealed(self) -> bool:
        """True when something was inserted and no audit entry vouches for it."""
        return self._changed and not self._sealed

    def add_originals(self, originals: Iterable[Original]) -> int:
        """Note originals that are not noted yet; returns how many were new."""
        known = self.reader.original_ids()
        new = {one.sha256: one for one in originals if one.sha256 not in known}
        self._insert(
            schema.ORIGINAL, [{"sha256": one.sha256, "size": one.size, "name": one.name} for one in new.values()]
        )
        return len(new)

    def add_sheet(self, sheet: StoredSheet, rows: Sequence[StoredRow]) -> None:
        """Note a sheet with its rows; rows already known by their id (from a corrected sheet) are shared."""
        values = {
            "id": sheet.id,
            "title": sheet.title,
            "canonical": sheet.canonical,
            "file_sha256": sheet.file_sha256,
            "warnings": canonical_bytes(list(sheet.warnings)).decode(),
            "supersedes": sheet.supersedes,
            "reason": sheet.reason,
            "added_at": self.now,
        }
        self._insert(schema.SHEET, [values])
        known = self.reader.known_row_ids([row.id for row in rows])
        self._insert(schema.ELECTRODE_ROW, [_row_values(row) for row in rows if row.id not in known])
        self._insert(
            schema.SHEET_ROW,
            [{"sheet_id": sheet.id, "number": row.row.number, "row_id": row.id} for row in rows],
        )

    def add_records(self, records: Iterable[Record]) -> tuple[Record, ...]:
        """Note records that are not noted yet, parents before children; returns the new ones."""
        wanted = {record.id: record for record in records}
        known = self.reader.known_record_ids(list(wanted))
        new = tuple(record for record in wanted.values() if record.id not in known)
        self._insert(schema.RECORD, [self._record_values(record) for record in new])
        self._insert(schema.PARENT, self._parent_values(new))
        self._insert(schema.RECORD_ARRAY, [values for record in new for values in _array_values(record)])
        return new

    def cache_arrays(self, arrays: Mapping[tuple[str, str], Mapping[str, FloatArray]]) -> None:
        """Keep named arrays of any shape by (key, part): a cache that can be rebuilt, outside the audit list.

        What is kept already under a key and part stays, so both must say all that the arrays follow from.
        """
        values = [
            {"key": key, "part": part, "columns": _shapes(named), "data": _packed(named)}
            for (key, part), named in arrays.items()
        ]
        self._connection.executemany(statements.insert(schema.ARRAY_CACHE, again=True), values)

    def seal(self, action: str, subject: str, detail: Mapping[str, JsonValue] | None = None) -> int:
        """Write the audit entry of this transaction, after which nothing may be inserted; its number."""
        self._sealed = True
        return audit.append(self._connection, self.now, action, subject, dict(detail or {})).seq

    def _insert(self, table: schema.TableNames, values: list[dict[str, Any]]) -> None:
        if self._sealed:
            raise RuntimeError("the audit entry of this transaction is already written")
        if values:
            self._changed = True
            numbered = [{**one, "entry": self._entry} for one in values]
            self._connection.executemany(statements.insert(table), numbered)

    def _record_values(self, record: Record) -> dict[str, Any]:
        return {
            "id": record.id,
            "kind": record.kind,
            "schema": record.schema,
            "role": record.role,
            "settings": canonical_bytes(record.settings).decode(),
            "engine": record.engine,
            "seed": record.seed,
            "results": canonical_bytes(record.results).decode(),
            "content": record.content,
            "made_at": record.made_at or self.now,
        }

    def _parent_values(self, records: Sequence[Record]) -> list[dict[str, Any]]:
        ids = list({parent for record in records for _, parent in record.parents})
        places = {
            "parent_record": self.reader.known_record_ids(ids),
            "parent_row": self.reader.known_row_ids(ids),
            "parent_original": self.reader.original_ids(),
        }
        return [
            {
                "record_id": record.id,
                "position": position,
                "role": role,
                **{column: parent if parent in known else None for column, known in places.items()},
            }
            for record in records
            for position, (role, parent) in enumerate(record.parents)
        ]


def _row_values(stored: StoredRow) -> dict[str, Any]:
    row = stored.row
    return {
        "id": stored.id,
        "electrode": row.electrode,
        "batch": row.batch,
        "instrument": row.instrument,
        "role": row.role,
        "sample": row.sample,
        "measured_at": row.measured_at.astimezone(UTC).isoformat(),
        "level": row.level,
        "dilution": row.dilution,
        "trace_sha256": stored.trace_sha256,
        "prescan_sha256": stored.prescan_sha256,
        "canonical": canonical_bytes(row_to_json(row)).decode(),
    }


def _array_values(record: Record) -> Iterator[dict[str, Any]]:
    for name, values in record.arrays.items():
        array = np.asarray(values, dtype="<f8")
        yield {
            "record_id": record.id,
            "name": name,
            "shape": json.dumps(list(array.shape)),
            "data": array.tobytes(),
        }


def _shapes(arrays: Mapping[str, FloatArray]) -> str:
    return json.dumps([[name, list(np.shape(values))] for name, values in arrays.items()])


def _packed(arrays: Mapping[str, FloatArray]) -> bytes:
    return zlib.compress(b"".join(np.asarray(values, dtype="<f8").tobytes() for values in arrays.values()), 1)
