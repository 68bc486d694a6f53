"""Measure what keeping records costs, as ratios within one run on one machine.

Run with ``python tests/benchmarks/keeping.py [--records 1000000] [--kills 200] [--only NAME]``.
Every figure is a ratio of two things timed here, one after the other, on the same
data; the aim that it is held against stands beside it. Nothing is asserted: a
figure that misses its aim is printed as missed.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import signal
import sqlite3
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from pathlib import Path
from statistics import median, quantiles
from typing import Any

import orjson
import requests

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT / "service"), str(ROOT / "sdk"), str(ROOT / "tests")]

from end_to_end.running import Running  # noqa: E402 - found beside the tests
from fourpair_service.records.curves import part  # noqa: E402
from fourpair_service.records.integrity import first_break  # noqa: E402
from fourpair_service.records.search import Filter, GroupBy, Position, Sort  # noqa: E402
from fourpair_service.storage import rows  # noqa: E402
from fourpair_service.storage.codec import decode, encode  # noqa: E402
from fourpair_service.storage.sqlite import SqliteStore  # noqa: E402

LINK = ROOT / "samples" / "links" / "0A-01-clean-pass.json"
JOB = "bench"


def seconds(action: Callable[[], Any], rounds: int = 15) -> float:
    """Return the median time of an action. [s]."""
    times = []
    for _ in range(rounds):
        start = time.perf_counter()
        action()
        times.append(time.perf_counter() - start)
    return median(times)


def tell(what: str, ratio: float, aim: str, *, met: bool) -> None:
    """Print one figure beside its aim."""
    print(f"{what:<72} {ratio:9.3f}  aim {aim:<8} {'met' if met else 'MISSED'}", flush=True)


def codec(options: argparse.Namespace) -> None:
    """Compare stored sweeps with their JSON."""
    for name, most in (("0A-01-clean-pass", 0.20), ("0A-05-split-pair", 0.45)):
        sweeps = json.loads((LINK.parent / f"{name}.json").read_bytes())["sweeps"]
        compact, curves = orjson.dumps(sweeps), part(sweeps).curves
        stored = encode(curves)
        size = len(stored) / len(compact)
        tell(f"{name}: stored bytes / compact JSON", size, f"<= {most}", met=size <= most)
        own = seconds(lambda stored=stored: decode(stored))
        for parser in (json.loads, orjson.loads):
            speed = seconds(lambda parser=parser, compact=compact: parser(compact)) / own
            tell(f"{name}: parsing with {parser.__module__} / decoding", speed, ">= 15", met=speed >= 15)


def _fill(path: Path, count: int) -> SqliteStore:
    """Make many records as rows alone: what is measured here never opens a document."""
    store, rng = SqliteStore(path), random.Random(7)
    verdict = rows.packed({"outcome": "pass", "filler": [rng.random() for _ in range(200)]})
    store.connection.execute("PRAGMA synchronous = OFF")
    store.connection.execute(
        "CREATE TABLE wide (row INTEGER PRIMARY KEY, job_id TEXT, outcome TEXT, "
        "headroom_db REAL, verdict BLOB)"
    )
    store.connection.execute("CREATE INDEX wide_job ON wide (job_id)")
    store.connection.execute("BEGIN")
    outcomes = ("pass", "pass", "pass", "marginal_pass", "fail")
    insert = (
        "INSERT INTO record VALUES (?, ?, ?, ?, 1, 'sha256:0', ?, 'submitted', ?, ?, ?, '6', 'demo', 0, 't', ?, "
        "'2026', '2026', 'sha256:0', 'sha256:0', '{}', '[]', '[]', '[]', '[]')"
    )
    for n in range(1, count + 1):
        job, outcome, headroom = f"job-{n % 500:03d}", rng.choice(outcomes), round(rng.gauss(3, 2), 3)
        tested = f"2026-{1 + n % 12:02d}-01T00:00:00.000000Z"
        store.connection.execute(insert, (n, f"r{n}", job, f"L{n}", n, outcome, outcome, headroom, tested))
        store.connection.execute(
            "INSERT INTO wide VALUES (?, ?, ?, ?, ?)", (n, job, outcome, headroom, verdict)
        )
    store.connection.execute("COMMIT")
    return store


def depth(options: argparse.Namespace) -> None:
    """Page and count in a large store."""
    with tempfile.TemporaryDirectory() as directory:
        path, count = Path(directory) / "records.db", options.records
        store = _fill(path, count)
        deep = count // 2

        def page(after: int) -> Any:
            return store.records(Filter(), Sort(), after=Position(after, after), limit=50)

        def offset() -> Any:
            sql = f"{rows.RECORDS} WHERE kind <> 'withdrawn' ORDER BY row LIMIT 50 OFFSET ?"
            return [rows.record_of(row) for row in store.connection.execute(sql, (deep,))]

        first, later = seconds(lambda: page(0), 51), seconds(lambda: page(deep), 51)
        skipped = seconds(offset, 5)
        tell(f"page at {deep:,} / first page", later / first, "<= 1.2", met=later / first <= 1.2)
        tell(f"offset {deep:,} / page there", skipped / later, ">= 100", met=skipped / later >= 100)
        wide = "SELECT outcome, count(*), min(headroom_db) FROM wide WHERE job_id = ? GROUP BY outcome"
        wanted = Filter(job_id="job-007")
        narrow = seconds(lambda: store.stats(wanted, [GroupBy.OUTCOME]), 31)
        broad = seconds(lambda: store.connection.execute(wide, ("job-007",)).fetchall(), 31)
        tell("counts of one job, wide table / narrow", broad / narrow, ">= 20", met=broad / narrow >= 20)
        store.close()
        opened = seconds(lambda: SqliteStore(path).close(), 5)
        empty = seconds(lambda: SqliteStore(Path(directory) / "empty.db").close(), 5)
        tell("opening the large store / an empty one", opened / empty, "<= 3", met=opened / empty <= 3)


def _job(url: str) -> None:
    requests.post(f"{url}/v1/jobs", json={"id": JOB, "name": "Bench"}, timeout=10).raise_for_status()


def posting(options: argparse.Namespace) -> None:
    """Compare durable POSTs of whole records with parsing alone and with a naive route."""
    document = json.loads(LINK.read_bytes()) | {"job": JOB}
    with tempfile.TemporaryDirectory() as directory:
        server = Running(Path(directory) / "records.db", FOURPAIR_WORKERS="1")
        try:
            _job(server.url)
            session, times = requests.Session(), []
            bodies = [orjson.dumps(document | {"label": f"P-{n}"}) for n in range(options.posts)]
            headers = {"Content-Type": "application/json"}
            for body in bodies:
                start = time.perf_counter()
                session.post(
                    f"{server.url}/v1/records?assessment=none", data=body, headers=headers
                ).raise_for_status()
                times.append(time.perf_counter() - start)
            parsed = []
            for body in bodies[:50]:
                start = time.perf_counter()
                session.post(f"{server.url}/v1/reconcile", data=body, headers=headers)
                parsed.append(time.perf_counter() - start)
        finally:
            server.stop()
        rate = median(parsed) / median(times)
        cuts = quantiles(times, n=100)
        naive = seconds(lambda: _naive(Path(directory) / "naive.db", bodies[0]), 3)
        tell(
            "POST of a full record / parse-only endpoint, requests a second",
            rate,
            ">= 0.20",
            met=rate >= 0.20,
        )
        tell(
            "naive route / POST of a full record, seconds",
            naive / median(times),
            ">= 20",
            met=naive / median(times) >= 20,
        )
        tell("p99 / p50 of POST", cuts[98] / cuts[49], "<= 5", met=cuts[98] / cuts[49] <= 5)


def _naive(path: Path, body: bytes) -> None:
    """Do what one would write first: numbers one by one, text into a table."""
    from marshmallow import fields  # noqa: PLC0415 - for the comparison alone

    document, field = json.loads(body), fields.List(fields.Float())
    for ends in document["sweeps"].values():
        for curves in ends.values():
            for curve in curves.values() if isinstance(curves, dict) else (curves,):
                values = field.deserialize(curve)
                for _ in range(12):
                    min(value - 10.0 for value in values)
    with sqlite3.connect(path) as raw:
        raw.execute("CREATE TABLE IF NOT EXISTS record (document TEXT)")
        raw.execute("INSERT INTO record VALUES (?)", (json.dumps(document),))
    raw.close()


def followers(options: argparse.Namespace) -> None:
    """Compare the grade rate with and without idle followers of the feed."""
    body, headers = LINK.read_bytes(), {"Content-Type": "application/json"}
    with tempfile.TemporaryDirectory() as directory:
        server = Running(Path(directory) / "records.db")
        try:
            _job(server.url)

            def rate() -> float:
                session, start = requests.Session(), time.perf_counter()
                for _ in range(60):
                    session.post(f"{server.url}/v1/grade?assessment=none", data=body, headers=headers)
                return 60 / (time.perf_counter() - start)

            rate()
            alone = median(rate() for _ in range(3))
            url = f"{server.url}/v1/changes?after=1&wait=30"
            waiting = [threading.Thread(target=requests.get, args=(url,)) for _ in range(50)]
            for each in waiting:
                each.start()
            time.sleep(1)
            followed = median(rate() for _ in range(3))
            requests.post(f"{server.url}/v1/jobs", json={"name": "wake them"}, timeout=10)
            for each in waiting:
                each.join()
        finally:
            server.stop()
    tell(
        "grade rate with 50 idle followers / without",
        followed / alone,
        ">= 0.90",
        met=followed / alone >= 0.90,
    )


WRITER = """
import sys
from record_factory import ANYONE, desk_of, measurement
from fourpair_service.records import commands
from fourpair_service.records.desk import Terms
from fourpair_service.storage.sqlite import SqliteStore
store = SqliteStore(sys.argv[1])
last = store.last_change().seq
desk = desk_of(store, prefix=f"p{last}-")
for number in range(100000):
    written = commands.submit(desk, ANYONE, measurement(f"{last}-{number}", job="bench"), Terms())
    print(written.change.seq, written.record.id, written.revision.digest, flush=True)
