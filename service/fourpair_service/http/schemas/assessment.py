"""What is said beside a verdict, described for the OpenAPI document."""

from __future__ import annotations

from marshmallow import fields

from fourpair_service.domain.diagnosis.faults import FaultCode
from fourpair_service.domain.diagnosis.model import Confidence
from fourpair_service.domain.distance.events import EventKind
from fourpair_service.domain.link import PAIRS, End
from fourpair_service.http.schemas.answer import Answer, texts, word
from fourpair_service.http.schemas.carried import CarriedSchema
from fourpair_service.http.schemas.port_reading import PortReadingSchema
from fourpair_service.http.schemas.powering import PoweringSchema


class FaultPlaceSchema(Answer):
    """Where on a link; distances are counted from the near end."""

    text = fields.String(required=True)
    end = word(End, allow_none=True)
    position_m = fields.Float(allow_none=True)
    to_m = fields.Float(allow_none=True)
    uncertainty_m = fields.Float(allow_none=True)


class FaultSchema(Answer):
    """One suspicion with its evidence."""

    code = word(FaultCode)
    title = fields.String(required=True)
    text = fields.String(required=True)
    confidence = word(Confidence)
    pairs = texts()
    place = fields.Nested(FaultPlaceSchema, allow_none=True)
    evidence = texts()
    could_also_be = texts()
    first = fields.String(required=True)
    help = fields.String(required=True)


class DiagnosisSchema(Answer):
    """What is suspected, the strongest suspicion first."""

    version = fields.String(required=True)
    faults = fields.List(fields.Nested(FaultSchema), required=True)
    notes = texts()


class ReflectionSchema(Answer):
    """One place that reflects."""

    pair = fields.String(required=True)
    position_m = fields.Float(required=True)
    uncertainty_m = fields.Float(required=True)
    reflection_db = fields.Float(required=True)
    kind = word(EventKind)
    seen_from = texts()


class CouplingSchema(Answer):
    """Where NEXT of a combination is strongest, and how much of all of it is there."""

    pairs = fields.String(required=True)
    measured_from = word(End)
    position_m = fields.Float(required=True)
    uncertainty_m = fields.Float(required=True)
    share = fields.Float(required=True)


class ImpedanceSchema(Answer):
    """Impedance of a pair against distance."""

    pair = fields.String(required=True)
    seen_from = texts()
    distance_m = fields.List(fields.Float(), required=True)
    impedance_ohm = fields.List(fields.Float(), required=True)


class RepeatedSchema(Answer):
    """Bumps at equal distances: their pitch, or a whole fraction of it, and where they are."""

    pair = word(PAIRS)
    measured_from = word(End)
    pitch_m = fields.Float(required=True)
    from_m = fields.Float(required=True)
    to_m = fields.Float(required=True)
    frequency_mhz = fields.List(fields.Float(), required=True)


class LossDeviationSchema(Answer):
    """How the loss departs from the smooth loss of a cable; spacing of the two mismatches that make it ripple."""

    pair = word(PAIRS)
    worst_db = fields.Float(required=True)
    frequency_mhz = fields.Float(required=True)
    ripple_db = fields.Float(required=True)
    spacing_m = fields.Float(required=True, allow_none=True)


class AlongSchema(Answer):
    """What lies along the link, where phase was measured."""

    length_m = fields.Float(allow_none=True)
    reflections = fields.List(fields.Nested(ReflectionSchema), required=True)
    couplings = fields.List(fields.Nested(CouplingSchema), required=True)
    impedance = fields.List(fields.Nested(ImpedanceSchema), required=True)
    repeated = fields.List(fields.Nested(RepeatedSchema), required=True)
    loss_deviation = fields.List(fields.Nested(LossDeviationSchema), required=True)


class AssessmentSchema(Answer):
    """What is said beside the verdict; never part of it."""

    version = fields.String(required=True)
    diagnosis = fields.Nested(DiagnosisSchema, required=True)
    applications = fields.Nested(CarriedSchema)
    powering = fields.Nested(PoweringSchema)
    port = fields.Nested(PortReadingSchema)
    along = fields.Nested(AlongSchema)


class FaultPageSchema(Answer):
    """Plain help for one fault."""

    code = word(FaultCode)
    title = fields.String(required=True)
    what = fields.String(required=True)
    first = fields.String(required=True)
    how_it_happens = texts()
    repair = texts()
    could_also_be = texts()
    standard = fields.String(required=True)
    caution = fields.String(allow_none=True)


class FaultListSchema(Answer):
    """The help of every fault."""

    faults = fields.List(fields.Nested(FaultPageSchema), required=True)
