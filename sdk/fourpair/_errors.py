"""What can go wrong, from the caller's side.

* FourpairError
    + InvalidSettingError            the client was made with what cannot work  (also a ValueError)
    + InvalidMeasurementError        refused before it was sent              (also a ValueError)
    + TransportError                 no answer arrived
        - ConnectionFailedError      the service could not be reached        (also a ConnectionError)
        - TimedOutError              it did not answer in time               (also a TimeoutError)
    + RunGoesOnError                 a run takes longer than was waited  (also a TimeoutError)
    + HandoverFailedError            the service could not make the papers of a job
    + ApiError                       the service answered with a problem document
        - InvalidDocumentError       what was sent is not valid              (also a ValueError)
        - NotFoundError              there is no such thing                  (also a LookupError)
        - NotAllowedError            the key is missing, opens nothing, or may not do this
        - ConflictError              it contradicts what is kept
        - StaleError                 it has moved on since it was read: read it again
        - RateLimitedError           the key asks more often than it may
        - TooLargeError              what was sent is over a limit of the service
        - ServerFailedError          the service failed; trying again may help

Each carries ``code``, ``pointers``, ``errors``, ``request_id``, ``retryable``,
``retry_after_s`` and ``idempotency_key``, empty where they do not apply.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any


class FourpairError(Exception):
    """Anything that this package raises on purpose.

    Attributes:
        code: stable machine word, empty where no service answered.
        errors: what is wrong where, each with ``pointer`` and ``detail``.
        request_id: the name of the request in the service's log.
        retryable: whether the same call may succeed later.
        retry_after_s: how long the service asked to wait. [s]
        idempotency_key: of the write: ``client.landed(error)`` tells what became of it.

    >>> try:
    ...     client.records.create(link.with_changes(job="none"))
    ... except FourpairError as error:
    ...     error.code, error.retryable, error.idempotency_key is not None
    ('not-kept', False, True)
    """

    code: str = ""
    errors: Sequence[Mapping[str, Any]] = ()
    request_id: str | None = None
    retryable: bool = False
    retry_after_s: float | None = None
    idempotency_key: str | None = None

    @property
    def pointers(self) -> tuple[str, ...]:
        """Where in the document something is wrong, as JSON pointers."""
        return tuple(str(error.get("pointer", "")) for error in self.errors)


class InvalidSettingError(FourpairError, ValueError):
    """The client was made with what cannot work; the message says what to give instead.

    >>> try:
    ...     Client("shop-server")
    ... except InvalidSettingError as error:
    ...     print(error)
    The url 'shop-server' is none of a service: give one such as 'http://127.0.0.1:8740'
    """


def _listed(errors: Sequence[Mapping[str, Any]]) -> list[str]:
    return [f"  {_told(error)}" for error in errors]


def _told(error: Mapping[str, Any]) -> str:
    """Return what is wrong, after where; without a place where it is the whole."""
    where, what = error.get("pointer", ""), error.get("detail", "")
    return f"{where}: {what}" if where else str(what)


def _repeats(detail: str, errors: Sequence[Mapping[str, Any]]) -> bool:
    """Return whether a sentence says what an error says, which is told line by line after it."""
    return any(_told(error) in detail or str(error.get("detail", "")) == detail for error in errors)


class InvalidMeasurementError(FourpairError, ValueError):
    """A measurement was refused before it was sent; ``errors`` says what and where.

    >>> error = InvalidMeasurementError([{"pointer": "/sweeps/next", "detail": "No curves."}])
    >>> error.pointers
    ('/sweeps/next',)
    """

    def __init__(self, errors: Sequence[Mapping[str, Any]]) -> None:
        super().__init__("\n".join(["The measurement cannot be right, and was not sent", *_listed(errors)]))
        self.errors = errors


class TransportError(FourpairError):
    """No answer arrived; whether a write landed is not known.

    >>> with service(troubles=["lost_answer"]) as running, running.client(retries=Retries(tries=1)) as client:
    ...     try:
    ...         client.jobs.create("clinic", name="Clinic")
    ...     except TransportError as error:
    ...         client.landed(error).state
    'landed'
    """

    retryable = True


class ConnectionFailedError(TransportError, ConnectionError):
    """The service could not be reached.

    >>> with Client("http://127.0.0.1:9", retries=Retries(tries=1)) as client:
    ...     try:
    ...         client.alive()
    ...     except ConnectionFailedError as error:
    ...         error.retryable
    True
    """


class TimedOutError(TransportError, TimeoutError):
    """The service did not answer in time.

    >>> with service(troubles=["slow"]) as running, running.client(retries=Retries(tries=1)) as client:
    ...     try:
    ...         client.alive()
    ...     except TimedOutError as error:
    ...         error.retryable
    True
    """


class ApiError(FourpairError):
    """The service answered with a problem document (RFC 9457).

    Attributes:
        status: HTTP status.
        code: its page is ``/problems/<code>`` of the service.
        problem: the document as it arrived.

    >>> try:
    ...     client.jobs.get("none")
    ... except ApiError as error:
    ...     error.status, error.code, error.retryable
    (404, 'not-kept', False)
    """

    def __init__(self, status: int, problem: Mapping[str, Any]) -> None:
        self.status = status
        self.code = str(problem.get("code", ""))
        self.problem = problem
        found = problem.get("errors")
        self.errors = found if isinstance(found, list) else ()
        self.request_id = problem.get("request_id")
        super().__init__(self._message(problem))

    def _message(self, problem: Mapping[str, Any]) -> str:
        lines = [f"{problem.get('title', 'The service refused')} ({self.status} {self.code})"]
        detail = str(problem.get("detail") or "")
        # What the errors say line by line needs no sentence before it.
        if detail and not _repeats(detail, self.errors):
            lines.append(detail)
        return "\n".join([*lines, *_listed(self.errors)])


class InvalidDocumentError(ApiError, ValueError):
    """What was sent is not valid; ``errors`` says what and where.

    >>> try:
    ...     client.jobs.create(name="Clinic", colour="blue")
    ... except InvalidDocumentError as error:
    ...     error.pointers
    ('/colour',)
    """


class NotFoundError(ApiError, LookupError):
    """There is no such thing.

    >>> try:
    ...     client.records.get("none")
    ... except NotFoundError as error:
    ...     error.code
    'not-kept'
    """


class NotAllowedError(ApiError, PermissionError):
    """The key is missing, opens nothing, or may not do this.

    >>> key = running.make_key("screen", "read")
    >>> try:
    ...     running.client(api_key=key).jobs.create(name="Clinic")
    ... except NotAllowedError as error:
    ...     error.code
    'scope-missing'
    """


class ConflictError(ApiError):
    """It contradicts what is kept; ``code`` says how: ``label-taken``, ``job-exists`` and so on.

    >>> try:
    ...     client.jobs.create("clinic", name="Another")
    ... except ConflictError as error:
    ...     error.code
    'job-exists'
    """


class StaleError(ApiError):
    """It has moved on since it was read: read it again and re-apply the change.

    >>> seen = client.jobs.get("clinic")
    >>> now = client.jobs.change("clinic", {"site": "Alder Row"})
    >>> try:
    ...     client.jobs.change(seen, {"site": "Elm Row"})
    ... except StaleError as error:
    ...     error.code
    'revision-conflict'
    """


class RateLimitedError(ApiError):
    """The key asks more often than it may; trying again later will help.

    >>> with service(troubles=["rate_limited"]) as running, running.client(retries=Retries(tries=1)) as client:
    ...     try:
    ...         client.alive()
    ...     except RateLimitedError as error:
    ...         error.retryable, error.retry_after_s
    (True, 1)
    """

    retryable = True


class TooLargeError(ApiError):
    """What was sent is over a limit of the service.

    >>> try:
    ...     client.jobs.attach("clinic", "plan.pdf", bytes(70_000_000))
    ... except TooLargeError as error:
    ...     error.status
    413
    """


class ServerFailedError(ApiError):
    """The service failed; trying again may help.

    >>> with service(troubles=["unavailable"]) as running, running.client(retries=Retries(tries=1)) as client:
    ...     try:
    ...         client.alive()
    ...     except ServerFailedError as error:
    ...         error.status, error.retryable
    (503, True)
    """

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
    """Return the error that fits an HTTP status of 300 or above.

    >>> api_error(429, {"title": "Too many", "code": "rate-limited"}).retryable
    True
    """
    if status >= 500:
        return ServerFailedError(status, problem)
    return BY_STATUS.get(status, ApiError)(status, problem)
