"""What is asked of a prediction, and the prediction itself."""

from __future__ import annotations

from typing import Any, Final

from marshmallow import fields

from fourpair_service.domain.limits import Basis
from fourpair_service.domain.link import Configuration, End
from fourpair_service.domain.parameters import Parameter
from fourpair_service.http.schemas.answer import Answer, texts, word
from fourpair_service.http.schemas.fields import Choice, Text
from fourpair_service.http.schemas.queries import PlainNumber
from fourpair_service.http.schemas.strict import StrictSchema
from fourpair_service.http.schemas.verdict import UNITS, RuleSetReferenceSchema

RULE_SET: Final = {"description": "id of a rule set, or TIA or ISO for the newest of that standard"}


class WhatIfQuery(StrictSchema):
    """What to change about a link, and what to hold it against where the document does not say."""

    temperature_c = PlainNumber(
        low=-60,
        high=100,
        unit="degrees Celsius",
        example="45",
        metadata={"description": "temperature of the cable; the design rules reach from 20 to 60 or less"},
    )
    added_cord_m = PlainNumber(
        low=0,
        high=1000,
        unit="m",
        example="10",
        metadata={"description": "stranded cord in addition to what was measured, in m"},
    )
    without_m = PlainNumber(
        low=0,
        high=2000,
        unit="m",
        example="23.1",
        metadata={
            "description": "a place, in m from the near end, whose connector or other disturbance is thought away"
        },
    )
    rule_set = Text(metadata=RULE_SET)
    category = Text(metadata={"description": "category or class"})
    configuration = Choice(Configuration)
    minimum_basis = Choice(Basis)
    coverage = Choice(("strict", "advisory"))


def _values(unit: str) -> dict[str, fields.Field[Any]]:
    return {
        f"{name}_{unit}": fields.Float(allow_none=True, metadata={"description": f"in {unit}"})
        for name in ("margin", "predicted", "limit", "margin_as_measured")
    }


PredictedMarginSchema = Answer.from_dict(
    {
        "parameter": word(Parameter),
        "title": fields.String(required=True),
        "end": word(End, allow_none=True),
        "pairs": fields.String(allow_none=True),
        "frequency_mhz": fields.Float(allow_none=True),
        **{name: field for unit in UNITS for name, field in _values(unit).items()},
    },
    name="PredictedMargin",
)


class WhatIfAnswerSchema(Answer):
    """A prediction by the design rules of the standards: margins, and no outcome."""

    predicted = fields.Boolean(required=True)
    notice = fields.String(required=True)
    label = fields.String(allow_none=True)
    configuration = word(Configuration)
    assumptions = texts()
    margins = fields.List(fields.Nested(PredictedMarginSchema), required=True)
    rule_set = fields.Nested(RuleSetReferenceSchema, required=True)
