"""The store in one SQLite file: the default.

Write-ahead log and ``synchronous=FULL``: a commit that was answered is on disk.
Every block begins with ``BEGIN IMMEDIATE``: one that read first and then wished
to write would be refused at once, whatever the timeout, when another process
committed in between.
"""

from __future__ import annotations

import os
import shutil
import sqlite3
import threading
import time
from abc import abstractmethod
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final, TypeVar

from fourpair_service.records.errors import StoreReadOnlyError
from fourpair_service.storage.schema import NEWEST, applied_steps, migrate, refuse_unknown
from fourpair_service.storage.sql_reader import SqlReader
from fourpair_service.storage.sql_writer import SqlWriter
from fourpair_service.storage.told_errors import PRIMARY_CODE, made, plain_error, plain_errors

T = TypeVar("T")

# How long a writer waits for the others before it gives up. [s]
BUSY_TIMEOUT_S: Final = 30.0
# How long it sleeps between two looks whether they are done, at first and at most. [s]
FIRST_NAP_S: Final = 0.0005
LONGEST_NAP_S: Final = 0.005
# A log that a burst made large is cut back to this at the next checkpoint. [bytes]
LOG_SIZE_LIMIT: Final = 64 * 1024 * 1024


def connect(path: str, *, busy_timeout_s: float = BUSY_TIMEOUT_S) -> sqlite3.Connection:
    """Return a connection with the settings on which the promises rest.

    Raises:
        StoreError: it cannot be opened, or is no store.
    """
    with plain_errors(path):
        connection = sqlite3.connect(
            path, timeout=busy_timeout_s, isolation_level=None, check_same_thread=False
        )
        connection.row_factory = sqlite3.Row
        try:
            # SQLite itself does not wait for others that are making the same new file.
            _insist(connection, "PRAGMA journal_mode = WAL", busy_timeout_s)
            connection.execute("PRAGMA synchronous = FULL")
            connection.execute("PRAGMA foreign_keys = ON")
            connection.execute(f"PRAGMA journal_size_limit = {LOG_SIZE_LIMIT}")
        except sqlite3.Error:
            connection.close()
            raise
    return connection


def _begin(connection: sqlite3.Connection, patience_s: float) -> None:
    """Begin a block of writing, once the others are done.

    Raises:
        sqlite3.OperationalError: the others took longer than that, or it cannot be written.
    """
    _insist(connection, "BEGIN IMMEDIATE", patience_s)


def _insist(connection: sqlite3.Connection, statement: str, patience_s: float) -> None:
    """Carry out a statement that takes a lock, once the others let go of it.

    SQLite's own naps grow to a tenth of a second, while a block is over in a few
    milliseconds; on a busy machine most of the waiting would be for nobody.

    Raises:
        sqlite3.OperationalError: the others took longer than that, or it cannot be written.
    """
    until_s, nap_s = time.monotonic() + patience_s, FIRST_NAP_S
    connection.execute("PRAGMA busy_timeout = 0")
    try:
        while True:
            try:
                connection.execute(statement)
                return
            except sqlite3.OperationalError as error:
                is_busy = error.sqlite_errorcode & PRIMARY_CODE == sqlite3.SQLITE_BUSY
                if not is_busy or time.monotonic() >= until_s:
                    raise
            time.sleep(nap_s)
            nap_s = min(nap_s * 1.5, LONGEST_NAP_S)
    finally:
        connection.execute(f"PRAGMA busy_timeout = {round(patience_s * 1000)}")


def _check_directory(path: str) -> None:
    directory = Path(path).resolve().parent
    if not directory.is_dir():
        raise StoreReadOnlyError(
            f"There is no directory {directory} for the store; make it, or give another path."
        )


class SqliteReader(SqlReader):
    """What a store and a block of writing have in common."""

    path: str

    @property
    @abstractmethod
    def connection(self) -> sqlite3.Connection:
        """The connection of this thread or block."""

    # A dozen statements make a record: each says itself what plain_errors says, which takes as long as one.

    def _all(self, make: Callable[[Any], T], sql: str, *values: Any) -> list[T]:
        try:
            return [made(make, row, self.path) for row in self.connection.execute(sql, values)]
        except sqlite3.Error as error:
            raise plain_error(error, self.path) from error

    def _one(self, make: Callable[[Any], T], sql: str, *values: Any) -> T | None:
        try:
            row = self.connection.execute(sql, values).fetchone()
        except sqlite3.Error as error:
            raise plain_error(error, self.path) from error
        return None if row is None else made(make, row, self.path)


