"""The SQL of logbook.db. Names come from `schema`, never from a user; values are always bound."""

# ruff: noqa: S608 - names of tables and columns are constants of this program
from __future__ import annotations

from collections.abc import Sequence

from brinemark.records.schema import (
    ARRAY_CACHE,
    AUDIT,
    ORIGINAL,
    PARENT,
    RECORD,
    RECORD_ARRAY,
    SHEET,
    TableNames,
)

PREPARE = ("PRAGMA journal_mode = WAL", "PRAGMA synchronous = FULL", "PRAGMA foreign_keys = ON")
BEGIN_READING, BEGIN_WRITING = "BEGIN", "BEGIN IMMEDIATE"
TABLES = "SELECT name FROM sqlite_master WHERE type = 'table'"
MARK = "PRAGMA application_id"
STORED_REVISION = "SELECT version_num FROM alembic_version"
DAMAGE = "PRAGMA integrity_check"
BROKEN_REFERENCES = "PRAGMA foreign_key_check"

_CURRENT_SHEETS = '"sheet"."id" NOT IN (SELECT "supersedes" FROM "sheet" WHERE "supersedes" IS NOT NULL)'


PARENT_COLUMNS = ("parent_record", "parent_row", "parent_original")
"""Where a parent stands: a record, a row or an original."""


def _names(columns: Sequence[str]) -> str:
    return ", ".join(f'"{column}"' for column in columns)


def _all_of(table: TableNames) -> str:
    return f'SELECT {_names(table.columns)} FROM "{table.name}"'


def _among(column: str, count: int) -> str:
    return f'"{column}" IN ({", ".join("?" * count)})'


def insert(table: TableNames, *, again: bool = False) -> str:
    """One row, all columns by name but a number that SQLite gives itself; again : a known key is left as it is."""
    columns = [column for column in table.columns if (column, table.key) != ("seq", ("seq",)) or table is AUDIT]
    places = ", ".join(f":{column}" for column in columns)
    return f'INSERT {"OR IGNORE " if again else ""}INTO "{table.name}" ({_names(columns)}) VALUES ({places})'


def in_order(table: TableNames) -> str:
    """All rows by primary key."""
    return f"{_all_of(table)} ORDER BY {_names(table.key)}"


def of_entry(table: TableNames) -> str:
    """Rows of one audit entry (?) by primary key."""
    return f'{_all_of(table)} WHERE "entry" = ? ORDER BY {_names(table.key)}'


def count_after_entry(table: TableNames) -> str:
    """How many rows belong to a later audit entry than ?."""
    return f'SELECT count(*) FROM "{table.name}" WHERE "entry" > ?'


def known(table: TableNames, count: int) -> str:
    """Those of count ids that the table has."""
    return f'SELECT "id" FROM "{table.name}" WHERE {_among("id", count)}'


