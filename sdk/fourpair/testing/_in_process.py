"""Requests that reach a WSGI application of the same process, through a script of troubles."""

from __future__ import annotations

import json
from collections.abc import Iterable
from io import BytesIO
from typing import TYPE_CHECKING, Any
from urllib.parse import urlsplit

import requests
from requests.adapters import BaseAdapter

from fourpair.testing._troubles import TROUBLES, Script

if TYPE_CHECKING:
    from _typeshed.wsgi import WSGIApplication

URL = "http://fourpair.test"
_REFUSALS = {"rate_limited": 429, "unavailable": 503}
_CARRIED_OUT_UNSEEN = {"lost_answer": requests.ConnectionError, "slow": requests.ReadTimeout}


class InProcess(BaseAdapter):
    """Hands the requests of a session to a WSGI application, through a script of troubles."""

    def __init__(self, app: WSGIApplication, troubles: Iterable[str] = ()) -> None:
        super().__init__()
        self._app = app
        self._script = Script(troubles, TROUBLES)

    @property
    def requests_sent(self) -> int:
        """How many requests were sent so far, answered or not."""
        return self._script.asked

    def send(self, request: requests.PreparedRequest, *_: Any, **__: Any) -> requests.Response:
        """Return the answer of the application, or what the script has in store."""
        trouble = self._script.next()
        if trouble in _REFUSALS:
            return _refusal(request, _REFUSALS[trouble])
        if trouble == "lost_request":
            raise requests.ConnectionError("the request was lost, as the script says", request=request)
        if trouble == "duplicated":
            self._carried_out(request)
        answer = self._carried_out(request)
        if trouble in _CARRIED_OUT_UNSEEN:
            raise _CARRIED_OUT_UNSEEN[trouble]("the answer was lost, as the script says", request=request)
        return answer

    def _carried_out(self, request: requests.PreparedRequest) -> requests.Response:
        from werkzeug.test import EnvironBuilder, run_wsgi_app  # noqa: PLC0415 - of the service's extra

        parts = urlsplit(request.url or "")
        body = request.body or b""
        builder = EnvironBuilder(
            path=str(parts.path),
            query_string=str(parts.query),
            base_url=URL,
            method=request.method or "GET",
            headers=list(request.headers.items()),
            data=body.encode() if isinstance(body, str) else body,
        )
        body_parts, status, headers = run_wsgi_app(self._app, builder.get_environ(), buffered=True)
        code, _, reason = status.partition(" ")
        return _answer(request, int(code), reason, dict(headers), b"".join(body_parts))

    def close(self) -> None:
        """There is nothing to give back."""


def _answer(
    request: requests.PreparedRequest, status: int, reason: str, headers: dict[str, str], body: bytes
) -> requests.Response:
    answer = requests.Response()
    answer.status_code, answer.reason, answer.encoding = status, reason, "utf-8"
    answer.headers.update(headers)
    answer.url, answer.request, answer.raw = request.url or "", request, BytesIO(body)
    return answer


def _refusal(request: requests.PreparedRequest, status: int) -> requests.Response:
    problem = {"title": "As the script says", "status": status, "code": "scripted"}
    headers = {"Content-Type": "application/problem+json", "Retry-After": "1"}
    return _answer(request, status, "Scripted", headers, json.dumps(problem).encode())
