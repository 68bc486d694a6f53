"""Subscriptions and their messages: what is sent, and what is answered."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from marshmallow import ValidationError, fields, validate

from fourpair_service.domain.verdict import Outcome
from fourpair_service.http.schemas.fields import Choice, Flag, Integer, Items, Text
from fourpair_service.http.schemas.kept import Answer
from fourpair_service.http.schemas.queries import LARGEST_SEQ, CursorQuery
from fourpair_service.http.schemas.strict import StrictSchema
from fourpair_service.records.model import ChangeKind
from fourpair_service.records.subscriptions.model import DeliveryState, SubscriptionState

LONGEST_URL: Final = 2000
MOST_HOURS: Final = 168


class Url(fields.String):
    """The address of a receiver; what may stand there is checked by whoever sends."""

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any
    ) -> str:
        if not isinstance(value, str) or not 1 <= len(value) <= LONGEST_URL:
            raise ValidationError(f"Expected the URL of the receiver, at most {LONGEST_URL} characters.")
        return value

    def json_schema(self) -> dict[str, object]:
        """Return what the OpenAPI description adds to ``string``."""
        return {"minLength": 1, "maxLength": LONGEST_URL}


def _url(*, required: bool) -> Url:
    return Url(
        required=required,
        metadata={
            "description": "https, public, port 443; within the networks that the operator allows, any"
        },
    )


class InterestFields(StrictSchema):
    """Which changes are told; what is left out is all."""

    kinds = Items(Choice(ChangeKind), metadata={"description": "of changes"})
    job = Text(metadata={"description": "of one job alone"})
    outcomes = Items(Choice(Outcome), metadata={"description": "of records that have, or had, one of these"})
    outcome_changes = Flag(
        metadata={"description": "only where the outcome is another than before; a new record counts"}
    )
    description = Text()


class SubscriptionRequestSchema(InterestFields):
    """A new subscription."""

    url = _url(required=True)
    after = Integer(
        low=0,
        high=LARGEST_SEQ,
        metadata={"description": "tell what the feed has above this; without: from now on"},
    )


class SubscriptionChangeSchema(InterestFields):
    """What of a subscription can be changed."""

    url = _url(required=False)
    state = Choice(
        SubscriptionState,
        metadata={"description": "active sends what has waited, in order; paused lets it wait"},
    )


class RotationSchema(StrictSchema):
    """How long messages are signed with the old secret too."""

    hours = Integer(low=0, high=MOST_HOURS, metadata={"description": "24 where it is left out"})


class ReplaySchema(StrictSchema):
    """Which entries of the feed are told again."""

    first_seq = Integer(low=1, high=LARGEST_SEQ, required=True)
    last_seq = Integer(low=1, high=LARGEST_SEQ)


class DeliveriesQuery(CursorQuery):
    """Which messages."""

    state = fields.String(validate=validate.OneOf([state.value for state in DeliveryState]))


def _text(*, nullable: bool = False) -> fields.String:
    return fields.String(required=True, allow_none=nullable)


def _whole(*, nullable: bool = False) -> fields.Integer:
    return fields.Integer(required=True, allow_none=nullable)


class SubscriptionSchema(Answer):
    """A subscription and how it goes."""

    id = _text()
    url = _text()
    description = _text(nullable=True)
    kinds = fields.List(fields.String(), required=True, allow_none=True)
    job = _text(nullable=True)
    outcomes = fields.List(fields.String(), required=True, allow_none=True)
    outcome_changes = fields.Boolean(required=True)
    state = fields.String(required=True, validate=validate.OneOf([s.value for s in SubscriptionState]))
    paused_because = _text(nullable=True)
    failures = _whole()
    failing_since = _text(nullable=True)
    next_at = _text(nullable=True)
    followed_to_seq = _whole()
    last_told_seq = _whole(nullable=True)
    secrets = _whole()
    created_at = _text()


class NewSubscriptionSchema(SubscriptionSchema):
    """A subscription with the secret that is shown this once."""

    secret = _text(nullable=True)


class SubscriptionListSchema(Answer):
    """All subscriptions."""

    subscriptions = fields.List(fields.Nested(SubscriptionSchema), required=True)


class SecretSchema(Answer):
    """A new secret, shown this once."""

    secret = _text()
    old_holds_until = _text()


class AttemptSchema(Answer):
    """One try to send a message."""

    at = _text()
    status = _whole(nullable=True)
    error = _text(nullable=True)
    duration_ms = _whole()


class DeliverySchema(Answer):
    """A message and what became of it."""

    key = _text()
    seq = _whole(nullable=True)
    previous_seq = _whole(nullable=True)
    kind = _text()
    at = _text()
    state = fields.String(required=True, validate=validate.OneOf([s.value for s in DeliveryState]))
    count = _whole()
    next_at = _text(nullable=True)
    attempts = fields.List(fields.Nested(AttemptSchema), required=True)


class DeliveryListSchema(Answer):
    """A page of messages in the order of sending."""

    deliveries = fields.List(fields.Nested(DeliverySchema), required=True)
    next_cursor = _text(nullable=True)


class ReplayedSchema(Answer):
    """How many messages are told again."""

    messages = _whole()


class MessageDataSchema(Answer):
    """Which change; the content is read where it is kept, with a key."""

    subscription = _text()
    seq = _whole()
    previous_seq = _whole(nullable=True)
    job = _text(nullable=True)
    previous_job = _text(nullable=True)
    record = _text(nullable=True)
    revision = _whole()
    label = _text(nullable=True)
    outcome = _text(nullable=True)
    previous_outcome = _text(nullable=True)


class MessageSchema(Answer):
    """The body of a message."""

    type = _text()
    timestamp = _text()
    data = fields.Nested(MessageDataSchema, required=True)
