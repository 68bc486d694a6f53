"""The verdict document, described for the OpenAPI document and held against it in tests."""

from __future__ import annotations

from typing import Any, Final

from marshmallow import RAISE, Schema, fields, validate

from fourpair_service.domain.limits import Basis, Status
from fourpair_service.domain.link import Configuration, End
from fourpair_service.domain.parameters import TRAITS, Parameter
from fourpair_service.domain.verdict import CategoryState, Outcome
from fourpair_service.domain.wiremap import WireMapFault

UNITS: Final = ("db", "ns", "m", "ohm")


class _Answer(Schema):
    class Meta:
        """Nothing undescribed is answered."""

        unknown = RAISE


def _word(words: Any, **arguments: Any) -> fields.String:
    allowed = [str(word) for word in words]
    if arguments.get("allow_none"):
        return fields.String(validate=validate.OneOf([*allowed, None]), **arguments)
    return fields.String(validate=validate.OneOf(allowed), required=True, **arguments)


def _texts() -> fields.List:
    return fields.List(fields.String(), required=True)


def _value(unit: str) -> dict[str, fields.Field[Any]]:
    return {
        f"{name}_{unit}": fields.Float(allow_none=True, metadata={"description": f"in {unit}"})
        for name in ("margin", "measured", "limit")
    }


PointSchema = _Answer.from_dict(
    {
        **{name: field for unit in UNITS for name, field in _value(unit).items()},
        "frequency_mhz": fields.Float(allow_none=True),
        "pairs": fields.String(allow_none=True),
        "end": _word(End, allow_none=True),
        "outcome": _word(Outcome, allow_none=True),
    },
    name="Point",
)


class ExcuseSchema(_Answer):
    """Points that the edition does not judge."""

    rule = fields.String(required=True)
    text = fields.String(required=True)
    points = fields.Integer(required=True)
    source = fields.String(required=True)


class ParameterResultSchema(_Answer):
    """One parameter at one end."""

    parameter = _word(Parameter)
    title = fields.String(required=True)
    unit = _word(sorted({str(t.unit) for t in TRAITS.values() if t.unit}))
    end = _word(End, allow_none=True)
    status = _word(Status)
    outcome = _word(Outcome, allow_none=True)
    worst_margin = fields.Nested(PointSchema, allow_none=True)
    worst_value = fields.Nested(PointSchema, allow_none=True)
    by_pair = fields.List(fields.Nested(PointSchema), required=True)
    points_judged = fields.Integer(required=True)
    excused = fields.Nested(ExcuseSchema, allow_none=True)
    incomplete_because = _texts()
    accuracy = fields.Float(allow_none=True)
    basis = _word(Basis, allow_none=True)
    source = fields.String(allow_none=True)
    clause = fields.String(allow_none=True)
    note = fields.String(allow_none=True)


class CategoryResultSchema(_Answer):
    """How the link stands to one category or class."""

    category = fields.String(required=True)
    title = fields.String(required=True)
    state = _word(CategoryState)
    headroom_db = fields.Float(allow_none=True)
    parameter = _word(Parameter, allow_none=True)
    end = _word(End, allow_none=True)
    frequency_mhz = fields.Float(allow_none=True)
    pairs = fields.String(allow_none=True)
    stopped_by = _texts()
    missing = _texts()


class WireMapFindingSchema(_Answer):
    """One fault of the wire map."""

    kind = _word(WireMapFault)
    pins = _texts()
    pairs = _texts()
    text = fields.String(required=True)


class WireMapResultSchema(_Answer):
    """Continuity and split pairs."""

    outcome = _word(Outcome)
    split_pairs = _word(("found", "none", "not_excluded"))
    findings = fields.List(fields.Nested(WireMapFindingSchema), required=True)
    note = fields.String(allow_none=True)


class HeadroomSchema(_Answer):
    """The smallest margin of the judged dB parameters."""

    margin_db = fields.Float(required=True)
    parameter = _word(Parameter)
    end = _word(End, allow_none=True)
    pairs = fields.String(allow_none=True)
    frequency_mhz = fields.Float(allow_none=True)


class JudgedRequirementSchema(_Answer):
    """What the link was held against."""

    rule_set = fields.String(required=True)
    category = fields.String(required=True)
    configuration = _word(Configuration)
    minimum_basis = _word(Basis, allow_none=True)
    coverage = _word(("strict", "advisory"))
    shield_required = fields.Boolean(required=True)


class RuleSetReferenceSchema(_Answer):
    """Which edition judged, exactly."""

    id = fields.String(required=True)
    digest = fields.String(required=True)
    title = fields.String(required=True)
    category_title = fields.String(required=True)


class CautionSchema(_Answer):
    """Something to know that decides nothing."""

    code = fields.String(required=True)
    text = fields.String(required=True)


class VerdictSchema(_Answer):
    """The answer for one link."""

    notices = _texts()
    label = fields.String(allow_none=True)
    outcome = _word(Outcome)
    outcome_text = fields.String(required=True)
    reasons = _texts()
    requirement = fields.Nested(JudgedRequirementSchema, required=True)
    rule_set = fields.Nested(RuleSetReferenceSchema, required=True)
    basis = _word(Basis, allow_none=True)
    provisional = fields.Boolean(required=True)
    from_summary = fields.Boolean(required=True)
    headroom_db = fields.Float(allow_none=True)
    headroom = fields.Nested(HeadroomSchema, allow_none=True)
    wire_map = fields.Nested(WireMapResultSchema, required=True)
    parameters = fields.List(fields.Nested(ParameterResultSchema), required=True)
    categories = fields.List(fields.Nested(CategoryResultSchema), required=True)
    not_evaluated = _texts()
    cautions = fields.List(fields.Nested(CautionSchema), required=True)


class GradeAnswerSchema(_Answer):
    """The verdict and the digest of its canonical bytes."""

    verdict = fields.Nested(VerdictSchema, required=True)
    verdict_digest = fields.String(required=True)
