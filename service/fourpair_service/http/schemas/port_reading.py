"""What a live port says, described for the OpenAPI document."""

from __future__ import annotations

from marshmallow import fields

from fourpair_service.domain.limits import Basis
from fourpair_service.domain.port.crossing import Crossing
from fourpair_service.domain.port.levels import LevelFinding
from fourpair_service.domain.port.negotiation import How, Mismatch
from fourpair_service.domain.port.together import Holds
from fourpair_service.http.schemas.answer import Answer, number, text, texts, word


class BasePageSchema(Answer):
    """A base page, decoded."""

    word = fields.String(required=True)
    selector = fields.Integer(required=True)
    abilities = texts()
    flags = texts()


class NextPageSchema(Answer):
    """A next page, decoded."""

    word = fields.String(required=True)
    kind = fields.String(required=True)
    code = fields.Integer(allow_none=True)
    title = fields.String(allow_none=True)


class PortStationSchema(Answer):
    """One of the two ports."""

    abilities = fields.List(fields.String(), allow_none=True)
    base_page = fields.Nested(BasePageSchema, allow_none=True)
    next_pages = fields.List(fields.Nested(NextPageSchema), required=True)
    negotiates = fields.Boolean(allow_none=True)
    duplex = fields.String(allow_none=True)
    mdi = fields.String(allow_none=True)


class NegotiationSchema(Answer):
    """What the two ports settle on."""

    how = word(How)
    agreed = fields.String(allow_none=True)
    candidates = texts()
    text = fields.String(required=True)
    duplex_mismatch = word(Mismatch)
    duplex_mismatch_text = fields.String(allow_none=True)
    pause = fields.String(allow_none=True)


class CrossingSchema(Answer):
    """Whether transmitters and receivers meet."""

    state = word(Crossing)
    text = fields.String(required=True)


class LevelReadingSchema(Answer):
    """A level against what is sent and what is needed."""

    pair = text()
    signal = text()
    at = fields.String(allow_none=True)
    peak_v = number("V")
    finding = word(LevelFinding)
    text = fields.String(required=True)
    judged_as = fields.String(allow_none=True)
    basis = word(Basis, allow_none=True)
    loss_db = number("dB", allow_none=True)
    sent_v = number("V", allow_none=True)
    arrives_v = number("V", allow_none=True)


class FoundPowerSchema(Answer):
    """Power found on the port."""

    type = fields.Integer(allow_none=True)
    number = fields.Integer(allow_none=True, data_key="class")
    pinouts = texts()
    on_this_cable = fields.String(allow_none=True)
    texts = fields.List(fields.String(), required=True)
    cautions = fields.List(fields.String(), required=True)


class TogetherSchema(Answer):
    """What cable and port do together."""

    runs_at = fields.String(allow_none=True)
    is_certain = fields.Boolean(required=True)
    held_back_by = word(Holds)
    text = fields.String(required=True)
    cable_reaches = fields.String(allow_none=True)
    port_reaches = fields.String(allow_none=True)
    because = texts()


class PortReadingSchema(Answer):
    """A live port, and what it does on its cable."""

    together = fields.Nested(TogetherSchema, required=True)
    port = fields.Nested(PortStationSchema, allow_none=True)
    partner = fields.Nested(PortStationSchema, allow_none=True)
    negotiation = fields.Nested(NegotiationSchema, allow_none=True)
    crossing = fields.Nested(CrossingSchema, allow_none=True)
    levels = fields.List(fields.Nested(LevelReadingSchema), required=True)
    poe = fields.Nested(FoundPowerSchema, allow_none=True)
    notes = texts()
