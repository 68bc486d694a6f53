"""What the schemas of answers share."""

from __future__ import annotations

from typing import Any

from marshmallow import RAISE, Schema, fields, validate


class Answer(Schema):
    """What the service answers: described whole."""

    class Meta:
        """Nothing undescribed is answered."""

        unknown = RAISE


def word(words: Any, **arguments: Any) -> fields.String:
    """Return a field that holds one of some words."""
    allowed = [str(word) for word in words]
    if arguments.get("allow_none"):
        return fields.String(validate=validate.OneOf([*allowed, None]), **arguments)
    return fields.String(validate=validate.OneOf(allowed), required=True, **arguments)


def texts() -> fields.List[Any]:
    """Return a field that holds sentences or names."""
    return fields.List(fields.String(), required=True)


def text(**arguments: Any) -> fields.String:
    """Return a field that holds text, or nothing where ``allow_none``."""
    return fields.String(required=not arguments.get("allow_none"), **arguments)


def number(unit: str = "", **arguments: Any) -> fields.Float:
    """Return a field that holds a number, or nothing where ``allow_none``."""
    metadata = {"description": f"in {unit}"} if unit else {}
    return fields.Float(required=not arguments.get("allow_none"), metadata=metadata, **arguments)
