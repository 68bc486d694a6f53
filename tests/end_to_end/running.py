"""A real server for tests: its own process, its own store, a free loopback port."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


class Running:
    """A server that runs.

    Attributes:
        url: where it listens.
        process: the one that its workers belong to.
        lines: what it logged.
    """

    def __init__(self, store: Path, **settings: str) -> None:
        environment = {
            **os.environ,
            "FOURPAIR_STORE": str(store),
            "FOURPAIR_PORT": "0",
            "FOURPAIR_MIN_FREE_BYTES": "0",
            **settings,
        }
        self.process = subprocess.Popen(
            [sys.executable, "-m", "fourpair_service", "serve"],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            env=environment,
            text=True,
            start_new_session=True,
        )
        assert self.process.stdout is not None
        line = self.process.stdout.readline()
        self.url = line.split(" at ")[1].split(";")[0]
        self.lines: list[str] = []
        # A pipe that nobody reads fills up and stops the server.
        self._reader = threading.Thread(target=self.lines.extend, args=(self.process.stderr,))
        self._reader.start()

    def kill(self) -> None:
        """End it and its workers at once, as a power cut would."""
        os.killpg(self.process.pid, signal.SIGKILL)
        self._reap()

    def stop(self) -> None:
        """End it in an orderly way."""
        if self.process.poll() is None:
            self.process.terminate()
        self._reap()

    def _reap(self) -> None:
        self.process.wait()
        self._reader.join()
        assert self.process.stdout is not None
        assert self.process.stderr is not None
        self.process.stdout.close()
        self.process.stderr.close()


@contextmanager
def running(store: Path, **settings: str) -> Iterator[Running]:
    """Run a server for as long as the block takes."""
    server = Running(store, **settings)
    try:
        yield server
    finally:
        server.stop()
