"""Pages of lists: cursors and Link headers (RFC 8288)."""

from __future__ import annotations

from urllib.parse import urlencode

from flask import Response, request


def linked(response: Response, cursor: str | None) -> Response:
    """Give a response the address of the next page, where there is one."""
    if cursor is not None:
        asked = [(name, value) for name, value in request.args.items(multi=True) if name != "cursor"]
        response.headers["Link"] = f'<{request.path}?{urlencode([*asked, ("cursor", cursor)])}>; rel="next"'
    return response
