"""What a link can carry of power, described for the OpenAPI document."""

from __future__ import annotations

from marshmallow import fields

from fourpair_service.domain.limits import Basis
from fourpair_service.domain.link import NEXT_COMBINATIONS, PAIRS
from fourpair_service.domain.support import Support
from fourpair_service.http.schemas.answer import Answer, texts, word


def _optional_number() -> fields.Float:
    return fields.Float(required=True, allow_none=True)


class LinkResistanceSchema(Answer):
    """Resistance that power meets, cords included; pairs that are not known are absent."""

    loop_ohm = fields.Dict(keys=fields.String(), values=fields.Float(), required=True)
    pairset_ohm = fields.Dict(keys=fields.String(), values=fields.Float(allow_none=True), required=True)
    cords_ohm = fields.Float(required=True)
    estimated = texts()
    broken = texts()


class PowerFeedSchema(Answer):
    """One class over the pairs that a source may feed; null where it cannot be had."""

    feed = word(("A", "B", "A+B"))
    state = word(Support)
    loop_ohm = _optional_number()
    estimated = fields.Boolean(required=True)
    available_w = _optional_number()
    source_w = _optional_number()
    cable_loss_w = _optional_number()
    current_a = _optional_number()
    pair_current_a = _optional_number()
    device_voltage_v = _optional_number()
    bundle_rise_c = _optional_number()


PowerClassSchema = Answer.from_dict(
    {
        "class": fields.Integer(required=True),
        "pairs": fields.Integer(required=True),
        "state": word(Support),
        "reason": fields.String(required=True),
        "promised_w": fields.Float(required=True),
        "least_device_voltage_v": fields.Float(required=True),
        "basis": word(Basis),
        "feeds": fields.List(fields.Nested(PowerFeedSchema), required=True),
    },
    name="PowerClassSchema",
)

ClassAtTypeSchema = Answer.from_dict(
    {"class": fields.Integer(required=True), "available_w": _optional_number()},
    name="ClassAtTypeSchema",
)


class PowerTypeSchema(Answer):
    """A source of one type, at the lowest voltage that it may have."""

    type = fields.Integer(required=True)
    standard = fields.String(required=True)
    state = word(Support)
    highest_class = fields.Integer(required=True, allow_none=True)
    available_w = fields.List(fields.Nested(ClassAtTypeSchema), required=True)
    basis = word(Basis)


class UnbalanceSchema(Answer):
    """The difference of two resistances, as measured."""

    kind = word(("within_pair", "between_pairs"))
    pairs = word((*PAIRS, *NEXT_COMBINATIONS))
    difference_ohm = fields.Float(required=True)
    percent = _optional_number()
    limit_ohm = fields.Float(required=True)
    within_limit = fields.Boolean(required=True)
    effect = fields.String(required=True)


class GuidanceSchema(Answer):
    """Advice with its source."""

    text = fields.String(required=True)
    source = fields.String(required=True)


class PoweringSchema(Answer):
    """What the link can carry of power over Ethernet."""

    highest_class = fields.Integer(required=True, allow_none=True)
    resistance = fields.Nested(LinkResistanceSchema, required=True)
    classes = fields.List(fields.Nested(PowerClassSchema), required=True)
    types = fields.List(fields.Nested(PowerTypeSchema), required=True)
    unbalance = fields.List(fields.Nested(UnbalanceSchema), required=True)
    heating = fields.List(fields.Nested(GuidanceSchema), required=True)
    notes = texts()
    cautions = texts()