"""


def kills(options: argparse.Namespace) -> None:
    """Kill a writer again and again, and look for what it had acknowledged."""
    from fourpair_service.records import job_commands  # noqa: PLC0415
    from fourpair_service.records.desk import Terms  # noqa: PLC0415
    from record_factory import ANYONE, desk_of  # noqa: PLC0415

    with tempfile.TemporaryDirectory() as directory:
        path = Path(directory) / "records.db"
        store = SqliteStore(path)
        job_commands.create_job(desk_of(store), ANYONE, JOB, {"name": "Bench"}, Terms())
        environment = os.environ | {"PYTHONPATH": os.pathsep.join(sys.path[:3])}
        acknowledged: dict[str, str] = {}
        for round_ in range(options.kills):
            writer = subprocess.Popen(
                [sys.executable, "-c", WRITER, str(path)], stdout=subprocess.PIPE, text=True, env=environment
            )
            assert writer.stdout is not None
            lines = [writer.stdout.readline()]
            threading.Timer(0.01 + 0.003 * (round_ % 40), os.kill, (writer.pid, signal.SIGKILL)).start()
            lines += writer.stdout.readlines()
            writer.wait()
            writer.stdout.close()
            whole = (line.split() for line in lines if line.endswith("\n"))
            acknowledged |= {record_id: digest for _, record_id, digest in whole}
        kept = {record_id: store.record(record_id) for record_id in acknowledged}
        lost = sum(1 for name, record in kept.items() if not record or record.digest != acknowledged[name])
        changes = store.connection.execute("SELECT count(*), max(seq) FROM change").fetchone()
        sound = first_break(store) is None and changes[0] == changes[1]
        store.close()
    print(f"{options.kills} kills, {len(acknowledged)} acknowledged records, {lost} lost, sound: {sound}")


PARTS = {"codec": codec, "depth": depth, "posting": posting, "followers": followers, "kills": kills}


def main() -> None:
    """Run all parts, or the one that is asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--only", choices=PARTS)
    parser.add_argument("--records", type=int, default=1_000_000)
    parser.add_argument("--posts", type=int, default=200)
    parser.add_argument("--kills", type=int, default=200)
    options = parser.parse_args()
    for name, run in PARTS.items():
        if options.only in {None, name}:
            run(options)


if __name__ == "__main__":
    main()
