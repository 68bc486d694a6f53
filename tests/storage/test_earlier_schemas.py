"""Stores of earlier releases, brought up to date with all that they hold: a file, and a database.

``data`` has a store as each release's schema left it (``releasing`` wrote those from 0002 on).
"""

from __future__ import annotations

import sqlite3
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import psycopg
import pytest

from fourpair_service.app import create_app
from fourpair_service.background import Background
from fourpair_service.config import Settings
from fourpair_service.http.assessment import Detail
from fourpair_service.records import commands
from fourpair_service.records.completing import complete
from fourpair_service.records.desk import Terms
from fourpair_service.records.errors import StoreError, StoreReadOnlyError
from fourpair_service.records.integrity import first_break
from fourpair_service.records.label_order import label_key
from fourpair_service.records.runs.commands import past_runs
from fourpair_service.records.runs.model import RunState
from fourpair_service.records.search import Field, Filter, Sort
from fourpair_service.records.subscriptions.commands import all_subscriptions
from fourpair_service.records.subscriptions.model import SubscriptionState
from fourpair_service.records.transfer import export_lines, import_lines
from fourpair_service.storage.memory import MemoryStore
from fourpair_service.storage.postgres import PostgresStore
from fourpair_service.storage.postgres_schema import carry_out, grant
from fourpair_service.storage.schema import APPEND_ONLY, known_steps
from fourpair_service.storage.sqlite import SqliteStore
from postgres_server import OWNER, SERVICE, administer, database, url
from record_factory import ANYONE, desk_of, measurement

DUMPS = {
    path.stem.partition("-")[2]: path for path in (Path(__file__).parent / "data").glob("released-*.sql")
}
STEPS = {step[:4]: step for step in known_steps()}
JOB = "harbour-hall"
# What the file's own machinery keeps, and what a database keeps otherwise.
RIGHTS = ("SELECT", "INSERT", "UPDATE", "DELETE")
OWN = {"_sqlite_migrations", "sqlite_sequence"}


def test_every_schema_has_a_store_that_it_left():
    assert DUMPS.keys() == STEPS.keys(), "PYTHONPATH=service:tests python -m storage.releasing writes one"


