"""The tables of logbook.db and their append-only rules, for making and renewing them; no behaviour."""

from __future__ import annotations

from sqlalchemy import (
    CheckConstraint,
    Column,
    Float,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    Table,
    Text,
    UniqueConstraint,
)

from brinemark.records import schema

metadata = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
        "pk": "pk_%(table_name)s",
    }
)


def _entry() -> Column[int]:
    """The audit entry that a row came with; deferred, because the entry seals the rows and is written last."""
    return Column(
        "entry",
        Integer,
        ForeignKey("audit.seq", deferrable=True, initially="DEFERRED"),
        nullable=False,
        index=True,
    )


def _hash_check(column: str) -> CheckConstraint:
    return CheckConstraint(f"length({column}) = 64", name=f"{column}_is_sha256")


audit = Table(
    "audit",
    metadata,
    Column("seq", Integer, primary_key=True),
    Column("at", Text, nullable=False),
    Column("action", Text, nullable=False),
    Column("subject", Text, nullable=False),
    Column("detail", Text, nullable=False),
    Column("previous", Text, nullable=False),
    Column("hash", Text, nullable=False, unique=True),
    _hash_check("previous"),
    _hash_check("hash"),
    CheckConstraint("seq >= 1", name="seq_from_one"),
)

original = Table(
    "original",
    metadata,
    Column("sha256", Text, primary_key=True),
    Column("size", Integer, nullable=False),
    Column("name", Text, nullable=False),
    _entry(),
    _hash_check("sha256"),
    CheckConstraint("size >= 0", name="size_not_negative"),
)

sheet = Table(
    "sheet",
    metadata,
    Column("seq", Integer, primary_key=True),
    Column("id", Text, nullable=False, unique=True),
    Column("title", Text, nullable=False),
    Column("canonical", Text, nullable=False),
    Column("file_sha256", Text, ForeignKey("original.sha256"), nullable=False),
    Column("warnings", Text, nullable=False),
    Column("supersedes", Text, ForeignKey("sheet.id"), nullable=True, unique=True),
    Column("reason", Text, nullable=True),
    Column("added_at", Text, nullable=False),
    _entry(),
    _hash_check("id"),
    CheckConstraint("supersedes IS NULL OR supersedes <> id", name="not_its_own_correction"),
    CheckConstraint("(supersedes IS NULL) = (reason IS NULL)", name="correction_has_reason"),
    CheckConstraint("reason IS NULL OR length(trim(reason)) > 0", name="reason_not_blank"),
)

electrode_row = Table(
    "electrode_row",
    metadata,
    Column("id", Text, primary_key=True),
    Column("electrode", Text, nullable=False, index=True),
    Column("batch", Text, nullable=False, index=True),
    Column("instrument", Text, nullable=False),
    Column("role", Text, nullable=False),
    Column("sample", Text, nullable=True, index=True),
    Column("measured_at", Text, nullable=False),
    Column("level", Float, nullable=True),
    Column("dilution", Float, nullable=False),
    Column("trace_sha256", Text, ForeignKey("original.sha256"), nullable=True),
    Column("prescan_sha256", Text, ForeignKey("original.sha256"), nullable=True),
    Column("canonical", Text, nullable=False),
    _entry(),
    _hash_check("id"),
    CheckConstraint("role IN ('blank', 'standard', 'sample', 'control', 'addition')", name="role_known"),
    CheckConstraint("dilution >= 1", name="dilution_at_least_one"),
    CheckConstraint("level IS NULL OR level >= 0", name="level_not_negative"),
    CheckConstraint("role <> 'blank' OR level = 0", name="blank_is_zero"),
    CheckConstraint("role <> 'standard' OR level IS NOT NULL", name="standard_has_level"),
    CheckConstraint("role NOT IN ('sample', 'control') OR sample IS NOT NULL", name="sample_has_name"),
)

sheet_row = Table(
    "sheet_row",
    metadata,
    Column("sheet_id", Text, ForeignKey("sheet.id"), primary_key=True),
    Column("number", Integer, primary_key=True),
    Column("row_id", Text, ForeignKey("electrode_row.id"), nullable=False, index=True),
    _entry(),
    UniqueConstraint("sheet_id", "row_id"),
    CheckConstraint("number >= 2", name="header_is_row_one"),
)

record = Table(
    "record",
    metadata,
    Column("seq", Integer, primary_key=True),
    Column("id", Text, nullable=False, unique=True),
    Column("kind", Text, nullable=False),
    Column("schema", Integer, nullable=False),
    Column("role", Text, nullable=False),
    Column("settings", Text, nullable=False),
    Column("engine", Text, nullable=False),
    Column("seed", Integer, nullable=True),
    Column("results", Text, nullable=False),
    Column("content", Text, nullable=False),
    Column("made_at", Text, nullable=False),
    _entry(),
    _hash_check("id"),
    _hash_check("content"),
    Index(None, "kind", "role"),
)

parent = Table(
    "parent",
    metadata,
    Column("record_id", Text, ForeignKey("record.id"), primary_key=True),
    Column("position", Integer, primary_key=True),
    Column("role", Text, nullable=False),
    Column("parent_record", Text, ForeignKey("record.id"), nullable=True, index=True),
    Column("parent_original", Text, ForeignKey("original.sha256"), nullable=True),
    Column("parent_row", Text, ForeignKey("electrode_row.id"), nullable=True, index=True),
    _entry(),
    CheckConstraint(
        "(parent_record IS NOT NULL) + (parent_original IS NOT NULL) + (parent_row IS NOT NULL) = 1",
        name="one_parent",
    ),
)

record_array = Table(
    "record_array",
    metadata,
    Column("record_id", Text, ForeignKey("record.id"), primary_key=True),
    Column("name", Text, primary_key=True),
    Column("shape", Text, nullable=False),
    Column("data", LargeBinary, nullable=False),
    _entry(),
)

array_cache = Table(
    "array_cache",
    metadata,
    Column("key", Text, primary_key=True),
    Column("part", Text, primary_key=True),
    Column("columns", Text, nullable=False),
    Column("data", LargeBinary, nullable=False),
)


def append_only_triggers() -> tuple[str, ...]:
    """SQL of the triggers that refuse UPDATE and DELETE on every table of facts."""
    return tuple(
        f"CREATE TRIGGER {table.name}_no_{verb.lower()} BEFORE {verb} ON {table.name} "
        f"BEGIN SELECT RAISE(ABORT, '{table.name} is append-only'); END"
        for table in schema.FACTS
        for verb in ("UPDATE", "DELETE")
    )
