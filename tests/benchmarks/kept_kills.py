"""Kill a writer again and again, and look for what it had acknowledged."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Final

from fourpair_service.records import job_commands
from fourpair_service.records.desk import Terms
from fourpair_service.records.integrity import first_break
from fourpair_service.storage.sqlite import SqliteStore

ROOT: Final = Path(__file__).resolve().parents[2]
BESIDE: Final = [str(ROOT / "service"), str(ROOT / "tests")]
sys.path[:0] = BESIDE

from record_factory import ANYONE, desk_of  # noqa: E402 - found beside the tests

JOB: Final = "bench"
WRITER: Final = """
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


def _written(path: Path, delay_s: float) -> dict[str, str]:
    """Return what a writer acknowledged until it was killed, by record: the digest of its revision."""
    environment = os.environ | {"PYTHONPATH": os.pathsep.join(BESIDE)}
    writer = subprocess.Popen(
        [sys.executable, "-c", WRITER, str(path)], stdout=subprocess.PIPE, text=True, env=environment
    )
    assert writer.stdout is not None
    lines = [writer.stdout.readline()]
    threading.Timer(delay_s, os.kill, (writer.pid, signal.SIGKILL)).start()
    lines += writer.stdout.readlines()
    writer.wait()
    writer.stdout.close()
    whole = (line.split() for line in lines if line.endswith("\n"))
    return {record_id: digest for _, record_id, digest in whole}


def sentence(kills: int = 300) -> str:
    """Return what was found after so many kills, in a sentence."""
    with TemporaryDirectory() as directory:
        path = Path(directory) / "records.db"
        store = SqliteStore(path)
        job_commands.create_job(desk_of(store), ANYONE, JOB, {"name": "Bench"}, Terms())
        acknowledged: dict[str, str] = {}
        for number in range(kills):
            acknowledged |= _written(path, 0.01 + 0.003 * (number % 40))
        kept = {name: store.record(name) for name in acknowledged}
        lost = sum(1 for name, record in kept.items() if not record or record.digest != acknowledged[name])
        entries, last = store.connection.execute("SELECT count(*), max(seq) FROM change").fetchone()
        found = first_break(store)
        store.close()
    chain = "every chain whole" if found is None else f"BROKEN at {found.told()}"
    gaps = "no gap in the feed" if entries == last else f"{last - entries} GAPS in the feed"
    return f"{kills} kills -9 of a writer: {len(acknowledged)} acknowledged records, {lost} lost, {chain}, {gaps}."
