"""The tables in PostgreSQL: the same steps as in SQLite, and what the database itself refuses.

What is append-only is refused to be changed twice over: by a trigger, whoever asks,
and by rights that nobody is given, the owner included.
"""

from __future__ import annotations

from collections.abc import Sequence, Set
from typing import Any, Final, cast

import psycopg
from psycopg import sql
from sqlite_utils import Database

from fourpair_service.records.errors import StoreReadOnlyError
from fourpair_service.storage.postgres_dialect import definition, query, values
from fourpair_service.storage.schema import APPEND_ONLY, MIGRATIONS, known_steps, refuse_unknown

Connection = psycopg.Connection[Any]

# Any number of our own: whoever migrates holds it.
MIGRATING: Final = 0x666F7572
# What every block of writing begins with: they follow one another.
COUNT_ALONE: Final = "SELECT value FROM counter WHERE name = 'seq' FOR UPDATE"
# Read in each, with a snapshot of its own: a newer release may have come while this one is at work.
NEWEST: Final = "SELECT max(name) FROM step"
ROWS: Final = ("SELECT ", "UPDATE ")
STEPS_TABLE: Final = (
    'CREATE TABLE IF NOT EXISTS step (name TEXT COLLATE "C" PRIMARY KEY, at TIMESTAMPTZ NOT NULL)'
)
COUNTER: Final = (
    'CREATE TABLE IF NOT EXISTS counter (name TEXT COLLATE "C" PRIMARY KEY, value BIGINT NOT NULL)',
    "INSERT INTO counter VALUES ('seq', 0) ON CONFLICT DO NOTHING",
)
REFUSAL: Final = """
    CREATE OR REPLACE FUNCTION refuse_change() RETURNS trigger LANGUAGE plpgsql AS $$
    BEGIN RAISE EXCEPTION 'what is in % is never changed', TG_TABLE_NAME; END $$
"""
NO_GAPS: Final = (
    """
    CREATE OR REPLACE FUNCTION refuse_gap() RETURNS trigger LANGUAGE plpgsql AS $$
    BEGIN
        IF NEW.seq <> (SELECT coalesce(max(seq), 0) + 1 FROM change) THEN
            RAISE EXCEPTION 'the feed has no gaps';
        END IF;
        RETURN NEW;
    END $$
    """,
    "CREATE OR REPLACE TRIGGER change_follows BEFORE INSERT ON change FOR EACH ROW EXECUTE FUNCTION refuse_gap()",
)


SERVING: Final = """
    SELECT DISTINCT role.rolname FROM pg_class, aclexplode(relacl) AS given
    JOIN pg_roles AS role ON role.oid = given.grantee
    WHERE pg_class.oid = to_regclass('change') AND given.privilege_type = 'INSERT' AND role.rolname <> current_user
    ORDER BY role.rolname
"""
OF_ANOTHER: Final = (
    "{name} has the tables of an earlier release, and this role may not bring them up to date ({error}). Run "
    "'fourpair-service grant ROLE' once with the URL of the role that owns them."
)


class _Translating:
    """Carries out on PostgreSQL what a step says to SQLite."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def execute(self, statement: str, given: Sequence[Any] | None = None) -> psycopg.Cursor[Any] | None:
        """Carry out a statement that makes a table or an index, or that reads or changes rows."""
        if statement.startswith(ROWS):
            return self._connection.execute(query(statement).encode(), given and values(given))
        told = definition(statement)
        return None if told is None else self._connection.execute(told.encode())


def applied_steps(connection: Connection) -> tuple[str, ...]:
    """Return the steps that a store has behind it."""
    if connection.execute("SELECT to_regclass('step')").fetchone() == (None,):
        return ()
    return tuple(row[0] for row in connection.execute("SELECT name FROM step ORDER BY name"))


def migrate(connection: Connection, name: str) -> None:
    """Bring a store to the schema of this release; others who do so wait meanwhile.

    Roles that served it may use what the new steps make, as far as what there was.

    Raises:
        SchemaFromFutureError: it has steps that this release does not know.
        StoreReadOnlyError: it is of an earlier release, and the role may not change its tables.
        psycopg.Error: the role may not make tables.
    """
    applied = applied_steps(connection)
    refuse_unknown(applied, name)
    if set(applied) == set(known_steps()):
        return
    try:
        with connection.transaction():
            connection.execute("SELECT pg_advisory_xact_lock(%s)", (MIGRATING,))
            if applied:
                # Blocks of writing of an older release end before, and those that follow find the new steps.
                connection.execute(COUNT_ALONE)
            before, serving = _own_tables(connection), _serving(connection)
            carry_out(connection, known_steps())
            for role in serving:
                _give(connection, role, _own_tables(connection) - before)
    except psycopg.errors.InsufficientPrivilege as error:
        if not applied:
            raise
        raise StoreReadOnlyError(OF_ANOTHER.format(name=name, error=str(error).splitlines()[0])) from error


def carry_out(connection: Connection, steps: Sequence[str]) -> None:
    """Carry out those of the steps that a store has not behind it, and guard what is append-only."""
    connection.execute(STEPS_TABLE)
    applied = applied_steps(connection)
    for step in MIGRATIONS._migrations:
        if step.name in steps and step.name not in applied:
            step.fn(cast(Database, _Translating(connection)))
            connection.execute("INSERT INTO step VALUES (%s, now())", (step.name,))
    _guard(connection)


def _guard(connection: Connection) -> None:
    for statement in (*COUNTER, REFUSAL, *NO_GAPS):
        connection.execute(statement)
    for table in APPEND_ONLY:
        name = sql.Identifier(table)
        for what, each in (("UPDATE OR DELETE", "ROW"), ("TRUNCATE", "STATEMENT")):
            trigger = sql.Identifier(f"{table}_refuses_{what.split()[0].lower()}")
            connection.execute(
                sql.SQL(
                    "CREATE OR REPLACE TRIGGER {} BEFORE " + what + " ON {} FOR EACH " + each + " "
                    "EXECUTE FUNCTION refuse_change()"
                ).format(trigger, name)
            )
        connection.execute(
            sql.SQL("REVOKE UPDATE, DELETE, TRUNCATE ON {} FROM PUBLIC, CURRENT_USER").format(name)
        )


def grant(connection: Connection, role: str) -> None:
    """Give a role what the service needs and no more; asked by the owner of the tables."""
    with connection.transaction():
        _give(connection, role, _own_tables(connection))


def _give(connection: Connection, role: str, tables: Set[str]) -> None:
    for table in sorted(tables):
        rights = "SELECT, INSERT" if table in APPEND_ONLY else "SELECT, INSERT, UPDATE, DELETE"
        rights = "SELECT" if table == "step" else rights
        statement = sql.SQL("GRANT " + rights + " ON {} TO {}")
        connection.execute(statement.format(sql.Identifier(table), sql.Identifier(role)))


def _own_tables(connection: Connection) -> Set[str]:
    rows = connection.execute(
        "SELECT tablename FROM pg_tables WHERE schemaname = current_schema() AND tableowner = current_user"
    )
    return {table for (table,) in rows.fetchall()}


def _serving(connection: Connection) -> Sequence[str]:
    """Return the roles that the store serves by: those which may append to its feed."""
    return [role for (role,) in connection.execute(SERVING).fetchall()]
