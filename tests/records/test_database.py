"""The database: what it keeps, what it refuses, and that nothing in it can be changed."""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from brinemark.records import schema
from brinemark.records.database import Database
from brinemark.terms.canonical import canonical_bytes, content_hash
from brinemark.terms.runs import SheetRow, StoredRow
from facts import a_record, a_sheet, add_sheet, original, stored_row

WRITERS, WRITES = 8, 12


@pytest.fixture
def database(tmp_path: Path) -> Iterator[Database]:
    made = Database.create(tmp_path / "logbook.db")
    yield made
    made.close()


def test_a_row_comes_out_exactly_as_it_went_in(database: Database) -> None:
    sheet = add_sheet(database, "first", ["E1", "E2"])
    with database.reading() as reader:
        assert reader.rows() == (stored_row("E1", sheet.id, 2), stored_row("E2", sheet.id, 3))
        assert reader.rows(electrodes=["E2"], roles=["standard"]) == (stored_row("E2", sheet.id, 3),)
        assert reader.rows(batches=["B2"]) == ()
        assert reader.original(sheet.file_sha256) == original("first")


def test_a_record_comes_out_exactly_as_it_went_in(database: Database) -> None:
    first = a_record("first")
    second = a_record("second", (("wave", first.id),))
    with database.writing() as writer:
        assert writer.add_records([first, second]) == (first, second)
        writer.seal("made", "two")
    with database.reading() as reader:
        back = reader.record(second.id)
        assert back is not None
        assert (back.parents, back.settings, back.results, back.seed) == (
            (("wave", first.id),),
            {"name": "second"},
            {"value": 1},
            7,
        )
        assert content_hash(back.results, back.arrays) == second.content
        assert np.array_equal(back.arrays["grid"], second.arrays["grid"], equal_nan=True)
        assert [one.id for one in reader.newest_first("signal")] == [second.id, first.id]
        assert [one.id for one in reader.made_from([first.id], "signal")] == [second.id]
        assert [one.id for one in reader.records_named("signal", first.id[:9])] == [first.id]
        assert reader.record("0" * 64) is None


def test_a_record_made_again_is_not_stored_twice(database: Database) -> None:
    for _ in range(2):
        with database.writing() as writer:
            new = writer.add_records([a_record("same")])
            if new:
                writer.seal("made", "same")
    with database.reading() as reader:
        assert len(list(reader.newest_first("signal"))) == 1
        assert len(reader.audit_entries()) == 2


def test_rows_of_a_corrected_sheet_are_kept_but_no_longer_current(database: Database) -> None:
    old = add_sheet(database, "old", ["E1", "E2"])
    new = add_sheet(database, "new", ["E1", "E3"], supersedes=old.id)
    with database.reading() as reader:
        assert [(one.row.electrode, one.sheet_id) for one in reader.rows()] == [("E1", new.id), ("E3", new.id)]
        assert len(reader.rows(superseded=True)) == 4
        assert [one.id for one in reader.sheets(current=True)] == [new.id]
        assert [one.id for one in reader.sheets_named(old.id[:8])] == [old.id]
        assert [one.id for one in reader.sheets_named("new.csv")] == [new.id]
    with pytest.raises(sqlite3.IntegrityError):
        add_sheet(database, "newer", ["E4"], supersedes=old.id)


def test_the_cache_gives_back_columns_and_stays_out_of_the_dump(database: Database) -> None:
    before = database.logical_dump()
    columns = {"potential_V": np.linspace(-1, 1, 7), "current_A": np.arange(7.0) * 1e-9, "cycle": np.ones(7)}
    with database.writing() as writer:
        for _ in range(2):
            writer.cache_arrays({("a" * 64, "key"): columns})
    assert database.logical_dump() == before
    with database.reading() as reader:
        back = reader.cached_arrays("a" * 64, "key")
        assert back is not None
        assert list(back) == list(columns)
        assert all(np.array_equal(back[name], columns[name]) for name in columns)
        assert reader.cached_arrays("a" * 64, "other") is None


def test_the_cache_keeps_arrays_of_any_shape_and_the_first_of_two(database: Database) -> None:
    arrays = {
        "cube": np.arange(24.0).reshape(2, 3, 4),
        "number": np.array(0.1),
        "none": np.zeros((0, 3)),
        "strange": np.array([[np.nan, -0.0, np.inf]]),
    }
    with database.writing() as writer:
        writer.cache_arrays({("key", "part"): arrays, ("key", "other"): {}})
        writer.cache_arrays({("key", "part"): {"cube": np.zeros(1)}})
        writer.cache_arrays({})
    with database.reading() as reader:
        back = reader.cached_arrays("key", "part")
        assert reader.cached_arrays("key", "other") == {}
    assert back is not None
    assert {name: (one.shape, one.tobytes()) for name, one in back.items()} == {
        name: (one.shape, one.tobytes()) for name, one in arrays.items()
    }
    back["cube"][0, 0, 0] = 5.0  # its own memory, not the file's


