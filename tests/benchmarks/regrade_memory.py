"""How much memory a re-grading of many records takes as it goes on: the nightly command over a large store.

The store has a few dozen records that were submitted, and any number of copies of their
rows, which all read the sweeps of the few: each is read, decoded and graded like any
other, and 100,000 of them fit on a small disk. Nothing changes, as on most nights.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from statistics import median

from fourpair_service.app import create_app
from fourpair_service.storage.sqlite import SqliteStore

from .record import document
from .regrading import EDITION, NEW, OLD

VARIED = 40
QUARTERS = 4
PAGE_BYTES = os.sysconf("SC_PAGE_SIZE")


def filled(path: Path, count: int) -> None:
    """Make a store of so many records."""
    store = SqliteStore(path)
    client = create_app(store=store).test_client()
    client.post("/v1/jobs", json={"id": "clinic", "name": "Clinic"})
    asked = {"job": "clinic", "requirement": {"rule_set": OLD, "category": "6"}}
    for number in range(VARIED):
        made = client.post("/v1/records", json={**document(number), **asked, "label": f"L-{number}"})
        assert made.status_code == 201, made.text
    connection = store.connection
    last = store.last_change()
    assert last is not None
    first = last.seq - VARIED
    connection.execute("PRAGMA synchronous = OFF")
    connection.execute("CREATE TEMP TABLE n (n INTEGER PRIMARY KEY)")
    connection.execute("BEGIN")
    connection.executemany("INSERT INTO n VALUES (?)", ((n,) for n in range(VARIED, count)))
    new, old = f"{first} + 1 + n", f"{first} + 1 + n % {VARIED}"
    for table, changed in TABLES.items():
        columns = [row[1] for row in connection.execute(f"PRAGMA table_info({table})")]
        taken = ", ".join(changed.get(name, name).format(new=new) for name in columns)
        key = "row" if table == "record" else "seq"
        connection.execute(
            f"INSERT INTO {table} ({', '.join(columns)}) SELECT {taken} FROM n JOIN {table} ON {key} = {old}"
        )
    connection.execute("COMMIT")
    connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    store.close()


# What the rows of a copy have for themselves.
TABLES = {
    "record": {
        "row": "{new}", "seq": "{new}", "id": "'r' || ({new})", "label": "'L-' || n",
        "digest": "'sha256:' || ({new})",
    },
    "revision": {
        "seq": "{new}", "record_id": "'r' || ({new})", "label": "'L-' || n", "digest": "'sha256:' || ({new})",
    },
    "content": {"seq": "{new}", "curves": "NULL"},
    "change": {"seq": "{new}", "record_id": "'r' || ({new})", "label": "'L-' || n"},
}  # fmt: skip


def _resident_mb(pid: int) -> float:
    return int(Path(f"/proc/{pid}/statm").read_text().split()[1]) * PAGE_BYTES / 1e6


def _family(pid: int) -> Iterator[int]:
    yield pid
    try:
        children = Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
    except FileNotFoundError:
        return
    for child in children:
        yield from _family(int(child))


def _sample(pid: int) -> tuple[float, float]:
    """Return the resident memory of a process, and the most of any that it has started. [MB]."""
    found = []
    for each in _family(pid):
        try:
            found.append(_resident_mb(each))
        except (FileNotFoundError, ProcessLookupError):
            continue
    return found[0], max(found[1:], default=0.0)


def main() -> None:
    """Fill a store, re-grade it and print the memory over time."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--records", type=int, default=100_000)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as directory:
        path, limits = Path(directory) / "records.db", Path(directory) / "limits"
        limits.mkdir()
        (limits / "own.toml").write_text(EDITION)
        filled(path, asked.records)
        environment = {**os.environ, "FOURPAIR_STORE": str(path), "FOURPAIR_LIMITS_DIRECTORY": str(limits)}
        command = [sys.executable, "-m", "fourpair_service", "regrade", "--rule-set", NEW]
        began, samples = time.monotonic(), []
        with subprocess.Popen(command, env=environment, stdout=subprocess.PIPE, text=True) as process:
            while process.poll() is None:
                samples.append(_sample(process.pid))
                time.sleep(1.0)
            assert process.stdout is not None
            told = json.loads(process.stdout.read())
        seconds = time.monotonic() - began
        assert told["unchanged"] == asked.records, told
        print(f"{asked.records} records in {seconds:.0f} s, {1e3 * seconds / asked.records:.2f} ms each")
        size = len(samples) // QUARTERS
        for quarter in range(QUARTERS):
            part = samples[quarter * size : (quarter + 1) * size]
            own, other = (median(each[which] for each in part) for which in (0, 1))
            print(f"quarter {quarter + 1}: command {own:.0f} MB, grading process {other:.0f} MB")


if __name__ == "__main__":
    main()
