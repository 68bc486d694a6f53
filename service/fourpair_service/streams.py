"""How many workers may stream at once, so that the others stay free."""

from __future__ import annotations

import fcntl
import shutil
import tempfile
from collections.abc import Callable
from pathlib import Path


class StreamPlaces:
    """Places for streams, shared by the workers of one server.

    A place is a lock on a file: the system gives it back whatever becomes of its holder.

    Args:
        count: how many.
    """

    def __init__(self, count: int) -> None:
        # Made before the workers are, and dropped by the server alone: no worker's end must take it away.
        self._directory = Path(tempfile.mkdtemp(prefix="fourpair-streams-"))
        self._paths = [self._directory / str(number) for number in range(count)]
        # Set by each worker once it is born.
        self.alive: Callable[[], None] = lambda: None

    def close(self) -> None:
        """Drop the files; for whoever made them."""
        shutil.rmtree(self._directory, ignore_errors=True)

    def take(self) -> Callable[[], None] | None:
        """Return what gives the place back; ``None`` where there is none."""
        for path in self._paths:
            file = path.open("w")
            try:
                fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError:
                file.close()
                continue
            return file.close
        return None
