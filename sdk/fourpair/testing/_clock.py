"""A clock for tests."""

from __future__ import annotations

import threading
from datetime import UTC, datetime, timedelta

START = datetime(2026, 1, 1, tzinfo=UTC)


class Clock:
    """A clock that moves only where somebody waits; shared by threads.

    >>> clock = Clock(START)
    >>> clock.sleep(90)
    >>> clock.now().isoformat(), clock.monotonic()
    ('2026-01-01T00:01:30+00:00', 90.0)
    """

    def __init__(self, start: datetime) -> None:
        self._start = start
        self._moved_s = 0.0
        self._lock = threading.Lock()

    def now(self) -> datetime:
        """Return the present moment."""
        return self._start + timedelta(seconds=self.monotonic())

    def monotonic(self) -> float:
        """Return how far it has moved. [s]."""
        with self._lock:
            return self._moved_s

    def sleep(self, seconds: float) -> None:
        """Move on instead of waiting."""
        with self._lock:
            self._moved_s += seconds
