"""The real service in a process of its own, as its users run it."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]


@contextmanager
def running_service(**environment: str) -> Iterator[str]:
    """Start ``fourpair-service serve`` on a free port and yield its URL."""
    own = (
        os.environ
        | {"FOURPAIR_PORT": "0", "FOURPAIR_WORKERS": "1", "PYTHONUNBUFFERED": "1"}
        | {"FOURPAIR_STORE": ":memory:"}
        | environment
    )
    command = [sys.executable, "-m", "fourpair_service", "serve"]
    with subprocess.Popen(command, env=own, stdout=subprocess.PIPE, text=True, cwd=ROOT) as process:
        try:
            assert process.stdout is not None
            line = process.stdout.readline()
            assert "http://" in line, line
            yield "http://" + line.split("http://")[1].split()[0].rstrip("/.,;")
        finally:
            process.terminate()
