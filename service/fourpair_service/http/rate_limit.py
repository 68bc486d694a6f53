"""How often a key may ask: a bucket that fills as time goes by.

Each process has its own buckets, with its share of the rate: nothing is written
for a request that only reads.
"""

from __future__ import annotations

import math
import threading
from dataclasses import dataclass
from typing import Final

WINDOW_S: Final = 60


@dataclass(slots=True)
class Bucket:
    """What a key may still ask."""

    left: float
    seen_s: float


@dataclass(frozen=True, slots=True)
class Allowance:
    """The answer to one request.

    Attributes:
        left: how many may follow at once.
        reset_s: until the bucket is full again. [s]
        retry_after_s: 0 where this request may pass. [s]
    """

    per_minute: int
    left: int
    reset_s: int
    retry_after_s: int

    def headers(self) -> dict[str, str]:
        """Return the header fields of draft-ietf-httpapi-ratelimit-headers (a draft, no RFC yet)."""
        return {
            "RateLimit-Policy": f'"key";q={self.per_minute};w={WINDOW_S}',
            "RateLimit": f'"key";r={self.left};t={self.reset_s}',
        }


class RateLimit:
    """Buckets by key; may be asked by several threads.

    Args:
        share: of every rate that this process has.
    """

    def __init__(self, share: float = 1.0) -> None:
        self._share = share
        self._buckets: dict[str, Bucket] = {}
        self._lock = threading.Lock()

    def take(self, key_id: str, per_minute: int, now_s: float) -> Allowance:
        """Take one request out of a key's bucket.

        Args:
            key_id: whose.
            per_minute: its rate.
            now_s: on a clock that only goes forward. [s]
        """
        size = max(1.0, per_minute * self._share)
        per_second = size / WINDOW_S
        with self._lock:
            bucket = self._buckets.setdefault(key_id, Bucket(size, now_s))
            bucket.left = min(size, bucket.left + max(0.0, now_s - bucket.seen_s) * per_second)
            bucket.seen_s = now_s
            wait = 0 if bucket.left >= 1 else math.ceil((1 - bucket.left) / per_second)
            if not wait:
                bucket.left -= 1
            return Allowance(per_minute, int(bucket.left), math.ceil((size - bucket.left) / per_second), wait)

    def give_back(self, key_id: str) -> None:
        """Return one request: what the client had already is free."""
        with self._lock:
            if key_id in self._buckets:
                self._buckets[key_id].left += 1
