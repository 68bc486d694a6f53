"""Watched folder: whatever lands in it is submitted.

    python watched_folder.py inbox/ --job alder-row-clinic

A document (``*.json``) is kept: a new link, or a retest of one that is known. It moves
to ``kept/``, or to ``refused/`` with the reason beside it. Touchstone files are kept once
their description of the same name is there (``0A-01.json`` with its ``touchstone``
object, beside ``0A-01.s4p`` or ``0A-01-12.s4p``, ``0A-01-36.s4p``): the record holds them
as complex sweeps of its document, and the files move with it.

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

from fourpair import ApiError, Client, ConflictError, FourpairError, InvalidMeasurementError, Measurement

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


def key_of(paths: list[Path]) -> str:
    """Return the key of a request: the same for the same files with the same content."""
    content = (path.name.encode() + b"\0" + path.read_bytes() for path in paths)
    return hashlib.sha256(b"\0".join(content)).hexdigest()


def keep(client: Client, measurement: Measurement, sweeps: list[Path], key: str) -> str:
    """Keep a measurement with its Touchstone files; return what became of it."""
    files = {path.name: path for path in sweeps}
    try:
        written = client.records.create(measurement, touchstone=files, idempotency_key=key)
    except ConflictError as error:
        if error.code != "label-taken":
            raise
        job, label = measurement["job"], measurement["label"]
        known = next(r for r in client.records.list(job=job, label_prefix=label) if r.label == label)
        written = client.records.retest(
            known.id, measurement, touchstone=files, idempotency_key=f"{key}-retest"
        )
    record = written.record
    return f"{record.label}: {written.result}, {record.outcome}, record {record.id}"


def take(client: Client, document: Path, sweeps: list[Path], job: str | None) -> str:
    """Submit one document, with the Touchstone files it describes; return where it went."""
    paths = [document, *sweeps]
    try:
        measurement = Measurement.from_json(document)
        sent = measurement.with_changes(job=job) if job else measurement
        if sweeps:
            move(paths, "kept", keep(client, sent, sweeps, key_of(paths)))
            return "kept"
        (item,) = client.records.batch([sent], idempotency_key=key_of(paths))
        if item.problem is None:
            move(paths, "kept", f"{item.label}: {item.result}, {item.outcome}, record {item.record}")
            return "kept"
        told = f"{item.problem.get('title')}: {item.problem.get('detail')}"
    except (ApiError, InvalidMeasurementError) as error:
        if error.retryable:
            raise
        told = str(error)
    move(paths, "refused", told)
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
