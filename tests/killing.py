"""A writer, nightly runs and a worker that are killed again and again; in processes of their own."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from pathlib import Path

from fourpair_service.app import create_app
from fourpair_service.storage.opening import open_store

ROOT = Path(__file__).resolve().parents[1]
LINK = json.loads((ROOT / "samples" / "links" / "2A-03-summary-only.json").read_bytes())
OLD = "tia-568.2-d-2018"
RECORDS = 6


def environment(store: str, **more: str) -> dict[str, str]:
    """Return the environment of a process of the service over a store."""
    return (
        os.environ
        | {
            "FOURPAIR_STORE": store,
            "FOURPAIR_GRADING_PROCESSES": "1",
            "FOURPAIR_WEBHOOK_NETWORKS": "127.0.0.0/8",
            "FOURPAIR_LIMITS_DIRECTORY": str(ROOT / "samples" / "limits-example"),
        }
        | more
    )


def started(store: str, *arguments: str, **options: object) -> subprocess.Popen[bytes]:
    """Return a running command of the service."""
    command = [sys.executable, "-m", "fourpair_service", *arguments]
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL, **options}
    return subprocess.Popen(command, env=environment(store), cwd=ROOT, **quiet)  # type: ignore[call-overload,no-any-return]


def write_without_end(name: str, acknowledged: int) -> None:
    """Retest a few records in turns without end, and tell each change once it is acknowledged."""
    client = create_app(store=open_store(name)).test_client()
    number = 0
    while True:
        label = f"L-{number % RECORDS}"
        document = {**LINK, "label": label, "job": "clinic", "notes": f"{os.getpid()} {number}"}
        document["requirement"] = {"rule_set": OLD, "category": "6"}
        document["external_ids"] = {"costing": label}
        answer = client.put(f"/v1/records/by-external-id/costing/{label}", json=document)
        if answer.status_code in (200, 201):
            os.write(acknowledged, f"{answer.get_json()['record']['seq']}\n".encode())
        number += 1
        time.sleep(0.02)


if __name__ == "__main__":
    write_without_end(sys.argv[1], 1)