@pytest.mark.parametrize("table", [one.name for one in schema.FACTS])
def test_no_table_of_facts_can_be_changed_or_emptied(database: Database, tmp_path: Path, table: str) -> None:
    add_sheet(database, "first", ["E1"])
    with database.writing() as writer:
        writer.add_records([a_record("first"), a_record("second", (("wave", a_record("first").id),))])
        writer.seal("made", "two")
    with sqlite3.connect(tmp_path / "logbook.db") as connection:
        column = connection.execute(f"SELECT name FROM pragma_table_info('{table}')").fetchone()[0]
        for statement in (f"DELETE FROM {table}", f"UPDATE {table} SET {column} = {column}"):
            with pytest.raises(sqlite3.IntegrityError, match="append-only"):
                connection.execute(statement)
    connection.close()


def test_a_change_without_an_audit_entry_is_not_kept(database: Database) -> None:
    before = database.logical_dump()
    with pytest.raises(RuntimeError, match="audit entry"), database.writing() as writer:
        writer.add_originals([original("first")])
    with pytest.raises(RuntimeError, match="already written"), database.writing() as writer:
        writer.seal("said", "too early")
        writer.add_originals([original("first")])
    assert database.logical_dump() == before


def test_an_error_inside_a_write_leaves_nothing(database: Database) -> None:
    before = database.logical_dump()
    with pytest.raises(ValueError, match="stop"), database.writing() as writer:
        writer.add_originals([original("first")])
        writer.seal("said", "first")
        raise ValueError("stop")
    assert database.logical_dump() == before


BAD_ROWS: dict[str, dict[str, object]] = {
    "an unknown role": {"role": "guess"},
    "a negative level": {"level": -1.0},
    "a standard without level": {"level": None},
    "a dilution below one": {"dilution": 0.5},
    "a sample without name": {"role": "sample"},
    "a blank above zero": {"role": "blank"},
}


@pytest.mark.parametrize("fault", BAD_ROWS)
def test_the_database_itself_refuses_a_bad_row(database: Database, fault: str) -> None:
    good = stored_row("E1", a_sheet("first").id, 2)
    values: dict[str, Any] = {name: getattr(good.row, name) for name in SheetRow.__dataclass_fields__} | BAD_ROWS[fault]
    before = database.logical_dump()
    with pytest.raises(sqlite3.IntegrityError), database.writing() as writer:
        writer.add_originals([original("first")])
        writer.add_sheet(a_sheet("first"), [StoredRow(good.id, good.sheet_id, SheetRow(**values))])
        writer.seal("sheet added", "bad")
    assert database.logical_dump() == before


def test_a_record_with_an_unknown_parent_is_refused(database: Database) -> None:
    with pytest.raises(sqlite3.IntegrityError), database.writing() as writer:
        writer.add_records([a_record("orphan", (("wave", "f" * 64),))])
        writer.seal("made", "orphan")


def test_reading_sees_one_moment_while_another_writes(database: Database) -> None:
    with database.reading() as reader:
        assert reader.rows() == ()
        add_sheet(database, "first", ["E1"])
        assert reader.rows() == ()
    with database.reading() as reader:
        assert len(reader.rows()) == 1


def test_eight_threads_that_read_then_write_lose_nothing(database: Database, tmp_path: Path) -> None:
    errors: list[BaseException] = []

    def work(worker: int) -> None:
        own = database
        try:
            own = Database.open(tmp_path / "logbook.db") if worker % 2 else database
            for turn in range(WRITES):
                with own.writing() as writer:
                    writer.reader.original_ids()
                    writer.add_originals([original(f"{worker}-{turn}")])
                    writer.seal("added", f"{worker}-{turn}")
        except BaseException as error:
            errors.append(error)
        finally:
            if own is not database:
                own.close()

    threads = [threading.Thread(target=work, args=(worker,)) for worker in range(WRITERS)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert errors == []
    with database.reading() as reader:
        assert len(reader.original_ids()) == WRITERS * WRITES
        report = reader.verify_chain()
    assert (report.entries, report.faults) == (1 + WRITERS * WRITES, ())


def test_every_connection_waits_checks_references_and_syncs_fully(database: Database) -> None:
    with database._transaction(write=False) as connection:
        found = {
            name: connection.execute(f"PRAGMA {name}").fetchone()[0]
            for name in ("foreign_keys", "journal_mode", "synchronous", "busy_timeout")
        }
    assert found == {"foreign_keys": 1, "journal_mode": "wal", "synchronous": 2, "busy_timeout": 60000}


def test_the_dump_is_the_same_twice_and_shows_every_fact(database: Database) -> None:
    sheet = add_sheet(database, "first", ["E1"])
    dump = database.logical_dump()
    assert dump == database.logical_dump()
    assert sheet.id in dump
    assert canonical_bytes(["w"]).decode().replace('"', '\\"') in dump
