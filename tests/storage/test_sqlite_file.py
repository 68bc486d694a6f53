"""What only a store in a file must show: the database refuses, and bad days lose nothing."""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import signal
import sqlite3
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from fourpair_service.app import create_app
from fourpair_service.records import commands, job_commands
from fourpair_service.records.desk import Terms
from fourpair_service.records.errors import (
    ImportRefusedError,
    SchemaFromFutureError,
    StoreBusyError,
    StoreCorruptError,
    StoreError,
    StoreFullError,
    StoreReadOnlyError,
)
from fourpair_service.records.integrity import first_break
from fourpair_service.records.search import Field, Filter, Sort, position
from fourpair_service.records.transfer import export_lines, import_lines
from fourpair_service.storage import sql_search
from fourpair_service.storage.backup import backup, prove, restore
from fourpair_service.storage.memory import MemoryStore
from fourpair_service.storage.schema import APPEND_ONLY, known_steps
from fourpair_service.storage.sqlite import SqliteStore, connect
from record_factory import ANYONE, desk_of, measurement
from storage import writers
from tampering import tampered

JOB = "harbour-hall"
HERE = Path(__file__).parent


@pytest.fixture
def path(tmp_path):
    return tmp_path / "records.db"


def filled(path, records=3):
    store = SqliteStore(path)
    desk = desk_of(store)
    job_commands.create_job(desk, ANYONE, JOB, {"name": "Harbour hall", "customer": "Port"}, Terms())
    for number in range(records):
        commands.submit(
            desk, ANYONE, measurement(f"A-{number:02d}"), Terms(key=f"k{number}", fingerprint="f")
        )
    job_commands.attach(desk, ANYONE, JOB, b"plan", Terms(), name="plan", media_type="text/plain")
    return store


@pytest.fixture
def store(path):
    store = filled(path)
    yield store
    store.close()


# --- the database itself refuses ------------------------------------------------


@pytest.mark.parametrize("table", APPEND_ONLY)
@pytest.mark.parametrize("statement", ["UPDATE {} SET rowid_alias = 1", "DELETE FROM {}"])
def test_what_is_append_only_is_never_changed_whoever_asks(store, path, table, statement):
    with sqlite3.connect(path) as raw:
        column = raw.execute(f"PRAGMA table_info({table})").fetchone()[1]
        with pytest.raises(sqlite3.IntegrityError, match="never changed"):
            raw.execute(statement.format(table).replace("rowid_alias = 1", f"{column} = {column}"))
    raw.close()


@pytest.mark.parametrize(
    "statement",
    [
        "INSERT INTO change SELECT seq + 2, NULL, kind, at, job_id, NULL, NULL, 1, NULL, NULL, NULL FROM change",
        "UPDATE record SET outcome = 'splendid'",
        "UPDATE record SET headroom_db = 'wide'",
        "UPDATE record SET revision = 0",
        "UPDATE party SET erased_at = 'now'",
    ],
)
def test_values_that_mean_nothing_are_refused_by_the_database(store, path, statement):
    with sqlite3.connect(path) as raw, pytest.raises(sqlite3.IntegrityError):
        raw.execute(statement)
    raw.close()


TAMPERINGS = {
    "outcome": "UPDATE revision SET outcome = 'fail' WHERE seq = 3",
    "verdict": "UPDATE content SET verdict = (SELECT verdict FROM content WHERE seq = 4) WHERE seq = 3",
    "curves": "UPDATE content SET rest = (SELECT rest FROM content WHERE seq = 4) WHERE seq = 3",
    "gone": "DELETE FROM revision WHERE seq = 3",
    "feed": "DELETE FROM change WHERE seq = 3",
    "row": "UPDATE record SET label = 'Z' WHERE row = 3",
    "what it is found by": 'UPDATE record SET external_ids = \'{"costing": "J-9"}\' WHERE row = 3',
    "category": "UPDATE record SET category = '6A' WHERE row = 3",
    "first outcome": "UPDATE record SET first_outcome = 'marginal_pass' WHERE row = 3",
    "told otherwise": "UPDATE change SET outcome = 'fail' WHERE seq = 3",
}


