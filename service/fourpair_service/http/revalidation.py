"""Answers that a client may keep and ask about again (RFC 9110 section 8.8.3, RFC 9111).

A tag seals the bytes of an answer. Where a change can rest on it (If-Match), the
revision that it rests on stands before a dot: of two answers about one revision
that are written differently, because a person was forgotten or a key sees less,
the tags differ, and a change may rest on either.
"""

from __future__ import annotations

from collections.abc import Mapping
from hashlib import sha256
from http import HTTPStatus
from importlib import metadata
from typing import Any, Final

from flask import Response, current_app, request
from flask_smorest import Api

from fourpair_service.records.errors import RevisionConflictError

# A digest says whether the data are the same, the version whether they are written the same.
VERSION: Final = metadata.version("fourpair")
KEEP_S: Final = 300
TAG_LENGTH: Final = 32
KEPT: Final = "private, no-cache"
JSON: Final = "application/json"

HEADER: Final = "ETag"
PARAMETER: Final = "If-None-Match"
# What else answers with the tag that the next change can rest on.
TAGGED_WRITES: Final = frozenset(
    {
        "createJob",
        "changeJob",
        "acceptJob",
        "putSchedule",
        "createRecord",
        "upsertRecord",
        "correctRecord",
        "retestRecord",
        "withdrawRecord",
    }
)


def revision_part(tag: str) -> str:
    """Return of a tag what a change can rest on.

    >>> revision_part("3-1f2e.77ab")
    '3-1f2e'
    """
    return tag.partition(".")[0]


def _seal(content_type: str, content: bytes) -> str:
    return sha256(content_type.encode() + b"\n" + content).hexdigest()[:TAG_LENGTH]


def document_tag(document: Mapping[str, Any], revision: str) -> str:
    """Return the tag with which reading answers this document of a revision."""
    return f"{revision}.{_seal(JSON, current_app.json.dumps(document).encode())}"


def tagged(response: Response, tag: str, kept: str = KEPT) -> Response:
    """Give a response its tag, or turn it into 304 where the client has it already (RFC 9110 section 13.2.2).

    Args:
        response: the answer.
        tag: changes whenever the answer does.
        kept: how it may be kept, as Cache-Control.

    Raises:
        RevisionConflictError: the client wants the answer with another tag or none.
    """
    if request.if_match and not (request.if_match.star_tag or request.if_match.is_strong(tag)):
        response.close()
        asked = " or ".join(sorted(request.if_match.as_set()))
        raise RevisionConflictError("The answer of", request.path, expected=asked, actual=tag)
    response.set_etag(tag)
    response.headers["Cache-Control"] = kept
    if request.if_none_match.contains_weak(tag):
        response.status_code = HTTPStatus.NOT_MODIFIED
    return response


def tagged_by_content(response: Response, revision: str | None = None) -> Response:
    """Give a response a tag of its bytes, or turn it into 304 where the client has it already.

    It is made all the same: what is spared is sending and reading it.

    Args:
        response: the whole answer.
        revision: tag of the revision that it tells of, where a change can rest on it.
    """
    seal = _seal(response.content_type or "", response.get_data())
    return tagged(response, seal if revision is None else f"{revision}.{seal}")


def tagged_by_seals(response: Response, *seals: str) -> Response:
    """Give a response that is written while it is sent its tag, or turn it into 304.

    Args:
        response: the answer.
        seals: of all that the answer is made from, and the name of its form.
    """
    return tagged(response, _of_seals(seals))


def revalidated(response: Response, *seals: str) -> Response:
    """Give a response that may be kept for a while its tag, or turn it into 304.

    Args:
        response: the whole answer.
        seals: digests of all that the answer is made from, and the name of its form.
    """
    response.vary.add("Accept")
    return tagged(response, _of_seals(seals), f"private, max-age={KEEP_S}, must-revalidate")


def _of_seals(seals: tuple[str, ...]) -> str:
    return sha256("\n".join((VERSION, *seals)).encode()).hexdigest()[:TAG_LENGTH]


def describe_tags(api: Api) -> None:
    """Write into the OpenAPI document which answers have a tag, and how it is asked about."""
    api.spec.components.header(
        HEADER,
        {
            "description": "Changes whenever the answer does; what a change or the next reading can rest on",
            "required": True,
            "schema": {"type": "string"},
        },
    )
    api.spec.components.parameter(
        PARAMETER,
        "header",
        {
            "name": PARAMETER,
            "description": "The ETag of the answer that the client has: 304 where it still holds",
            "schema": {"type": "string"},
        },
    )
    for path in api.spec._paths.values():
        for method, operation in path.items():
            if method == "get" and "304" in operation["responses"]:
                operation["parameters"] = [
                    *operation.get("parameters", []),
                    _reference("parameters", PARAMETER),
                ]
                _describe_header(operation, ("200", "304"))
            elif isinstance(operation, dict) and operation.get("operationId") in TAGGED_WRITES:
                _describe_header(operation, operation["responses"].keys() & {"200", "201"})


def _reference(kind: str, name: str) -> dict[str, str]:
    return {"$ref": f"#/components/{kind}/{name}"}


def _describe_header(operation: Mapping[str, Any], statuses: Any) -> None:
    for status in statuses:
        operation["responses"][status].setdefault("headers", {})[HEADER] = _reference("headers", HEADER)
