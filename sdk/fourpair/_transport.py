"""Requests as they go out: retried where that is safe, signed with a key, answered or refused."""

from __future__ import annotations

import json
import uuid
from collections.abc import Iterator, Mapping
from typing import Any, Protocol

import requests
from requests.adapters import HTTPAdapter
from urllib3.response import BaseHTTPResponse
from urllib3.util import Retry

from fourpair._errors import FourpairError

TRIES_AGAIN = 3
BACKOFF_S = 0.2
LONGEST_RETRY_AFTER_S = 20.0
# The service did not do it, and may when asked again.
STATUSES = (429, 502, 503, 504)

JSON = {"Content-Type": "application/json"}
MERGE_PATCH = {"Content-Type": "application/merge-patch+json"}
NDJSON = {"Content-Type": "application/x-ndjson"}


class Send(Protocol):
    """Sends a request and returns the answer, or raises what it says."""

    def __call__(self, method: str, path: str, **arguments: Any) -> requests.Response:
        """Return the answer of a request.

        Raises:
            TransportError: no answer arrived.
            ApiError: the service refused.
        """
        ...


class _Patience(Retry):
    """A retry that waits as long as it is told, up to a limit."""

    def get_retry_after(self, response: BaseHTTPResponse) -> float | None:
        """Return how long to wait. [s]."""
        asked = super().get_retry_after(response)
        return None if asked is None else min(asked, LONGEST_RETRY_AFTER_S)


def patient_session() -> requests.Session:
    """Return a session that tries again.

    Every write carries an idempotency key, so that repeating one is safe.
    """
    session = requests.Session()
    retry = _Patience(
        total=TRIES_AGAIN,
        backoff_factor=BACKOFF_S,
        backoff_jitter=BACKOFF_S,
        status_forcelist=STATUSES,
        allowed_methods=None,
        raise_on_status=False,
    )
    for scheme in ("http://", "https://"):
        session.mount(scheme, HTTPAdapter(max_retries=retry))
    return session


def encoded(document: Any) -> bytes:
    """Return a document as compact JSON.

    Raises:
        FourpairError: it holds what JSON cannot.
    """
    try:
        return json.dumps(document, separators=(",", ":"), allow_nan=False).encode()
    except (TypeError, ValueError) as error:
        raise FourpairError(f"The document cannot be written as JSON: {error}") from error


def asked(**values: Any) -> dict[str, Any]:
    """Return the parameters of a query; what is ``None`` is left out, truth is spelt out."""
    words = {True: "true", False: "false"}
    return {
        name: words[value] if isinstance(value, bool) else value
        for name, value in values.items()
        if value is not None
    }


def key_header(key: str | None) -> dict[str, str]:
    """Return the header of an idempotency key, a new one where none is given."""
    return {"Idempotency-Key": f'"{key or uuid.uuid4()}"'}


def tag_header(etag: str | None) -> dict[str, str]:
    """Return the header of what a change rests on; without a tag: whatever is there."""
    return {"If-Match": etag or "*"}


def pages(send: Send, path: str, query: Mapping[str, Any], name: str) -> Iterator[Mapping[str, Any]]:
    """Yield the entries of a list, fetching its pages as they are needed."""
    cursor: str | None = None
    while True:
        document = send("GET", path, params={**query, **asked(cursor=cursor)}).json()
        yield from document[name]
        cursor = document.get("next_cursor")
        if cursor is None:
            return
