"""The check of a whole logbook names what was changed behind the program's back."""

from __future__ import annotations

import re
import sqlite3
from pathlib import Path

import pytest

from brinemark.logbook import Logbook
from season import BLANK, Season, standard

TAMPERINGS = {
    "a signal": (
        """UPDATE record SET results = replace(results, '"u":', '"u":1') WHERE kind = 'signal'""",
        "does not have its content",
    ),
    "a recipe": ("UPDATE record SET role = 'other' WHERE kind = 'signal'", "does not have the recipe of its id"),
    "a wave's shape": ("UPDATE record_array SET data = zeroblob(length(data)) WHERE name = 'shape'", "its content"),
    "a level": (
        """UPDATE electrode_row SET canonical = replace(canonical, '"level":2', '"level":3')""",
        "row 3 of sheet .* does not have the content of its id",
    ),
    "a row left out": ("DELETE FROM sheet_row WHERE number = 2", "B1.csv does not have the rows of its id"),
    "a title": ("UPDATE sheet SET title = 'other.csv'", "rows of audit entry 2"),
}


@pytest.mark.parametrize("name", TAMPERINGS)
def test_tampering_with_a_logbook_is_named(book: Logbook, season: Season, name: str) -> None:
    book.add(season.batch("B1", [BLANK, standard(2.0)]))
    assert book.verify().sound
    statement, words = TAMPERINGS[name]
    behind_its_back(book.path / "logbook.db", statement)
    report = book.verify()
    assert not report.sound
    assert re.search(words, "\n".join(report.faults)), report.faults


def behind_its_back(path: Path, statement: str) -> None:
    connection = sqlite3.connect(path)
    for (trigger,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
        connection.execute(f"DROP TRIGGER {trigger}")
    assert connection.execute(statement).rowcount > 0
    connection.commit()
    connection.close()
