"""The cords that will complete a link, as a document or its job states them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from marshmallow import ValidationError, validates_schema

from fourpair_service.domain.cords import StatedCords
from fourpair_service.http.schemas.fields import Choice, Float
from fourpair_service.http.schemas.strict import StrictSchema

LENGTHS: Final = ("near_m", "far_m")


class CordsSchema(StrictSchema):
    """The cords that will complete a link; an end without one has none."""

    near_m = Float(low=0, high=100, unit="m")
    far_m = Float(low=0, high=100, unit="m")
    conductor = Choice(("solid", "stranded"))

    @validates_schema
    def _has_a_length(self, data: Mapping[str, Any], **_: object) -> None:
        if not any(name in data for name in LENGTHS):
            raise ValidationError("Give near_m, far_m or both; 0 where there is no cord.")


def stated_cords(data: Mapping[str, Any]) -> StatedCords:
    """Return loaded cords in the words of the domain."""
    return StatedCords(sum(data.get(name, 0.0) for name in LENGTHS), data.get("conductor") == "solid")
