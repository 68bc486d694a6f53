"""What a link can carry, described for the OpenAPI document."""

from __future__ import annotations

from typing import Any

from marshmallow import fields

from fourpair_service.domain.limits import Basis
from fourpair_service.domain.link import End
from fourpair_service.domain.parameters import Parameter
from fourpair_service.domain.support import Support
from fourpair_service.http.schemas.answer import Answer, number, text, texts, word


def _value(unit: str) -> dict[str, fields.Field[Any]]:
    names = ("margin", "measured", "limit")
    return {f"{name}_{unit}": number(unit, allow_none=True) for name in names}


SegmentPointSchema = Answer.from_dict(
    {
        "parameter": word(Parameter),
        "title": text(),
        "end": word(End, allow_none=True),
        "pairs": text(allow_none=True),
        "frequency_mhz": number("MHz", allow_none=True),
        **{name: field for unit in ("db", "ns", "m", "ohm") for name, field in _value(unit).items()},
        "basis": word(Basis),
        "source": text(),
        "clause": text(allow_none=True),
    },
    name="SegmentPoint",
)


class NoiseMarginSchema(Answer):
    """Signal-to-noise ratio at the decision point, relative to a link at the limit lines."""

    relative_db = number("dB", allow_none=True)
    snr_db = number("dB", allow_none=True)
    limit_line_snr_db = number("dB", allow_none=True)
    needed_snr_db = number("dB", allow_none=True)
    uncertainty_db = number("dB", allow_none=True)
    pair = text(allow_none=True)
    end = word(End, allow_none=True)
    missing = text(allow_none=True)
    assumptions = texts()
    text = fields.String(allow_none=True)


class ApplicationSchema(Answer):
    """Whether a link carries one application."""

    application = text()
    state = word(Support)
    headroom_db = number("dB", allow_none=True)
    limiting = fields.Nested(SegmentPointSchema, allow_none=True)
    pairs = texts()
    reasoning = fields.String(allow_none=True)
    inherited_from = fields.String(allow_none=True)
    basis = fields.String(allow_none=True)
    limit_basis = word(Basis, allow_none=True)
    provisional = fields.Boolean(required=True)
    predicted = fields.Boolean(required=True)
    conditions = texts()
    missing = texts()
    contrast = fields.String(allow_none=True)
    text = texts()
    clause = fields.String(allow_none=True)
    noise_margin = fields.Nested(NoiseMarginSchema, allow_none=True)


class AddedCordsSchema(Answer):
    """The cords that were added to make a channel of a link."""

    length_m = number("m")
    stated = fields.Boolean(required=True)
    stranded_factor = number()
    stranded_factor_source = text()
    text = fields.String(required=True)


class NoiseMethodSchema(Answer):
    """How the noise margin is calculated."""

    text = fields.String(required=True)
    method_source = fields.String(required=True)
    uncertainty_db = number("dB")
    uncertainty_source = fields.String(required=True)


class CarriedSchema(Answer):
    """What a link can carry."""

    version = text()
    fastest_supported = text(allow_none=True)
    categories_met = texts()
    cords = fields.Nested(AddedCordsSchema, allow_none=True)
    applications = fields.List(fields.Nested(ApplicationSchema), required=True)
    noise_method = fields.Nested(NoiseMethodSchema, required=True)
