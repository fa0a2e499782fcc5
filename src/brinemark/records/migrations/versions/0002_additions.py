"""Rows may be additions: the check of the roles is written anew, and every row stays as it was."""

from __future__ import annotations

from alembic import op

revision = "0002"
down_revision = "0001"
TABLE, ASIDE = "electrode_row", "electrode_row_aside"
BEFORE = "role IN ('blank', 'standard', 'sample', 'control')"
AFTER = "role IN ('blank', 'standard', 'sample', 'control', 'addition')"


def upgrade() -> None:
    # SQLite changes no check in place. References to the rows are broken in between, so they are looked at on commit:
    # putting a row back mends them, renaming a table would not (https://www.sqlite.org/foreignkeys.html, section 4.2).
    connection = op.get_bind()
    found = connection.exec_driver_sql(
        f"SELECT sql FROM sqlite_master WHERE tbl_name = '{TABLE}' AND sql IS NOT NULL ORDER BY type = 'table' DESC"
    )
    table, *indexes_and_triggers = [str(row[0]) for row in found]
    if BEFORE not in table:
        raise RuntimeError(f"{TABLE} does not have the check that is to be written anew")
    for statement in (
        "PRAGMA defer_foreign_keys = ON",
        f"CREATE TABLE {ASIDE} AS SELECT * FROM {TABLE} ORDER BY rowid",
        f"DROP TABLE {TABLE}",
        table.replace(BEFORE, AFTER),
        f"INSERT INTO {TABLE} SELECT * FROM {ASIDE} ORDER BY rowid",
        f"DROP TABLE {ASIDE}",
        *indexes_and_triggers,
    ):
        connection.exec_driver_sql(statement)
