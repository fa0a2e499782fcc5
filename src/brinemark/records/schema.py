"""Names of the tables of logbook.db, their columns and keys, for our own SQL; `tables` says the rest of them."""

from __future__ import annotations

from typing import NamedTuple

REVISION = "0003"
APPLICATION_ID = 0x4272696E


class TableNames(NamedTuple):
    """A table as SQL needs it: its name, its columns in order, and those of its primary key."""

    name: str
    columns: tuple[str, ...]
    key: tuple[str, ...]


AUDIT = TableNames("audit", ("seq", "at", "action", "subject", "detail", "previous", "hash"), ("seq",))
ARRAY_CACHE = TableNames("array_cache", ("key", "part", "columns", "data"), ("key", "part"))
ORIGINAL = TableNames("original", ("sha256", "size", "name", "entry"), ("sha256",))
SHEET = TableNames(
    "sheet",
    (
        "seq",
        "id",
        "title",
        "canonical",
        "file_sha256",
        "warnings",
        "supersedes",
        "reason",
        "added_at",
        "entry",
    ),
    ("seq",),
)
ELECTRODE_ROW = TableNames(
    "electrode_row",
    (
        "id",
        "electrode",
        "batch",
        "instrument",
        "role",
        "sample",
        "measured_at",
        "level",
        "dilution",
        "trace_sha256",
        "prescan_sha256",
        "canonical",
        "entry",
    ),
    ("id",),
)
SHEET_ROW = TableNames("sheet_row", ("sheet_id", "number", "row_id", "entry"), ("sheet_id", "number"))
RECORD = TableNames(
    "record",
    (
        "seq",
        "id",
        "kind",
        "schema",
        "role",
        "settings",
        "engine",
        "seed",
        "results",
        "content",
        "made_at",
        "entry",
    ),
    ("seq",),
)
PARENT = TableNames(
    "parent",
    ("record_id", "position", "role", "parent_record", "parent_original", "parent_row", "entry"),
    ("record_id", "position"),
)
RECORD_ARRAY = TableNames("record_array", ("record_id", "name", "shape", "data", "entry"), ("record_id", "name"))

SEALED = (ORIGINAL, SHEET, ELECTRODE_ROW, SHEET_ROW, RECORD, PARENT, RECORD_ARRAY)
"""Tables whose rows an audit entry vouches for, in the order in which it takes them."""

FACTS = (AUDIT, ORIGINAL, RECORD, ELECTRODE_ROW, RECORD_ARRAY, SHEET, PARENT, SHEET_ROW)
"""All that a logbook says: everything but the cache, a table after those it refers to."""

TABLES = (*FACTS, ARRAY_CACHE)
