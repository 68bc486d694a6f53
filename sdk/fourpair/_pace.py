"""Slowing down before the service has to refuse (draft-ietf-httpapi-ratelimit-headers, no RFC yet)."""

from __future__ import annotations

import re
import threading
from collections.abc import Mapping

_NUMBER = {name: re.compile(rf";\s*{name}=(\d+)") for name in "qwr"}
# Of a key's whole rate; with fewer left than this, requests are spread out.
_NEARLY_SPENT = 0.05


def _number(name: str, text: str) -> int | None:
    found = _NUMBER[name].search(text)
    return int(found[1]) if found else None


class Pace:
    """How fast requests may follow each other; shared by threads.

    >>> pace = Pace()
    >>> pace.heard({"RateLimit": '"key";r=0;t=60', "RateLimit-Policy": '"key";q=60;w=60'})
    >>> [pace.wait_s(now) for now in (100.0, 100.0, 101.5)]
    [0.0, 1.0, 0.5]
    >>> pace.heard({"RateLimit": '"key";r=50;t=10', "RateLimit-Policy": '"key";q=60;w=60'})
    >>> pace.wait_s(101.5)
    0.0
    """

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._interval_s = 0.0
        self._next_s = 0.0

    def heard(self, headers: Mapping[str, str]) -> None:
        """Take note of what an answer says about the rate."""
        limit, policy = headers.get("RateLimit"), headers.get("RateLimit-Policy")
        if not limit or not policy:
            return
        left, quota, window_s = _number("r", limit), _number("q", policy), _number("w", policy)
        if left is None or not quota or window_s is None:
            return
        spent = left <= max(1, quota * _NEARLY_SPENT)
        with self._lock:
            self._interval_s = window_s / quota if spent else 0.0

    def wait_s(self, now_s: float) -> float:
        """Take the next place in the row; return how long to wait for it. [s]."""
        with self._lock:
            if not self._interval_s:
                return 0.0
            place_s = max(now_s, self._next_s)
            self._next_s = place_s + self._interval_s
            return place_s - now_s
