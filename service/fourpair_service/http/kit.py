"""flask-smorest, hardened: strict queries, problem documents, ids, safe headers."""

from __future__ import annotations

import re
import secrets
from collections.abc import Callable
from typing import Any, Final, TypeVar, cast

import orjson
from apispec.ext.marshmallow.openapi import OpenAPIConverter
from flask import Flask, Response, g, request
from flask.json.provider import JSONProvider
from flask_smorest import Api, Blueprint
from marshmallow import RAISE, Schema, fields
from webargs.flaskparser import FlaskParser
from werkzeug.exceptions import HTTPException

from fourpair_service.errors import ServiceError
from fourpair_service.http.json_body import read_json
from fourpair_service.http.problems import (
    HTTP_PROBLEMS,
    from_http_exception,
    from_service_error,
    problem_document,
    respond,
)
from fourpair_service.http.query_errors import InvalidQueryError

ViewT = TypeVar("ViewT", bound=type)
FunctionT = TypeVar("FunctionT", bound=Callable[..., Any])

REQUEST_ID: Final = re.compile(r"[A-Za-z0-9._-]{1,64}")
HEADERS: Final = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "no-referrer",
    "Cache-Control": "no-store",
    "Content-Security-Policy": "default-src 'none'; frame-ancestors 'none'",
}


class ProblemSchema(Schema):
    """A problem document (RFC 9457)."""

    type = fields.String(required=True, metadata={"format": "uri-reference"})
    title = fields.String(required=True)
    status = fields.Integer(required=True)
    detail = fields.String(required=True)
    instance = fields.String(required=True)
    code = fields.String(required=True)
    request_id = fields.String(required=True)
    errors = fields.List(fields.Dict(keys=fields.String()))


class QueryParser(FlaskParser):
    """Refuses query parameters that it does not know, and those given twice."""

    DEFAULT_UNKNOWN_BY_LOCATION = {**FlaskParser.DEFAULT_UNKNOWN_BY_LOCATION, "query": RAISE}  # noqa: RUF012

    def load_querystring(self, req: Any, schema: Schema) -> Any:
        """Return the query; one value for each parameter that is no list.

        Raises:
            InvalidQueryError: a parameter stands more than once.
        """
        for name, values in req.args.lists():
            field = schema.fields.get(name)
            may_repeat = getattr(field, "is_multiple", isinstance(field, fields.List))
            if len(values) > 1 and not may_repeat:
                detail = f"{name} stands in the query {len(values)} times; give it once."
                raise InvalidQueryError(f"/query/{name}", detail, ", ".join(values)[:80])
        return super().load_querystring(req, schema)


class StrictBlueprint(Blueprint):  # type: ignore[misc] # flask-smorest carries no types
    """A blueprint whose operations refuse what they do not know in the query.

    Its decorators say here what flask-smorest's do not: they keep the type of
    what they decorate.
    """

    ARGUMENTS_PARSER = QueryParser()

    def route(self, rule: str, **options: Any) -> Callable[[ViewT], ViewT]:
        """Put a view at an address."""
        return cast(Callable[[ViewT], ViewT], super().route(rule, **options))

    def arguments(self, schema: Any, **options: Any) -> Callable[[FunctionT], FunctionT]:
        """Read the arguments of an operation by a schema, which is made once and not for each request."""
        made = schema() if isinstance(schema, type) else schema
        return cast(Callable[[FunctionT], FunctionT], super().arguments(made, **options))

    def response(self, status: int, schema: Any = None, **options: Any) -> Callable[[FunctionT], FunctionT]:
        """Describe what an operation answers."""
        return cast(Callable[[FunctionT], FunctionT], super().response(status, schema, **options))

    def alt_response(self, status: int, **options: Any) -> Callable[[FunctionT], FunctionT]:
        """Describe what an operation may answer instead."""
        return cast(Callable[[FunctionT], FunctionT], super().alt_response(status, **options))

    def doc(self, **options: Any) -> Callable[[FunctionT], FunctionT]:
        """Add to the description of an operation."""
        return cast(Callable[[FunctionT], FunctionT], super().doc(**options))


class FastJson(JSONProvider):
    """JSON by orjson: strict reading, no NaN in writing."""

    def dumps(self, obj: Any, **kwargs: Any) -> str:
        """Return JSON text."""
        return orjson.dumps(obj).decode()

    def loads(self, s: str | bytes, **kwargs: Any) -> Any:
        """Return the value of JSON text, strictly read."""
        return read_json(s.encode() if isinstance(s, str) else s)


class ProblemApi(Api):  # type: ignore[misc] # flask-smorest carries no types
    """An API whose errors are problem documents."""

    ERROR_SCHEMA = ProblemSchema

    def handle_http_exception(self, error: HTTPException) -> Response:
        """Return a problem document."""
        return from_http_exception(error)

    def _register_responses(self) -> None:
        # Errors are described with their own media type, answers with JSON.
        usual = getattr(self, "DEFAULT_RESPONSE_CONTENT_TYPE")  # noqa: B009 - it carries no type
        self.DEFAULT_RESPONSE_CONTENT_TYPE = "application/problem+json"
        try:
            super()._register_responses()
        finally:
            self.DEFAULT_RESPONSE_CONTENT_TYPE = usual


def describe(converter: OpenAPIConverter, field: fields.Field[Any], **_: Any) -> dict[str, Any]:
    """Return what a field of ours says of itself for the OpenAPI description."""
    own = getattr(field, "json_schema", None)
    return dict(own()) if own is not None else {}


def harden(app: Flask) -> None:
    """Give an application request ids, safe headers and problem documents."""
    app.json = FastJson(app)

    @app.before_request
    def _name_request() -> None:
        given = request.headers.get("X-Request-Id", "")
        g.request_id = given if REQUEST_ID.fullmatch(given) else secrets.token_hex(8)

    @app.after_request
    def _finish(response: Response) -> Response:
        response.headers["X-Request-Id"] = g.get("request_id", "")
        for name, value in HEADERS.items():
            response.headers.setdefault(name, value)
        return response

    @app.errorhandler(ServiceError)
    def _service_error(error: ServiceError) -> Response:
        return from_service_error(error)

    @app.errorhandler(Exception)
    def _failure(error: Exception) -> Response:
        if isinstance(error, HTTPException):
            return from_http_exception(error)
        app.logger.exception("request failed request_id=%s path=%s", g.get("request_id", ""), request.path)
        return respond(problem_document(HTTP_PROBLEMS[500], HTTP_PROBLEMS[500].remedy))
