"""What handing a job over takes: time, peak of memory and size of each form, for a short and a long job.

Each form is made by a process of its own, so that its peak is its own. With ``--joining`` the ways to make
one PDF of many sheets are compared too: parts put together by pikepdf or by pypdf, or all pages held by fpdf2.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from fourpair_service.app import create_app, record_grader
from fourpair_service.config import Settings
from fourpair_service.http.handovers import asked_handover, write_handover
from fourpair_service.reports.handover import pdf
from fourpair_service.storage.sqlite import SqliteStore

LINKS: Final = Path(__file__).resolve().parents[2] / "samples" / "links"
FORMS: Final = ("pdf", "xlsx", "xlsx-sheets", "csv", "zip")
JOINING: Final = ("pdf", "pdf-by-pypdf", "pdf-in-one-part")
SOME: Final = 20
JOB: Final = "clinic"
# The limits of this machine's allocator that keep freed memory would count as need.
UNSET: Final = ("MALLOC_MMAP_THRESHOLD_", "MALLOC_TRIM_THRESHOLD_")


@dataclass(frozen=True, slots=True)
class Made:
    """One form, made once.

    Attributes:
        wall_s: on the clock on the wall. [s]
        processor_s: of the processor. [s]
        before_mb, peak_mb: resident memory before and at most. [MB]
        size_mb: of the file. [MB]
    """

    wall_s: float
    processor_s: float
    before_mb: float
    peak_mb: float
    size_mb: float


def filled(path: Path, count: int) -> None:
    """Make a store with a job of so many full links, a fifth of them with the faults of the samples."""
    store = SqliteStore(path)
    client = create_app(store=store).test_client()
    schedule = [{"label": f"A{number}"} for number in range(1, count + 4)]
    client.post("/v1/jobs", json={"id": JOB, "name": "Clinic", "schedule": schedule})
    samples = [json.loads(each.read_bytes()) for each in sorted(LINKS.glob("*.json"))]
    for start in range(0, count, SOME):
        records = [
            {
                **samples[number // 5 % len(samples) if number % 5 == 0 else 0],
                "job": JOB,
                "label": f"A{number + 1}",
            }
            for number in range(start, min(start + SOME, count))
        ]
        assert client.post("/v1/records:batch", json={"records": records}).status_code == 200
    store.close()


def resident_mb(what: str) -> float:
    """Return how much memory this process holds now (``VmRSS``) or held at most (``VmHWM``). [MB]."""
    lines = Path("/proc/self/status").read_text(encoding="ascii").splitlines()
    return next(int(line.split()[1]) * 1024 / 1e6 for line in lines if line.startswith(f"{what}:"))


def forget_peak() -> None:
    """Let the peak of this process begin anew (proc(5), clear_refs)."""
    Path("/proc/self/clear_refs").write_text("5", encoding="ascii")


def bound_by_pypdf(parts: Any, target: Path, *_: Any) -> None:
    """Put parts together by pypdf."""
    from pypdf import PdfWriter  # noqa: PLC0415 - compared, not used

    writer = PdfWriter()
    for part in parts:
        writer.append(part.pages)
    writer.write(target)


def make(path: Path, form: str, target: Path) -> Made:
    """Make one form in this process."""
    grader, store = record_grader(Settings()), SqliteStore(path)
    if form == "pdf-by-pypdf":
        pdf.bind = bound_by_pypdf  # type: ignore[assignment]
    if form == "pdf-in-one-part":
        pdf.PART_PAGES = 1 << 30  # type: ignore[misc]
    media, _, more = form.partition("-")
    asked = {"format": media} | ({"per_link": "sheet"} if more == "sheets" else {})
    forget_peak()
    before_mb, began_s, busy_s = resident_mb("VmRSS"), time.perf_counter(), time.process_time()
    with store.reading() as reader:
        job = reader.job(JOB)
        assert job is not None
        write_handover(reader, job, asked_handover(asked), target, grader.catalogue, grader.limits)
    taken_s, used_s = time.perf_counter() - began_s, time.process_time() - busy_s
    return Made(taken_s, used_s, before_mb, resident_mb("VmHWM"), target.stat().st_size / 1e6)


def in_a_process(path: Path, form: str, directory: Path) -> Made:
    """Make one form in a process of its own."""
    own = {name: value for name, value in os.environ.items() if name not in UNSET}
    command = [sys.executable, __file__, "--one", form, str(path), str(directory / form)]
    done = subprocess.run(command, check=True, capture_output=True, text=True, env=own)
    return Made(**json.loads(done.stdout))


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--links", type=int, nargs="+", default=[200, 1000])
    parser.add_argument("--joining", action="store_true", help="compare ways to make one PDF")
    parser.add_argument("--one", nargs=3, metavar=("FORM", "STORE", "FILE"), help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.one:
        form, path, target = asked.one
        made = make(Path(path), form, Path(target))
        print(json.dumps({name: getattr(made, name) for name in Made.__slots__}))
        return
    print("| form | links | s | s of processor | MB before | MB at most | MB of file |")
    print("| --- | --- | --- | --- | --- | --- | --- |")
    with tempfile.TemporaryDirectory() as directory:
        for count in asked.links:
            path = Path(directory) / f"{count}.db"
            filled(path, count)
            for form in JOINING if asked.joining else FORMS:
                m = in_a_process(path, form, Path(directory))
                print(
                    f"| {form} | {count} | {m.wall_s:.1f} | {m.processor_s:.1f} | {m.before_mb:.0f} "
                    f"| {m.peak_mb:.0f} | {m.size_mb:.1f} |",
                    flush=True,
                )


if __name__ == "__main__":
    main()
