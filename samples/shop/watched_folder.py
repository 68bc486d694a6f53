"""Watched folder: whatever lands in it is submitted.

    python watched_folder.py inbox/ --job alder-row-clinic

A document (``*.json``) is kept: a new link, or a retest of one that is known. It moves
to ``kept/``, or to ``refused/`` with the reason beside it. Touchstone files are graded
once their description of the same name is there (``0A-01.json`` with its ``touchstone``
object, beside ``0A-01.s4p`` or ``0A-01-12.s4p``, ``0A-01-36.s4p``); the verdict moves with
them to ``graded/``, since a record holds a document and not files.

A file that is still being written is left alone until it has not changed for a while.
Stopping this at any moment loses nothing: a file is moved after it was answered, and
the key of a request is the digest of its content.
"""

from __future__ import annotations

import argparse
import hashlib
import time
from collections.abc import Iterator
from pathlib import Path

from fourpair import ApiError, Client, FourpairError, InvalidMeasurementError, Measurement

SETTLED_S = 2.0
PAUSE_S = 1.0


def settled(folder: Path, now_s: float, settled_s: float) -> list[Path]:
    """Return the files of a folder that nobody writes to any more."""
    found = (path for path in sorted(folder.iterdir()) if path.is_file() and not path.name.startswith("."))
    return [path for path in found if now_s - path.stat().st_mtime >= settled_s]


def move(paths: list[Path], where: str, told: str) -> None:
    """Move files into a folder beside, with what is to be said of the first."""
    folder = paths[0].parent / where
    folder.mkdir(exist_ok=True)
    (folder / f"{paths[0].stem}.txt").write_text(told + "\n", encoding="utf-8")
    for path in paths:
        path.replace(folder / path.name)


def take(client: Client, document: Path, sweeps: list[Path], job: str | None) -> str:
    """Submit one document, with the Touchstone files it describes; return where it went."""
    try:
        measurement = Measurement.from_json(document)
        if sweeps:
            verdict = client.grade(measurement, touchstone={path.name: path for path in sweeps})
            move([document, *sweeps], "graded", verdict.summary())
            return "graded"
        sent = measurement.with_changes(job=job) if job else measurement
        key = hashlib.sha256(document.name.encode() + b"\0" + document.read_bytes()).hexdigest()
        (item,) = client.records.batch([sent], idempotency_key=key)
        if item.problem is None:
            move([document], "kept", f"{item.label}: {item.result}, {item.outcome}, record {item.record}")
            return "kept"
        told = f"{item.problem.get('title')}: {item.problem.get('detail')}"
    except (ApiError, InvalidMeasurementError) as error:
        if error.retryable:
            raise
        told = str(error)
    move([document, *sweeps], "refused", told)
    return "refused"


def look(client: Client, folder: Path, job: str | None, settled_s: float = SETTLED_S) -> Iterator[str]:
    """Submit what lies in a folder; yield a line for each document."""
    files = settled(folder, time.time(), settled_s)
    documents = [path for path in files if path.suffix == ".json"]
    for document in documents:
        sweeps = [path for path in files if _is_sweep_of(path, document)]
        if not sweeps and "touchstone" in document.read_text(encoding="utf-8", errors="replace"):
            continue
        yield f"{document.name}: {take(client, document, sweeps, job)}"


def _is_sweep_of(path: Path, document: Path) -> bool:
    is_touchstone = path.suffix.lower() in {".s4p", ".s8p", ".s16p"}
    return is_touchstone and (path.stem == document.stem or path.stem.startswith(f"{document.stem}-"))


if __name__ == "__main__":
    parser = argparse.ArgumentParser()
    parser.add_argument("folder", type=Path)
    parser.add_argument("--job")
    parser.add_argument("--once", action="store_true", help="end after one look")
    parser.add_argument("--settled", type=float, default=SETTLED_S, metavar="SECONDS")
    options = parser.parse_args()
    with Client() as service:
        while True:
            try:
                for line in look(service, options.folder, options.job, options.settled):
                    print(line, flush=True)
            except FourpairError as error:
                # What lies there still lies there at the next look.
                print(f"{error}; trying again", flush=True)
            if options.once:
                break
            time.sleep(PAUSE_S)
