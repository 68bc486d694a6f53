"""Every error as a problem document (RFC 9457), and the page that explains it."""

from __future__ import annotations

from collections.abc import Mapping
from http import HTTPStatus
from typing import Any, Final

from flask import Response, g, request
from werkzeug.exceptions import HTTPException, MethodNotAllowed, NotFound

from fourpair_service.config import InvalidSettingError
from fourpair_service.domain.errors import InvalidMeasurementError, InvalidRequirementError
from fourpair_service.errors import ServiceError
from fourpair_service.http.body_errors import BatchRefusedError
from fourpair_service.http.json_body import BodyTooLargeError, UnreadableBodyError, UnsupportedBodyError
from fourpair_service.http.problem import Problem
from fourpair_service.http.query_errors import InvalidQueryError, NotAcceptableError, UnknownFaultError
from fourpair_service.http.record_problems import RECORD_PROBLEMS, RETRY_AFTER_S
from fourpair_service.http.schemas.document_errors import SHOWN_CHARACTERS, InvalidDocumentError
from fourpair_service.http.touchstone_errors import UnreadableTouchstoneError
from fourpair_service.rulesets.errors import InvalidRuleSetError, RuleSetNotFoundError, UnknownRuleSetError

MEDIA_TYPE: Final = "application/problem+json"


UNPROCESSABLE: Final = HTTPStatus.UNPROCESSABLE_ENTITY

INVALID_DOCUMENT: Final = Problem(
    UNPROCESSABLE,
    "invalid-measurement",
    "The measurement is not valid",
    "Something in the measurement document contradicts its form, itself or physics.",
    "Each entry of errors names the place by its JSON pointer, the value, and what to send instead.",
)

INVALID_QUERY: Final = Problem(
    UNPROCESSABLE,
    "invalid-query",
    "The query is not valid",
    "A query parameter is unknown, or its value is not one that is accepted.",
    "Each entry of errors names the parameter and what to do.",
)

NOT_ACCEPTABLE: Final = Problem(
    HTTPStatus.NOT_ACCEPTABLE,
    "not-acceptable",
    "No such form is offered",
    "The Accept header asks for a form that this address does not give.",
    "Ask for one of the forms that the documentation names.",
)

PROBLEMS: Final[Mapping[type[ServiceError], Problem]] = {
    **RECORD_PROBLEMS,
    InvalidDocumentError: INVALID_DOCUMENT,
    InvalidMeasurementError: INVALID_DOCUMENT,
    InvalidRequirementError: Problem(
        UNPROCESSABLE,
        "invalid-requirement",
        "The requirement cannot be judged",
        "The rule set has no such category or class, or no limits for this configuration.",
        "Choose one that it has: GET /v1/rule-sets lists them.",
    ),
    InvalidQueryError: INVALID_QUERY,
    NotAcceptableError: NOT_ACCEPTABLE,
    RuleSetNotFoundError: Problem(
        HTTPStatus.NOT_FOUND,
        "rule-set-not-found",
        "There is no such rule set",
        "The address names an edition that is not loaded.",
        "Use an id from GET /v1/rule-sets, or load an edition file of your own.",
    ),
    UnknownFaultError: Problem(
        HTTPStatus.NOT_FOUND,
        "unknown-fault",
        "There is no such fault",
        "The address names a fault that is not in the list.",
        "GET /v1/faults lists every fault with its help.",
    ),
    UnknownRuleSetError: Problem(
        UNPROCESSABLE,
        "unknown-rule-set",
        "There is no such rule set",
        "No edition of that id or standard is loaded.",
        "Use an id from GET /v1/rule-sets, or load an edition file of your own.",
    ),
    UnreadableBodyError: Problem(
        HTTPStatus.BAD_REQUEST,
        "unreadable-body",
        "The body cannot be read",
        "The body is not JSON, or it is JSON that two readers could take in two ways: keys that stand "
        "twice, numbers out of range, half characters, nesting too deep.",
        "Mend what the detail names and send it again.",
    ),
    BodyTooLargeError: Problem(
        HTTPStatus.REQUEST_ENTITY_TOO_LARGE,
        "body-too-large",
        "The body is too large",
        "The body, inflated if it was compressed, is over a limit of this service.",
        "Send less at a time, or ask whoever runs the service to raise the limit.",
    ),
    UnsupportedBodyError: Problem(
        HTTPStatus.UNSUPPORTED_MEDIA_TYPE,
        "unsupported-body",
        "The kind of body is not supported",
        "The Content-Type or Content-Encoding is not one that this service reads.",
        "Send application/json, plain or gzip, or multipart/form-data for Touchstone files.",
    ),
    UnreadableTouchstoneError: Problem(
        UNPROCESSABLE,
        "unreadable-touchstone",
        "The Touchstone file cannot be read",
        "A file does not follow the Touchstone format, or does not hold what its declaration says.",
        "The detail names the file and the line.",
    ),
    InvalidRuleSetError: Problem(
        HTTPStatus.INTERNAL_SERVER_ERROR,
        "invalid-rule-set",
        "An edition file is not valid",
        "A file of own limits cannot be used; the service does not start with it.",
        "Mend the line that the message names.",
    ),
    InvalidSettingError: Problem(
        HTTPStatus.INTERNAL_SERVER_ERROR,
        "invalid-setting",
        "A setting is not valid",
        "An environment variable holds something that the service cannot use.",
        "Set it as the message says.",
    ),
}

