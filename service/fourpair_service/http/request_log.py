"""One line of JSON for each request: no bodies, no secrets."""

from __future__ import annotations

import logging
from typing import Final

import orjson
from flask import Flask, Response, g, request

from fourpair_service.http.services import services
from fourpair_service.records.times import instant

LOGGER: Final = logging.getLogger("fourpair.requests")
NO_ROUTE: Final = "(none)"


def log_requests(app: Flask) -> None:
    """Log and measure every request."""

    @app.before_request
    def _start() -> None:
        g.started_s = services().monotonic()

    @app.after_request
    def _note(response: Response) -> Response:
        own = services()
        seconds = own.monotonic() - g.get("started_s", own.monotonic())
        # The route and not the path: the path holds what its caller likes.
        route = request.url_rule.rule if request.url_rule else NO_ROUTE
        own.metrics.observe(request.method, route, response.status_code, seconds)
        if LOGGER.isEnabledFor(logging.INFO):
            line = {
                "at": instant(own.clock()),
                "event": "request",
                "request_id": g.get("request_id", ""),
                "method": request.method,
                "route": route,
                "status": response.status_code,
                "duration_ms": round(seconds * 1000, 3),
                "key": g.get("key_id"),
            }
            LOGGER.info(orjson.dumps(line).decode())
        return response
