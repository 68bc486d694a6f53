"""What can go wrong, from the caller's side.

* FourpairError
    + TransportError                 no answer arrived
        - ConnectionFailedError      the service could not be reached      (also a ConnectionError)
        - TimedOutError              it did not answer in time             (also a TimeoutError)
    + ApiError                       the service answered with a problem document
        - InvalidDocumentError       what was sent is not valid            (also a ValueError)
        - NotFoundError              there is no such thing                (also a LookupError)
        - NotAllowedError            the key is missing, opens nothing, or may not do this
        - ConflictError              it contradicts what is kept
        - StaleError                 it has moved on since it was read: read it again
        - RateLimitedError           the key asks more often than it may
        - TooLargeError              what was sent is over a limit of the service
        - ServerFailedError          the service failed; trying again may help
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any


class FourpairError(Exception):
    """Anything that this package raises on purpose.

    Attributes:
        retryable: whether the same call may succeed later.
        request_id: the service's name for the request, where it gave one.
    """

    retryable = False

    def __init__(self, message: str, *, request_id: str | None = None) -> None:
        super().__init__(message)
        self.request_id = request_id


class TransportError(FourpairError):
    """No answer arrived; whether a write landed is not known.

    Attributes:
        idempotency_key: of the write: ``client.landed(key)`` tells what became of it.
    """

    retryable = True
    idempotency_key: str | None = None


class ConnectionFailedError(TransportError, ConnectionError):
    """The service could not be reached."""


class TimedOutError(TransportError, TimeoutError):
    """The service did not answer in time."""


class ApiError(FourpairError):
    """The service answered with a problem document (RFC 9457).

    Attributes:
        status: HTTP status.
        code: stable machine word; its page is ``/problems/<code>`` of the service.
        errors: what is wrong where, each with ``pointer``, ``detail`` and ``value``.
        problem: the document as it arrived.
    """

    def __init__(self, status: int, problem: Mapping[str, Any]) -> None:
        self.status = status
        self.code = str(problem.get("code", ""))
        self.problem = problem
        found = problem.get("errors")
        self.errors: Sequence[Mapping[str, Any]] = found if isinstance(found, list) else ()
        super().__init__(self._message(problem), request_id=problem.get("request_id"))

    def _message(self, problem: Mapping[str, Any]) -> str:
        lines = [f"{problem.get('title', 'The service refused')} ({self.status} {self.code})"]
        if problem.get("detail"):
            lines.append(str(problem["detail"]))
        lines += [f"  {error.get('pointer', '')}: {error.get('detail', '')}" for error in self.errors]
        return "\n".join(lines)


class InvalidDocumentError(ApiError, ValueError):
    """What was sent is not valid; ``errors`` says what and where."""


class NotFoundError(ApiError, LookupError):
    """There is no such thing."""


class NotAllowedError(ApiError, PermissionError):
    """The key is missing, opens nothing, or may not do this."""


class ConflictError(ApiError):
    """It contradicts what is kept; ``code`` says how: ``label-taken``, ``job-exists`` and so on."""


class StaleError(ApiError):
    """It has moved on since it was read: read it again and re-apply the change."""


class RateLimitedError(ApiError):
    """The key asks more often than it may; trying again later will help."""

    retryable = True


class TooLargeError(ApiError):
    """What was sent is over a limit of the service."""


class ServerFailedError(ApiError):
    """The service failed; trying again may help."""

    retryable = True


BY_STATUS: Mapping[int, type[ApiError]] = {
    400: InvalidDocumentError,
    401: NotAllowedError,
    403: NotAllowedError,
    404: NotFoundError,
    409: ConflictError,
    412: StaleError,
    428: StaleError,
    429: RateLimitedError,
    413: TooLargeError,
    415: InvalidDocumentError,
    422: InvalidDocumentError,
}


def api_error(status: int, problem: Mapping[str, Any]) -> ApiError:
    """Return the error that fits an HTTP status of 400 or above."""
    if status >= 500:
        return ServerFailedError(status, problem)
    return BY_STATUS.get(status, ApiError)(status, problem)
