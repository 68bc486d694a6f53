"""A port in words, described for the OpenAPI document."""

from __future__ import annotations

from marshmallow import fields

from fourpair_service.domain.limits import Basis
from fourpair_service.domain.link import PAIRS
from fourpair_service.domain.port.crossing import Crossing
from fourpair_service.domain.port.levels import LevelFinding
from fourpair_service.domain.port.negotiation import How, Mismatch
from fourpair_service.domain.port.together import Holds
from fourpair_service.domain.support import Support
from fourpair_service.http.schemas.answer import Answer, texts, word
from fourpair_service.http.schemas.port import PLACES, REGISTERS, SIGNALS


def _optional_text() -> fields.String:
    return fields.String(required=True, allow_none=True)


def _optional_number() -> fields.Float:
    return fields.Float(required=True, allow_none=True)


class TogetherSchema(Answer):
    """One statement on cable and port."""

    runs_at = _optional_text()
    is_certain = fields.Boolean(required=True)
    held_back_by = word(Holds)
    text = fields.String(required=True)
    cable_reaches = _optional_text()
    port_reaches = _optional_text()
    because = texts()


class BasePageSchema(Answer):
    """A base page in words."""

    word = fields.String(required=True)
    selector = fields.Integer(required=True)
    abilities = texts()
    flags = texts()


class NextPageSchema(Answer):
    """A next page in words."""

    kind = word(("message", "unformatted"))
    word = fields.String(required=True)
    code = fields.Integer(required=True)
    title = _optional_text()


class ExtendedPageSchema(NextPageSchema):
    """An extended next page: its message, and that the rest is not decoded."""

    decoded = fields.Boolean(required=True)


class RegisterReadingSchema(Answer):
    """A register of this end in words; ``tells_of`` the port itself or the other end."""

    number = word(REGISTERS)
    title = fields.String(required=True)
    tells_of = word(("own", "other"))
    abilities = texts()
    energy_efficient = texts()
    flags = texts()
    unnamed_bits = fields.List(fields.Integer(), required=True)
    source = fields.String(required=True)
    basis = word(Basis)
    word = fields.String(required=True)


class EnergySchema(Answer):
    """Whether two ports may pause while their link is idle; null: not known."""

    shared = texts()
    used = fields.Boolean(required=True, allow_none=True)
    text = fields.String(required=True)


class StationReadingSchema(Answer):
    """One end of the link."""

    abilities = fields.List(fields.String(), required=True, allow_none=True)
    base_page = fields.Nested(BasePageSchema, required=True, allow_none=True)
    next_pages = fields.List(fields.Nested(NextPageSchema), required=True)
    extended_next_pages = fields.List(fields.Nested(ExtendedPageSchema), required=True)
    registers = fields.List(fields.Nested(RegisterReadingSchema), required=True)
    energy_efficient = fields.List(fields.String(), required=True, allow_none=True)
    negotiates = fields.Boolean(required=True, allow_none=True)
    duplex = word(("half", "full"), allow_none=True)
    mdi = word(("auto", "mdi", "mdi_x"), allow_none=True)


class SettlementSchema(Answer):
    """What two ports settle on, before any cable is asked."""

    how = word(How)
    agreed = _optional_text()
    candidates = texts()
    text = fields.String(required=True)
    duplex_mismatch = word(Mismatch)
    duplex_mismatch_text = _optional_text()
    pause = word(("none", "symmetric", "transmit", "receive"), allow_none=True)


class CrossingSchema(Answer):
    """Whether transmitters meet receivers."""

    state = word(Crossing)
    text = fields.String(required=True)


class LevelReadingSchema(Answer):
    """One level, held against transmitter and receiver."""

    pair = word(PAIRS)
    signal = word(SIGNALS)
    at = word(PLACES, allow_none=True)
    peak_v = fields.Float(required=True)
    finding = word(LevelFinding)
    text = fields.String(required=True)
    judged_as = _optional_text()
    basis = word(Basis, allow_none=True)
    loss_db = _optional_number()
    sent_v = _optional_number()
    arrives_v = _optional_number()


PortPowerSchema = Answer.from_dict(
    {
        "type": fields.Integer(required=True, allow_none=True),
        "class": fields.Integer(required=True, allow_none=True),
        "pinouts": texts(),
        "on_this_cable": word(Support, allow_none=True),
        "texts": texts(),
        "cautions": texts(),
    },
    name="PortPowerSchema",
)


class SeenLinkSchema(Answer):
    """The link as it was seen; without a speed no link was up."""

    runs_at = _optional_text()


class PortReadingSchema(Answer):
    """A port in words, and what it does on this cable; null where none was observed."""

    together = fields.Nested(TogetherSchema, required=True)
    port = fields.Nested(StationReadingSchema, required=True, allow_none=True)
    partner = fields.Nested(StationReadingSchema, required=True, allow_none=True)
    negotiation = fields.Nested(SettlementSchema, required=True, allow_none=True)
    energy_efficient = fields.Nested(EnergySchema, required=True, allow_none=True)
    crossing = fields.Nested(CrossingSchema, required=True, allow_none=True)
    # What was kept by earlier releases does not tell of it.
    link = fields.Nested(SeenLinkSchema, allow_none=True)
    levels = fields.List(fields.Nested(LevelReadingSchema), required=True)
    poe = fields.Nested(PortPowerSchema, required=True, allow_none=True)
    notes = texts()