@pytest.mark.parametrize("statement", TAMPERINGS.values(), ids=TAMPERINGS.keys())
def test_an_altered_store_is_found_out(store, path, statement):
    tampered(path, statement)

    found = first_break(store)

    assert found is not None
    assert found.record_id == store.changes(after=0, limit=9)[2].record_id or found.number in (3, 4)


UNREADABLE = {
    "verdict": "UPDATE content SET verdict = x'0102' WHERE seq = 3",
    "document": "UPDATE content SET rest = x'0102' WHERE seq = 3",
    "curves": "UPDATE content SET curves = x'0102' WHERE seq = 3",
    "curves inside": "UPDATE content SET curves = CAST(substr(curves, 1, 90) || x'ffff' AS BLOB) WHERE seq = 3",
    "kind": "UPDATE revision SET kind = 'splendid' WHERE seq = 3",
    "row": "UPDATE record SET failing = '[' WHERE row = 3",
    "job": "UPDATE job_revision SET document = '{}'",
    "feed": "UPDATE change SET kind = 'splendid' WHERE seq = 3",
}


@pytest.mark.parametrize("statement", UNREADABLE.values(), ids=UNREADABLE.keys())
def test_what_cannot_be_read_any_more_is_named_and_is_no_crash(store, path, tmp_path, statement):
    tampered(path, f"PRAGMA ignore_check_constraints = 1; {statement}")

    found = first_break(store)

    assert found is not None
    assert "cannot be read any more" in found.what
    assert found.number in (1, 3) or found.record_id is None
    with pytest.raises(StoreCorruptError) as refused:
        backup(store, tmp_path / "copy.db")
    # It speaks of the store, not of the copy that was made to prove it.
    assert str(path) in str(refused.value)
    assert "copy.db" not in str(refused.value)
    assert not (tmp_path / "copy.db").exists()


def test_counts_that_are_not_those_of_the_records_are_found_out(store, path):
    tampered(path, "UPDATE tally SET links = links + 1")

    assert first_break(store).told() == "the counts of jobs by outcome are not those of their records"


# --- many writers -----------------------------------------------------------------


def test_a_writer_waits_for_the_others_and_in_the_end_says_that_they_take_too_long(path):
    filled(path).close()
    first, second = SqliteStore(path), SqliteStore(path, busy_timeout_s=0.2)
    with first.writing(), pytest.raises(StoreBusyError), second.writing():
        pass
    released = threading.Event()

    def hold():
        with SqliteStore(path).writing():
            released.wait(0.05)

    holding = threading.Thread(target=hold)
    holding.start()
    with second.writing() as writer:
        writer.put_in("proof", "a", {"kept": True})
    holding.join()

    assert first.drawn("proof", "a") == {"kept": True}
    # Readers wait as long as ever for what SQLite itself must wait for.
    assert second.connection.execute("PRAGMA busy_timeout").fetchone()[0] == 200


# Forked from one server that has everything imported: a process costs milliseconds.
PROCESSES = multiprocessing.get_context("forkserver")
PROCESSES.set_forkserver_preload(["record_factory", "storage.writers"])


