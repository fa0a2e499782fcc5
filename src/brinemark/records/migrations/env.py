"""Alembic's entry: runs on the connection it is handed, inside the caller's transaction."""

from __future__ import annotations

from alembic import context

from brinemark.records.tables import metadata

connection = context.config.attributes["connection"]
context.configure(connection=connection, target_metadata=metadata, render_as_batch=True, compare_type=True)
context.run_migrations()
