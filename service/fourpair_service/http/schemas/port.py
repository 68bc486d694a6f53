"""The live port at the end of a link, as it was observed."""

from __future__ import annotations

from typing import Final

from marshmallow import fields

from fourpair_service.domain.link import PAIRS
from fourpair_service.http.schemas.fields import Choice, Float, Integer, Items
from fourpair_service.http.schemas.strict import StrictSchema

ABILITIES: Final = (
    *tuple(
        f"{speed}/{duplex}"
        for speed in ("10BASE-T", "100BASE-TX", "1000BASE-T")
        for duplex in ("half", "full")
    ),
    "2.5GBASE-T/full",
    "5GBASE-T/full",
    "10GBASE-T/full",
)
SIGNALS: Final = ("link_pulse", "100base_tx", "multi_level")


class LevelSchema(StrictSchema):
    """The signal found on one pair."""

    pair = Choice(PAIRS, required=True)
    signal = Choice(SIGNALS, required=True)
    peak_v = Float(low=0, high=100, unit="V", required=True)
    termination_ohm = Float(low=1, high=100000, unit="ohm")
    at = Choice(("port", "far_end"))


class PoeSchema(StrictSchema):
    """Power found on the port."""

    type = Integer(low=1, high=4)
    voltage_v = Float(low=0, high=100, unit="V")


class PortSchema(StrictSchema):
    """What a port advertises, sends and settled on."""

    advertised = Items(Choice(ABILITIES))
    mdi = Choice(("auto", "mdi", "mdi_x"))
    levels = Items(fields.Nested(LevelSchema), most=16)
    link_up = Choice(ABILITIES, allow_none=True)
    poe = fields.Nested(PoeSchema)
