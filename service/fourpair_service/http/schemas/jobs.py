"""Jobs and what belongs to them, as they are sent."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any, Final

from marshmallow import ValidationError, fields

from fourpair_service.domain.limits import Basis
from fourpair_service.domain.link import Configuration
from fourpair_service.http.schemas.cords import CordsSchema
from fourpair_service.http.schemas.fields import Choice, Day, Flag, Items, Text, TextMap
from fourpair_service.http.schemas.strict import StrictSchema

JOB_ID: Final = r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}"
MOST_LINKS: Final = 20_000


class JobId(fields.String):
    """The name of a job in addresses."""

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any
    ) -> str:
        if not isinstance(value, str) or not re.fullmatch(JOB_ID, value, re.ASCII):
            raise ValidationError("Expected 1 to 64 letters, digits, dots, hyphens or underscores.")
        return value

    def json_schema(self) -> dict[str, object]:
        """Return what the OpenAPI description adds to ``string``."""
        return {"pattern": f"^{JOB_ID}$"}


class JobRequirementSchema(StrictSchema):
    """What every link of the job must meet."""

    rule_set = Text(
        metadata={"description": "id of a rule set, or TIA or ISO for the newest of that standard"}
    )
    category = Text(metadata={"description": "category or class"})
    coverage = Choice(("strict", "advisory"))
    shield_required = Flag()


class ScheduledLinkSchema(StrictSchema):
    """A link that must exist."""

    label = Text(required=True)
    item_code = Text()


class JobChangeSchema(StrictSchema):
    """What of a job can be changed."""

    name = Text(required=True)
    customer = Text()
    site = Text()
    requirement = fields.Nested(JobRequirementSchema)
    configuration = Choice(Configuration)
    applications = Items(Text())
    power_type = Text()
    cords = fields.Nested(CordsSchema)
    minimum_basis = Choice(Basis)
    marginal_pass_billable = Flag()
    schedule = Items(fields.Nested(ScheduledLinkSchema), most=MOST_LINKS)
    external_ids = TextMap()
    metadata = TextMap()


class JobSchema(JobChangeSchema):
    """A new job."""

    id = JobId()


class AcceptanceSchema(StrictSchema):
    """Who took the job over, and when."""

    by = Text(required=True)
    on = Day(required=True)


class WithdrawalSchema(StrictSchema):
    """Why a record counts no more."""

    reason = Text(required=True)


class HeldSchema(StrictSchema):
    """What the other system holds of one link."""

    external_id = Text(required=True)
    measurement_digest = Text(required=True)


class ReconcileSchema(StrictSchema):
    """What the other system holds."""

    system = Text(required=True)
    job = Text()
    records = Items(fields.Nested(HeldSchema), most=10_000, required=True)
