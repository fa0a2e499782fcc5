"""The cache keeps any arrays, not only curves; it can be rebuilt, so it begins empty."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    op.drop_table("trace_cache")
    op.create_table(
        "array_cache",
        sa.Column("key", sa.Text(), nullable=False),
        sa.Column("part", sa.Text(), nullable=False),
        sa.Column("columns", sa.Text(), nullable=False),
        sa.Column("data", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("key", "part", name=op.f("pk_array_cache")),
    )
