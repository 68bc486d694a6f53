"""What looking again at many records costs, as ratios of things measured in turns in one run."""

from __future__ import annotations

import argparse
import json
import os
import resource
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import replace
from pathlib import Path

from fourpair_service.app import create_app, record_grader
from fourpair_service.carriers import Cluster, LocalPool
from fourpair_service.config import Settings
from fourpair_service.records.runs.examining import Bench, Chunk, examine_chunk
from fourpair_service.records.runs.model import Found, Question, RunKind
from fourpair_service.records.search import Filter, Sort
from fourpair_service.storage.sqlite import SqliteStore

ROOT = Path(__file__).resolve().parents[2]
LINK = ROOT / "samples" / "links" / "0A-01-clean-pass.json"
OLD, NEW = "tia-568.2-d-2018", "same-limits"
# An edition that changes no verdict: what is measured is looking, as on every night but a few.
EDITION = f'id = "{NEW}"\nextends = "{OLD}"\ntitle = "The same limits under another name"\n'
CHUNK = 16
EMPTY_TASKS = 200


def filled(path: Path, count: int) -> SqliteStore:
    """Return a store with so many full records."""
    store = SqliteStore(path)
    client = create_app(store=store).test_client()
    client.post("/v1/jobs", json={"id": "clinic", "name": "Clinic"})
    document = json.loads(LINK.read_bytes())
    document |= {"job": "clinic", "requirement": {"rule_set": OLD, "category": "6"}}
    for start in range(0, count, 30):
        some = range(start, min(start + 30, count))
        records = [{**document, "label": f"L-{number:06d}"} for number in some]
        assert client.post("/v1/records:batch", json={"records": records}).status_code == 200
    return store


def seconds(work: Callable[[], object], clock: Callable[[], float]) -> float:
    """Return how long something takes. [s]."""
    began = clock()
    work()
    return clock() - began


@contextmanager
def pool(settings: Settings) -> Iterator[LocalPool]:
    """Run a pool."""
    made = LocalPool(settings)
    try:
        yield made
    finally:
        made.close()


@contextmanager
def two_workers(settings: Settings, directory: Path) -> Iterator[Cluster]:
    """Run a cluster of two workers on this machine."""
    sys.path.insert(0, str(ROOT / "tests"))
    from cluster_server import cluster  # noqa: PLC0415 - of the tests, which are no package

    with cluster(directory) as address:
        made = Cluster(replace(settings, cluster=address))
        try:
            yield made
        finally:
            made.close()


def main() -> None:
    """Print the ratios."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--records", type=int, default=200)
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--cluster", action="store_true", help="also on a Dask cluster of two workers here")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as directory:
        path = Path(directory) / "records.db"
        store = filled(path, asked.records)
        limits = Path(directory) / "limits"
        limits.mkdir()
        (limits / "own.toml").write_text(EDITION)
        settings = Settings(store=str(path), limits_directory=limits)
        grader = record_grader(settings)
        question = Question(RunKind.REGRADE, rule_set=NEW, supersedes=(OLD,))
        records = store.records(Filter(), Sort(), after=None, limit=asked.records)
        bench = Bench(store, grader.for_question, grader, grader.standing)

        def read() -> None:
            for record in records:
                assert store.verdict(record.id, 1) and store.measurement(record.id, 1)

        def regrade() -> None:
            for chunk in chunks:
                assert {each.found for each in examine_chunk(bench, chunk)} == {Found.UNCHANGED}

        chunks = [
            Chunk(question, tuple(r.id for r in records[start : start + CHUNK]))
            for start in range(0, len(records), CHUNK)
        ]
        # A task that has nothing to do costs what sending it costs.
        nothing = [Chunk(question, ())] * EMPTY_TASKS
        times: dict[str, list[float]] = {}

        def measure(name: str, work: Callable[[], object], clock: Callable[[], float]) -> None:
            times.setdefault(name, []).append(seconds(work, clock))

        with ExitStack() as stack:
            carriers: dict[str, LocalPool | Cluster] = {
                "one process": stack.enter_context(pool(replace(settings, grading_processes=1))),
                "two processes": stack.enter_context(pool(settings)),
            }
            if asked.cluster:
                carriers["a cluster of two workers"] = stack.enter_context(
                    two_workers(settings, Path(directory))
                )
            for carrier in carriers.values():
                list(carrier.carry(chunks))
            before_kb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
            for _ in range(asked.rounds):
                measure("read", read, time.process_time)
                measure("regrade", regrade, time.process_time)
                for name, carrier in carriers.items():
                    measure(name, lambda carrier=carrier: list(carrier.carry(chunks)), time.monotonic)
                    measure(
                        f"{name}, nothing",
                        lambda carrier=carrier: list(carrier.carry(nothing)),
                        time.monotonic,
                    )
            after_kb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        best = {name: min(found) for name, found in times.items()}
        print(f"{asked.records} records, the best of {asked.rounds} rounds, load {os.getloadavg()[0]:.1f}")
        print(
            f"read and decode alone / read, decode and grade: {best['read'] / best['regrade']:.2f} (aim 0.27)"
        )
        for name in carriers:
            times_faster = best["one process"] / best[name]
            overhead_ms = 1e3 * best[f"{name}, nothing"] / EMPTY_TASKS
            print(
                f"{name}: {times_faster:.2f} times one process (aim 1.6 for two), {overhead_ms:.2f} ms a task"
            )
        print(f"a re-grade of one record: {1e3 * best['regrade'] / asked.records:.2f} ms")
        print(f"memory of this process grew by {(after_kb - before_kb) / 1024:.1f} MB over the rounds")
        store.close()


if __name__ == "__main__":
    main()
