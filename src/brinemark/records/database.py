"""logbook.db: the one door to the database, for reading and for writing."""

from __future__ import annotations

import json
import sqlite3
import struct
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from brinemark.records import schema, statements
from brinemark.records.reader import Reader
from brinemark.records.writer import Writer
from brinemark.terms.canonical import JsonValue, sha256_hex
from brinemark.terms.errors import Refused

BUSY_S = 60.0
_IDLE = 5
_MAGIC = b"SQLite format 3\x00"
_HEADER = 100


class Database:
    """The facts of one logbook. Use `create` or `open`; reading and writing are context managers."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._idle: list[sqlite3.Connection] = []

    @classmethod
    def create(cls, path: Path, subject: str = "logbook") -> Database:
        """A new, empty database at path, which must not exist. Raises Refused when it does."""
        if path.exists():
            raise Refused(f"{path.name} exists already", "a new file", "choose another folder", file=path.name)
        database = cls(path)
        try:
            database._renew("logbook made", subject, {"revision": schema.REVISION})
        except BaseException:
            database.close()
            path.unlink(missing_ok=True)
            raise
        return database

    @classmethod
    def open(cls, path: Path) -> Database:
        """The database at path. Raises Refused when it is no logbook, damaged, or newer than this program."""
        _check_file(path)
        database = cls(path)
        try:
            with database._transaction(write=False) as connection:
                revision = _revision(connection, path)
            if revision < schema.REVISION:
                database._renew("schema renewed", path.name, {"from": revision, "to": schema.REVISION})
        except BaseException:
            database.close()
            raise
        return database

    def close(self) -> None:
        """Release the file."""
        while self._idle:
            self._idle.pop().close()

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
            found = [str(row[0]) for row in connection.execute(statements.DAMAGE)]
            broken = connection.execute(statements.BROKEN_REFERENCES)
            found += [f"broken reference in {row[0]}" for row in broken]
        return tuple(one for one in found if one != "ok")

    def logical_dump(self) -> str:
        """All tables but the cache as text, the same for the same facts: one JSON line per row, blobs hashed."""
        lines = []
        with self._transaction(write=False) as connection:
            for table in schema.FACTS:
                for row in connection.execute(statements.in_order(table)):
                    plain = [sha256_hex(value) if isinstance(value, bytes) else value for value in row]
                    lines.append(f"{table.name} {json.dumps(plain)}")
        return "\n".join(lines) + "\n"

    @contextmanager
    def _transaction(self, *, write: bool) -> Iterator[sqlite3.Connection]:
        with _said_plainly(self.path), self._connection() as connection:
            connection.execute(statements.BEGIN_WRITING if write else statements.BEGIN_READING)
            try:
                yield connection
                connection.commit()
            except BaseException:
                connection.rollback()
                raise

    @contextmanager
    def _connection(self) -> Iterator[sqlite3.Connection]:
        """A connection for one transaction; it is kept for the next when all went well, else closed."""
        connection = self._taken() or _connected(self.path)
        try:
            yield connection
        except BaseException:
            connection.close()
            raise
        if len(self._idle) < _IDLE:
            self._idle.append(connection)
        else:
            connection.close()

    def _taken(self) -> sqlite3.Connection | None:
        with suppress(IndexError):  # Taking from a list is one step, so that two threads never get the same.
            return self._idle.pop()
        return None

    def _renew(self, action: str, subject: str, detail: dict[str, JsonValue]) -> None:
        """Bring the tables up to date and say so in the audit list, all or nothing."""
        from brinemark.records.renewal import renewed

        with _said_plainly(self.path), renewed(lambda: _connected(self.path)) as connection:
            Writer(connection).seal(action, subject, detail)


def _connected(path: Path) -> sqlite3.Connection:
    # Python's own transaction control would send a plain BEGIN, which cannot wait once it has read.
    # A connection serves one transaction at a time, of whichever thread.
    connection = sqlite3.connect(path, timeout=BUSY_S, isolation_level=None, check_same_thread=False)
    connection.row_factory = sqlite3.Row
    try:
        for statement in statements.PREPARE:
            connection.execute(statement)
    except BaseException:
        connection.close()
        raise
    return connection


@contextmanager
def _said_plainly(path: Path) -> Iterator[None]:
    try:
        yield
    except sqlite3.IntegrityError:
        raise
    except sqlite3.DatabaseError as error:
        text = str(error)
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
    if struct.unpack(">I", header[68:72])[0] != schema.APPLICATION_ID:
        raise _no_logbook(path, "a database of some other program")
    page = struct.unpack(">H", header[16:18])[0]
    size = (65536 if page == 1 else page) * struct.unpack(">I", header[28:32])[0]
    if path.stat().st_size < size:
        raise _damaged(path, f"{path.stat().st_size} bytes where {size} were written")


def _no_logbook(path: Path, came: str) -> Refused:
    return Refused(came, "a logbook made by 'new'", "check the path, or make one with 'new'", file=path.name)


def _revision(connection: sqlite3.Connection, path: Path) -> str:
    names = {row[0] for row in connection.execute(statements.TABLES)}
    mark = connection.execute(statements.MARK).fetchone()[0]
    if mark != schema.APPLICATION_ID or "alembic_version" not in names:
        raise _no_logbook(path, "a database without a schema revision")
    row = connection.execute(statements.STORED_REVISION).fetchone()
    revision = "" if row is None else str(row[0])
    if revision > schema.REVISION:
        raise Refused(
            f"schema revision {revision}",
            f"{schema.REVISION} or older",
            "this logbook was made by a newer version of Brinemark; install that version",
            file=path.name,
        )
    missing = sorted({table.name for table in schema.TABLES} - names)
    if not revision or (revision == schema.REVISION and missing):
        raise _damaged(path, f"tables missing: {', '.join(missing)}" if missing else "no schema revision")
    return revision
