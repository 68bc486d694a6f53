"""Answers that a client may keep and ask about again (RFC 9110 section 8.8.3, RFC 9111)."""

from __future__ import annotations

from hashlib import sha256
from importlib import metadata
from typing import Final

from flask import Response, request

# A digest says whether the data are the same, the version whether they are written the same.
VERSION: Final = metadata.version("fourpair")
KEEP_S: Final = 300


def revalidated(response: Response, *seals: str) -> Response:
    """Give a response its ETag, or turn it into 304 where the client has it already.

    Args:
        response: the whole answer.
        seals: digests of all that the answer is made from, and the name of its form.
    """
    tag = sha256("\n".join((VERSION, *seals)).encode()).hexdigest()
    response.set_etag(tag[:32])
    response.headers["Cache-Control"] = f"private, max-age={KEEP_S}, must-revalidate"
    response.vary.add("Accept")
    response.make_conditional(request)
    return response