def test_eight_processes_append_to_one_file_and_none_is_told_that_it_is_locked(store, path):
    failures = PROCESSES.Queue()
    workers = [PROCESSES.Process(target=writers.append_some, args=(path, n, 10, failures)) for n in range(8)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join()

    assert [failures.get() for _ in workers] == [""] * 8
    changes = store.changes(after=0, limit=1000)
    assert [c.seq for c in changes] == list(range(1, 85))
    assert first_break(store) is None


def test_a_dozen_kills_lose_nothing_that_was_acknowledged(store, path):
    acknowledged = {}
    for round_ in range(12):
        mine, theirs = PROCESSES.Pipe(duplex=False)
        process = PROCESSES.Process(target=writers.append_until_killed, args=(path, theirs))
        process.start()
        theirs.close()
        told = [mine.recv()]
        killer = threading.Timer(0.02 + 0.007 * round_, os.kill, (process.pid, signal.SIGKILL))
        killer.start()
        with contextlib.suppress(EOFError, OSError):
            while True:
                told.append(mine.recv())
        killer.join()
        process.join()
        mine.close()
        acknowledged |= {seq: (record_id, digest) for seq, record_id, digest in told}

    assert len(acknowledged) >= 12
    for seq, (record_id, digest) in acknowledged.items():
        assert store.revision_as_of(record_id, seq).digest == digest
    changes = store.changes(after=0, limit=100_000)
    assert [c.seq for c in changes] == list(range(1, len(changes) + 1))
    assert {c.record_id for c in changes if c.record_id} == {
        entry.subject_id for entry in store.idempotency_entries()
    }
    assert first_break(store) is None


# --- bad days -----------------------------------------------------------------------


def test_a_full_disk_is_told_and_loses_nothing(store):
    pages = store.connection.execute("PRAGMA page_count").fetchone()[0]
    store.connection.execute(f"PRAGMA max_page_count = {pages}")
    before, desk = store.last_change(), desk_of(store, prefix="full")

    with pytest.raises(StoreFullError, match="no room left"):
        for number in range(50):
            commands.submit(desk, ANYONE, measurement(f"F-{number}"), Terms())

    store.connection.execute("PRAGMA max_page_count = 1000000")
    assert store.last_change().seq >= before.seq
    assert first_break(store) is None
    commands.submit(desk, ANYONE, measurement("F-later"), Terms())


def test_a_missing_directory_is_told(tmp_path):
    with pytest.raises(StoreReadOnlyError, match="no directory"):
        SqliteStore(tmp_path / "none" / "records.db")


def test_a_store_that_cannot_be_written_is_told(store):
    store.connection.execute("PRAGMA query_only = 1")

    with pytest.raises(StoreReadOnlyError, match="cannot be written"):
        store.prove_writing()


def test_a_file_of_something_else_is_told_and_left_alone(path):
    path.write_bytes(b"minutes of the meeting\n" * 100)

    with pytest.raises(StoreCorruptError, match="no store of this service"):
        SqliteStore(path)
    assert path.read_bytes().startswith(b"minutes")


def test_a_damaged_page_is_told(path):
    filled(path, records=30).close()
    with path.open("r+b") as file:
        file.seek(4096 * 3)
        file.write(b"\xff" * 4096 * 10)

    with pytest.raises(StoreError, match="damaged"):
        store = SqliteStore(path)
        try:
            first_break(store)
            for record in store.changes(after=0, limit=100):
                store.verdict(record.record_id or "", 1)
        finally:
            store.close()


def test_a_store_of_a_newer_release_is_told_and_left_alone(store, path):
    store.connection.execute(
        "INSERT INTO _sqlite_migrations (migration_set, name, applied_at) VALUES ('fourpair', '9999_later', 'x')"
    )
    before = path.read_bytes()

    with pytest.raises(SchemaFromFutureError, match="newer release"):
        SqliteStore(path)
    assert path.read_bytes() == before


def come_newer(connection):
    """Bring a store to where a newer release would, as far as this one can see."""
    connection.execute(
        "INSERT INTO _sqlite_migrations (migration_set, name, applied_at) VALUES ('fourpair', '9999_later', 'x')"
    )


def test_a_newer_release_that_comes_while_this_one_is_at_work_is_told_to_all_who_write(store, path):
    client = create_app(store=store).test_client()
    before = client.get("/v1/changes").get_json()
    with contextlib.closing(sqlite3.connect(path)) as raw:
        come_newer(raw)
        raw.commit()

    for answer in (client.post("/v1/jobs", json={"name": "Later"}), client.get("/readyz")):
        problem = answer.get_json()
        assert (answer.status_code, problem["code"]) == (503, "schema-from-future")
        assert f"{path} was written by a newer release: it has the step 9999_later" in problem["detail"]
        assert f"this release ends with {known_steps()[-1]}" in problem["detail"]
        assert "Start the newer release, or restore a backup made before" in problem["detail"]
    with pytest.raises(SchemaFromFutureError), store.writing():
        pytest.fail("nothing is written")
    # Who only reads goes on until then.
    assert client.get("/v1/changes").get_json() == before
    with contextlib.closing(sqlite3.connect(path)) as raw:
        raw.execute("DELETE FROM _sqlite_migrations WHERE name = '9999_later'")
        raw.commit()
    assert client.post("/v1/jobs", json={"name": "Later"}).status_code == 201


@pytest.mark.parametrize(
    "arguments",
    [
        ("serve",),
        ("verify",),
        ("export",),
        ("backup", "copy.db"),
        ("regrade",),
        ("complete",),
        ("keys", "list"),
    ],
    ids=" ".join,
)
def test_every_command_says_that_a_store_is_of_a_newer_release_and_leaves_it_alone(
    store, path, tmp_path, arguments
):
    with store.writing() as writer:
        come_newer(writer.connection)
    store.close()
    before = path.read_bytes()
    done = subprocess.run(
        [sys.executable, "-m", "fourpair_service", *arguments],
        env=os.environ | {"FOURPAIR_STORE": str(path), "FOURPAIR_PORT": "0"},
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )

    assert done.returncode == 2
    (line,) = done.stderr.splitlines()
    assert line.startswith(f"fourpair-service: {path} was written by a newer release")
    assert done.stdout == ""
    assert path.read_bytes() == before
    assert not (tmp_path / "copy.db").exists()


def test_a_backup_of_a_newer_release_is_named_and_not_restored(store, tmp_path):
    backup(store, tmp_path / "newer.db")
    with contextlib.closing(sqlite3.connect(tmp_path / "newer.db")) as raw:
        come_newer(raw)
        raw.commit()

    with pytest.raises(SchemaFromFutureError, match=r"newer\.db was written by a newer release"):
        restore(tmp_path / "newer.db", tmp_path / "there.db")
    assert not (tmp_path / "there.db").exists()


def test_an_export_of_a_newer_release_is_told_and_leaves_nothing(store, tmp_path):
    lines = [line.replace(b"fourpair export 1", b"fourpair export 2") for line in export_lines(store)]
    other = SqliteStore(tmp_path / "other.db")

    with pytest.raises(ImportRefusedError, match="exported by a newer release: it says 'fourpair export 2'"):
        import_lines(other, lines)
    assert other.last_change() is None
    other.close()


def test_many_processes_may_open_a_new_store_at_once(path):
    processes = [PROCESSES.Process(target=writers.open_and_close, args=(path,)) for _ in range(6)]
    for process in processes:
        process.start()
    for process in processes:
        process.join()

    assert [process.exitcode for process in processes] == [0] * 6


def test_opening_waits_for_another_that_is_making_the_same_file(path):
    maker = sqlite3.connect(path, isolation_level=None, check_same_thread=False)
    maker.execute("CREATE TABLE begun (place INTEGER)")
    maker.execute("BEGIN IMMEDIATE")
    done = threading.Timer(0.3, lambda: maker.execute("COMMIT"))
    done.start()
    try:
        connect(str(path)).close()
    finally:
        done.join()
        maker.close()


def test_opening_reads_a_few_pages_whatever_is_kept(path):
    filled(path, records=60).close()
    started = threading.active_count()
    store = SqliteStore(path)
    plan = [
        row["detail"]
        for sql in ("SELECT max(seq) FROM change", "SELECT 1 FROM api_key LIMIT 1")
        for row in store.connection.execute(f"EXPLAIN QUERY PLAN {sql}")
    ]
    store.close()

    assert all("SEARCH" in detail or "api_key" in detail for detail in plan)
    assert threading.active_count() == started


@pytest.mark.parametrize(
    "wanted", [Filter(), Filter(job_id=JOB), Filter(visible_jobs=frozenset({JOB}))], ids=str
)
def test_a_page_of_labels_is_found_by_an_index_wherever_it_begins(path, wanted):
    store = filled(path)
    sort = Sort(Field.LABEL)
    after = position(store.records(wanted, sort, after=None, limit=2)[-1], sort)
    sql, values = sql_search.page(wanted, sort, after=after, limit=50)
    plan = [row["detail"] for row in store.connection.execute(f"EXPLAIN QUERY PLAN {sql}", values)]
    store.close()

    assert plan and all("label_order" in detail and detail.startswith("SEARCH") for detail in plan), plan


# --- backup, restore, export, import ---------------------------------------------------


def test_a_backup_made_under_writers_is_whole_and_can_be_restored(store, path, tmp_path):
    stop = threading.Event()

    def write():
        desk, number = desk_of(store, prefix="bg"), 0
        while not stop.is_set():
            commands.submit(desk, ANYONE, measurement(f"W-{number}"), Terms())
            number += 1

    writer = threading.Thread(target=write)
    writer.start()
    time.sleep(0.2)
    proof = backup(store, tmp_path / "copy.db")
    stop.set()
    writer.join()

    restored = restore(tmp_path / "copy.db", tmp_path / "again.db")

    assert restored == proof
    assert proof.records > 3
    again = SqliteStore(tmp_path / "again.db")
    assert again.changes(after=0, limit=proof.seq) == store.changes(after=0, limit=proof.seq)
    again.close()


def test_neither_backup_nor_restore_replaces_anything(store, path, tmp_path):
    backup(store, tmp_path / "copy.db")

    with pytest.raises(StoreError, match="exists"):
        backup(store, tmp_path / "copy.db")
    with pytest.raises(StoreError, match="exists"):
        restore(tmp_path / "copy.db", path)


def test_a_backup_with_a_broken_chain_is_not_restored(store, tmp_path):
    backup(store, tmp_path / "copy.db")
    tampered(tmp_path / "copy.db", TAMPERINGS["outcome"])

    with pytest.raises(StoreCorruptError, match="broken chain"):
        restore(tmp_path / "copy.db", tmp_path / "again.db")
    assert not (tmp_path / "again.db").exists()
    with pytest.raises(StoreCorruptError):
        prove(tmp_path / "copy.db")


def test_an_export_fills_another_store_with_the_same(store, tmp_path):
    lines = list(export_lines(store))
    other, memory = SqliteStore(tmp_path / "other.db"), MemoryStore()

    import_lines(other, lines)
    import_lines(memory, lines)

    assert list(export_lines(other)) == list(export_lines(memory)) == lines
    with pytest.raises(ImportRefusedError, match="not empty"):
        import_lines(other, lines)
    other.close()


CUTS = {
    "cut": lambda lines: lines[:-1],
    "a line less": lambda lines: lines[:3] + lines[4:],
    "altered": lambda lines: [line.replace(b'"outcome":"pass"', b'"outcome":"fail"') for line in lines],
    "no export": lambda lines: [b"{}"],
    "no JSON": lambda lines: [lines[0], b"{"],
    "empty": lambda lines: [],
}


@pytest.mark.parametrize("cut", CUTS.values(), ids=CUTS.keys())
def test_a_damaged_export_is_refused_whole(store, tmp_path, cut):
    other = SqliteStore(tmp_path / "other.db")

    with pytest.raises((ImportRefusedError,)):
        import_lines(other, cut(list(export_lines(store))))
    assert other.last_change() is None
    other.close()
