"""Signing in and out."""

from __future__ import annotations

import re
from http import HTTPStatus
from typing import Final

from flask import Blueprint, Response, redirect, request

from fourpair_service.http.auth import count_request, opening_key, public
from fourpair_service.http.office.browser import PATH, sign_in, sign_out
from fourpair_service.http.office.framing import READING, allowed, frame
from fourpair_service.http.office.trouble import sign_in_page
from fourpair_service.http.services import services
from fourpair_service.records.errors import InvalidKeyError

# A page of ours and nothing else: no other site, however it is written.
OWN_PAGE: Final = re.compile(rf"{PATH}(?:[/?][!-\[\]-~]*)?")
SAID: Final = frozenset({"out"})


def _go_on(given: str) -> str:
    is_own = OWN_PAGE.fullmatch(given) and not given.startswith(f"{PATH}/sign-in")
    return given if is_own else ""


@public
def show_sign_in() -> Response:
    """Show the form; where no key is needed, the office."""
    if not services().desk.store.has_api_keys():
        return redirect(frame().to(), HTTPStatus.SEE_OTHER)  # type: ignore[return-value]
    said = request.args.get("said")
    return sign_in_page(said if said in SAID else None, 200, go_on=_go_on(request.args.get("go_on", "")))


@public
def take_sign_in() -> Response:
    """Begin a session for the key that was entered."""
    go_on = _go_on(request.form.get("go_on", ""))
    try:
        key = opening_key(request.form.get("key", "").strip())
    except InvalidKeyError:
        page = sign_in_page("wrong", 401, go_on=go_on, is_wrong=True)
        page.headers["WWW-Authenticate"] = 'Bearer realm="fourpair"'
        return page
    count_request(key)
    sign_in(key)
    first = frame().to() if allowed(key, READING) else frame().to("grade")
    return redirect(go_on or first, HTTPStatus.SEE_OTHER)  # type: ignore[return-value]


@public
def take_sign_out() -> Response:
    """End the session, here and in the store."""
    sign_out()
    return redirect(frame().to("sign-in", said="out"), HTTPStatus.SEE_OTHER)  # type: ignore[return-value]


def add_to(blueprint: Blueprint) -> None:
    """Put the pages at their addresses."""
    blueprint.add_url_rule("/sign-in", "sign_in", show_sign_in, methods=["GET"])
    blueprint.add_url_rule("/sign-in", "take_sign_in", take_sign_in, methods=["POST"])
    blueprint.add_url_rule("/sign-out", "sign_out", take_sign_out, methods=["POST"])