class SqliteWriter(SqliteReader, SqlWriter):
    """A block of writing on one connection; see :class:`~fourpair_service.records.ports.Writer`."""

    def __init__(self, connection: sqlite3.Connection, path: str) -> None:
        self._connection, self.path = connection, path

    @property
    def connection(self) -> sqlite3.Connection:
        """The connection whose transaction this is."""
        return self._connection

    def _run(self, sql: str, values: Any = ()) -> int:
        try:
            return self._connection.execute(sql, values).rowcount
        except sqlite3.Error as error:
            raise plain_error(error, self.path) from error

    def _run_each(self, sql: str, values: Sequence[Any]) -> None:
        try:
            self._connection.executemany(sql, values)
        except sqlite3.Error as error:
            raise plain_error(error, self.path) from error


class SqliteStore(SqliteReader):
    """See :class:`~fourpair_service.records.ports.Store`.

    A connection belongs to one thread of one process: a fork makes its own.

    Args:
        path: of the file; made when it does not exist.

    Raises:
        StoreError: it cannot be opened, is no store, or is of a newer release.
    """

    def __init__(self, path: str | Path, *, busy_timeout_s: float = BUSY_TIMEOUT_S) -> None:
        self.path = str(path)
        self._busy_timeout_s = busy_timeout_s
        self._own = threading.local()
        self._opened: list[sqlite3.Connection] = []
        self._left: list[sqlite3.Connection] = []
        self._process = os.getpid()
        _check_directory(self.path)
        with plain_errors(self.path):
            migrate(self.connection, self.path)

    @property
    def connection(self) -> sqlite3.Connection:
        """The connection of this thread."""
        if self._process != os.getpid():
            # The parent's connections are neither used nor closed here: that would drop its locks.
            self._left.extend(self._opened)
            self._own, self._opened, self._process = threading.local(), [], os.getpid()
        connection: sqlite3.Connection | None = getattr(self._own, "connection", None)
        if connection is None:
            connection = connect(self.path, busy_timeout_s=self._busy_timeout_s)
            self._own.connection = connection
            self._opened.append(connection)
        return connection

    @contextmanager
    def reading(self) -> Iterator[SqliteReader]:
        """Return a block that sees one state of the store, whatever others commit."""
        connection = self.connection
        with plain_errors(self.path):
            connection.execute("BEGIN")
        try:
            yield SqliteWriter(connection, self.path)
        finally:
            connection.execute("ROLLBACK")

    @contextmanager
    def writing(self, *, keep: bool = True) -> Iterator[SqliteWriter]:
        """Return a block; with ``keep=False`` everything is checked and nothing kept."""
        connection = self.connection
        with plain_errors(self.path):
            _begin(connection, self._busy_timeout_s)
        try:
            with plain_errors(self.path):
                refuse_unknown(connection.execute(NEWEST).fetchone(), self.path)
            yield SqliteWriter(connection, self.path)
            with plain_errors(self.path):
                connection.execute("COMMIT" if keep else "ROLLBACK")
        finally:
            # A full disk may have ended the transaction already.
            if connection.in_transaction:
                connection.execute("ROLLBACK")

    def touch_api_keys(self, used: Iterable[tuple[str, str]]) -> None:
        """Note when keys were last used: (id, instant)."""
        with self.writing() as writer, plain_errors(self.path):
            writer.connection.executemany(
                "UPDATE api_key SET last_used_at = ? WHERE id = ?", [(at, key_id) for key_id, at in used]
            )

    def steps(self) -> tuple[str, ...]:
        """Return the steps of the schema that the store has behind it."""
        with plain_errors(self.path):
            return applied_steps(self.connection)

    def prove_writing(self) -> None:
        """Write something and take it back.

        Raises:
            StoreError: it cannot be written.
        """
        with self.writing(keep=False) as writer, plain_errors(self.path):
            writer.connection.execute("CREATE TABLE proof (filler BLOB)")
            writer.connection.execute("INSERT INTO proof VALUES (zeroblob(65536))")

    def facts(self) -> dict[str, str | int]:
        """Return what an operator may wish to know."""
        with plain_errors(self.path):
            synchronous = self.connection.execute("PRAGMA synchronous").fetchone()[0]
            journal = self.connection.execute("PRAGMA journal_mode").fetchone()[0]
        return {
            "kind": "sqlite",
            "schema": self.steps()[-1],
            "journal_mode": str(journal),
            "synchronous": int(synchronous),
            "free_bytes": shutil.disk_usage(Path(self.path).resolve().parent).free,
        }

    def close(self) -> None:
        """Let go of the file."""
        for connection in self._opened:
            connection.close()
        self._opened.clear()
        self._own = threading.local()
