"""logbook.db: the one door to the database, for reading and for writing."""

from __future__ import annotations

import json
import sqlite3
import struct
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import URL, Connection, Engine, create_engine, event, exc, select

from brinemark.records import tables
from brinemark.records.reader import Reader
from brinemark.records.writer import Writer
from brinemark.terms.canonical import sha256_hex
from brinemark.terms.errors import Refused

BUSY_S = 60.0
_MIGRATIONS = Path(__file__).parent / "migrations"
_MAGIC = b"SQLite format 3\x00"
_HEADER = 100


class Database:
    """The facts of one logbook. Use `create` or `open`; reading and writing are context managers."""

    def __init__(self, path: Path, engine: Engine) -> None:
        self.path = path
        self._engine = engine

    @classmethod
    def create(cls, path: Path, subject: str = "logbook") -> Database:
        """A new, empty database at path, which must not exist. Raises Refused when it does."""
        if path.exists():
            raise Refused(f"{path.name} exists already", "a new file", "choose another folder", file=path.name)
        database = cls(path, _engine(path))
        try:
            with database._transaction(write=True) as connection:
                _migrate(connection)
                Writer(connection).seal("logbook made", subject, {"revision": tables.REVISION})
        except BaseException:
            database.close()
            path.unlink(missing_ok=True)
            raise
        return database

    @classmethod
    def open(cls, path: Path) -> Database:
        """The database at path. Raises Refused when it is no logbook, damaged, or newer than this program."""
        _check_file(path)
        database = cls(path, _engine(path))
        try:
            with database._transaction(write=False) as connection:
                revision = _revision(connection, path)
            if revision < tables.REVISION:
                with database._transaction(write=True) as connection:
                    _migrate(connection)
                    Writer(connection).seal("schema renewed", path.name, {"from": revision, "to": tables.REVISION})
        except BaseException:
            database.close()
            raise
        return database

    def close(self) -> None:
        """Release the file."""
        self._engine.dispose()

    @contextmanager
    def reading(self) -> Iterator[Reader]:
        """A consistent snapshot."""
        with self._transaction(write=False) as connection:
            yield Reader(connection)

    @contextmanager
    def writing(self) -> Iterator[Writer]:
        """One write transaction: all or nothing, one audit entry; others wait until it ends."""
        with self._transaction(write=True) as connection:
            writer = Writer(connection)
            yield writer
            if writer.unsealed:
                raise RuntimeError("a change without an audit entry; call seal() before the end of writing()")

    def verify_damage(self) -> tuple[str, ...]:
        """What SQLite itself finds wrong with the file, in its own words; empty when sound."""
        with self._transaction(write=False) as connection:
            found = [str(row[0]) for row in connection.exec_driver_sql("PRAGMA integrity_check")]
            found += [f"broken reference in {row[0]}" for row in connection.exec_driver_sql("PRAGMA foreign_key_check")]
        return tuple(one for one in found if one != "ok")

    def logical_dump(self) -> str:
        """All tables but the cache as text, the same for the same facts: one JSON line per row, blobs hashed."""
        lines = []
        with self._transaction(write=False) as connection:
            for table in tables.metadata.sorted_tables:
                if table.name == tables.CACHE:
                    continue
                for row in connection.execute(select(table).order_by(*table.primary_key.columns)):
                    plain = [sha256_hex(value) if isinstance(value, bytes) else value for value in row]
                    lines.append(f"{table.name} {json.dumps(plain)}")
        return "\n".join(lines) + "\n"

    @contextmanager
    def _transaction(self, *, write: bool) -> Iterator[Connection]:
        with _said_plainly(self.path), self._engine.connect() as plain:
            connection = plain.execution_options(brinemark_write=write)
            with connection.begin():
                yield connection


def _engine(path: Path) -> Engine:
    engine = create_engine(URL.create("sqlite", database=str(path)), connect_args={"timeout": BUSY_S})
    event.listen(engine, "connect", _prepare)
    event.listen(engine, "begin", _begin)
    return engine


def _prepare(connection: sqlite3.Connection, _: Any) -> None:
    # Python's own transaction control would send a plain BEGIN, which cannot wait once it has read.
    connection.isolation_level = None
    for pragma in (
        f"busy_timeout = {int(BUSY_S * 1000)}",
        "journal_mode = WAL",
        "synchronous = FULL",
        "foreign_keys = ON",
    ):
        connection.execute(f"PRAGMA {pragma}")


def _begin(connection: Connection) -> None:
    write = connection.get_execution_options().get("brinemark_write", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if write else "BEGIN")


@contextmanager
def _said_plainly(path: Path) -> Iterator[None]:
    try:
        yield
    except exc.IntegrityError:
        raise
    except exc.DatabaseError as error:
        text = str(error.orig)
        if "locked" in text:
            raise Refused(
                f"another program has been writing for {BUSY_S:g} s", "a free logbook", "try again", file=path.name
            ) from error
        if "append-only" in text:
            raise
        raise _damaged(path, text) from error


def _damaged(path: Path, what: str) -> Refused:
    return Refused(
        f"the database is damaged or cannot be used ({what})",
        "a sound logbook.db",
        "restore it from a copy",
        file=path.name,
    )


def _check_file(path: Path) -> None:
    """Refuse what is no logbook before SQLite touches it (file header: https://www.sqlite.org/fileformat2.html)."""
    if not path.is_file():
        raise _no_logbook(path, f"no file {path.name}")
    log = path.with_name(path.name + "-wal")
    if log.exists() and log.stat().st_size:
        return  # The header itself may still wait in the write-ahead log; SQLite is asked instead.
    with path.open("rb") as file:
        header = file.read(_HEADER)
    if len(header) < _HEADER or not header.startswith(_MAGIC):
        raise _no_logbook(path, "the file is no logbook database" if header else "an empty file")
    if struct.unpack(">I", header[68:72])[0] != tables.APPLICATION_ID:
        raise _no_logbook(path, "a database of some other program")
    page = struct.unpack(">H", header[16:18])[0]
    size = (65536 if page == 1 else page) * struct.unpack(">I", header[28:32])[0]
    if path.stat().st_size < size:
        raise _damaged(path, f"{path.stat().st_size} bytes where {size} were written")


def _no_logbook(path: Path, came: str) -> Refused:
    return Refused(came, "a logbook made by 'new'", "check the path, or make one with 'new'", file=path.name)


def _revision(connection: Connection, path: Path) -> str:
    names = {row[0] for row in connection.exec_driver_sql("SELECT name FROM sqlite_master WHERE type = 'table'")}
    mark = connection.exec_driver_sql("PRAGMA application_id").scalar()
    if mark != tables.APPLICATION_ID or "alembic_version" not in names:
        raise _no_logbook(path, "a database without a schema revision")
    row = connection.exec_driver_sql("SELECT version_num FROM alembic_version").first()
    revision = "" if row is None else str(row[0])
    if revision > tables.REVISION:
        raise Refused(
            f"schema revision {revision}",
            f"{tables.REVISION} or older",
            "this logbook was made by a newer version of Brinemark; install that version",
            file=path.name,
        )
    missing = sorted(set(tables.metadata.tables) - names)
    if not revision or (revision == tables.REVISION and missing):
        raise _damaged(path, f"tables missing: {', '.join(missing)}" if missing else "no schema revision")
    return revision


def _migrate(connection: Connection) -> None:
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(_MIGRATIONS).replace("%", "%%"))
    config.attributes["connection"] = connection
    command.upgrade(config, "head")
