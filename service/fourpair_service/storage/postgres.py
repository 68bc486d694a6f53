"""The store in a PostgreSQL database: for several machines, and for what outgrows one.

Every block of writing begins by taking the row that counts ``seq``, so that blocks
follow one another and the feed has no gaps, whatever is rolled back. A commit that
was answered is on disk.
"""

from __future__ import annotations

import os
import threading
from abc import abstractmethod
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any, Final, TypeVar, cast

import psycopg

from fourpair_service.records.errors import StoreError
from fourpair_service.storage.opening import shown
from fourpair_service.storage.postgres_dialect import query, values
from fourpair_service.storage.postgres_errors import plain_errors
from fourpair_service.storage.postgres_schema import COUNT_ALONE, NEWEST, Connection, applied_steps, migrate
from fourpair_service.storage.schema import refuse_unknown
from fourpair_service.storage.sql_reader import SqlReader
from fourpair_service.storage.sql_writer import SqlWriter
from fourpair_service.storage.told_errors import made

T = TypeVar("T")

# How long a writer waits for the others before it gives up. [ms]
LOCK_TIMEOUT_MS: Final = 30_000
SETTINGS: Final = (
    f"-c lock_timeout={LOCK_TIMEOUT_MS} -c synchronous_commit=on -c client_encoding=UTF8 "
    "-c idle_in_transaction_session_timeout=0"
)
NUL: Final = "\x00"
FILLER_BYTES: Final = 65_536


class Row(tuple[Any, ...]):
    """A row whose values are found by place and by name."""

    names: tuple[str, ...] = ()

    def __getitem__(self, place: Any) -> Any:
        """Return a value by place or name, or a part of the row."""
        return super().__getitem__(self.names.index(place) if isinstance(place, str) else place)

    def keys(self) -> tuple[str, ...]:
        """Return the names of the columns."""
        return self.names


def _rows(cursor: psycopg.Cursor[Any]) -> Callable[[Sequence[Any]], Row]:
    columns = tuple(column.name for column in cursor.description or ())
    kind = type("NamedRow", (Row,), {"names": columns})
    return cast(Callable[[Sequence[Any]], Row], kind)


def connect(url: str) -> Connection:
    """Return a connection with the settings on which the promises rest.

    Raises:
        StoreError: the server cannot be reached, or refuses.
    """
    with plain_errors(shown(url)):
        return psycopg.connect(url, autocommit=True, options=SETTINGS, application_name="fourpair")


class PostgresReader(SqlReader):
    """What a store and a block of writing have in common."""

    path: str

    @property
    @abstractmethod
    def database(self) -> Connection:
        """The connection of this thread or block."""

    def _found(self, sql: str, given: Sequence[Any]) -> psycopg.Cursor[Row]:
        cursor = self.database.cursor(row_factory=_rows)
        return cursor.execute(query(sql).encode(), values(given))

    def _all(self, make: Callable[[Any], T], sql: str, *given: Any) -> list[T]:
        if any(isinstance(value, str) and NUL in value for value in given):
            return []
        with plain_errors(self.path):
            return [made(make, row, self.path) for row in self._found(sql, given)]

    def _one(self, make: Callable[[Any], T], sql: str, *given: Any) -> T | None:
        if any(isinstance(value, str) and NUL in value for value in given):
            return None
        with plain_errors(self.path):
            row = self._found(sql, given).fetchone()
        return None if row is None else made(make, row, self.path)


class PostgresWriter(PostgresReader, SqlWriter):
    """A block of writing on one connection; see :class:`~fourpair_service.records.ports.Writer`."""

    def __init__(self, database: Connection, path: str) -> None:
        self._database, self.path = database, path

    @property
    def database(self) -> Connection:
        """The connection whose transaction this is."""
        return self._database

    def _run(self, sql: str, given: Any = ()) -> int:
        with plain_errors(self.path):
            return self._database.execute(query(sql).encode(), values(given)).rowcount

    def _run_each(self, sql: str, given: Sequence[Any]) -> None:
        with plain_errors(self.path), self._database.cursor() as cursor:
            cursor.executemany(query(sql).encode(), [values(each) for each in given])

    def _next_seq(self) -> int:
        sql = "UPDATE counter SET value = value + 1 WHERE name = 'seq' RETURNING value"
        return self._one(lambda row: int(row[0]), sql) or 0


