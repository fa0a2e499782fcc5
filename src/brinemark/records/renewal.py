"""Making the tables of logbook.db, or renewing older ones: the one place where SQLAlchemy and Alembic run."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from alembic import command
from alembic.config import Config
from sqlalchemy import Connection, create_engine, event, exc
from sqlalchemy.pool import NullPool

from brinemark.records import statements

MIGRATIONS = Path(__file__).parent / "migrations"


@contextmanager
def renewed(connect: Callable[[], sqlite3.Connection]) -> Iterator[sqlite3.Connection]:
    """One write transaction on a connection of its own, in which the tables have been brought up to date.

    What the caller writes is kept together with the new tables, or nothing is. Raises sqlite3 errors.
    """
    engine = create_engine("sqlite://", creator=connect, poolclass=NullPool)
    event.listen(engine, "begin", _begin)
    try:
        with engine.begin() as connection:
            _upgrade(connection)
            plain = connection.connection.driver_connection
            if plain is None:
                raise RuntimeError("a connection that is closed already")
            yield plain
    except exc.DBAPIError as error:
        raise error.orig or error from error


def _begin(connection: Connection) -> None:
    connection.exec_driver_sql(statements.BEGIN_WRITING)


def _upgrade(connection: Connection) -> None:
    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS).replace("%", "%%"))
    config.attributes["connection"] = connection
    command.upgrade(config, "head")
