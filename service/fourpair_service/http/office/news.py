"""What has happened since a page was made, in its language: the change feed for the pages' script."""

from __future__ import annotations

from typing import Any, Final

from flask import Blueprint, Response, request
from werkzeug.exceptions import BadRequest

from fourpair_service.http.auth import caller, needs
from fourpair_service.http.office.framing import WAIT_S, asked_language
from fourpair_service.http.operation import answered
from fourpair_service.http.resources.changes import reached, waited
from fourpair_service.records.keys import Scope
from fourpair_service.records.model import Change
from fourpair_service.reports.office.saying import news

MOST: Final = 200
MOST_DIGITS: Final = 15


def _whole(name: str, most: int) -> int:
    given = request.args.get(name, "0")
    if not (given.isascii() and given.isdigit() and len(given) <= MOST_DIGITS):
        raise BadRequest
    return min(int(given), most)


def _is_about(change: Change, record_id: str | None) -> bool:
    return record_id is None or change.record_id == record_id


@needs(Scope.READ)
def show_news() -> Response:
    """Give a sentence for each change since ``after``; with ``wait``, as soon as there is one."""
    query: dict[str, Any] = {
        "after": _whole("after", 10**MOST_DIGITS),
        "wait": _whole("wait", WAIT_S),
        "limit": MOST,
    }
    if "job" in request.args:
        query["job"] = request.args["job"]
    found, last = waited(query)
    words, record_id = asked_language(), request.args.get("record")
    said = [
        news(change if caller().sees(change.job_id) else None, words)
        for change in found
        if _is_about(change, record_id)
    ]
    return answered({"said": said, "next_after": reached(found, last, query)})


def add_to(blueprint: Blueprint) -> None:
    """Put the answer at its address."""
    blueprint.add_url_rule("/news", "news", show_news)
