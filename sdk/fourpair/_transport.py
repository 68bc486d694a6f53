"""How a request is asked for: the one way in which all methods send, and what they say in it."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Mapping
from typing import Any, Protocol, TypeVar

import requests

from fourpair._errors import FourpairError

T = TypeVar("T", bound=Callable[..., Any])

NO_TIMEOUT = math.inf
"""Wait as long as it takes; has to be asked for by name."""

JSON = "application/json"
MERGE_PATCH = "application/merge-patch+json"
NDJSON = "application/x-ndjson"


class Send(Protocol):
    """Sends a request and returns the answer, or raises what it says."""

    def __call__(
        self,
        method: str,
        path: str,
        *,
        params: Mapping[str, Any] | None = None,
        document: Any = None,
        content: bytes | None = None,
        content_type: str = JSON,
        files: Any = None,
        headers: Mapping[str, str] | None = None,
        key: str | None = None,
        is_write: bool | None = None,
        read_timeout_s: float | None = None,
        is_streamed: bool = False,
    ) -> requests.Response:
        """Return the answer of a request.

        Args:
            method: HTTP method.
            path: from the root of the service, quoted.
            params: of the query; what is ``None`` is left out.
            document: to be sent as JSON.
            content: to be sent as it is, in place of a document.
            content_type: of either.
            files: parts of a form, as ``requests`` takes them.
            headers: more headers.
            key: idempotency key of a write; one is made where none is given.
            is_write: whether it carries a key; by the method where not given.
            read_timeout_s: how long to wait for this answer. [s]
            is_streamed: the body is left to be read piece by piece.

        Raises:
            TransportError: no answer arrived.
            ApiError: the service refused.
        """
        ...


def operation(name: str) -> Callable[[T], T]:
    """Mark the method that carries out an operation of the contract, by its ``operationId``."""

    def mark(method: T) -> T:
        method.operation_id = name  # type: ignore[attr-defined]
        return method

    return mark


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
    """Return the parameters of a query; what is ``None`` is left out, truth is spelt out.

    >>> asked(dry_run=True, job=None, limit=5, outcome=["fail", "incomplete"])
    {'dry_run': 'true', 'limit': 5, 'outcome': 'fail,incomplete'}
    """
    words = {True: "true", False: "false"}

    def told(value: Any) -> Any:
        if isinstance(value, bool):
            return words[value]
        return ",".join(value) if isinstance(value, (list, tuple, set, frozenset)) else value

    return {name: told(value) for name, value in values.items() if value is not None}


def tag_header(etag: str | None) -> dict[str, str]:
    """Return the header of what a change rests on; without a tag: whatever is there."""
    return {"If-Match": etag or "*"}
