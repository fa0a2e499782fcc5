"""The audit list notices every change that is made behind its back."""

from __future__ import annotations

import hashlib
import json
import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest

from brinemark.records.database import Database
from brinemark.terms.canonical import sha256_hex
from brinemark.terms.stored import Original


@pytest.fixture
def database(tmp_path: Path) -> Iterator[Database]:
    made = Database.create(tmp_path / "logbook.db")
    for word in ("one", "two", "three"):
        with made.writing() as writer:
            writer.add_originals([Original(sha256_hex(word.encode()), len(word), f"{word}.csv")])
            writer.seal("original kept", word, {"count": 1})
    yield made
    made.close()


def behind_its_back(database: Database, statements: list[str]) -> None:
    """Change the file as someone with a database tool would: triggers off first."""
    connection = sqlite3.connect(database.path)
    for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
        connection.execute(f"DROP TRIGGER {name}")
    for statement in statements:
        connection.execute(statement)
    connection.commit()
    connection.close()


def test_an_untouched_list_is_sound(database: Database) -> None:
    with database.reading() as reader:
        report = reader.verify_chain()
        assert report.sound
        assert (report.entries, report.head) == (4, reader.audit_head())


def test_the_hash_can_be_worked_out_with_nothing_but_json_and_sha256(database: Database) -> None:
    # These entries hold only strings and small integers, for which sorted, compact JSON is the RFC 8785 form.
    with database.reading() as reader:
        entries = reader.audit_entries()
    previous = "0" * 64
    for entry in entries:
        plain = [entry.seq, entry.at, entry.action, entry.subject, entry.detail, previous]
        data = json.dumps(plain, sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode()
        assert entry.hash == hashlib.sha256(data).hexdigest()
        previous = entry.hash


TAMPERINGS = {
    "an entry's words": (["UPDATE audit SET subject = 'other' WHERE seq = 3"], "audit entry 3 was changed"),
    "an entry's time": (["UPDATE audit SET at = '2000-01-01T00:00:00Z' WHERE seq = 2"], "audit entry 2 was changed"),
    "an entry taken out": (["DELETE FROM audit WHERE seq = 3"], "audit entry 3 is missing"),
    "a fact changed": (["UPDATE original SET name = 'x' WHERE entry = 3"], "rows of audit entry 3"),
    "a fact taken out": (["DELETE FROM original WHERE entry = 2"], "rows of audit entry 2"),
    "a fact slipped in": (
        [f"INSERT INTO original VALUES ('{'a' * 64}', 1, 'x', 4)"],
        "rows of audit entry 4",
    ),
    "a fact without entry": (
        [f"INSERT INTO original VALUES ('{'a' * 64}', 1, 'x', 9)"],
        "1 rows of table original have no audit entry",
    ),
    "the last entry taken out": (["DELETE FROM audit WHERE seq = 4"], "have no audit entry"),
}


@pytest.mark.parametrize("name", TAMPERINGS)
def test_tampering_is_named(database: Database, name: str) -> None:
    statements, words = TAMPERINGS[name]
    behind_its_back(database, statements)
    with database.reading() as reader:
        report = reader.verify_chain()
    assert not report.sound
    assert any(words in fault for fault in report.faults), report.faults


def test_a_recomputed_hash_still_breaks_the_chain_after_it(database: Database) -> None:
    with database.reading() as reader:
        entry = reader.audit_entries()[1]
    plain = [entry.seq, entry.at, entry.action, "other", entry.detail, entry.previous]
    forged = hashlib.sha256(json.dumps(plain, sort_keys=True, separators=(",", ":")).encode()).hexdigest()
    behind_its_back(database, [f"UPDATE audit SET subject = 'other', hash = '{forged}' WHERE seq = 2"])
    with database.reading() as reader:
        assert "audit entry 3 does not follow the entry before it" in reader.verify_chain().faults


def test_detail_and_time_are_kept_as_given(database: Database) -> None:
    with database.reading() as reader:
        entry = reader.audit_entries()[-1]
    assert isinstance(entry.detail, dict)
    assert entry.detail["count"] == 1
    assert entry.at.endswith("Z")
