"""Which requests with an idempotency key are being carried out, in whichever process."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from hashlib import sha256
from typing import Final

from fourpair_service.http.shared_file import OwnMemory, Shared
from fourpair_service.records.errors import IdempotencyRunningError

# Bytes of the shared file far behind its memory: nothing is there, and each can be locked.
FIRST_PLACE: Final = 2**40


def _place(owner: str, key: str) -> int:
    return FIRST_PLACE + int.from_bytes(sha256(f"{owner}\n{key}".encode()).digest()[:5], "big")


class Running:
    """Keys that are held while their requests are carried out.

    Args:
        shared: where processes meet.
    """

    def __init__(self, shared: Shared | None = None) -> None:
        self._shared = shared or OwnMemory(0)
        self._places: set[int] = set()
        self._lock = threading.Lock()

    def has(self, owner: str, key: str) -> bool:
        """Return whether a request with this key is being carried out."""
        place = _place(owner, key)
        with self._lock:
            if place in self._places:
                return True
            is_free = self._shared.try_lock(place)
            if is_free:
                self._shared.unlock(place)
            return not is_free

    @contextmanager
    def claimed(self, owner: str, key: str | None) -> Iterator[None]:
        """Hold a key for as long as its request takes.

        Raises:
            IdempotencyRunningError: another request holds it.
        """
        if key is None:
            yield
            return
        place = _place(owner, key)
        with self._lock:
            if place in self._places or not self._shared.try_lock(place):
                raise IdempotencyRunningError(key)
            self._places.add(place)
        try:
            yield
        finally:
            with self._lock:
                self._places.discard(place)
                self._shared.unlock(place)
