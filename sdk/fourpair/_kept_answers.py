"""Answers that are kept and asked about again, instead of being sent again (RFC 9110, If-None-Match)."""

from __future__ import annotations

import copy
import threading
from collections import OrderedDict

import requests

# An answer that is larger is not kept: a measurement with all its curves is read once. [bytes]
LARGEST_BYTES = 1_000_000


class KeptAnswers:
    """The newest answers that have an ETag, by address; shared by threads.

    Args:
        most: how many are kept; 0 keeps none.
    """

    def __init__(self, most: int) -> None:
        self._most = most
        self._lock = threading.Lock()
        self._kept: OrderedDict[str, requests.Response] = OrderedDict()

    def find(self, address: str) -> requests.Response | None:
        """Return what is kept of an address."""
        with self._lock:
            found = self._kept.get(address)
            if found is not None:
                self._kept.move_to_end(address)
            return found

    def keep(self, address: str, answer: requests.Response) -> None:
        """Keep an answer where it has a tag and is not too large."""
        if not self._most or "ETag" not in answer.headers or len(answer.content) > LARGEST_BYTES:
            return
        with self._lock:
            self._kept[address] = copy.copy(answer)
            if len(self._kept) > self._most:
                self._kept.popitem(last=False)


def renewed(kept: requests.Response, answer: requests.Response) -> requests.Response:
    """Return a kept answer with the headers of the 304 that says it still holds."""
    same = copy.copy(kept)
    same.headers = kept.headers.copy()
    same.headers.update(answer.headers)
    return same
