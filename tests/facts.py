"""Small facts to put into a database: originals, sheets, rows and records."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np

from brinemark.records.database import Database
from brinemark.terms.canonical import content_hash, record_id, sha256_hex
from brinemark.terms.runs import SheetRow, StoredRow
from brinemark.terms.stored import Original, Record, StoredSheet

NOON = datetime(2031, 5, 4, 12, 0, tzinfo=UTC)


def original(word: str) -> Original:
    data = word.encode()
    return Original(sha256_hex(data), len(data), f"{word}.csv")


def stored_row(electrode: str, sheet_id: str, number: int, level: float = 1.5) -> StoredRow:
    row = SheetRow(
        number=number,
        electrode=electrode,
        batch="B1",
        instrument="bench",
        measured_at=NOON + timedelta(minutes=number),
        role="standard",
        level=level,
        signal=2.5e-7,
        signal_unit="A",
        conditions=(("salinity", 35.0), ("reference", "Ag/AgCl")),
        note="naïve; µ",
    )
    return StoredRow(sha256_hex(f"{electrode} {level}".encode()), sheet_id, row)


def a_sheet(word: str, supersedes: str | None = None) -> StoredSheet:
    reason = None if supersedes is None else "level was misread"
    file = original(word)
    return StoredSheet(
        sha256_hex(f"sheet {word}".encode()), f"{word}.csv", "[]", file.sha256, ("w",), supersedes, reason
    )


def a_record(name: str, parents: tuple[tuple[str, str], ...] = (), value: float = 1.0) -> Record:
    settings = {"name": name}
    identity = record_id(
        "signal", schema=1, parents=[one for _, one in parents], role="main", settings=settings, engine="t"
    )
    arrays = {"grid": np.array([[1.0, np.nan], [np.inf, -0.0]])}
    results = {"value": value}
    return Record(
        identity, "signal", 1, "main", parents, settings, "t", 7, results, content_hash(results, arrays), arrays
    )


def add_sheet(database: Database, word: str, electrodes: list[str], supersedes: str | None = None) -> StoredSheet:
    sheet = a_sheet(word, supersedes)
    with database.writing() as writer:
        writer.add_originals([original(word)])
        writer.add_sheet(sheet, [stored_row(one, sheet.id, 2 + place) for place, one in enumerate(electrodes)])
        writer.seal("sheet added", sheet.title)
    return sheet
