"""The tables of the SQLite store, made and changed step by step.

A released step is never edited: a change is a new step. The database itself
refuses to change or drop what is append-only, whoever asks.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable
from functools import cache
from typing import Final

from sqlite_utils import Database
from sqlite_utils.migrations import Migrations

from fourpair_service.records.errors import SchemaFromFutureError
from fourpair_service.records.label_order import label_key
from fourpair_service.storage.told_errors import plain_errors

APPEND_ONLY: Final = ("revision", "content", "change", "job_revision", "attachment", "attachment_content")

TABLES: Final = (
    """
    CREATE TABLE party (
        id TEXT PRIMARY KEY,
        kind TEXT NOT NULL CHECK (kind IN ('person', 'customer')),
        name TEXT,
        erased_at TEXT,
        CHECK ((name IS NULL) = (erased_at IS NOT NULL))
    ) STRICT
    """,
    "CREATE UNIQUE INDEX party_name ON party (kind, name) WHERE name IS NOT NULL",
    """
    CREATE TABLE job (
        id TEXT PRIMARY KEY,
        seq INTEGER NOT NULL,
        revision INTEGER NOT NULL CHECK (revision >= 1)
    ) STRICT
    """,
    """
    CREATE TABLE job_revision (
        job_id TEXT NOT NULL,
        number INTEGER NOT NULL CHECK (number >= 1),
        document TEXT NOT NULL CHECK (json_valid(document)),
        PRIMARY KEY (job_id, number)
    ) STRICT, WITHOUT ROWID
    """,
    """
    CREATE TABLE job_external_id (
        system TEXT NOT NULL,
        value TEXT NOT NULL,
        job_id TEXT NOT NULL,
        PRIMARY KEY (system, value)
    ) STRICT, WITHOUT ROWID
    """,
    "CREATE INDEX job_external_id_job ON job_external_id (job_id)",
    # Narrow: what lists and search need. Documents lie elsewhere, untouched by both.
    """
    CREATE TABLE record (
        row INTEGER PRIMARY KEY,
        id TEXT NOT NULL UNIQUE,
        job_id TEXT NOT NULL,
        label TEXT NOT NULL CHECK (label <> ''),
        revision INTEGER NOT NULL CHECK (revision >= 1),
        digest TEXT NOT NULL CHECK (digest GLOB 'sha256:*'),
        seq INTEGER NOT NULL,
        kind TEXT NOT NULL
            CHECK (kind IN ('submitted', 'retested', 'corrected', 'regraded', 'withdrawn')),
        outcome TEXT NOT NULL
            CHECK (outcome IN ('pass', 'marginal_pass', 'marginal_fail', 'fail', 'incomplete')),
        first_outcome TEXT NOT NULL,
        headroom_db REAL,
        category TEXT NOT NULL,
        rule_set_id TEXT NOT NULL,
        provisional INTEGER NOT NULL CHECK (provisional IN (0, 1)),
        tester_id TEXT,
        tested_at TEXT,
        created_at TEXT NOT NULL,
        changed_at TEXT NOT NULL,
        measurement_digest TEXT NOT NULL,
        measured_digest TEXT NOT NULL,
        external_ids TEXT NOT NULL CHECK (json_valid(external_ids)),
        categories_met TEXT NOT NULL CHECK (json_valid(categories_met)),
        applications TEXT NOT NULL CHECK (json_valid(applications)),
        power_types TEXT NOT NULL CHECK (json_valid(power_types)),
        failing TEXT NOT NULL CHECK (json_valid(failing))
    ) STRICT
    """,
    "CREATE UNIQUE INDEX record_label ON record (job_id, label) WHERE kind <> 'withdrawn'",
    "CREATE INDEX record_job ON record (job_id, row)",
    "CREATE INDEX record_counts ON record (job_id, kind, outcome, headroom_db)",
    "CREATE INDEX record_seq ON record (seq)",
    "CREATE INDEX record_by_label ON record (label, row)",
    "CREATE INDEX record_by_tested ON record (ifnull(tested_at, ''), row)",
    "CREATE INDEX record_by_headroom ON record (ifnull(headroom_db, 1e9), row)",
    "CREATE INDEX record_by_outcome ON record (outcome, row)",
    """
    CREATE TABLE record_external_id (
        system TEXT NOT NULL,
        value TEXT NOT NULL,
        record_id TEXT NOT NULL,
        PRIMARY KEY (system, value, record_id)
    ) STRICT, WITHOUT ROWID
    """,
    "CREATE INDEX record_external_id_record ON record_external_id (record_id)",
    # What a record has several of, and can be searched by.
    """
    CREATE TABLE record_trait (
        record_row INTEGER NOT NULL,
        kind TEXT NOT NULL CHECK (kind IN ('categories_met', 'applications', 'power_types', 'failing')),
        value TEXT NOT NULL,
        PRIMARY KEY (record_row, kind, value)
    ) STRICT, WITHOUT ROWID
    """,
    "CREATE INDEX record_trait_value ON record_trait (kind, value, record_row)",
    """
    CREATE TABLE revision (
        seq INTEGER PRIMARY KEY,
        record_id TEXT NOT NULL,
        number INTEGER NOT NULL CHECK (number >= 1),
        kind TEXT NOT NULL
            CHECK (kind IN ('submitted', 'retested', 'corrected', 'regraded', 'withdrawn')),
        job_id TEXT NOT NULL,
        label TEXT NOT NULL,
        external_ids TEXT NOT NULL CHECK (json_valid(external_ids)),
        tester_id TEXT,
        tested_at TEXT,
        rule_set_id TEXT NOT NULL,
        rule_set_digest TEXT NOT NULL CHECK (rule_set_digest GLOB 'sha256:*'),
        measurement_digest TEXT NOT NULL CHECK (measurement_digest GLOB 'sha256:*'),
        measured_digest TEXT NOT NULL CHECK (measured_digest GLOB 'sha256:*'),
        verdict_digest TEXT NOT NULL CHECK (verdict_digest GLOB 'sha256:*'),
        outcome TEXT NOT NULL
            CHECK (outcome IN ('pass', 'marginal_pass', 'marginal_fail', 'fail', 'incomplete')),
        headroom_db REAL,
        actor TEXT NOT NULL,
        reason TEXT,
        at TEXT NOT NULL,
        previous_digest TEXT CHECK ((previous_digest IS NULL) = (number = 1)),
        digest TEXT NOT NULL UNIQUE CHECK (digest GLOB 'sha256:*'),
        UNIQUE (record_id, number)
    ) STRICT
    """,
    """
    CREATE TABLE content (
        seq INTEGER PRIMARY KEY,
        verdict BLOB NOT NULL,
        rest BLOB NOT NULL,
        curves BLOB,
        curves_seq INTEGER NOT NULL REFERENCES content (seq),
        CHECK ((curves IS NULL) = (curves_seq <> seq))
    ) STRICT
    """,
    """
    CREATE TABLE assessment (
        record_id TEXT NOT NULL,
        number INTEGER NOT NULL,
        version TEXT NOT NULL,
        document BLOB NOT NULL,
        PRIMARY KEY (record_id, number)
    ) STRICT
    """,
    """
    CREATE TABLE change (
        seq INTEGER PRIMARY KEY CHECK (seq >= 1),
        previous_seq INTEGER,
        kind TEXT NOT NULL,
        at TEXT NOT NULL,
        job_id TEXT NOT NULL,
        previous_job_id TEXT,
        record_id TEXT,
        number INTEGER NOT NULL,
        label TEXT,
        outcome TEXT,
        previous_outcome TEXT
    ) STRICT
    """,
    "CREATE INDEX change_job ON change (job_id, seq)",
    "CREATE INDEX change_previous_job ON change (previous_job_id, seq) WHERE previous_job_id <> job_id",
    """
    CREATE TRIGGER change_follows BEFORE INSERT ON change
    WHEN NEW.seq <> (SELECT ifnull(max(seq), 0) + 1 FROM change)
    BEGIN SELECT RAISE(ABORT, 'the feed has no gaps'); END
    """,
    """
    CREATE TABLE fault (
        key TEXT PRIMARY KEY,
        record_id TEXT NOT NULL,
        what TEXT NOT NULL,
        title TEXT NOT NULL,
        detail TEXT NOT NULL,
        opened_seq INTEGER NOT NULL,
        seen_seq INTEGER NOT NULL,
        closed_seq INTEGER
    ) STRICT, WITHOUT ROWID
    """,
    "CREATE INDEX fault_record ON fault (record_id, opened_seq)",
    """
    CREATE TABLE attachment (
        id TEXT PRIMARY KEY,
        job_id TEXT NOT NULL,
        name TEXT NOT NULL,
        media_type TEXT NOT NULL,
        size INTEGER NOT NULL,
        digest TEXT NOT NULL,
        at TEXT NOT NULL,
        actor TEXT NOT NULL
    ) STRICT
    """,
    "CREATE INDEX attachment_job ON attachment (job_id)",
    "CREATE TABLE attachment_content (digest TEXT PRIMARY KEY, content BLOB NOT NULL) STRICT",
    """
    CREATE TABLE idempotency (
        owner TEXT NOT NULL,
        key TEXT NOT NULL,
        fingerprint TEXT NOT NULL,
        subject TEXT NOT NULL,
        subject_id TEXT NOT NULL,
        number INTEGER,
        seq INTEGER,
        at TEXT NOT NULL,
        status INTEGER NOT NULL,
        answer TEXT CHECK (answer IS NULL OR json_valid(answer)),
        PRIMARY KEY (owner, key)
    ) STRICT, WITHOUT ROWID
    """,
    "CREATE INDEX idempotency_at ON idempotency (at)",
    """
    CREATE TABLE api_key (
        id TEXT PRIMARY KEY,
        name TEXT NOT NULL,
        digest TEXT NOT NULL,
        scopes TEXT NOT NULL CHECK (json_valid(scopes)),
        created_at TEXT NOT NULL,
        jobs TEXT CHECK (jobs IS NULL OR json_valid(jobs)),
        expires_at TEXT,
        revoked_at TEXT,
        last_used_at TEXT,
        replaces TEXT,
        requests_per_minute INTEGER
    ) STRICT
    """,
)

MIGRATIONS: Final = Migrations("fourpair")


@MIGRATIONS(name="0001_records")
def _records(db: Database) -> None:
    for statement in TABLES:
        db.execute(statement)
    for table in APPEND_ONLY:
        for action in ("UPDATE", "DELETE"):
            db.execute(
                f"CREATE TRIGGER {table}_refuses_{action.lower()} BEFORE {action} ON {table} "
                f"BEGIN SELECT RAISE(ABORT, 'what is in {table} is never changed'); END"
            )


@MIGRATIONS(name="0002_drawers")
def _drawers(db: Database) -> None:
    # What may change and lies outside every chain: runs, their results, subscriptions, deliveries.
    db.execute(
        """
        CREATE TABLE drawer (
            name TEXT NOT NULL,
            key TEXT NOT NULL,
            document TEXT NOT NULL CHECK (json_valid(document)),
            PRIMARY KEY (name, key)
        ) STRICT, WITHOUT ROWID
        """
    )


# How many records of a job have an outcome, kept beside them: a job is counted by reading a few rows,
# and the index finds the worst of each without looking at the others.
COUNT_ALL: Final = (
    "INSERT INTO tally SELECT job_id, outcome, count(*) FROM record WHERE kind <> 'withdrawn' "
    "GROUP BY job_id, outcome"
)
TALLY: Final = (
    """
    CREATE TABLE tally (
        job_id TEXT NOT NULL,
        outcome TEXT NOT NULL,
        links INTEGER NOT NULL CHECK (links >= 0),
        PRIMARY KEY (job_id, outcome)
    ) STRICT, WITHOUT ROWID
    """,
    COUNT_ALL,
    "CREATE INDEX record_worst ON record (job_id, outcome, headroom_db) WHERE kind <> 'withdrawn'",
    "DROP INDEX record_counts",
)


@MIGRATIONS(name="0003_tally")
def _tally(db: Database) -> None:
    for statement in TALLY:
        db.execute(statement)


@MIGRATIONS(name="0004_second_forms")
def _second_forms(_db: Database) -> None:
    """Change no table: a release that cannot read what is written from here on shall not open the store."""


# Labels as people sort them. What that is may not be told in SQL, so the rows there are told one by one.
LABEL_ORDER: Final = (
    "ALTER TABLE record ADD COLUMN label_order TEXT NOT NULL DEFAULT ''",
    "CREATE INDEX record_by_label_order ON record (label_order, row)",
    "CREATE INDEX record_job_label_order ON record (job_id, label_order, row)",
)
LABELS: Final = "SELECT row, label FROM record WHERE row > ? ORDER BY row LIMIT 1000"


@MIGRATIONS(name="0005_label_order")
def _label_order(db: Database) -> None:
    add_column, *indexes = LABEL_ORDER
    db.execute(add_column)
    last = 0
    while page := db.execute(LABELS, [last]).fetchall():
        for last, label in page:
            db.execute("UPDATE record SET label_order = ? WHERE row = ?", [label_key(label), last])
    for statement in indexes:
        db.execute(statement)


@cache
def known_steps() -> tuple[str, ...]:
    """Return the steps of this release in order."""
    return tuple(step.name for step in MIGRATIONS._migrations)


def applied_steps(connection: sqlite3.Connection) -> tuple[str, ...]:
    """Return the steps that a store has behind it."""
    return tuple(step.name for step in MIGRATIONS.applied(Database(connection)))


# Read in every block of writing: a newer release may have come while this one is at work.
NEWEST: Final = "SELECT max(name) FROM _sqlite_migrations WHERE migration_set = 'fourpair'"


def refuse_unknown(applied: Iterable[str], name: str) -> None:
    """Refuse a store that has steps behind it which this release does not know.

    Raises:
        SchemaFromFutureError: it has; nothing was changed.
    """
    unknown = [step for step in applied if step not in known_steps()]
    if unknown:
        raise SchemaFromFutureError(
            f"{name} was written by a newer release: it has the step {unknown[-1]}, and this release ends with "
            f"{known_steps()[-1]}. Nothing was changed. Start the newer release, or restore a backup made before."
        )


def migrate(connection: sqlite3.Connection, path: str) -> None:
    """Bring a store to the schema of this release; other processes wait meanwhile.

    Raises:
        SchemaFromFutureError: it has steps that this release does not know;
            nothing was changed.
    """
    applied = applied_steps(connection)
    refuse_unknown(applied, path)
    if applied == known_steps():
        return
    with plain_errors(path):
        connection.execute("BEGIN IMMEDIATE")
        try:
            MIGRATIONS.apply(Database(connection))
            connection.execute("COMMIT")
        except BaseException:
            if connection.in_transaction:
                connection.execute("ROLLBACK")
            raise
