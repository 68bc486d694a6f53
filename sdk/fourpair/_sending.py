"""The one place that talks HTTP: every request with a time limit, tried again where that helps."""

from __future__ import annotations

import random
import time
import uuid
import warnings
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

import requests
from requests.adapters import HTTPAdapter

from fourpair._errors import (
    ApiError,
    ConnectionFailedError,
    FourpairError,
    TimedOutError,
    TransportError,
    api_error,
)
from fourpair._kept_answers import KeptAnswers, renewed
from fourpair._pace import Pace
from fourpair._retries import Retries, may_help, retry_after_s
from fourpair._transport import JSON, NO_TIMEOUT, asked, encoded

# A request whose answer was lost may still be carried out: its key then says so for a while.
STILL_RUNNING = "idempotency-running"
RUNNING_TRIES = 60
RUNNING_PAUSE_S = 1.0
CONNECTIONS = 32


class _Bearer(requests.auth.AuthBase):
    """Shows the key and nothing else: credentials of a ``.netrc`` are none of this service."""

    def __init__(self, api_key: str | None) -> None:
        self._api_key = api_key

    def __call__(self, request: requests.PreparedRequest) -> requests.PreparedRequest:
        if self._api_key:
            request.headers["Authorization"] = f"Bearer {self._api_key}"
        return request


def new_session() -> requests.Session:
    """Return a session with room for many threads; trying again is not its business."""
    session = requests.Session()
    for scheme in ("http://", "https://"):
        session.mount(scheme, HTTPAdapter(pool_maxsize=CONNECTIONS))
    return session


