"""``client.subscriptions``: who is told of changes, by signed messages."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any
from urllib.parse import quote

import requests

from fourpair._listing import Listing
from fourpair._told import Told, told
from fourpair._transport import MERGE_PATCH, Send, asked, operation


@dataclass(frozen=True, slots=True, kw_only=True)
class Subscription(Told):
    """A receiver and what it is told.

    Attributes:
        kinds: of changes; ``None`` for all.
        job: of one job alone; ``None`` for all.
        outcomes: of records that have, or had, one of these; ``None`` for all.
        outcome_changes: only where the outcome is another than before.
        state: ``active`` or ``paused``.
        failures: how many tries in a row have failed.
        followed_to_seq: up to where in the feed it was looked for changes.
        secret: shown once, where the subscription is made; keep it for ``webhooks.verify``.
    """

    id: str
    url: str
    state: str = "active"
    description: str | None = None
    kinds: tuple[str, ...] | None = None
    job: str | None = None
    outcomes: tuple[str, ...] | None = None
    outcome_changes: bool = False
    paused_because: str | None = None
    failures: int = 0
    failing_since: str | None = None
    next_at: str | None = None
    followed_to_seq: int = 0
    last_told_seq: int | None = None
    secrets: int = 1
    created_at: str | None = None
    secret: str | None = field(default=None, repr=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class Delivery(Told):
    """A message and what became of it.

    Attributes:
        seq, previous_seq: places in the feed of what it tells, and of what this receiver was told before.
        count: how many tries there were.
        attempts: each try, with its status or error.
    """

    key: str
    kind: str
    state: str
    seq: int | None = None
    previous_seq: int | None = None
    at: str | None = None
    count: int = 0
    next_at: str | None = None
    attempts: tuple[Mapping[str, Any], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class NewSecret(Told):
    """A new secret, shown this once, and until when the old one signs as well."""

    secret: str = field(repr=False)
    old_holds_until: str


def _subscription(answer: requests.Response) -> Subscription:
    return told(Subscription, answer.json(), response=answer)


class Subscriptions:
    """Subscriptions, as a client reads and writes them."""

    def __init__(self, send: Send) -> None:
        self._send = send

    @staticmethod
    def _at(subscription: Subscription | str, *parts: str) -> str:
        name = subscription if isinstance(subscription, str) else subscription.id
        return "/".join(("/v1/subscriptions", quote(name, safe=""), *parts))

    @operation("createSubscription")
    def create(
        self,
        url: str,
        *,
        kinds: Sequence[str] | None = None,
        job: str | None = None,
        outcomes: Sequence[str] | None = None,
        outcome_changes: bool | None = None,
        description: str | None = None,
        after: int | None = None,
        idempotency_key: str | None = None,
    ) -> Subscription:
        """Have changes told to a receiver; its ``secret`` is in the answer and shown once.

        Args:
            url: https and public, unless the operator allows networks of the site.
            kinds: of changes, such as ``"record.retested"``; all where not given.
            job: of one job alone.
            outcomes: only of records that have, or had, one of these.
            outcome_changes: only where the outcome is another than before.
            description: for people.
            after: tell also what the feed has above this ``seq``; from now on where not given.
            idempotency_key: one is made where none is given; of a repetition with your own, ``secret`` is ``None``.

        Raises:
            InvalidDocumentError: the receiver may not be reached, or a word is not known.
        """
        given = {
            "url": url,
            "kinds": None if kinds is None else list(kinds),
            "job": job,
            "outcomes": None if outcomes is None else list(outcomes),
            "outcome_changes": outcome_changes,
            "description": description,
            "after": after,
        }
        document = {name: value for name, value in given.items() if value is not None}
        made = _subscription(self._send("POST", "/v1/subscriptions", document=document, key=idempotency_key))
        if made.secret is None and idempotency_key is None:
            # It was lost with the first answer and nobody has it: another one takes its place.
            made = replace(made, secret=self.rotate_secret(made, hours=0).secret)
        return made

    @operation("listSubscriptions")
    def list(self) -> tuple[Subscription, ...]:
        """Return all subscriptions."""
        document = self._send("GET", "/v1/subscriptions").json()
        return tuple(told(Subscription, each) for each in document["subscriptions"])

    @operation("getSubscription")
    def get(self, subscription: Subscription | str) -> Subscription:
        """Return a subscription and how it goes.

        Raises:
            NotFoundError: there is none.
        """
        return _subscription(self._send("GET", self._at(subscription)))

    @operation("changeSubscription")
    def change(
        self,
        subscription: Subscription | str,
        changes: Mapping[str, Any],
        *,
        idempotency_key: str | None = None,
    ) -> Subscription:
        """Change fields by a merge patch: ``{"state": "active"}`` sends what has waited, in order.

        Raises:
            InvalidDocumentError: the receiver may not be reached, or a word is not known.
        """
        return _subscription(
            self._send(
                "PATCH",
                self._at(subscription),
                document=changes,
                content_type=MERGE_PATCH,
                key=idempotency_key,
            )
        )

    @operation("endSubscription")
    def end(self, subscription: Subscription | str, *, idempotency_key: str | None = None) -> Subscription:
        """End a subscription; nothing more is sent."""
        return _subscription(self._send("DELETE", self._at(subscription), key=idempotency_key))

    @operation("testSubscription")
    def test(self, subscription: Subscription | str, *, idempotency_key: str | None = None) -> Delivery:
        """Have a message sent that tells nothing, to see whether it arrives."""
        answer = self._send("POST", self._at(subscription, "test"), key=idempotency_key)
        return told(Delivery, answer.json(), response=answer)

    @operation("listDeliveries")
    def deliveries(
        self,
        subscription: Subscription | str,
        *,
        state: str | None = None,
        limit: int | None = None,
        cursor: str | None = None,
    ) -> Listing[Delivery]:
        """Return messages in the order of sending, with every try."""
        query = {"state": state, "limit": limit, "cursor": cursor}
        path = self._at(subscription, "deliveries")
        return Listing(self._send, path, query, "deliveries", lambda each: told(Delivery, each))

    @operation("replayDeliveries")
    def replay(
        self,
        subscription: Subscription | str,
        *,
        first_seq: int,
        last_seq: int | None = None,
        idempotency_key: str | None = None,
    ) -> int:
        """Have a stretch of the feed told again; return how many messages that makes.

        Args:
            subscription: or its id.
            first_seq: where it begins.
            last_seq: where it ends, included; the newest where not given.
            idempotency_key: one is made where none is given.
        """
        document = asked(first_seq=first_seq, last_seq=last_seq)
        path = self._at(subscription, "replays")
        return int(self._send("POST", path, document=document, key=idempotency_key).json()["messages"])

    @operation("rotateSubscriptionSecret")
    def rotate_secret(
        self,
        subscription: Subscription | str,
        *,
        hours: int | None = None,
        idempotency_key: str | None = None,
    ) -> NewSecret:
        """Make a new secret; the old one signs as well for ``hours``, 24 where not given. [h]."""
        path = self._at(subscription, "secrets")
        answer = self._send("POST", path, document=asked(hours=hours), key=idempotency_key)
        return told(NewSecret, answer.json(), response=answer)
