"""Subscriptions, deliveries and what was answered."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import timedelta
from enum import StrEnum
from typing import Any, Final, Protocol

from fourpair_service.records.curves import Document
from fourpair_service.records.model import Change

SUBSCRIPTIONS: Final = "subscriptions"
# After the n-th failure in a row a subscription rests so long.
RESTS: Final = tuple(timedelta(seconds=s) for s in (5, 30, 120, 300, 900, 1800, 3600))
# One message that fails while others arrive is left after so many attempts.
MOST_ATTEMPTS: Final = 10
# A receiver that fails for so long is no longer tried until somebody says so; the messages wait.
PATIENCE: Final = timedelta(days=3)
# How long what became of a message is remembered.
REMEMBERED: Final = timedelta(days=30)
MOST_ATTEMPTS_TOLD: Final = 20


class SubscriptionState(StrEnum):
    """Whether messages are sent."""

    ACTIVE = "active"
    PAUSED = "paused"


class DeliveryState(StrEnum):
    """What became of a message."""

    PENDING = "pending"
    DELIVERED = "delivered"
    GIVEN_UP = "given_up"


@dataclass(frozen=True, slots=True)
class Secret:
    """What messages are signed with; an old one holds until ``expires_at``."""

    text: str
    expires_at: str | None = None


@dataclass(frozen=True, slots=True)
class Interest:
    """Which changes are told; ``None`` is all.

    Attributes:
        kinds: of changes.
        job: one job alone.
        outcomes: records whose outcome is one of these now, or was one before.
        outcome_changes: only where the outcome is another than before; a new record counts.
        visible_jobs: what whoever subscribed may see.
    """

    kinds: tuple[str, ...] | None = None
    job: str | None = None
    outcomes: tuple[str, ...] | None = None
    outcome_changes: bool = False
    visible_jobs: tuple[str, ...] | None = None

    def matches(self, change: Change) -> bool:
        """Return whether a change is told."""
        jobs = {change.job_id, change.previous_job_id}
        outcomes = {change.outcome, change.previous_outcome}
        return (
            (self.kinds is None or change.kind.value in self.kinds)
            and (self.job is None or self.job in jobs)
            and (self.visible_jobs is None or not jobs.isdisjoint(self.visible_jobs))
            and (self.outcomes is None or not outcomes.isdisjoint(self.outcomes))
            and (not self.outcome_changes or change.outcome != change.previous_outcome)
        )


@dataclass(frozen=True, slots=True)
class Subscription:
    """Who is told what, and how that goes.

    Attributes:
        secrets: the newest first.
        position: the feed has been followed so far.
        last_matched: ``seq`` of the last change that was told.
        failures: in a row.
        failing_since: the first of them.
        next_at: nothing is sent before.
        holder: who is sending, until ``held_until`` unless that is renewed.
    """

    id: str
    url: str
    interest: Interest
    secrets: tuple[Secret, ...]
    actor: str
    created_at: str
    description: str | None = None
    state: SubscriptionState = SubscriptionState.ACTIVE
    paused_because: str | None = None
    position: int = 0
    last_matched: int | None = None
    failures: int = 0
    failing_since: str | None = None
    next_at: str | None = None
    holder: str | None = None
    held_until: str | None = None

    @property
    def deliveries(self) -> str:
        """The drawer of its messages."""
        return f"deliveries {self.id}"

    @property
    def pending(self) -> str:
        """The drawer of the keys of those that are still to be sent."""
        return f"pending {self.id}"


@dataclass(frozen=True, slots=True)
class Attempt:
    """One try to send a message."""

    at: str
    status: int | None
    error: str | None
    duration_ms: int


@dataclass(frozen=True, slots=True)
class Delivery:
    """A message and what became of it.

    Attributes:
        key: its place in the order of sending.
        seq: the change that it tells; ``None`` for a test.
        previous_seq: of the last change told before it, whatever record that was of.
        subject: the record or job; its messages follow one another.
    """

    key: str
    seq: int | None
    previous_seq: int | None
    kind: str
    subject: str
    at: str
    state: DeliveryState = DeliveryState.PENDING
    count: int = 0
    next_at: str | None = None
    attempts: tuple[Attempt, ...] = ()


@dataclass(frozen=True, slots=True)
class Answer:
    """What a receiver answered: a status, or why there is none."""

    status: int | None = None
    error: str | None = None
    retry_after_s: int | None = None
    duration_ms: int = 0

    @property
    def is_good(self) -> bool:
        """Whether the message has arrived: nothing but 2xx says so."""
        return self.status is not None and 200 <= self.status < 300


class Send(Protocol):
    """Sends one message."""

    def __call__(self, url: str, body: bytes, headers: Mapping[str, str]) -> Answer:
        """Return what the receiver answered; never raises."""
        ...


class Sign(Protocol):
    """Proves where a message comes from."""

    def __call__(self, message_id: str, at_s: int, body: bytes, secrets: tuple[str, ...]) -> dict[str, str]:
        """Return the headers that prove it."""
        ...


def subscription_document(subscription: Subscription) -> Document:
    """Return a subscription as a document to be kept."""
    return asdict(subscription)


def _tuple(value: Any) -> tuple[Any, ...] | None:
    return None if value is None else tuple(value)


def subscription_of(document: Mapping[str, Any]) -> Subscription:
    """Return the subscription of a document."""
    interest: dict[str, Any] = {
        n: _tuple(v) if isinstance(v, list) else v for n, v in document["interest"].items()
    }
    return Subscription(
        **{
            **document,
            "interest": Interest(**interest),
            "secrets": tuple(Secret(**secret) for secret in document["secrets"]),
            "state": SubscriptionState(document["state"]),
        }
    )


def delivery_of(document: Mapping[str, Any]) -> Delivery:
    """Return the delivery of a document."""
    attempts = tuple(Attempt(**attempt) for attempt in document["attempts"])
    return Delivery(**{**document, "state": DeliveryState(document["state"]), "attempts": attempts})
