"""A store of a million records: pages, counts, opening.

The rows are those of real verdicts, made once of varied links: a record's outcome,
headroom and what fails are those of the verdict that lies beside it. Every
thousandth has its sweeps. The rival keeps each record in one wide row, as one would
write it first, and pages by an offset.
"""

from __future__ import annotations

import random
import sqlite3
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory
from typing import Any, Final

import orjson

from fourpair_service.http.assessment import Detail
from fourpair_service.http.grading import GradeRequest, grade_document
from fourpair_service.records.curves import part
from fourpair_service.records.headline import record_after
from fourpair_service.records.model import Kind, Record, Revision
from fourpair_service.records.search import Filter, GroupBy, Position, Sort
from fourpair_service.rulesets.catalogue import Catalogue
from fourpair_service.storage import rows
from fourpair_service.storage.codec import encode
from fourpair_service.storage.packing import packed
from fourpair_service.storage.schema import COUNT_ALL
from fourpair_service.storage.sql_writer import PUT_CONTENT, PUT_RECORD
from fourpair_service.storage.sqlite import SqliteStore

from .figures import Figure
from .record import SAMPLES, document

VARIED: Final = 60
JOBS: Final = 500
PAGE: Final = 50
ALL_SWEEPS: Final = 1000
PAGING: Final = 51
COMMITTED_TOGETHER: Final = 20_000
WIDE: Final = """CREATE TABLE wide (
    row INTEGER PRIMARY KEY, id TEXT, job_id TEXT, label TEXT, kind TEXT, outcome TEXT, headroom_db REAL,
    tested_at TEXT, verdict BLOB)"""


def _verdicts() -> list[tuple[dict[str, Any], dict[str, Any]]]:
    """Return verdicts and documents of the samples and of links like the clean one, of every outcome."""
    documents = [orjson.loads(path.read_bytes()) for path in sorted(SAMPLES.glob("*.json"))]
    documents += [document(number) for number in range(VARIED)]
    catalogue = Catalogue.load(None)
    return [
        (grade_document(GradeRequest(each, detail=Detail.NONE), catalogue)["verdict"], each)
        for each in documents
    ]


def _record(verdict: dict[str, Any]) -> Record:
    revision = Revision(
        record_id="", number=1, kind=Kind.SUBMITTED, job_id="", label="", external_ids={}, tester_id="t",
        tested_at="", rule_set_id=verdict["rule_set"]["id"], rule_set_digest="sha256:0",
        measurement_digest="sha256:0", measured_digest="sha256:0", verdict_digest="sha256:0",
        outcome=verdict["outcome"], headroom_db=verdict["headroom_db"], actor="a", reason=None, at="2026",
        previous_digest=None, digest="sha256:0",
    )  # fmt: skip
    return record_after(None, revision, verdict, None, 1)


def fill(path: Path, count: int) -> SqliteStore:
    """Make a store of records and their contents, and the wide table of the rival."""
    store, rng = SqliteStore(path), random.Random(7)
    connection = store.connection
    connection.execute("PRAGMA synchronous = OFF")
    made = [(_record(verdict), packed(verdict), each) for verdict, each in _verdicts()]
    rest, curves = packed({"label": "L"}), encode(part(made[0][2]["sweeps"]).curves)
    connection.execute(WIDE)
    connection.execute("CREATE INDEX wide_job ON wide (job_id)")
    connection.execute("BEGIN")
    for n in range(1, count + 1):
        record, verdict, _ = rng.choice(made)
        job, tested = f"job-{n % JOBS:03d}", f"2026-{1 + n % 12:02d}-01T00:00:00.000000Z"
        record = replace(record, id=f"r{n}", row=n, seq=n, job_id=job, label=f"L{n}", tested_at=tested)
        connection.execute(PUT_RECORD, rows.row_of(record))
        own = {"seq": n, "verdict": verdict, "rest": rest, "curves": b"" if n % ALL_SWEEPS else curves}
        connection.execute(PUT_CONTENT, {**own, "curves_seq": n})
        wide = (
            n,
            record.id,
            job,
            record.label,
            "submitted",
            record.outcome,
            record.headroom_db,
            tested,
            verdict,
        )
        connection.execute(f"INSERT INTO wide VALUES ({', '.join('?' * len(wide))})", wide)
        if n % COMMITTED_TOGETHER == 0:
            connection.execute("COMMIT")
            connection.execute("BEGIN")
    connection.execute("COMMIT")
    connection.execute(COUNT_ALL)
    connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    return store


def _seconds(action: Callable[[], Any], rounds: int = PAGING) -> tuple[float, float]:
    """Return the shortest and the median time of an action. [s]."""
    action()
    taken = []
    for _ in range(rounds):
        start = time.perf_counter()
        action()
        taken.append(time.perf_counter() - start)
    return min(taken), median(taken)


def _at_least(name: str, aim: float, of: tuple[float, float], base: tuple[float, float]) -> Figure:
    best, middle = of[0] / base[0], of[1] / base[1]
    return Figure(name, f"at least {aim:g}", best, middle, best >= aim)


def _at_most(name: str, aim: float, of: tuple[float, float], base: tuple[float, float]) -> Figure:
    best, middle = of[0] / base[0], of[1] / base[1]
    return Figure(name, f"at most {aim:g}", best, middle, best <= aim)


def figures(count: int = 1_000_000) -> Iterator[Figure]:
    """Measure a large store."""
    with TemporaryDirectory() as directory:
        path = Path(directory) / "records.db"
        store = fill(path, count)
        yield from _pages(store, count // 2)
        yield from _counts(store)
        store.close()
        large = _seconds(lambda: SqliteStore(path).close(), 11)
        empty = _seconds(lambda: SqliteStore(Path(directory) / "empty.db").close(), 11)
        yield _at_most(f"opening the store of {count:,} records / an empty one", 1.5, large, empty)


def _pages(store: SqliteStore, deep: int) -> Iterator[Figure]:
    connection: sqlite3.Connection = store.connection

    def page(after: int) -> Any:
        return store.records(Filter(), Sort(), after=Position(after, after), limit=PAGE)

    def skipped(sql: str, made: Callable[[sqlite3.Row], Any]) -> Any:
        return [made(row) for row in connection.execute(f"{sql} ORDER BY row LIMIT {PAGE} OFFSET ?", (deep,))]

    first, later = _seconds(lambda: page(0)), _seconds(lambda: page(deep))
    yield _at_most(f"page at depth {deep:,} / first page", 1.2, later, first)
    wide = _seconds(lambda: skipped("SELECT * FROM wide WHERE kind <> 'withdrawn'", tuple), 7)
    yield _at_least(f"offset {deep:,} in one wide table / page there", 100, wide, later)
    narrow = _seconds(lambda: skipped(f"{rows.RECORDS} WHERE kind <> 'withdrawn'", rows.record_of), 7)
    yield _at_least(f"offset {deep:,} in our own table / page there", 100, narrow, later)


def _counts(store: SqliteStore) -> Iterator[Figure]:
    wanted, by = Filter(job_id="job-007"), [GroupBy.OUTCOME]
    sql = "SELECT outcome, count(*), min(headroom_db) FROM wide WHERE job_id = 'job-007' GROUP BY outcome"
    narrow = _seconds(lambda: store.stats(wanted, by))
    wide = _seconds(lambda: store.connection.execute(sql).fetchall())
    yield _at_least("counts and worst margin of one job, wide table / ours", 20, wide, narrow)
