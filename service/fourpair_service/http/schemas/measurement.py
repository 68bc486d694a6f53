"""The measurement document: its schema, and the way into the domain.

Everything but ``configuration`` is optional; nothing unknown is let through.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from marshmallow import ValidationError, fields, validates_schema

from fourpair_service.domain.errors import InvalidMeasurementError
from fourpair_service.domain.limits import Basis
from fourpair_service.domain.link import NEXT_COMBINATIONS, PAIRS, PINS, SHIELD, Configuration, End
from fourpair_service.domain.measurement import (
    AccuracyCurve,
    Cable,
    Instrument,
    InstrumentUnit,
    LinkMeasurement,
    PairReadings,
    Summary,
    SummaryReading,
    WireMap,
)
from fourpair_service.domain.parameters import TRAITS, Parameter
from fourpair_service.http.schemas.advice import what_it_is
from fourpair_service.http.schemas.axis import AxisField, read_axis
from fourpair_service.http.schemas.bulk import Bounds, pack
from fourpair_service.http.schemas.cords import CordsSchema, stated_cords
from fourpair_service.http.schemas.curves import SweepsField
from fourpair_service.http.schemas.document_errors import FieldError, InvalidDocumentError, field_errors
from fourpair_service.http.schemas.document_limits import DEFAULT_LIMITS, DocumentLimits, reading_within
from fourpair_service.http.schemas.fields import (
    Choice,
    Day,
    Flag,
    Float,
    Integer,
    Items,
    Moment,
    Nested,
    Remembered,
    Text,
    TextMap,
)
from fourpair_service.http.schemas.port import PortSchema
from fourpair_service.http.schemas.strict import StrictSchema, keyed_schema

ACCURACY_BOUNDS: Final = Bounds(0.0, 20.0, "dB")
SWEPT_ACCURACIES: Final = tuple(
    p for p, traits in TRAITS.items() if traits.is_swept and p is not Parameter.FEXT
)
READING_ACCURACIES: Final = {
    "length_m": Parameter.LENGTH,
    "delay_ns": Parameter.PROPAGATION_DELAY,
    "delay_skew_ns": Parameter.DELAY_SKEW,
    "loop_resistance_ohm": Parameter.DC_LOOP_RESISTANCE,
    "resistance_unbalance_ohm": Parameter.RESISTANCE_UNBALANCE_WITHIN_PAIR,
    "resistance_unbalance_between_pairs_ohm": Parameter.RESISTANCE_UNBALANCE_BETWEEN_PAIRS,
}


@dataclass(frozen=True, slots=True)
class RequirementRequest:
    """What a document asks its link to be held against; ``None`` where it does not say."""

    rule_set: str | None = None
    category: str | None = None
    configuration: Configuration | None = None
    minimum_basis: Basis | None = None
    coverage: str | None = None
    shield_required: bool | None = None


def _nvp_advice(value: float) -> str | None:
    if 30 <= value <= 100:
        return f"An NVP is a share of the speed of light: send {value / 100:g}, not {value:g}."
    return None


def _delay_advice(value: float) -> str | None:
    if 0 < value < 1:
        return (
            f"A delay of {value:g} ns is that of {value * 0.2:.2g} m of cable. If it is in microseconds, "
            f"send nanoseconds: {value * 1e3:g}."
        )
    return None


class CableSchema(StrictSchema):
    """What the cable is said to be."""

    category = Text()
    screening = Text()
    conductor = Choice(("solid", "stranded"))
    awg = Integer(low=18, high=32)
    nvp = Float(low=0.3, high=1.0, advice=_nvp_advice)
    temperature_c = Float(low=-60, high=100, unit="degrees Celsius")
    maker = Text()
    part = Text()
    batch = Text()


class ConnectorsSchema(StrictSchema):
    """What the connectors are said to be."""

    category = Text()


class PlaceSchema(StrictSchema):
    """One end of the link."""

    place = Text()


class EndsSchema(StrictSchema):
    """Both ends of the link."""

    near = Nested(PlaceSchema)
    far = Nested(PlaceSchema)


class UnitSchema(StrictSchema):
    """One of the two instruments of a test."""

    end = Choice(End)
    serial = Text()
    adapter = Text()
    firmware = Text()
    calibrated_on = Day()
    referenced_at = Moment()


class Accuracy(fields.Field[Any]):
    """A number of dB, or a curve: frequency_mhz and accuracy_db."""

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any
    ) -> Any:
        if type(value) in (int, float):
            if not ACCURACY_BOUNDS.low <= value <= ACCURACY_BOUNDS.high:
                raise ValidationError(ACCURACY_BOUNDS.message(value))
            return float(value)
        if type(value) is not dict or set(value) != {"frequency_mhz", "accuracy_db"}:
            raise ValidationError("Expected a number of dB, or an object of frequency_mhz and accuracy_db.")
        axis = read_axis(value["frequency_mhz"]).frequency_mhz
        array, problems = pack([value["accuracy_db"]], len(axis), ACCURACY_BOUNDS)
        if problems:
            first = problems[0]
            detail: Any = [first.detail]
            raise ValidationError({"accuracy_db": detail if first.index is None else {first.index: detail}})
        return AccuracyCurve(axis, array[0])

    def json_schema(self) -> dict[str, object]:
        """Return what the OpenAPI description says."""
        numbers = {"type": "array", "items": {"type": "number"}}
        curve = {
            "type": "object",
            "required": ["frequency_mhz", "accuracy_db"],
            "additionalProperties": False,
            "properties": {"frequency_mhz": numbers, "accuracy_db": numbers},
        }
        return {"anyOf": [{"type": "number", "minimum": 0, "maximum": 20}, curve]}


def _accuracy(key: str) -> Float:
    return Float(low=0, high=100, unit=key.rpartition("_")[2])


class InstrumentSchema(StrictSchema):
    """How the link was measured, and how exactly."""

    kind = Text()
    units = Items(Nested(UnitSchema), most=8)
    accuracy_db = Nested(keyed_schema("AccuracyDb", [str(p) for p in SWEPT_ACCURACIES], Accuracy))
    accuracy = Nested(
        StrictSchema.from_dict({key: _accuracy(key) for key in READING_ACCURACIES}, name="ReadingAccuracy")
    )


class ContactField(fields.Field[tuple[str, str]]):
    """A near and a far contact."""

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any
    ) -> tuple[str, str]:
        if type(value) is not list or len(value) != 2 or not all(v in (*PINS, SHIELD) for v in value):
            raise ValidationError('Expected a near and a far contact, such as ["1", "1"] or ["S", "S"].')
        return value[0], value[1]

    def json_schema(self) -> dict[str, object]:
        """Return what the OpenAPI description says."""
        contact = {"type": "string", "enum": [*PINS, SHIELD]}
        return {"type": "array", "minItems": 2, "maxItems": 2, "items": contact}


class WireMapSchema(StrictSchema):
    """Which contacts connect, which are tied, and whether the shield was tested."""

    contacts = Items(ContactField(), most=81, required=True)
    shorts = Items(Items(Choice((*PINS, SHIELD)), most=9), most=36)
    shield = Choice(("connected", "open"), allow_none=True)


class PairSchema(StrictSchema):
    """Single values of one pair."""

    length_m = Float(low=0, high=2000, unit="m")
    delay_ns = Float(low=1, high=20000, unit="ns", advice=_delay_advice)
    delay_frequency_mhz = Float(low=0.1, high=3000, unit="MHz")
    loop_resistance_ohm = Float(low=0, high=100000, unit="ohm")
    resistance_unbalance_ohm = Float(low=0, high=100000, unit="ohm")


class SummaryReadingSchema(StrictSchema):
    """A worst point as another tool reported it."""

    parameter = Choice(
        [p for p, traits in TRAITS.items() if traits.is_swept and p is not Parameter.FEXT], required=True
    )
    end = Choice(End)
    margin_db = Float(low=-200, high=200, unit="dB", required=True)
    measured_db = Float(low=-30, high=200, unit="dB")
    frequency_mhz = Float(low=0.1, high=3000, unit="MHz")
    pairs = Text()

    @validates_schema
    def _end_fits(self, data: Mapping[str, Any], **_: object) -> None:
        parameter = data.get("parameter")
        if parameter is not None and TRAITS[parameter].has_ends != ("end" in data):
            title = TRAITS[parameter].title
            need = "needs an end: near or far" if TRAITS[parameter].has_ends else "has no ends: leave end out"
            raise ValidationError({"end": [f"{title[0].upper()}{title[1:]} {need}."]})


class SummarySchema(StrictSchema):
    """Worst margins without curves, and the limits they were taken against."""

    rule_set = Text()
    category = Text()
    readings = Items(Nested(SummaryReadingSchema), required=True)


class RequirementSchema(StrictSchema):
    """What the link is to be held against."""

    rule_set = Text(
        metadata={"description": "id of a rule set, or TIA or ISO for the newest of that standard"}
    )
    category = Text(metadata={"description": "category or class, such as 6A or EA"})
    configuration = Choice(Configuration)
    minimum_basis = Choice(Basis)
    coverage = Choice(("strict", "advisory"))
    shield_required = Flag()


class TouchstoneSchema(StrictSchema):
    """What the ports of Touchstone files sent beside the document are connected to."""

    pairs = Items(Choice(PAIRS), most=4)
    ports = Choice(("single_ended", "differential"))
    order = Text()
    reference_ohm = Float(low=1, high=1000, unit="ohm")


def _numbers(name: str, keys: tuple[str, ...]) -> Nested:
    return Nested(keyed_schema(name, keys, lambda: Float(low=0, high=100000, unit="ohm")))


class MeasurementSchema(StrictSchema):
    """One link as it was measured."""

    configuration = Choice(Configuration, required=True)
    label = Text()
    job = Text()
    tested_at = Moment()
    tested_by = Text()
    requirement = Remembered(RequirementSchema)
    cable = Remembered(CableSchema)
    ends = Nested(EndsSchema)
    hardware = Items(Text())
    cords = Nested(CordsSchema)
    connectors = Nested(ConnectorsSchema)
    instrument = Remembered(InstrumentSchema)
    wire_map = Remembered(WireMapSchema)
    pairs = Nested(keyed_schema("PairValues", PAIRS, lambda: Nested(PairSchema)))
    conductor_resistance_ohm = _numbers("ConductorResistance", PINS)
    delay_skew_ns = Float(low=0, high=10000, unit="ns")
    resistance_unbalance_between_pairs_ohm = _numbers("UnbalanceBetweenPairs", NEXT_COMBINATIONS)
    frequency_mhz = AxisField()
    sweeps = SweepsField()
    summary = Nested(SummarySchema)
    port = Nested(PortSchema)
    touchstone = Nested(TouchstoneSchema)
    notes = Text(is_long=True)
    external_ids = TextMap()


@dataclass(frozen=True, slots=True)
class ReadDocument:
    """A document in the words of the domain.

    Attributes:
        touchstone: the declaration for files sent beside it, if any.
    """

    measurement: LinkMeasurement
    requirement: RequirementRequest
    touchstone: Mapping[str, Any] | None


SCHEMA: Final = MeasurementSchema()


def read_measurement(document: Mapping[str, Any], limits: DocumentLimits = DEFAULT_LIMITS) -> ReadDocument:
    """Return a measurement document in the words of the domain.

    Raises:
        InvalidDocumentError: with everything that is wrong, each with its JSON
            pointer, the value and what to do.
    """
    try:
        with reading_within(limits):
            loaded: Mapping[str, Any] = SCHEMA.load(document)
        return _read(loaded)
    except ValidationError as error:
        raise InvalidDocumentError(field_errors(error.messages, document, limit=limits.errors)) from None
    except InvalidMeasurementError as error:
        raise InvalidDocumentError([FieldError(error.pointer, error.detail, error.value)]) from None


def _read(data: Mapping[str, Any]) -> ReadDocument:
    measurement = LinkMeasurement(
        configuration=data["configuration"],
        label=data.get("label"),
        tested_at=data.get("tested_at"),
        tested_by=data.get("tested_by"),
        cable=Cable(**data.get("cable", {})),
        places={End(end): place["place"] for end, place in data.get("ends", {}).items() if "place" in place},
        instrument=_instrument(data.get("instrument", {})),
        wire_map=_wire_map(data["wire_map"]) if "wire_map" in data else None,
        readings={pair: PairReadings(**values) for pair, values in data.get("pairs", {}).items()},
        conductor_resistance_ohm=data.get("conductor_resistance_ohm", {}),
        delay_skew_ns=data.get("delay_skew_ns"),
        unbalance_between_pairs_ohm=data.get("resistance_unbalance_between_pairs_ohm", {}),
        curves=data.get("sweeps", {}),
        summary=_summary(data["summary"]) if "summary" in data else None,
        port=data.get("port"),
        cords=stated_cords(data["cords"]) if "cords" in data else None,
        connectors_category=data.get("connectors", {}).get("category"),
    )
    requirement = RequirementRequest(**data.get("requirement", {}))
    return ReadDocument(measurement, requirement, data.get("touchstone"))


def _instrument(data: Mapping[str, Any]) -> Instrument:
    accuracy = {Parameter(name): value for name, value in data.get("accuracy_db", {}).items()}
    accuracy |= {READING_ACCURACIES[name]: value for name, value in data.get("accuracy", {}).items()}
    units = tuple(InstrumentUnit(**unit) for unit in data.get("units", ()))
    return Instrument(data.get("kind"), units, accuracy)


def _wire_map(data: Mapping[str, Any]) -> WireMap:
    contacts, shield = tuple(data["contacts"]), data.get("shield")
    named = any(SHIELD in contact for contact in contacts)
    if shield == "connected" and not named:
        contacts = (*contacts, (SHIELD, SHIELD))
    shorts = tuple(tuple(short) for short in data.get("shorts", ()))
    return WireMap(contacts, shorts, shield_tested=shield is not None or named)


def _summary(data: Mapping[str, Any]) -> Summary:
    readings = tuple(SummaryReading(**{"end": None, **reading}) for reading in data["readings"])
    return Summary(data.get("rule_set"), data.get("category"), readings)


def described(value: object) -> str:
    """Return what kind of JSON value something is, for a sentence about a whole document."""
    return what_it_is(value)
