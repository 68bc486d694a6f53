"""One decorator for an operation: its scope, query, body, answers and headers, told once."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any, Final, TypeVar

import orjson
from flask import Response, request
from flask_smorest import Blueprint
from marshmallow import Schema, ValidationError

from fourpair_service.http.auth import needs
from fourpair_service.http.body_errors import InvalidBodyError
from fourpair_service.http.document_body import read_document
from fourpair_service.http.json_body import UnsupportedBodyError, read_json
from fourpair_service.http.resources.grade import body_bytes
from fourpair_service.http.schemas.document_errors import field_errors
from fourpair_service.http.schemas.queries import NothingAsked
from fourpair_service.http.services import services
from fourpair_service.records.keys import Scope

T = TypeVar("T", bound=Callable[..., Any])

JSON: Final = "application/json"
MERGE_PATCH: Final = "application/merge-patch+json"
MOST_ERRORS: Final = 50

IDEMPOTENCY: Final = {
    "in": "header",
    "name": "Idempotency-Key",
    "required": False,
    "description": "Repeating the request with the same key has no second effect; remembered for 30 days",
    "schema": {
        "type": "string",
        "minLength": 1,
        "maxLength": 202,
        "pattern": r'^("[!#-\[\]-~]{1,200}"|[!#-\[\]-~]{1,200})$',
    },
}
MEANINGS: Final[Mapping[int, str]] = {
    304: "As the client has it already (If-None-Match)",
    400: "The body cannot be read",
    404: "There is no such thing, or it is not the key's to see",
    406: "No such form is offered",
    409: "It contradicts what is kept, or the same key is being carried out",
    412: "It has moved on since it was read",
    413: "The body is too large",
    415: "The kind of body is not supported",
    428: "If-Match is missing",
    503: "As many long answers are being made as there may be; Retry-After says when",
}
BODY_PROBLEMS: Final = (400, 413, 415)


def if_match(*, required: bool) -> dict[str, Any]:
    """Return the description of the If-Match header."""
    return {
        "in": "header",
        "name": "If-Match",
        "required": required,
        "description": "The ETag that the change rests on, or *",
        "schema": {"type": "string"},
    }


def operate(
    blueprint: Blueprint,
    operation_id: str,
    *,
    scope: Scope,
    answer: Any,
    answer_kind: str | None = None,
    status: int = 200,
    query: type[Schema] = NothingAsked,
    body: Any = None,
    media: Iterable[str] = (JSON,),
    other_media: Mapping[str, Any] | None = None,
    headers: Iterable[Mapping[str, Any]] = (),
    problems: Iterable[int] = (),
    also: Mapping[int, Any] | None = None,
    doc: Mapping[str, Any] | None = None,
) -> Callable[[T], T]:
    """Describe and guard an operation; it gets its query as the first argument.

    Args:
        blueprint: where it belongs.
        operation_id: its name in the OpenAPI document.
        scope: what a key needs.
        answer: schema of the usual answer.
        answer_kind: its media type where that is not JSON.
        status: of the usual answer.
        query: schema of the query.
        body: schema of the body, ``None`` where there is none.
        media: media types of the body.
        other_media: schemas of the body by other media types.
        headers: descriptions of header parameters.
        problems: statuses that it may answer with beside the usual ones.
        also: schemas of other good answers by status.
        doc: more for the OpenAPI document.
    """

    def decorate(method: T) -> T:
        decorated: Any = needs(scope)(method)
        decorated = blueprint.arguments(query, location="query")(decorated)
        decorated._apidoc["arguments"]["parameters"] += [dict(header) for header in headers]
        decorated = blueprint.response(status, answer, content_type=answer_kind)(decorated)
        for code, schema in (also or {}).items():
            decorated = blueprint.alt_response(code, schema=schema)(decorated)
        for code in sorted({*problems, *(BODY_PROBLEMS if body is not None else ())}):
            decorated = blueprint.alt_response(code, description=MEANINGS[code])(decorated)
        bodies = {**dict.fromkeys(media, body), **(other_media or {})}
        kinds = {kind: {"schema": schema} for kind, schema in bodies.items()}
        content = {"requestBody": {"required": True, "content": kinds}}
        own: dict[str, Any] = {
            "operationId": operation_id,
            **(content if body is not None else {}),
            **(doc or {}),
        }
        return blueprint.doc(**own)(decorated)  # type: ignore[no-any-return]

    return decorate


def raw_body(media: Iterable[str]) -> bytes:
    """Return the bytes of the request's body.

    Raises:
        UnsupportedBodyError, BodyTooLargeError, UnreadableBodyError: as they say.
    """
    known = tuple(media)
    if request.mimetype not in known:
        got = repr(request.mimetype) if request.mimetype else "none"
        raise UnsupportedBodyError(f"The content type is {got}; send {' or '.join(known)}.")
    return body_bytes(services().settings)


def json_object(raw: bytes) -> dict[str, Any]:
    """Return the JSON object of a body.

    Raises:
        UnreadableBodyError, InvalidDocumentError: it is not JSON, or no object.
    """
    return _object(read_json(raw))


def measurement_object(raw: bytes) -> dict[str, Any]:
    """Return the measurement document of a body, long sweeps as arrays where that loses nothing.

    Raises:
        UnreadableBodyError, InvalidDocumentError: it is not JSON, or no object.
    """
    return _object(read_document(raw, as_written=True))


def _object(document: Any) -> dict[str, Any]:
    if not isinstance(document, dict):
        raise InvalidBodyError(field_errors({"_schema": ["Expected an object."]}, document, limit=1))
    return document


def loaded(schema: Schema, document: Mapping[str, Any]) -> dict[str, Any]:
    """Return a document as a schema reads it.

    Raises:
        InvalidBodyError: with everything that is wrong.
    """
    try:
        found: dict[str, Any] = schema.load(document)
        return found
    except ValidationError as error:
        raise InvalidBodyError(field_errors(error.messages, document, limit=MOST_ERRORS)) from None


def answered(document: Any, status: int = 200, headers: Mapping[str, str] | None = None) -> Response:
    """Return a document as a JSON response."""
    # The bytes of application.json.dumps, without the text between.
    response = Response(orjson.dumps(document), status=status, content_type=JSON)
    response.headers.update(headers or {})
    return response
