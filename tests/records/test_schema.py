"""What our own SQL knows of the tables is what the tables are, and seals are what they were under earlier programs."""

from __future__ import annotations

from pathlib import Path

import pytest

from brinemark.records import schema, tables
from brinemark.records.audit import AuditEntry
from brinemark.records.database import Database
from facts import a_record, add_sheet, original


def test_names_columns_and_keys_are_those_of_the_tables() -> None:
    of_tables = {
        table.name: schema.TableNames(
            table.name,
            tuple(column.name for column in table.columns),
            tuple(column.name for column in table.primary_key.columns),
        )
        for table in tables.metadata.sorted_tables
    }
    assert {table.name: table for table in schema.TABLES} == of_tables


def test_facts_come_in_the_order_of_their_references_and_the_cache_is_none_of_them() -> None:
    order = [table.name for table in tables.metadata.sorted_tables if table.name != schema.ARRAY_CACHE.name]
    assert [table.name for table in schema.FACTS] == order
    with_entry = {table.name for table in tables.metadata.sorted_tables if "entry" in table.columns}
    assert {table.name for table in schema.SEALED} == with_entry


# Worked out by the program of revision 0002, which read the same rows through SQLAlchemy.
SEALS = (
    "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
    "bd2270304fe5255910abe4d418c56c72130370dacdc7d92ea631f683be59cf4a",
    "4eab85cbec3747a8598fad76ea6c2d08b8840af7ace66f4537562ee63bec639d",
    "56a5bef04dad56867d0611cf0db29c1fe90085f97243e8a78a7e1b66f8055cdc",
)


def test_seals_of_the_same_rows_are_those_of_the_earlier_program(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("brinemark.records.writer.utc_now", lambda: "2031-05-04T12:00:00.000Z")
    database = Database.create(tmp_path / "logbook.db", "fixed")
    sheet = add_sheet(database, "first", ["E1", "E2"])
    add_sheet(database, "second", ["E1", "E3"], sheet.id)
    with database.reading() as reader:
        row = reader.rows()[0]
    first = a_record("first", (("row", row.id), ("trace", original("first").sha256)))
    with database.writing() as writer:
        writer.add_records([first, a_record("second", (("wave", first.id),), 0.1)])
        writer.seal("made", "two", {"n": 2})
    with database.reading() as reader:
        assert tuple(seal_of(entry) for entry in reader.audit_entries()) == SEALS
    database.close()


def seal_of(entry: AuditEntry) -> object:
    assert isinstance(entry.detail, dict)
    return entry.detail["seal"]
