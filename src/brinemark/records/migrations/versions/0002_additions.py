"""Rows may be additions: the check of the roles is written anew, and every row stays as it was."""

from __future__ import annotations

from alembic import op

revision = "0002"
down_revision = "0001"
BEFORE = "role IN ('blank', 'standard', 'sample', 'control')"
AFTER = "role IN ('blank', 'standard', 'sample', 'control', 'addition')"


def upgrade() -> None:
    # SQLite changes no check in place. References to the rows are broken in between, so they are looked at on commit:
    # putting a row back mends them, renaming a table would not (https://www.sqlite.org/foreignkeys.html, section 4.2).
    connection = op.get_bind()
    found = connection.exec_driver_sql(
        "SELECT sql FROM sqlite_master WHERE tbl_name = 'electrode_row' AND sql <> '' ORDER BY type = 'table' DESC"
    )
    table, *indexes_and_triggers = [str(row[0]) for row in found]
    if BEFORE not in table:
        raise RuntimeError("electrode_row does not have the check that is to be written anew")
    for statement in (
        "PRAGMA defer_foreign_keys = ON",
        "CREATE TABLE row_aside AS SELECT * FROM electrode_row ORDER BY rowid",
        "DROP TABLE electrode_row",
        table.replace(BEFORE, AFTER),
        "INSERT INTO electrode_row SELECT * FROM row_aside ORDER BY rowid",
        "DROP TABLE row_aside",
        *indexes_and_triggers,
    ):
        connection.exec_driver_sql(statement)
