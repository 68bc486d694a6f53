"""The live port at the end of a link, as it was observed."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any, Final

from marshmallow import ValidationError, fields, validates_schema

from fourpair_service.domain.link import PAIRS
from fourpair_service.http.schemas.advice import what_it_is
from fourpair_service.http.schemas.fields import Choice, Flag, Float, Integer, Items
from fourpair_service.http.schemas.strict import StrictSchema

# As many as auto-negotiation has a priority for; a test holds them against its table.
ABILITIES: Final = (
    "10BASE-T/half",
    "10BASE-T/full",
    "100BASE-TX/half",
    "100BASE-TX/full",
    "100BASE-T4/half",
    "100BASE-T2/half",
    "100BASE-T2/full",
    "1000BASE-T/half",
    "1000BASE-T/full",
    "2.5GBASE-T/full",
    "5GBASE-T/full",
    "10GBASE-T/full",
    "25GBASE-T/full",
    "40GBASE-T/full",
)
SIGNALS: Final = ("link_pulse", "100base_tx", "multi_level")
PLACES: Final = ("port", "far_end")
# Registers that are read; a test holds them against the facts.
REGISTERS: Final = ("9", "10", "7.32", "7.33", "7.60", "7.61", "7.62", "7.63")

_HEXADECIMAL: Final = re.compile(r"0[xX][0-9A-Fa-f]+", re.ASCII)
_BARE_HEXADECIMAL: Final = re.compile(r"[0-9A-Fa-f]{4,}", re.ASCII)


class Word(fields.Field[int]):
    """A word of 16 bits, or as many as asked: a whole number, or text such as ``0x45E1``."""

    def __init__(self, *, bits: int = 16, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.bits, self.largest, self.digits = bits, 2**bits - 1, bits // 4

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any
    ) -> int:
        if type(value) is int and 0 <= value <= self.largest:
            return value
        if type(value) is str:
            return self._from_text(value)
        got = f"{value}" if type(value) is int else what_it_is(value)
        raise ValidationError(
            f'Expected a word of {self.bits} bits, such as "0x45E1" or a whole number from 0 to {self.largest}, got {got}.'
        )

    def _from_text(self, value: str) -> int:
        if len(value) <= self.digits + 2 and _HEXADECIMAL.fullmatch(value):
            return int(value, 16)
        bare = len(value) <= self.digits and _BARE_HEXADECIMAL.fullmatch(value)
        hint = f'write "0x{value}"' if bare else 'write it as "0x45E1"'
        raise ValidationError(f"Expected a word of {self.bits} bits in hexadecimal; {hint}.")

    def json_schema(self) -> dict[str, object]:
        """Return what the OpenAPI description says."""
        text = {"type": "string", "pattern": f"^0[xX][0-9A-Fa-f]{{1,{self.digits}}}$"}
        return {"anyOf": [text, {"type": "integer", "minimum": 0, "maximum": self.largest}]}


def _peak_advice(value: float) -> str | None:
    if 100 < value <= 5000:
        return f"Send volts: {value:g} mV are {value / 1000:g} V."
    return None


class LevelSchema(StrictSchema):
    """The signal found on one pair."""

    pair = Choice(PAIRS, required=True)
    signal = Choice(SIGNALS, required=True)
    peak_v = Float(low=0, high=100, unit="V", advice=_peak_advice, required=True)
    termination_ohm = Float(low=1, high=100000, unit="ohm")
    at = Choice(PLACES)


class SignalsSchema(StrictSchema):
    """What was seen on the wires before a link came up."""

    fast_link_pulses = Flag()
    normal_link_pulses = Flag()
    idle_100base_tx = Flag()
    normal_period_ms = Float(low=0.1, high=10000, unit="ms")
    burst_period_ms = Float(low=0.1, high=10000, unit="ms")
    pulses_per_burst = Integer(low=1, high=100)
    clock_period_us = Float(low=1, high=10000, unit="us")

    @validates_schema
    def _facts_agree(self, data: Mapping[str, Any], **_: object) -> None:
        bursts = ("burst_period_ms", "pulses_per_burst", "clock_period_us")
        _refuse_of_absent(data, "fast_link_pulses", bursts)
        _refuse_of_absent(data, "normal_link_pulses", ("normal_period_ms",))


def _refuse_of_absent(data: Mapping[str, Any], flag: str, names: tuple[str, ...]) -> None:
    wrong = [name for name in names if name in data] if data.get(flag) is False else []
    if wrong:
        advice = f"It was measured, yet {flag} is false: correct one of them."
        raise ValidationError({name: [advice] for name in wrong})


class PoeSchema(StrictSchema):
    """Power found on the port."""

    type = Integer(low=1, high=4)
    power_class = Integer(low=0, high=8, data_key="class", attribute="class")
    voltage_v = Float(low=0, high=100, unit="V")
    at = Choice(PLACES)
    signature = Choice(("single", "dual"))
    positive_pairs = Items(Choice(PAIRS), most=4)
    negative_pairs = Items(Choice(PAIRS), most=4)

    @validates_schema
    def _polarity_is_clear(self, data: Mapping[str, Any], **_: object) -> None:
        both = [pair for pair in data.get("positive_pairs", ()) if pair in data.get("negative_pairs", ())]
        if both:
            raise ValidationError({"negative_pairs": [f"Pair {both[0]} is positive and negative at once."]})


RegistersSchema = StrictSchema.from_dict(
    {
        number: Word(metadata={"description": f"register {number} of the chip at this end, bit 0 the lowest"})
        for number in REGISTERS
    },
    name="RegistersSchema",
)


class StationSchema(StrictSchema):
    """What one end of a link offers and is set to."""

    advertised = Items(Choice(ABILITIES), most=len(ABILITIES))
    ability_word = Word(metadata={"description": "base page of auto-negotiation, D0 as bit 0"})
    next_pages = Items(
        Word(), most=16, metadata={"description": "next pages of 16 bits, in the order received"}
    )
    extended_next_pages = Items(
        Word(bits=48), most=16, metadata={"description": "extended next pages of 48 bits, D0 as bit 0"}
    )
    registers = fields.Nested(
        RegistersSchema,
        metadata={
            "description": "registers read in the chip at this end: 9, 7.32, 7.60 and 7.62 say what it offers, "
            "10, 7.33, 7.61 and 7.63 what it hears of the other end"
        },
    )
    negotiates = Flag()
    duplex = Choice(("half", "full"))
    mdi = Choice(("auto", "mdi", "mdi_x"))


class PortSchema(StationSchema):
    """What a port advertises, sends and settled on."""

    partner = fields.Nested(StationSchema)
    signals = fields.Nested(SignalsSchema)
    levels = Items(fields.Nested(LevelSchema), most=16)
    link_up = Choice(ABILITIES, allow_none=True)
    poe = fields.Nested(PoeSchema)

    @validates_schema
    def _link_has_its_duplex(self, data: Mapping[str, Any], **_: object) -> None:
        link, duplex = data.get("link_up"), data.get("duplex")
        if link and duplex and not link.endswith(f"/{duplex}"):
            raise ValidationError(
                {
                    "duplex": [
                        f"The link runs at {link}, so its duplex cannot be {duplex}: correct one of them."
                    ]
                }
            )

    @validates_schema
    def _bursts_mean_negotiation(self, data: Mapping[str, Any], **_: object) -> None:
        bursts = data.get("signals", {}).get("fast_link_pulses")
        if bursts is not None and data.get("negotiates") is (not bursts):
            raise ValidationError(
                {
                    "negotiates": [
                        "It contradicts signals.fast_link_pulses: a port negotiates by sending those bursts."
                    ]
                }
            )
