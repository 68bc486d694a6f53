"""The office screen as a whole: its addresses, its guard, its cookie, its error pages."""

from __future__ import annotations

from typing import Final

from flask import Blueprint, Response, request
from werkzeug.exceptions import HTTPException, NotFound

from fourpair_service.errors import ServiceError
from fourpair_service.http.auth import public
from fourpair_service.http.office import browser, entering, grade_page, job_pages, link_pages, news, trouble
from fourpair_service.http.office.browser import PATH
from fourpair_service.reports.office.page import FILES, file_content

EVERY_METHOD: Final = ("GET", "POST", "PUT", "PATCH", "DELETE")

blueprint = Blueprint("office", __name__, url_prefix=PATH)


@public
def show_file(name: str) -> Response:
    """Send a file that pages load; it tells nothing of anybody."""
    if name not in FILES:
        raise NotFound
    response = Response(file_content(name), content_type=FILES[name])
    response.headers["Cache-Control"] = "no-cache"
    response.add_etag()
    response.make_conditional(request)
    return response


def show_nothing(rest: str = "") -> Response:
    """Say that there is no such page, to whoever may see pages at all.

    Raises:
        NotFound: always.
    """
    raise NotFound


@blueprint.before_request
def _check_form() -> None:
    if request.method not in ("GET", "HEAD", "OPTIONS"):
        browser.check_form()


blueprint.add_url_rule("/files/<name>", "file", show_file)
for part in (entering, grade_page, job_pages, link_pages, news):
    part.add_to(blueprint)
# Whatever else is asked below the office gets a page, not a problem document.
blueprint.add_url_rule("/<path:rest>", "nothing", show_nothing, methods=EVERY_METHOD)
blueprint.after_request(browser.keep_cookie)
blueprint.register_error_handler(ServiceError, trouble.service_error)
blueprint.register_error_handler(HTTPException, trouble.http_error)
blueprint.register_error_handler(Exception, trouble.failure)