@dataclass(frozen=True, slots=True)
class Transport:
    """Sends requests of one client; may be used by several threads.

    Attributes:
        timeout_s: for a connection, for an answer; ``NO_TIMEOUT`` for ever. [s]
        sleep: waits so many seconds.
    """

    url: str
    session: requests.Session
    api_key: str | None = field(repr=False)
    timeout_s: tuple[float, float]
    retries: Retries
    kept: KeptAnswers
    pace: Pace
    told_deprecated: set[str]
    sleep: Callable[[float], None] = time.sleep
    monotonic: Callable[[], float] = time.monotonic

    def send(
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
        """Return the answer of a request; see :class:`Send`."""
        own = {"X-Request-Id": uuid.uuid4().hex, **(headers or {})}
        if is_write if is_write is not None else method not in {"GET", "HEAD"}:
            own["Idempotency-Key"] = f'"{key or uuid.uuid4()}"'
        body = encoded(document) if document is not None else content
        if body is not None:
            own.setdefault("Content-Type", content_type)
        request = requests.Request(
            method,
            self.url + path,
            params=asked(**(params or {})),
            data=body,
            files=files,
            headers=own,
            auth=_Bearer(self.api_key),
        )
        prepared = self.session.prepare_request(request)
        try:
            if is_streamed:
                return self._patiently(prepared, read_timeout_s, is_streamed=True)
            return self._settled(prepared, read_timeout_s)
        except FourpairError as error:
            error.request_id = error.request_id or own["X-Request-Id"]
            error.idempotency_key = own.get("Idempotency-Key", "").strip('"') or None
            raise

    def _settled(self, prepared: requests.PreparedRequest, read_timeout_s: float | None) -> requests.Response:
        """Return the answer, asking again while the same request is still carried out."""
        for _ in range(RUNNING_TRIES):
            try:
                return self._revalidated(prepared, read_timeout_s)
            except ApiError as error:
                if error.code != STILL_RUNNING:
                    raise
                self.sleep(RUNNING_PAUSE_S)
        return self._revalidated(prepared, read_timeout_s)

    def _revalidated(
        self, prepared: requests.PreparedRequest, read_timeout_s: float | None
    ) -> requests.Response:
        if prepared.method != "GET" or "If-None-Match" in prepared.headers:
            return self._patiently(prepared, read_timeout_s)
        address = f"{prepared.headers.get('Accept')} {prepared.url}"
        kept = self.kept.find(address)
        if kept is not None:
            prepared.headers["If-None-Match"] = kept.headers["ETag"]
        answer = self._patiently(prepared, read_timeout_s)
        if kept is not None and answer.status_code == requests.codes.not_modified:
            return renewed(kept, answer)
        self.kept.keep(address, answer)
        return answer

    def _patiently(
        self, prepared: requests.PreparedRequest, read_timeout_s: float | None, *, is_streamed: bool = False
    ) -> requests.Response:
        for tries_made in range(1, self.retries.tries + 1):
            is_last = tries_made == self.retries.tries
            asked_s = None
            try:
                answer = self._once(prepared, read_timeout_s, is_streamed)
            except requests.RequestException as error:
                if is_last or not may_help(error):
                    raise self._no_answer(error) from error
            else:
                if answer.status_code < 300 or answer.status_code == requests.codes.not_modified:
                    return answer
                asked_s = retry_after_s(answer.headers)
                if is_last or answer.status_code not in self.retries.statuses:
                    raise refusal(answer, asked_s)
            self.sleep(self.retries.pause_s(tries_made, asked_s, random.random()))
        raise AssertionError("a request is sent at least once")

    def _once(
        self, prepared: requests.PreparedRequest, read_timeout_s: float | None, is_streamed: bool
    ) -> requests.Response:
        wait_s = self.pace.wait_s(self.monotonic())
        if wait_s:
            self.sleep(wait_s)
        connect_s, read_s = self.timeout_s
        timeout = (_bounded(connect_s), _bounded(read_timeout_s or read_s))
        settings = self.session.merge_environment_settings(prepared.url, {}, is_streamed, None, None)
        answer = self.session.send(prepared, timeout=timeout, allow_redirects=False, **settings)
        self.pace.heard(answer.headers)
        if "Deprecation" in answer.headers:
            self._tell_deprecation(prepared, answer)
        return answer

    def _tell_deprecation(self, prepared: requests.PreparedRequest, answer: requests.Response) -> None:
        what = f"{prepared.method} {prepared.path_url.partition('?')[0]}"
        if what in self.told_deprecated:
            return
        self.told_deprecated.add(what)
        until = answer.headers.get("Sunset")
        ends = f"; it ends on {until}" if until else ""
        more = answer.links.get("deprecation", {}).get("url")
        warnings.warn(
            f"{what} is deprecated by the service{ends}{f': see {more}' if more else ''}",
            DeprecationWarning,
            stacklevel=2,
        )

    def _no_answer(self, error: requests.RequestException) -> TransportError:
        if isinstance(error, requests.Timeout):
            return TimedOutError(f"{self.url} did not answer in time: {error}")
        if isinstance(error, requests.ConnectionError):
            return ConnectionFailedError(
                f"No fourpair service could be reached at {self.url} (argument url, or FOURPAIR_URL): "
                f"{_reason(error)}"
            )
        refused = TransportError(f"The request to {self.url} failed: {error}")
        refused.retryable = may_help(error)
        return refused


def _reason(error: requests.ConnectionError) -> str:
    """Return what happened, without the objects that it happened to."""
    inner = error.args[0] if error.args else error
    return str(getattr(inner, "reason", inner)).rpartition("): ")[2]


def _bounded(seconds: float) -> float | None:
    return None if seconds == NO_TIMEOUT else seconds


def refusal(answer: requests.Response, asked_s: float | None) -> ApiError:
    """Return the error of an answer that is none of success."""
    error = api_error(answer.status_code, _problem(answer))
    error.request_id = error.request_id or answer.headers.get("X-Request-Id")
    error.retry_after_s = asked_s
    return error


def _problem(answer: requests.Response) -> Mapping[str, Any]:
    if answer.is_redirect:
        place = answer.headers["Location"]
        return {"title": "The address leads elsewhere", "detail": f"Give the client the right one: {place}"}
    try:
        found = answer.json()
    except ValueError:
        found = None
    if isinstance(found, Mapping):
        return found
    return {"title": answer.reason or "The service answered with an error", "code": ""}
