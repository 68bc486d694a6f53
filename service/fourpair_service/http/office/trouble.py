"""What goes wrong, as pages in plain words."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from http import HTTPStatus
from typing import Final

from flask import Response, current_app, g, redirect, request
from werkzeug.exceptions import HTTPException

from fourpair_service.errors import ServiceError
from fourpair_service.http.auth_errors import KeyMissingError, RateLimitedError, ScopeMissingError
from fourpair_service.http.office.browser import PATH, FormRefused
from fourpair_service.http.office.framing import frame, shown
from fourpair_service.http.problems import from_http_exception, from_service_error
from fourpair_service.records.errors import InvalidKeyError

# Names in the catalogue of texts by status; what is not here was refused for a reason of its own.
KINDS: Final[Mapping[int, str]] = {
    403: "forbidden",
    404: "not_found",
    413: "too_large",
    429: "too_often",
    503: "busy",
}
CARRIED: Final = ("Retry-After", "WWW-Authenticate", "Allow")
# What a script asks for: it is told the status and shown no page to sign in.
FOR_SCRIPTS: Final = frozenset({"office.news"})


def _page(kind: str, status: int, **gaps: str) -> Response:
    around = frame()
    say = around.words.say
    return shown(
        "trouble.html",
        around,
        status,
        heading=say(f"office_trouble.{kind}"),
        text=say(f"office_trouble.{kind}_text", **gaps),
        detail=None,
    )


def _with_headers(page: Response, told: Response) -> Response:
    for name in CARRIED:
        if name in told.headers:
            page.headers[name] = told.headers[name]
    return page


def sign_in_page(said: str | None, status: int, *, go_on: str = "", is_wrong: bool = False) -> Response:
    """Return the page to sign in on.

    Args:
        said: a name in the catalogue of what must be said first.
        status: of the answer.
        go_on: where to go then.
        is_wrong: whether the key that was given is the trouble.
    """
    around = frame()
    text = None if said is None else around.words.say(f"office_sign_in.{said}")
    return shown("sign_in.html", around, status, said=text, go_on=go_on, is_wrong=is_wrong)


def wanted_page() -> str:
    """Return the page that was asked for, to go on to; nothing where it was no page."""
    is_page = request.method == "GET" and request.endpoint not in FOR_SCRIPTS
    return request.full_path.rstrip("?") if is_page else ""


def _no_key(error: KeyMissingError) -> Response:
    if wanted_page():
        return redirect(frame().to("sign-in", go_on=wanted_page()), HTTPStatus.SEE_OTHER)  # type: ignore[return-value]
    return _with_headers(sign_in_page("ended", 401), from_service_error(error))


def _ended(error: InvalidKeyError) -> Response:
    return _with_headers(sign_in_page("ended", 401, go_on=wanted_page()), from_service_error(error))


def _scope(error: ScopeMissingError) -> Response:
    return _page("forbidden", 403, needed=error.needed)


def _too_often(error: RateLimitedError) -> Response:
    page = _page("too_often", 429, seconds=str(error.retry_after_s))
    return _with_headers(page, from_service_error(error))


OWN: Final[Mapping[type[ServiceError], Callable[..., Response]]] = {
    KeyMissingError: _no_key,
    InvalidKeyError: _ended,
    ScopeMissingError: _scope,
    RateLimitedError: _too_often,
}


def service_error(error: ServiceError) -> Response:
    """Return the page of an error that was raised on purpose."""
    own = OWN.get(type(error))
    if own is not None:
        return own(error)
    told = from_service_error(error)
    return _with_headers(_by_status(told.status_code), told)


def _by_status(status: int) -> Response:
    kind = KINDS.get(status, "failed" if status >= 500 else "refused")
    gaps = {"failed": {"number": g.get("request_id", "")}, "forbidden": {"needed": "–"}}  # noqa: RUF001
    return _page(kind, status, **gaps.get(kind, {}))


def http_error(error: HTTPException) -> Response:
    """Return the page of an error of HTTP itself."""
    if isinstance(error, FormRefused):
        if request.path == f"{PATH}/sign-in":
            return sign_in_page("cookie", 403)
        return _page("form", 403)
    told = from_http_exception(error)
    return _with_headers(_by_status(told.status_code), told)


def failure(error: Exception) -> Response:
    """Return the page of what should not have happened; the log has the rest."""
    current_app.logger.exception(
        "request failed request_id=%s path=%s", g.get("request_id", ""), request.path
    )
    return _by_status(500)
