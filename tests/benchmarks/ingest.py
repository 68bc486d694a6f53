"""Reading a document: parse and validate, strictly, against a bare parse and against one field a value."""

from __future__ import annotations

from typing import Final

import orjson
from marshmallow import Schema, fields

from fourpair_service.http.document_body import read_document
from fourpair_service.http.schemas.measurement import read_measurement

from .contest import contest
from .figures import Figure
from .record import body, curves

ROUNDS: Final = 30


class _OneByOne(Schema):
    """What one would write first."""

    curves = fields.List(fields.List(fields.Float()))


def figures() -> list[Figure]:
    """Measure reading."""
    raw = body()
    one_by_one = _OneByOne()
    fast = {
        "bare parse": lambda: orjson.loads(raw),
        "read": lambda: read_measurement(read_document(raw)),
    }
    slow = {
        "read": fast["read"],
        "one by one": lambda: one_by_one.load({"curves": curves(orjson.loads(raw))}),
    }
    near, far = contest(fast, ROUNDS), contest(slow, 5)
    return [
        Figure.at_most("parse and validate / bare `orjson.loads`", 2.0, near, "read", "bare parse"),
        Figure.at_least("marshmallow `List(Float)` / parse and validate", 40, far, "one by one", "read"),
    ]
