"""The base and the fields of what is answered about jobs and records."""

from __future__ import annotations

from typing import Any

from marshmallow import RAISE, Schema, fields, validate


class Answer(Schema):
    """An answer; nothing undescribed is answered."""

    class Meta:
        """Refuse what is not described."""

        unknown = RAISE


def word(words: Any, *, nullable: bool = False) -> fields.String:
    """Return a field that is one of some words."""
    allowed: list[str | None] = [str(word) for word in words]
    if nullable:
        allowed.append(None)
    return fields.String(required=True, allow_none=nullable, validate=validate.OneOf(allowed))


def text(*, nullable: bool = False) -> fields.String:
    """Return a field that is text."""
    return fields.String(required=True, allow_none=nullable)


def whole(*, nullable: bool = False) -> fields.Integer:
    """Return a field that is a whole number."""
    return fields.Integer(required=True, allow_none=nullable)


def decimal() -> fields.Float:
    """Return a field that is a number, or null."""
    return fields.Float(required=True, allow_none=True)


def flag() -> fields.Boolean:
    """Return a field that is yes or no."""
    return fields.Boolean(required=True)


def texts() -> fields.Field[Any]:
    """Return a field that is a list of texts."""
    return fields.List(fields.String(), required=True)


def string_map() -> fields.Dict:
    """Return a field that is an object."""
    return fields.Dict(keys=fields.String(), required=True)


def listed(schema: type[Schema]) -> fields.Field[Any]:
    """Return a field that is a list of answers of their own."""
    return fields.List(fields.Nested(schema), required=True)


def nested(schema: type[Schema], *, nullable: bool = False) -> fields.Nested:
    """Return a field that holds an answer of its own."""
    return fields.Nested(schema, required=True, allow_none=nullable)
