"""A Dask cluster of processes of its own: a scheduler and two workers, as on machines of their own."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from contextlib import contextmanager


@contextmanager
def ended(*arguments, **options):
    with subprocess.Popen([sys.executable, "-m", *arguments], **options) as process:
        try:
            yield process
        finally:
            process.kill()


@contextmanager
def cluster(directory):
    """Run a scheduler and two workers of one thread each, and give the address."""
    told = directory / "scheduler.json"
    own = {
        "env": os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)},
        "cwd": directory,
        "stdout": subprocess.DEVNULL,
        "stderr": subprocess.DEVNULL,
    }
    quiet = ("--no-dashboard", "--scheduler-file", str(told))
    worker = ("distributed.cli.dask_worker", "--nthreads", "1", "--no-nanny", *quiet)
    local = ("--host", "127.0.0.1")
    with ended("distributed.cli.dask_scheduler", "--port", "0", *local, *quiet, **own):
        until = time.monotonic() + 60
        while not told.exists() or not told.read_text().strip():
            assert time.monotonic() < until
            time.sleep(0.1)
        address = json.loads(told.read_text())["address"]
        with ended(*worker, **own), ended(*worker, **own):
            yield address