def as_left(number):
    """Return the tables of a dump by name: their columns and rows."""
    with closing(sqlite3.connect(":memory:")) as raw:
        raw.executescript(DUMPS[number].read_text())
        names = [row[0] for row in raw.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        steps = [row[0] for row in raw.execute("SELECT name FROM _sqlite_migrations ORDER BY id")]
        assert steps == [step for key, step in STEPS.items() if key <= number]
        return {name: rows_of(raw, name) for name in names if name not in OWN}


def rows_of(connection, table, columns=None):
    """Return the columns of a table and its rows, in an order of their own."""
    cursor = connection.execute(f"SELECT {', '.join(columns or ['*'])} FROM {table}")
    found = [tuple(bytes(v) if isinstance(v, memoryview) else v for v in row) for row in cursor]
    return columns or [column[0] for column in cursor.description], sorted(found, key=repr)


def left_in_a_file(number, path):
    with closing(sqlite3.connect(path)) as raw:
        raw.executescript(DUMPS[number].read_text())


def shape(connection):
    """Return every table, index and trigger with what makes it."""
    sql = "SELECT type, name, sql FROM sqlite_master WHERE name NOT LIKE 'sqlite_%' ORDER BY type, name"
    return [(kind, name, " ".join((made or "").split())) for kind, name, made in connection.execute(sql)]


def whole(store):
    """Hold that everything can be read and that writing goes on."""
    assert store.steps() == known_steps()
    assert first_break(store) is None
    last = store.last_change().seq
    records = store.records(Filter(withdrawn=None), Sort(), after=None, limit=1000)
    assert records
    in_order = store.records(Filter(withdrawn=None), Sort(Field.LABEL), after=None, limit=1000)
    assert [r.label for r in in_order] == sorted((r.label for r in records), key=label_key)
    for record in records:
        for revision in store.revisions(record.id):
            assert store.verdict(record.id, revision.number)["outcome"] == revision.outcome
            assert commands.stored_document(store, record.id, revision.number)["label"] == revision.label
    desk = desk_of(store, prefix="new")
    open_record = next(record for record in records if not record.withdrawn)
    commands.submit(desk, ANYONE, measurement("Z-77"), Terms())
    again = measurement(open_record.label, job=open_record.job_id)
    commands.retest(desk, ANYONE, open_record.id, again, Terms())
    assert [c.seq for c in store.changes(after=0, limit=1000)] == list(range(1, last + 3))
    assert first_break(store) is None
    with store.reading() as reader:
        lines = list(export_lines(reader))
    moved = MemoryStore()
    import_lines(moved, lines)
    with moved.reading() as reader:
        assert list(export_lines(reader)) == lines


@pytest.mark.parametrize("number", DUMPS)
def test_a_file_of_an_earlier_schema_is_brought_up_to_date_with_all_that_it_holds(number, tmp_path):
    before, path = as_left(number), tmp_path / "records.db"
    left_in_a_file(number, path)

    store = SqliteStore(path)

    with closing(sqlite3.connect(path)) as raw, closing(sqlite3.connect(tmp_path / "new.db")) as new:
        for name, (columns, rows) in before.items():
            assert rows_of(raw, name, columns) == (columns, rows), name
        SqliteStore(tmp_path / "new.db").close()
        assert shape(raw) == shape(new)
    whole(store)
    store.close()


@pytest.mark.parametrize("number", [number for number in DUMPS if number < max(DUMPS)])
def test_a_step_that_fails_leaves_the_store_as_it_was(number, tmp_path):
    path = tmp_path / "records.db"
    left_in_a_file(number, path)
    with closing(sqlite3.connect(path)) as raw:
        # Somebody's own index in the place of one that the last step makes.
        raw.execute("CREATE INDEX record_by_label_order ON record (id)")

    with pytest.raises(StoreError, match="record_by_label_order"):
        SqliteStore(path)

    with closing(sqlite3.connect(path)) as raw:
        steps = [row[0] for row in raw.execute("SELECT name FROM _sqlite_migrations ORDER BY id")]
        assert steps == [step for key, step in STEPS.items() if key <= number]
        for name, (columns, rows) in as_left(number).items():
            assert rows_of(raw, name) == (columns, rows), name
        raw.execute("DROP INDEX record_by_label_order")
    store = SqliteStore(path)
    whole(store)
    store.close()


# The first one was filled by commands alone, without runs and keys.
@pytest.mark.parametrize("number", [number for number in DUMPS if number > "0001"])
def test_what_a_release_had_begun_goes_on_in_the_next(number, tmp_path):
    path = tmp_path / "records.db"
    left_in_a_file(number, path)
    store = SqliteStore(path)
    app = create_app(store=store)

    begun = past_runs(store)
    assert [(run.state, run.seen) for run in begun] == [(RunState.DONE, 5), (RunState.WAITING, 0)]
    work = Background(Settings(grading_processes=1), app.extensions["fourpair"].desk)
    work.runs()
    work.close()
    assert [(run.state, run.seen) for run in past_runs(store)] == [(RunState.DONE, 5)] * 2
    assert app.test_client().get("/v1/jobs").status_code == 401
    assert [key.name for key in store.api_keys()] == ["front desk"]
    assert store.idempotency("anyone", "first-0").subject == "record"
    assert [party.name for party in store.parties() if party.erased_at] == [None]
    assert {fault.what for fault in store.job_faults(JOB)} >= {"wire_map:split_pair:36+45", "next:far"}
    (subscription,) = all_subscriptions(store)
    assert (subscription.state, subscription.position) == (SubscriptionState.PAUSED, 0)
    assert store.attachment_content(store.attachments(JOB)[0].digest) == b"plan"
    store.close()


def test_what_an_earlier_release_kept_without_names_is_found_once_it_is_completed(tmp_path):
    path = tmp_path / "records.db"
    left_in_a_file("0002", path)
    store = SqliteStore(path)
    app = create_app(store=store)
    wanted = Filter(application="1000BASE-T")

    def found():
        return [record.label for record in store.records(wanted, Sort(), after=None, limit=10)]

    # A-00 was kept with assessment=none, the others with more.
    assert found() == ["A-01", "A-02"]
    desk = app.extensions["fourpair"].desk
    done = complete(desk, replace(desk.grade, detail=Detail.NONE))
    assert (done.completed, done.refused, found()) == (3, (), ["A-00", "A-01", "A-02"])
    store.close()


@pytest.fixture
def empty():
    with database(prepared=False) as name:
        yield name


def left_in_a_database(number, name):
    """Make the tables that a release had, and fill them with what it left in a file."""
    tables = as_left(number)
    with psycopg.connect(url(name, OWNER)) as connection:
        carry_out(connection, [step for key, step in STEPS.items() if key <= number])
        for table, (columns, rows) in tables.items():
            marks = ", ".join(["%s"] * len(columns))
            # What follows one another is put in in its order.
            ordered = sorted(rows, key=lambda row: row[columns.index("seq")]) if "seq" in columns else rows
            with connection.cursor() as cursor:
                sql = f"INSERT INTO {table} ({', '.join(columns)}) VALUES ({marks})"
                cursor.executemany(sql.encode(), ordered)
        connection.execute("UPDATE counter SET value = (SELECT max(seq) FROM change) WHERE name = 'seq'")
    return tables


@pytest.mark.postgresql
@pytest.mark.parametrize("number", [number for number in DUMPS if number < max(DUMPS)])
def test_the_role_that_serves_may_use_what_a_later_step_makes_and_no_more(number, empty):
    left_in_a_database(number, empty)
    reading = f"reading_{number}"
    administer(f"CREATE ROLE {reading} LOGIN")
    with psycopg.connect(url(empty, OWNER)) as connection:
        grant(connection, SERVICE)
        connection.execute(f"GRANT SELECT ON change TO {reading}")
        connection.execute(f"REVOKE DELETE ON party FROM {SERVICE}")

    with pytest.raises(
        StoreReadOnlyError, match=r"tables of an earlier release.*'fourpair-service grant ROLE'"
    ):
        PostgresStore(url(empty, SERVICE))
    # Whatever the owner starts brings the tables up to date, a command or a service.
    PostgresStore(url(empty, OWNER)).close()

    store = PostgresStore(url(empty, SERVICE))
    whole(store)
    store.prove_writing()
    store.close()
    with psycopg.connect(url(empty, "postgres")) as connection:

        def may(role, table, right):
            return connection.execute(
                "SELECT has_table_privilege(%s, %s, %s)", (role, table, right)
            ).fetchone()[0]

        assert [may(SERVICE, "tally", right) for right in RIGHTS] == [True] * 4
        for table in APPEND_ONLY:
            assert [may(SERVICE, table, right) for right in RIGHTS] == [True, True, False, False], table
        assert [may(SERVICE, "step", right) for right in RIGHTS] == [True, False, False, False]
        # What somebody took away stays away, and who only reads the feed gets nothing besides.
        assert not may(SERVICE, "party", "DELETE")
        assert [may(reading, "tally", right) for right in RIGHTS] == [False] * 4


@pytest.mark.postgresql
@pytest.mark.parametrize("number", DUMPS)
def test_a_database_of_an_earlier_schema_is_brought_up_to_date_with_all_that_it_holds(number, empty):
    before = left_in_a_database(number, empty)

    store = PostgresStore(url(empty, OWNER))

    for name, (columns, rows) in before.items():
        assert rows_of(store.database, name, columns) == (columns, rows), name
    whole(store)
    store.close()