AUDIT_HEAD = 'SELECT "seq", "hash" FROM "audit" ORDER BY "seq" DESC LIMIT 1'
ONE_ORIGINAL = f'{_all_of(ORIGINAL)} WHERE "sha256" = ?'
ORIGINAL_IDS = 'SELECT "sha256" FROM "original"'
CURRENT_SHEETS = f'{_all_of(SHEET)} WHERE {_CURRENT_SHEETS} ORDER BY "seq"'
CACHED = f'SELECT "columns", "data" FROM "{ARRAY_CACHE.name}" WHERE "key" = ? AND "part" = ?'
RECORDS_OF_KIND = f'{_all_of(RECORD)} WHERE "kind" = ? ORDER BY "seq" DESC'
RECORDS_OF_KIND_AND_ROLE = f'{_all_of(RECORD)} WHERE "kind" = ? AND "role" = ? ORDER BY "seq" DESC'
SETTINGS_OF_KIND = 'SELECT "id", "settings" FROM "record" WHERE "kind" = ? ORDER BY "seq"'
SETTINGS_OF_KIND_AND_ROLE = 'SELECT "id", "settings" FROM "record" WHERE "kind" = ? AND "role" = ? ORDER BY "seq"'
ROLES_OF_KIND = 'SELECT DISTINCT "role" FROM "record" WHERE "kind" = ?'
SAMPLE_READINGS = """
SELECT
  (SELECT "parent_record" FROM "parent" WHERE "record_id" = "record"."id" AND "role" = 'calibration'
   ORDER BY "position" LIMIT 1) AS "calibration",
  count(*) AS "count", min("seq") AS "first"
FROM "record" WHERE "kind" = 'reading' AND EXISTS (
  SELECT 1 FROM "parent" JOIN "electrode_row" ON "electrode_row"."id" = "parent_row"
  WHERE "record_id" = "record"."id" AND "electrode_row"."role" = 'sample')
GROUP BY "calibration"
"""
READINGS_OF = """
SELECT "role", "results" FROM "record" WHERE "kind" = 'reading' AND "id" IN (
  SELECT "record_id" FROM "parent" WHERE "parent_record" = ? AND "role" = 'calibration')
ORDER BY "seq"
"""
LAST_OF_ACTION = 'SELECT "seq", "at" FROM "audit" WHERE "action" = ? ORDER BY "seq" DESC LIMIT 1'
FIRST_ENTRY = 'SELECT "seq", "at" FROM "audit" ORDER BY "seq" LIMIT 1'
RECORDS_NAMED = f"""{_all_of(RECORD)} WHERE "kind" = ? AND "id" LIKE ? ESCAPE '/' ORDER BY seq"""


def beginning(text: str) -> str:
    """What LIKE takes for everything that begins with text."""
    escaped = text.replace("/", "//").replace("%", "/%").replace("_", "/_")
    return f"{escaped}%"


def records(count: int) -> str:
    """Records with one of count ids."""
    return f"{_all_of(RECORD)} WHERE {_among('id', count)}"


def parents_of(count: int) -> str:
    """Parents of count records, each record's in their order."""
    return f"{_all_of(PARENT)} WHERE {_among('record_id', count)} ORDER BY {_names(PARENT.key)}"


def arrays_of(count: int) -> str:
    """Arrays of count records."""
    return f"{_all_of(RECORD_ARRAY)} WHERE {_among('record_id', count)}"


def made_from(count: int) -> str:
    """Id and number of records of a kind with one of count ids among their parents: the kind, then thrice the ids."""
    wanted = " OR ".join(_among(column, count) for column in PARENT_COLUMNS)
    return (
        'SELECT DISTINCT "record"."id", "record"."seq" FROM "parent" JOIN "record" ON "record_id" = "record"."id" '
        f'WHERE "kind" = ? AND ({wanted})'
    )


def rows(counts: Sequence[tuple[str, int]], *, superseded: bool) -> str:
    """Rows of sheets in their order; counts : columns of electrode_row and how many values each may have."""
    wanted = [] if superseded else [_CURRENT_SHEETS]
    wanted += [_among(column, count) for column, count in counts]
    where = f" WHERE {' AND '.join(wanted)}" if wanted else ""
    return (
        'SELECT "sheet_id", "number", "row"."id", "trace_sha256", "prescan_sha256", "row"."canonical" '
        'FROM "sheet_row" JOIN "electrode_row" AS "row" ON "row"."id" = "row_id" '
        f'JOIN "sheet" ON "sheet"."id" = "sheet_id"{where} ORDER BY "sheet"."seq", "number"'
    )


def uses(*, superseded: bool) -> str:
    """What the rows of sheets used their electrodes for, in the order of the sheets."""
    where = "" if superseded else f" WHERE {_CURRENT_SHEETS}"
    return (
        'SELECT "row"."id", "sheet_id", "electrode", "batch", "role", "sample", "level" '
        'FROM "sheet_row" JOIN "electrode_row" AS "row" ON "row"."id" = "row_id" '
        f'JOIN "sheet" ON "sheet"."id" = "sheet_id"{where} ORDER BY "sheet"."seq", "number"'
    )
