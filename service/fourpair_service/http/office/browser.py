"""What a browser holds: one random cookie, which may stand for a session and always seals forms."""

from __future__ import annotations

import hmac
import ipaddress
import re
import secrets
from hashlib import sha256
from typing import Final

from flask import Response, g, request
from werkzeug.exceptions import Forbidden

from fourpair_service.http.services import services
from fourpair_service.records.errors import InvalidKeyError
from fourpair_service.records.keys import ApiKey
from fourpair_service.records.sessions import LASTS, begin_session, end_session, session_key

COOKIE: Final = "fourpair-office"
PATH: Final = "/office"
FORM_FIELD: Final = "form_token"
TOKEN_BYTES: Final = 32
TOKEN: Final = re.compile(r"[A-Za-z0-9_-]{43}")
# What the browser says of where a request comes from (Fetch Metadata, W3C); older ones say nothing.
FROM_ELSEWHERE: Final = frozenset({"cross-site", "same-site"})


class FormRefused(Forbidden):
    """A form came without its seal: it is not from a page of ours, or from one long gone."""


def browser_token() -> str | None:
    """Return what the browser showed as its cookie, if that can be one of ours."""
    given = request.cookies.get(COOKIE, "")
    return given if TOKEN.fullmatch(given) else None


def _held_token() -> str:
    """Return what the browser holds, or will hold once it has this answer."""
    if "office_token" not in g:
        given = browser_token()
        g.office_token = given or secrets.token_urlsafe(TOKEN_BYTES)
        g.office_cookie_is_new = given is None
    token: str = g.office_token
    return token


def form_token() -> str:
    """Return the seal of a form: made from the cookie, which no other site can read."""
    return _seal(_held_token())


def _seal(token: str) -> str:
    return hmac.new(token.encode(), b"office form", sha256).hexdigest()


def check_form() -> None:
    """Refuse a form that was not sent from a page of ours in this browser.

    Raises:
        FormRefused: it has not the seal, or the browser says that another site sent it.
    """
    token, given = browser_token(), request.form.get(FORM_FIELD, "")
    if request.headers.get("Sec-Fetch-Site") in FROM_ELSEWHERE:
        raise FormRefused
    if token is None or not hmac.compare_digest(_seal(token).encode(), given.encode()):
        raise FormRefused


def session_of_browser() -> ApiKey | None:
    """Return the key that the browser's session goes on as; ``None`` where there is none.

    Raises:
        InvalidKeyError: the session is over, or its key opens nothing any more. The session is forgotten.
    """
    token, desk = browser_token(), services().desk
    if token is None:
        return None
    try:
        return session_key(desk.store, token, desk.clock())
    except InvalidKeyError:
        sign_out()
        raise


def sign_in(key: ApiKey) -> None:
    """Let the browser go on as a key, under a new cookie."""
    desk, old = services().desk, browser_token()
    if old is not None:
        end_session(desk.store, old)
    g.office_token, g.office_cookie_is_new = secrets.token_urlsafe(TOKEN_BYTES), True
    begin_session(desk.store, key, g.office_token, desk.clock())


def sign_out() -> None:
    """Forget the browser's session, and let it have another cookie."""
    token = browser_token()
    if token is not None:
        end_session(services().desk.store, token)
    g.office_token, g.office_cookie_is_new = secrets.token_urlsafe(TOKEN_BYTES), True


def keep_cookie(response: Response) -> Response:
    """Give the browser its cookie, where it is a new one."""
    if g.get("office_cookie_is_new"):
        response.set_cookie(
            COOKIE,
            g.office_token,
            max_age=int(LASTS.total_seconds()),
            path=PATH,
            httponly=True,
            samesite="Lax",
            secure=not _is_plain_loopback(),
        )
    return response


def _is_plain_loopback() -> bool:
    """Return whether the browser speaks with its own machine, and not over https."""
    if request.is_secure or request.headers.get("X-Forwarded-Proto", "").casefold() == "https":
        return False
    host = request.host.rsplit(":", 1)[0] if not request.host.endswith("]") else request.host
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return host.casefold() == "localhost"
