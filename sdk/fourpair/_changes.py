"""``client.changes``: the change feed."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from fourpair._kept import Change, told
from fourpair._transport import Send, asked

# Shorter than the time that a read may take.
WAIT_S = 20


class Changes:
    """The change feed, as a client follows it."""

    def __init__(self, send: Send) -> None:
        self._send = send

    def _page(self, **query: Any) -> tuple[list[Change], int]:
        document = self._send("GET", "/v1/changes", params=asked(**query)).json()
        return [told(Change, each) for each in document["changes"]], document["next_after"]

    def list(self, *, after: int = 0, job: str | None = None) -> Iterator[Change]:
        """Yield what there is after a ``seq``, in order, and end."""
        while True:
            found, reached = self._page(after=after, job=job)
            yield from found
            if not found:
                return
            after = reached

    def follow(self, *, after: int = 0, job: str | None = None, wait_s: int = WAIT_S) -> Iterator[Change]:
        """Yield what there is after a ``seq`` and whatever comes, without end.

        Keep the ``seq`` of the last change you dealt with: going on from there
        misses nothing and repeats nothing.
        """
        while True:
            found, after = self._page(after=after, job=job, wait=wait_s)
            yield from found
