"""How often a key may ask: a bucket that fills as time goes by.

The buckets lie in memory that all processes of a store share; nothing is written
to the store for a request that only reads.
"""

from __future__ import annotations

import math
import struct
import threading
from dataclasses import dataclass
from hashlib import sha256
from typing import Final

from fourpair_service.http.shared_file import OwnMemory, Shared

WINDOW_S: Final = 60
# Name of a key, what is left to it, when that was so. [requests, s]
BUCKET: Final = struct.Struct("16sdd")
BUCKETS: Final = 4096
# Buckets that are looked at for a key before the one longest unused is taken from its own.
LOOKED_AT: Final = 16
SIZE: Final = BUCKETS * BUCKET.size
LOCK: Final = 0


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
    """Buckets by key; may be asked by several threads and processes.

    Args:
        shared: where the buckets lie.
    """

    def __init__(self, shared: Shared | None = None) -> None:
        self._shared = shared or OwnMemory(SIZE)
        self._lock = threading.Lock()

    def take(self, key_id: str, per_minute: int, now_s: float) -> Allowance:
        """Take one request out of a key's bucket.

        Args:
            key_id: whose.
            per_minute: its rate.
            now_s: on a clock that only goes forward, the same for all processes. [s]
        """
        size, per_second = float(per_minute), per_minute / WINDOW_S
        with self._lock, self._shared.locked(LOCK):
            place, name, left, seen_s = self._bucket(key_id)
            # A new bucket is full, and so is one of before the machine was started.
            known = left is not None and seen_s <= now_s
            left = min(size, (left or 0.0) + (now_s - seen_s) * per_second) if known else size
            wait = 0 if left >= 1 else math.ceil((1 - left) / per_second)
            left -= not wait
            BUCKET.pack_into(self._shared.memory, place, name, left, now_s)
        return Allowance(per_minute, int(left), math.ceil((size - left) / per_second), wait)

    def give_back(self, key_id: str) -> None:
        """Return one request: what the client had already is free."""
        with self._lock, self._shared.locked(LOCK):
            place, name, left, seen_s = self._bucket(key_id)
            if left is not None:
                BUCKET.pack_into(self._shared.memory, place, name, left + 1, seen_s)

    def _bucket(self, key_id: str) -> tuple[int, bytes, float | None, float]:
        """Return where a key's bucket lies, its name, what is left in it and when; ``None``: it is new."""
        name = sha256(key_id.encode()).digest()[:16]
        first = int.from_bytes(name[:4], "big")
        places = [(first + step) % BUCKETS * BUCKET.size for step in range(LOOKED_AT)]
        oldest: tuple[float, int] | None = None
        for place in places:
            found, left, seen_s = BUCKET.unpack_from(self._shared.memory, place)
            if found == name:
                return place, name, left, seen_s
            if found == bytes(16):
                return place, name, None, 0.0
            oldest = min(oldest or (seen_s, place), (seen_s, place))
        assert oldest is not None
        return oldest[1], name, None, 0.0
