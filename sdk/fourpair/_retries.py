"""How patiently a request is tried again."""

from __future__ import annotations

from dataclasses import dataclass

import requests
from requests.structures import CaseInsensitiveDict
from urllib3.exceptions import InvalidHeader
from urllib3.util import Retry

# What asks for a date or seconds is read by the library that knows both.
_READER = Retry()


@dataclass(frozen=True, slots=True)
class Retries:
    """When and how often a request is tried again; every write carries a key that makes that safe.

    Attributes:
        tries: how often at most a request is sent; 1 for once.
        first_pause_s: before the second try; it doubles from try to try. [s]
        longest_pause_s: of those pauses. [s]
        longest_retry_after_s: a service that asks for a longer wait is asked again after this. [s]
        statuses: answers after which the same may succeed later.

    >>> [Retries().pause_s(tries_made, None, 1.0) for tries_made in (1, 2, 3, 9)]
    [0.2, 0.4, 0.8, 5.0]
    >>> Retries().pause_s(1, 3600.0, 0.0)
    20.0
    """

    tries: int = 4
    first_pause_s: float = 0.2
    longest_pause_s: float = 5.0
    longest_retry_after_s: float = 20.0
    statuses: frozenset[int] = frozenset({429, 500, 502, 503, 504})

    def pause_s(self, tries_made: int, asked_s: float | None, jitter: float) -> float:
        """Return how long to wait before the next try. [s].

        Args:
            tries_made: so far, at least 1.
            asked_s: what the service asked for, ``None`` where it said nothing. [s]
            jitter: 0 to 1 at random, so that many clients do not come back together.

        >>> Retries(first_pause_s=1).pause_s(2, None, jitter=1.0)
        2.0
        """
        pause = min(self.longest_pause_s, self.first_pause_s * 2.0 ** (tries_made - 1))
        if asked_s is None:
            return pause * (0.5 + jitter / 2)
        return min(asked_s + pause * jitter, self.longest_retry_after_s)


def retry_after_s(headers: CaseInsensitiveDict[str]) -> float | None:
    """Return how long an answer asks to wait, ``None`` where it says nothing to be understood. [s]."""
    given = headers.get("Retry-After")
    if given is None:
        return None
    try:
        return _READER.parse_retry_after(given)
    except InvalidHeader:
        # Whatever a proxy made of it: it asks for no wait that can be understood.
        return None


def may_help(error: requests.RequestException) -> bool:
    """Return whether trying again may help after no answer arrived."""
    if isinstance(error, requests.exceptions.SSLError):
        return False
    return isinstance(
        error, (requests.ConnectionError, requests.Timeout, requests.exceptions.ChunkedEncodingError)
    )