HTTP_PROBLEMS: Final[Mapping[int, Problem]] = {
    400: Problem(
        HTTPStatus.BAD_REQUEST,
        "bad-request",
        "The request cannot be understood",
        "The request does not follow HTTP, or its form data is damaged.",
        "Mend what the detail names and send it again.",
    ),
    404: Problem(
        HTTPStatus.NOT_FOUND,
        "not-found",
        "There is no such thing",
        "Nothing is served at this address.",
        "Check the address; /docs lists what there is.",
    ),
    405: Problem(
        HTTPStatus.METHOD_NOT_ALLOWED,
        "method-not-allowed",
        "The method is not allowed here",
        "This address does not answer to that method.",
        "Use one of the methods that the Allow header names.",
    ),
    406: NOT_ACCEPTABLE,
    413: PROBLEMS[BodyTooLargeError],
    415: PROBLEMS[UnsupportedBodyError],
    422: INVALID_QUERY,
    500: Problem(
        HTTPStatus.INTERNAL_SERVER_ERROR,
        "internal-error",
        "The service failed",
        "Something went wrong that is the service's own fault.",
        "Try again; if it persists, report the request id.",
    ),
}

ALL_PROBLEMS: Final[Mapping[str, Problem]] = {
    problem.code: problem for problem in (*PROBLEMS.values(), *HTTP_PROBLEMS.values())
}


def problem_document(
    problem: Problem, detail: str, errors: list[dict[str, Any]] | None = None
) -> dict[str, Any]:
    """Return the members of a problem document."""
    document: dict[str, Any] = {
        "type": f"/problems/{problem.code}",
        "title": problem.title,
        "status": int(problem.status),
        "detail": detail,
        "instance": request.path,
        "code": problem.code,
        "request_id": g.get("request_id", ""),
    }
    if errors:
        document["errors"] = errors
    return document


def respond(document: Mapping[str, Any]) -> Response:
    """Return a problem document as a response."""
    from flask import current_app  # noqa: PLC0415 - the provider of the running application

    body = current_app.json.dumps(document)
    return Response(body, status=document["status"], content_type=MEDIA_TYPE)


def _errors_of(error: ServiceError) -> list[dict[str, Any]]:
    if isinstance(error, InvalidDocumentError | BatchRefusedError):
        return [found.as_dict() for found in error.errors]
    pointer = getattr(error, "pointer", None)
    if pointer is None:
        return []
    return [
        {
            "pointer": pointer,
            "detail": getattr(error, "detail", str(error)),
            "value": getattr(error, "value", None),
        }
    ]


def document_of_error(error: ServiceError) -> dict[str, Any]:
    """Return the problem document of an error that was raised on purpose."""
    problem = PROBLEMS.get(type(error)) or next(
        (p for kind, p in PROBLEMS.items() if isinstance(error, kind)), HTTP_PROBLEMS[500]
    )
    return problem_document(problem, str(error), _errors_of(error))


def from_service_error(error: ServiceError) -> Response:
    """Return the response to an error that was raised on purpose."""
    response = respond(document_of_error(error))
    if response.status_code == HTTPStatus.UNAUTHORIZED:
        response.headers["WWW-Authenticate"] = 'Bearer realm="fourpair"'
    retry_after_s = getattr(error, "retry_after_s", RETRY_AFTER_S.get(type(error)))
    if retry_after_s is not None:
        response.headers["Retry-After"] = str(retry_after_s)
    return response


def from_http_exception(error: HTTPException) -> Response:
    """Return the response to an error of HTTP itself, its headers kept."""
    status = error.code or 500
    problem = HTTP_PROBLEMS.get(status, HTTP_PROBLEMS[500 if status >= 500 else 400])
    data: Mapping[str, Any] = getattr(error, "data", None) or {}
    errors = list(_flat(data.get("messages", {})))
    detail = f"{errors[0]['pointer']}: {errors[0]['detail']}" if errors else _plain_detail(error, problem)
    response = respond({**problem_document(problem, detail, errors), "status": status})
    for name, value in error.get_headers():
        if name.lower() not in {"content-type", "content-length"}:
            response.headers[name] = value
    return response


def _plain_detail(error: HTTPException, problem: Problem) -> str:
    """Return what happened to this request in particular, as far as HTTP says."""
    if isinstance(error, NotFound):
        return f"Nothing is served at {request.path[:SHOWN_CHARACTERS]}. {problem.remedy}"
    if isinstance(error, MethodNotAllowed) and error.valid_methods:
        usable = " or ".join(sorted(set(error.valid_methods) - {"HEAD", "OPTIONS"}))
        return f"{request.path[:SHOWN_CHARACTERS]} does not answer to {request.method}; use {usable}."
    return f"{problem.meaning} {problem.remedy}"


def _value(pointer: str) -> str | None:
    """Return the value of the query parameter that a pointer names."""
    place, _, name = pointer[1:].partition("/")
    found = request.args.get(name) if place == "query" else None
    return None if found is None else found[:SHOWN_CHARACTERS]


def _flat(messages: Any, path: str = "") -> list[dict[str, Any]]:
    if isinstance(messages, Mapping):
        return [entry for key, inner in messages.items() for entry in _flat(inner, f"{path}/{key}")]
    if isinstance(messages, list):
        return [{"pointer": path, "detail": str(message), "value": _value(path)} for message in messages]
    return [{"pointer": path, "detail": str(messages), "value": _value(path)}]
