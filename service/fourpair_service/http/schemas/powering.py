"""What a link can carry of power, described for the OpenAPI document."""

from __future__ import annotations

from marshmallow import fields

from fourpair_service.domain.limits import Basis
from fourpair_service.domain.link import PAIRS
from fourpair_service.domain.support import Support
from fourpair_service.http.schemas.answer import Answer, number, text, texts, word

LoopsSchema = Answer.from_dict({pair: number("ohm", allow_none=True) for pair in PAIRS}, name="Loops")
PairsetsSchema = Answer.from_dict({name: number("ohm", allow_none=True) for name in "AB"}, name="Pairsets")


class ResistanceSchema(Answer):
    """The resistance that the current meets, cords included."""

    loop_ohm = fields.Nested(LoopsSchema, required=True)
    pairset_ohm = fields.Nested(PairsetsSchema, required=True)
    cords_ohm = number("ohm")
    estimated = texts()
    broken = texts()


class FeedSchema(Answer):
    """One way of feeding a device."""

    feed = text()
    state = word(Support)
    loop_ohm = number("ohm", allow_none=True)
    estimated = fields.Boolean(required=True)
    available_w = number("W", allow_none=True)
    source_w = number("W", allow_none=True)
    cable_loss_w = number("W", allow_none=True)
    current_a = number("A", allow_none=True)
    pair_current_a = number("A", allow_none=True)
    device_voltage_v = number("V", allow_none=True)
    bundle_rise_c = number("degrees Celsius", allow_none=True)


class PowerClassSchema(Answer):
    """One class of powered devices."""

    number = fields.Integer(required=True, data_key="class")
    pairs = fields.Integer(required=True)
    state = word(Support)
    reason = text()
    promised_w = fields.Float(required=True)
    least_device_voltage_v = fields.Float(required=True)
    basis = word(Basis)
    feeds = fields.List(fields.Nested(FeedSchema), required=True)


class AvailableSchema(Answer):
    """Power that a class leaves a device on this link."""

    number = fields.Integer(required=True, data_key="class")
    available_w = fields.Float(allow_none=True)


class PowerTypeSchema(Answer):
    """One type of power source."""

    type = fields.Integer(required=True)
    standard = text()
    state = word(Support)
    highest_class = fields.Integer(allow_none=True)
    available_w = fields.List(fields.Nested(AvailableSchema), required=True)
    basis = word(Basis)


class UnbalanceSchema(Answer):
    """How far two conductors or two pairs differ, and what that does."""

    kind = text()
    pairs = text()
    difference_ohm = number("ohm")
    percent = number("%", allow_none=True)
    limit_ohm = number("ohm", allow_none=True)
    within_limit = fields.Boolean(allow_none=True)
    effect = fields.String(allow_none=True)


class HeatingSchema(Answer):
    """Guidance on heating, with its source."""

    text = fields.String(required=True)
    source = fields.String(required=True)


class PoweringSchema(Answer):
    """What a link can carry of power."""

    highest_class = fields.Integer(allow_none=True)
    resistance = fields.Nested(ResistanceSchema, required=True)
    classes = fields.List(fields.Nested(PowerClassSchema), required=True)
    types = fields.List(fields.Nested(PowerTypeSchema), required=True)
    unbalance = fields.List(fields.Nested(UnbalanceSchema), required=True)
    heating = fields.List(fields.Nested(HeatingSchema), required=True)
    notes = texts()
    cautions = texts()
