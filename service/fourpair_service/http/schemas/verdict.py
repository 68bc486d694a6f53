"""The verdict document, described for the OpenAPI document and held against it in tests."""

from __future__ import annotations

from typing import Any, Final

from marshmallow import fields

from fourpair_service.domain.limits import Basis, Status
from fourpair_service.domain.link import Configuration, End
from fourpair_service.domain.parameters import TRAITS, Parameter
from fourpair_service.domain.verdict import CategoryState, Outcome
from fourpair_service.domain.wiremap import WireMapFault
from fourpair_service.http.schemas.answer import Answer, texts, word
from fourpair_service.http.schemas.assessment import AssessmentSchema

UNITS: Final = ("db", "ns", "m", "ohm")


def _value(unit: str) -> dict[str, fields.Field[Any]]:
    return {
        f"{name}_{unit}": fields.Float(allow_none=True, metadata={"description": f"in {unit}"})
        for name in ("margin", "measured", "limit")
    }


PointSchema = Answer.from_dict(
    {
        **{name: field for unit in UNITS for name, field in _value(unit).items()},
        "frequency_mhz": fields.Float(allow_none=True),
        "pairs": fields.String(allow_none=True),
        "end": word(End, allow_none=True),
        "outcome": word(Outcome, allow_none=True),
    },
    name="Point",
)


class ExcuseSchema(Answer):
    """Points that the edition does not judge."""

    rule = fields.String(required=True)
    text = fields.String(required=True)
    points = fields.Integer(required=True)
    source = fields.String(required=True)


class ParameterResultSchema(Answer):
    """One parameter at one end."""

    parameter = word(Parameter)
    title = fields.String(required=True)
    unit = word(sorted({str(t.unit) for t in TRAITS.values() if t.unit}))
    end = word(End, allow_none=True)
    status = word(Status)
    outcome = word(Outcome, allow_none=True)
    worst_margin = fields.Nested(PointSchema, allow_none=True)
    worst_value = fields.Nested(PointSchema, allow_none=True)
    by_pair = fields.List(fields.Nested(PointSchema), required=True)
    points_judged = fields.Integer(required=True)
    excused = fields.Nested(ExcuseSchema, allow_none=True)
    incomplete_because = texts()
    accuracy = fields.Float(allow_none=True)
    basis = word(Basis, allow_none=True)
    source = fields.String(allow_none=True)
    clause = fields.String(allow_none=True)
    note = fields.String(allow_none=True)


class CategoryResultSchema(Answer):
    """How the link stands to one category or class."""

    category = fields.String(required=True)
    title = fields.String(required=True)
    state = word(CategoryState)
    headroom_db = fields.Float(allow_none=True)
    parameter = word(Parameter, allow_none=True)
    end = word(End, allow_none=True)
    frequency_mhz = fields.Float(allow_none=True)
    pairs = fields.String(allow_none=True)
    stopped_by = texts()
    missing = texts()


class WireMapFindingSchema(Answer):
    """One fault of the wire map."""

    kind = word(WireMapFault)
    pins = texts()
    pairs = texts()
    text = fields.String(required=True)


class WireMapResultSchema(Answer):
    """Continuity and split pairs."""

    outcome = word(Outcome)
    split_pairs = word(("found", "none", "not_excluded"))
    findings = fields.List(fields.Nested(WireMapFindingSchema), required=True)
    note = fields.String(allow_none=True)


class HeadroomSchema(Answer):
    """The smallest margin of the judged dB parameters."""

    margin_db = fields.Float(required=True)
    parameter = word(Parameter)
    end = word(End, allow_none=True)
    pairs = fields.String(allow_none=True)
    frequency_mhz = fields.Float(allow_none=True)


class JudgedRequirementSchema(Answer):
    """What the link was held against."""

    rule_set = fields.String(required=True)
    category = fields.String(required=True)
    configuration = word(Configuration)
    minimum_basis = word(Basis, allow_none=True)
    coverage = word(("strict", "advisory"))
    shield_required = fields.Boolean(required=True)


class RuleSetReferenceSchema(Answer):
    """Which edition judged, exactly."""

    id = fields.String(required=True)
    digest = fields.String(required=True)
    title = fields.String(required=True)
    category_title = fields.String(required=True)


class CautionSchema(Answer):
    """Something to know that decides nothing."""

    code = fields.String(required=True)
    text = fields.String(required=True)


class VerdictSchema(Answer):
    """The answer for one link."""

    notices = texts()
    label = fields.String(allow_none=True)
    outcome = word(Outcome)
    outcome_text = fields.String(required=True)
    reasons = texts()
    requirement = fields.Nested(JudgedRequirementSchema, required=True)
    rule_set = fields.Nested(RuleSetReferenceSchema, required=True)
    basis = word(Basis, allow_none=True)
    provisional = fields.Boolean(required=True)
    from_summary = fields.Boolean(required=True)
    headroom_db = fields.Float(allow_none=True)
    headroom = fields.Nested(HeadroomSchema, allow_none=True)
    wire_map = fields.Nested(WireMapResultSchema, required=True)
    parameters = fields.List(fields.Nested(ParameterResultSchema), required=True)
    categories = fields.List(fields.Nested(CategoryResultSchema), required=True)
    not_evaluated = texts()
    cautions = fields.List(fields.Nested(CautionSchema), required=True)


class GradeAnswerSchema(Answer):
    """The verdict, the digest of its canonical bytes, and what is said beside it."""

    verdict = fields.Nested(VerdictSchema, required=True)
    verdict_digest = fields.String(required=True)
    assessment = fields.Nested(AssessmentSchema)
