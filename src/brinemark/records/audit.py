"""The audit list: numbered entries, each sealing the rows it came with and the entry before it."""

from __future__ import annotations

import hashlib
import json
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from brinemark.records import statements
from brinemark.records.schema import AUDIT, SEALED
from brinemark.terms.canonical import JsonValue, canonical_bytes, sha256_hex

START = "0" * 64


@dataclass(frozen=True, slots=True)
class AuditEntry:
    """One line of the audit list. at : ISO 8601 UTC; detail holds the seal over the rows of the entry."""

    seq: int
    at: str
    action: str
    subject: str
    detail: JsonValue
    previous: str
    hash: str


@dataclass(frozen=True, slots=True)
class ChainReport:
    """Outcome of a check of the whole list: entries read, the head, and what is wrong in plain sentences."""

    entries: int
    head: str
    faults: tuple[str, ...]

    @property
    def sound(self) -> bool:
        return not self.faults


def head(connection: sqlite3.Connection) -> tuple[int, str]:
    """Number and hash of the last entry; (0, 64 zeros) when there is none."""
    row = connection.execute(statements.AUDIT_HEAD).fetchone()
    return (0, START) if row is None else (int(row["seq"]), str(row["hash"]))


def append(
    connection: sqlite3.Connection, at: str, action: str, subject: str, detail: dict[str, JsonValue]
) -> AuditEntry:
    """Write the next entry, sealing every row that already carries its number."""
    last, previous = head(connection)
    seq = last + 1
    sealed: dict[str, JsonValue] = {**detail, "seal": seal(connection, seq)}
    digest = _entry_hash(seq, at, action, subject, sealed, previous)
    entry = AuditEntry(seq, at, action, subject, sealed, previous, digest)
    connection.execute(
        statements.insert(AUDIT),
        {
            "seq": seq,
            "at": at,
            "action": action,
            "subject": subject,
            "detail": canonical_bytes(sealed).decode(),
            "previous": previous,
            "hash": digest,
        },
    )
    return entry


def seal(connection: sqlite3.Connection, seq: int) -> str:
    """sha256 over all rows of entry seq: tables in fixed order, rows by primary key, blobs by their sha256.

    Empty cells are left out, so that a column which a later schema adds leaves old seals as they are.
    """
    digest = hashlib.sha256()
    for table in SEALED:
        for row in connection.execute(statements.of_entry(table), (seq,)):
            named = zip(table.columns, row, strict=True)
            plain = {name: _plain(value) for name, value in named if value is not None}
            digest.update(canonical_bytes([table.name, plain]) + b"\n")
    return digest.hexdigest()


def _plain(value: Any) -> JsonValue:
    return sha256_hex(value) if isinstance(value, bytes) else value


def entries(connection: sqlite3.Connection) -> Iterator[AuditEntry]:
    """All entries in order."""
    for row in connection.execute(statements.in_order(AUDIT)):
        seq, at, action, subject, detail, previous, digest = row
        yield AuditEntry(seq, at, action, subject, json.loads(detail), previous, digest)


def verify(connection: sqlite3.Connection) -> ChainReport:
    """Recompute every hash and seal, and look for rows that no entry vouches for."""
    faults: list[str] = []
    count, previous = 0, START
    for entry in entries(connection):
        count += 1
        faults.extend(_entry_faults(connection, entry, count, previous))
        previous = entry.hash
    faults.extend(_orphans(connection, count))
    return ChainReport(count, previous, tuple(faults))


def _entry_faults(connection: sqlite3.Connection, entry: AuditEntry, expected: int, previous: str) -> Iterator[str]:
    if entry.seq != expected:
        yield f"audit entry {expected} is missing: the list goes on with {entry.seq}"
    if entry.previous != previous:
        yield f"audit entry {entry.seq} does not follow the entry before it"
    digest = _entry_hash(entry.seq, entry.at, entry.action, entry.subject, entry.detail, entry.previous)
    if digest != entry.hash:
        yield f"audit entry {entry.seq} was changed after it was written"
    kept = entry.detail.get("seal") if isinstance(entry.detail, dict) else None
    if kept != seal(connection, entry.seq):
        yield f"rows of audit entry {entry.seq} ({entry.action} {entry.subject}) were changed after they were written"


def _orphans(connection: sqlite3.Connection, last: int) -> Iterator[str]:
    for table in SEALED:
        above = connection.execute(statements.count_after_entry(table), (last,)).fetchone()[0]
        if above:
            yield f"{above} rows of table {table.name} have no audit entry"


def _entry_hash(seq: int, at: str, action: str, subject: str, detail: JsonValue, previous: str) -> str:
    return sha256_hex(canonical_bytes([seq, at, action, subject, detail, previous]))
