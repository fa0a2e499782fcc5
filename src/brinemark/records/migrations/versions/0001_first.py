"""The first tables."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
APPLICATION_ID = 0x4272696E
FACTS = ("audit", "original", "sheet", "electrode_row", "sheet_row", "record", "parent", "record_array")


def upgrade() -> None:
    op.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    _audit()
    _trace_cache()
    _original()
    _record()
    _electrode_row()
    _record_array()
    _sheet()
    _parent()
    _sheet_row()
    for table in FACTS:
        for verb in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER {table}_no_{verb.lower()} BEFORE {verb} ON {table} "
                f"BEGIN SELECT RAISE(ABORT, '{table} is append-only'); END"
            )


def _audit() -> None:
    op.create_table(
        "audit",
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.Column("at", sa.Text(), nullable=False),
        sa.Column("action", sa.Text(), nullable=False),
        sa.Column("subject", sa.Text(), nullable=False),
        sa.Column("detail", sa.Text(), nullable=False),
        sa.Column("previous", sa.Text(), nullable=False),
        sa.Column("hash", sa.Text(), nullable=False),
        sa.CheckConstraint("length(hash) = 64", name=op.f("ck_audit_hash_is_sha256")),
        sa.CheckConstraint("length(previous) = 64", name=op.f("ck_audit_previous_is_sha256")),
        sa.CheckConstraint("seq >= 1", name=op.f("ck_audit_seq_from_one")),
        sa.PrimaryKeyConstraint("seq", name=op.f("pk_audit")),
        sa.UniqueConstraint("hash", name=op.f("uq_audit_hash")),
    )


def _trace_cache() -> None:
    op.create_table(
        "trace_cache",
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("settings_key", sa.Text(), nullable=False),
        sa.Column("columns", sa.Text(), nullable=False),
        sa.Column("data", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("sha256", "settings_key", name=op.f("pk_trace_cache")),
    )


def _original() -> None:
    op.create_table(
        "original",
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("size", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("entry", sa.Integer(), nullable=False),
        sa.CheckConstraint("length(sha256) = 64", name=op.f("ck_original_sha256_is_sha256")),
        sa.CheckConstraint("size >= 0", name=op.f("ck_original_size_not_negative")),
        _sealed_by("original"),
        sa.PrimaryKeyConstraint("sha256", name=op.f("pk_original")),
    )
    op.create_index(op.f("ix_original_entry"), "original", ["entry"], unique=False)


def _record() -> None:
    op.create_table(
        "record",
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("schema", sa.Integer(), nullable=False),
        sa.Column("role", sa.Text(), nullable=False),
        sa.Column("settings", sa.Text(), nullable=False),
        sa.Column("engine", sa.Text(), nullable=False),
        sa.Column("seed", sa.Integer(), nullable=True),
        sa.Column("results", sa.Text(), nullable=False),
        sa.Column("content", sa.Text(), nullable=False),
        sa.Column("made_at", sa.Text(), nullable=False),
        sa.Column("entry", sa.Integer(), nullable=False),
        sa.CheckConstraint("length(content) = 64", name=op.f("ck_record_content_is_sha256")),
        sa.CheckConstraint("length(id) = 64", name=op.f("ck_record_id_is_sha256")),
        _sealed_by("record"),
        sa.PrimaryKeyConstraint("seq", name=op.f("pk_record")),
        sa.UniqueConstraint("id", name=op.f("uq_record_id")),
    )
    op.create_index(op.f("ix_record_entry"), "record", ["entry"], unique=False)
    op.create_index(op.f("ix_record_kind_role"), "record", ["kind", "role"], unique=False)


def _electrode_row() -> None:
    op.create_table(
        "electrode_row",
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("electrode", sa.Text(), nullable=False),
        sa.Column("batch", sa.Text(), nullable=False),
        sa.Column("instrument", sa.Text(), nullable=False),
        sa.Column("role", sa.Text(), nullable=False),
        sa.Column("sample", sa.Text(), nullable=True),
        sa.Column("measured_at", sa.Text(), nullable=False),
        sa.Column("level", sa.Float(), nullable=True),
        sa.Column("dilution", sa.Float(), nullable=False),
        sa.Column("trace_sha256", sa.Text(), nullable=True),
        sa.Column("prescan_sha256", sa.Text(), nullable=True),
        sa.Column("canonical", sa.Text(), nullable=False),
        sa.Column("entry", sa.Integer(), nullable=False),
        sa.CheckConstraint("role <> 'blank' OR level = 0", name=op.f("ck_electrode_row_blank_is_zero")),
        sa.CheckConstraint("role <> 'standard' OR level IS NOT NULL", name=op.f("ck_electrode_row_standard_has_level")),
        sa.CheckConstraint(
            "role IN ('blank', 'standard', 'sample', 'control')", name=op.f("ck_electrode_row_role_known")
        ),
        sa.CheckConstraint(
            "role NOT IN ('sample', 'control') OR sample IS NOT NULL", name=op.f("ck_electrode_row_sample_has_name")
        ),
        sa.CheckConstraint("dilution >= 1", name=op.f("ck_electrode_row_dilution_at_least_one")),
        sa.CheckConstraint("length(id) = 64", name=op.f("ck_electrode_row_id_is_sha256")),
        sa.CheckConstraint("level IS NULL OR level >= 0", name=op.f("ck_electrode_row_level_not_negative")),
        _sealed_by("electrode_row"),
        sa.ForeignKeyConstraint(
            ["prescan_sha256"], ["original.sha256"], name=op.f("fk_electrode_row_prescan_sha256_original")
        ),
        sa.ForeignKeyConstraint(
            ["trace_sha256"], ["original.sha256"], name=op.f("fk_electrode_row_trace_sha256_original")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_electrode_row")),
    )
    op.create_index(op.f("ix_electrode_row_batch"), "electrode_row", ["batch"], unique=False)
    op.create_index(op.f("ix_electrode_row_electrode"), "electrode_row", ["electrode"], unique=False)
    op.create_index(op.f("ix_electrode_row_entry"), "electrode_row", ["entry"], unique=False)
    op.create_index(op.f("ix_electrode_row_sample"), "electrode_row", ["sample"], unique=False)


def _record_array() -> None:
    op.create_table(
        "record_array",
        sa.Column("record_id", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("shape", sa.Text(), nullable=False),
        sa.Column("data", sa.LargeBinary(), nullable=False),
        sa.Column("entry", sa.Integer(), nullable=False),
        _sealed_by("record_array"),
        sa.ForeignKeyConstraint(["record_id"], ["record.id"], name=op.f("fk_record_array_record_id_record")),
        sa.PrimaryKeyConstraint("record_id", "name", name=op.f("pk_record_array")),
    )
    op.create_index(op.f("ix_record_array_entry"), "record_array", ["entry"], unique=False)


def _sheet() -> None:
    op.create_table(
        "sheet",
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("title", sa.Text(), nullable=False),
        sa.Column("canonical", sa.Text(), nullable=False),
        sa.Column("file_sha256", sa.Text(), nullable=False),
        sa.Column("warnings", sa.Text(), nullable=False),
        sa.Column("supersedes", sa.Text(), nullable=True),
        sa.Column("reason", sa.Text(), nullable=True),
        sa.Column("added_at", sa.Text(), nullable=False),
        sa.Column("entry", sa.Integer(), nullable=False),
        sa.CheckConstraint("(supersedes IS NULL) = (reason IS NULL)", name=op.f("ck_sheet_correction_has_reason")),
        sa.CheckConstraint("length(id) = 64", name=op.f("ck_sheet_id_is_sha256")),
        sa.CheckConstraint("reason IS NULL OR length(trim(reason)) > 0", name=op.f("ck_sheet_reason_not_blank")),
        sa.CheckConstraint("supersedes IS NULL OR supersedes <> id", name=op.f("ck_sheet_not_its_own_correction")),
        _sealed_by("sheet"),
        sa.ForeignKeyConstraint(["file_sha256"], ["original.sha256"], name=op.f("fk_sheet_file_sha256_original")),
        sa.ForeignKeyConstraint(["supersedes"], ["sheet.id"], name=op.f("fk_sheet_supersedes_sheet")),
        sa.PrimaryKeyConstraint("seq", name=op.f("pk_sheet")),
        sa.UniqueConstraint("id", name=op.f("uq_sheet_id")),
        sa.UniqueConstraint("supersedes", name=op.f("uq_sheet_supersedes")),
    )
    op.create_index(op.f("ix_sheet_entry"), "sheet", ["entry"], unique=False)


def _parent() -> None:
    op.create_table(
        "parent",
        sa.Column("record_id", sa.Text(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("role", sa.Text(), nullable=False),
        sa.Column("parent_record", sa.Text(), nullable=True),
        sa.Column("parent_original", sa.Text(), nullable=True),
        sa.Column("parent_row", sa.Text(), nullable=True),
        sa.Column("entry", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "(parent_record IS NOT NULL) + (parent_original IS NOT NULL) + (parent_row IS NOT NULL) = 1",
            name=op.f("ck_parent_one_parent"),
        ),
        _sealed_by("parent"),
        sa.ForeignKeyConstraint(
            ["parent_original"], ["original.sha256"], name=op.f("fk_parent_parent_original_original")
        ),
        sa.ForeignKeyConstraint(["parent_record"], ["record.id"], name=op.f("fk_parent_parent_record_record")),
        sa.ForeignKeyConstraint(["parent_row"], ["electrode_row.id"], name=op.f("fk_parent_parent_row_electrode_row")),
        sa.ForeignKeyConstraint(["record_id"], ["record.id"], name=op.f("fk_parent_record_id_record")),
        sa.PrimaryKeyConstraint("record_id", "position", name=op.f("pk_parent")),
    )
    op.create_index(op.f("ix_parent_entry"), "parent", ["entry"], unique=False)
    op.create_index(op.f("ix_parent_parent_record"), "parent", ["parent_record"], unique=False)
    op.create_index(op.f("ix_parent_parent_row"), "parent", ["parent_row"], unique=False)


def _sheet_row() -> None:
    op.create_table(
        "sheet_row",
        sa.Column("sheet_id", sa.Text(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("row_id", sa.Text(), nullable=False),
        sa.Column("entry", sa.Integer(), nullable=False),
        sa.CheckConstraint("number >= 2", name=op.f("ck_sheet_row_header_is_row_one")),
        _sealed_by("sheet_row"),
        sa.ForeignKeyConstraint(["row_id"], ["electrode_row.id"], name=op.f("fk_sheet_row_row_id_electrode_row")),
        sa.ForeignKeyConstraint(["sheet_id"], ["sheet.id"], name=op.f("fk_sheet_row_sheet_id_sheet")),
        sa.PrimaryKeyConstraint("sheet_id", "number", name=op.f("pk_sheet_row")),
        sa.UniqueConstraint("sheet_id", "row_id", name=op.f("uq_sheet_row_sheet_id_row_id")),
    )
    op.create_index(op.f("ix_sheet_row_entry"), "sheet_row", ["entry"], unique=False)
    op.create_index(op.f("ix_sheet_row_row_id"), "sheet_row", ["row_id"], unique=False)


def _sealed_by(table: str) -> sa.ForeignKeyConstraint:
    name = op.f(f"fk_{table}_entry_audit")
    return sa.ForeignKeyConstraint(["entry"], ["audit.seq"], name=name, initially="DEFERRED", deferrable=True)