class PostgresStore(PostgresReader):
    """See :class:`~fourpair_service.records.ports.Store`.

    A connection belongs to one thread of one process; one that was lost is made anew.

    Args:
        url: ``postgresql://…``, as libpq takes it.

    Raises:
        StoreError: it cannot be reached, may not be used, or is of a newer release.
    """

    def __init__(self, url: str) -> None:
        self._url, self.path = url, shown(url)
        self._own = threading.local()
        self._opened: list[Connection] = []
        self._left: list[Connection] = []
        self._process = os.getpid()
        try:
            with plain_errors(self.path):
                migrate(self.database, self.path)
        except StoreError:
            self.close()
            raise

    @property
    def database(self) -> Connection:
        """The connection of this thread."""
        if self._process != os.getpid():
            # The parent's connections are neither used nor closed here: the server would end them.
            self._left.extend(self._opened)
            self._own, self._opened, self._process = threading.local(), [], os.getpid()
        found: Connection | None = getattr(self._own, "database", None)
        if found is None or found.closed or found.broken:
            found = connect(self._url)
            self._own.database = found
            self._opened = [each for each in self._opened if not each.closed] + [found]
        return found

    @contextmanager
    def _block(self, begin: str, end: str, *, writes: bool) -> Iterator[PostgresWriter]:
        database = self.database
        try:
            with plain_errors(self.path):
                # In one message: BEGIN, what the block rests on, and how new the tables are.
                cursor = database.execute(begin.encode())
                while cursor.nextset():
                    pass
                newest = cursor.fetchone()
            if writes:
                refuse_unknown(newest or (), self.path)
            yield PostgresWriter(database, self.path)
            with plain_errors(self.path):
                database.execute(end.encode())
        finally:
            if not database.closed and database.info.transaction_status != psycopg.pq.TransactionStatus.IDLE:
                with plain_errors(self.path):
                    database.execute("ROLLBACK")

    @contextmanager
    def reading(self) -> Iterator[PostgresWriter]:
        """Return a block that sees one state of the store, whatever others commit."""
        # The state is that of the first query, which must not wait for the block's own.
        begin = "BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY; SELECT 1"
        with self._block(begin, "ROLLBACK", writes=False) as reader:
            yield reader

    @contextmanager
    def writing(self, *, keep: bool = True) -> Iterator[PostgresWriter]:
        """Return a block; with ``keep=False`` everything is checked and nothing kept."""
        begin = f"BEGIN ISOLATION LEVEL READ COMMITTED; {COUNT_ALONE}; {NEWEST}"
        with self._block(begin, "COMMIT" if keep else "ROLLBACK", writes=True) as writer:
            yield writer

    def touch_api_keys(self, used: Iterable[tuple[str, str]]) -> None:
        """Note when keys were last used: (id, instant)."""
        with plain_errors(self.path), self.database.cursor() as cursor:
            cursor.executemany(
                "UPDATE api_key SET last_used_at = %s WHERE id = %s", [(at, key_id) for key_id, at in used]
            )

    def steps(self) -> tuple[str, ...]:
        """Return the steps of the schema that the store has behind it."""
        with plain_errors(self.path):
            return applied_steps(self.database)

    def prove_writing(self) -> None:
        """Write something and take it back.

        Raises:
            StoreError: it cannot be written.
        """
        with self.writing(keep=False) as writer:
            writer.put_in("proof", "filler", {"filler": "x" * FILLER_BYTES})

    def facts(self) -> dict[str, str | int]:
        """Return what an operator may wish to know."""
        with plain_errors(self.path):
            version = self.database.execute("SHOW server_version").fetchone()
        return {
            "kind": "postgresql",
            "schema": self.steps()[-1],
            "server_version": str(version[0]) if version else "",
        }

    def close(self) -> None:
        """Let go of the connections."""
        for each in self._opened:
            each.close()
        self._opened.clear()
        self._own = threading.local()
