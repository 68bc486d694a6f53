"""From the feed to the receivers: in order for each record, at least once, with patience.

An outage of a receiver is a matter of the subscription, which rests longer after
each failure; a message that alone is refused is a matter of that message.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict, dataclass, replace
from datetime import datetime, timedelta
from typing import Final

from fourpair_service.records.desk import Desk
from fourpair_service.records.integrity import canonical_json
from fourpair_service.records.model import Change
from fourpair_service.records.ports import Reader, Writer
from fourpair_service.records.subscriptions.commands import (
    PAGE,
    all_subscriptions,
    keep_delivery,
    keep_subscription,
    known_subscription,
)
from fourpair_service.records.subscriptions.model import (
    MOST_ATTEMPTS,
    MOST_ATTEMPTS_TOLD,
    PATIENCE,
    REMEMBERED,
    RESTS,
    Answer,
    Attempt,
    Delivery,
    DeliveryState,
    Send,
    Sign,
    Subscription,
    SubscriptionState,
    delivery_of,
)
from fourpair_service.records.times import instant, lies_ahead

GONE: Final = 410
LONGEST_ASKED_REST: Final = timedelta(hours=1)
# One round takes so many messages of a subscription, so that none keeps others waiting.
MOST_A_ROUND: Final = 100
HELD_FOR: Final = timedelta(seconds=90)
# Twice the longest that is ever set: clocks of several machines differ a little.
LONGEST_HOLD: Final = 2 * HELD_FOR
LONGEST_REST: Final = 2 * max(RESTS[-1], LONGEST_ASKED_REST)


def follow(desk: Desk, subscription: Subscription) -> bool:
    """Queue what the feed has new for a subscription; return whether there may be more."""
    last = desk.store.last_change()
    if last is None or last.seq <= subscription.position:
        return False
    with desk.store.writing() as writer:
        found = known_subscription(writer, subscription.id)
        if found is None:
            return False
        page = writer.changes(after=found.position, limit=PAGE)
        previous = found.last_matched
        for change in page:
            if not found.interest.matches(change):
                continue
            subject = change.record_id or f"job {change.job_id}"
            made = Delivery(f"{change.seq:016d}", change.seq, previous, change.kind.value, subject, change.at)
            keep_delivery(writer, found, made)
            previous = change.seq
        if page:
            keep_subscription(writer, replace(found, position=page[-1].seq, last_matched=previous))
        return len(page) == PAGE


def message(subscription: Subscription, delivery: Delivery, change: Change | None) -> bytes:
    """Return the body of a message: what has changed and where to read it, never the content itself."""
    data: dict[str, object] = {"subscription": subscription.id}
    if change is not None:
        data |= {
            "seq": delivery.seq,
            "previous_seq": delivery.previous_seq,
            "job": change.job_id,
            "previous_job": change.previous_job_id,
            "record": change.record_id,
            "revision": change.number,
            "label": change.label,
            "outcome": change.outcome,
            "previous_outcome": change.previous_outcome,
        }
        visible = subscription.interest.visible_jobs
        if visible is not None:
            data |= {n: data[n] if data[n] in visible else None for n in ("job", "previous_job")}
    return canonical_json({"type": delivery.kind, "timestamp": delivery.at, "data": data})


def _next(reader: Reader, subscription: Subscription, now: datetime) -> Delivery | None:
    """Return the message to be sent now: none of its record's waits before it.

    After a failure one that was tried less often goes first, so that a message that
    is refused every time keeps no other record waiting.
    """
    waiting: set[str] = set()
    best: Delivery | None = None
    page = reader.drawer(subscription.pending, limit=PAGE)
    while page:
        for key, _ in page:
            document = reader.drawn(subscription.deliveries, key)
            if document is None:
                continue
            delivery = delivery_of(document)
            if delivery.subject in waiting:
                continue
            waiting.add(delivery.subject)
            if lies_ahead(delivery.next_at, now, LONGEST_REST):
                continue
            if delivery.count == 0 or not subscription.failures:
                return delivery
            if best is None or delivery.count < best.count:
                best = delivery
        page = reader.drawer(subscription.pending, after=page[-1][0], limit=PAGE)
    return best


def _rest(failures: int, answer: Answer) -> timedelta:
    asked = timedelta(seconds=answer.retry_after_s or 0)
    return max(RESTS[min(failures, len(RESTS)) - 1], min(asked, LONGEST_ASKED_REST))


def _attempted(delivery: Delivery, answer: Answer, at: str) -> Delivery:
    told = Attempt(at, answer.status, answer.error, answer.duration_ms)
    attempts = (*delivery.attempts, told)[-MOST_ATTEMPTS_TOLD:]
    return replace(delivery, count=delivery.count + 1, attempts=attempts)


def _all_due(writer: Writer, subscription: Subscription) -> None:
    """Let every message that rests go at once, since the receiver is back."""
    after = ""
    while page := writer.drawer(subscription.pending, after=after, limit=PAGE):
        after = page[-1][0]
        for key, _ in page:
            document = writer.drawn(subscription.deliveries, key)
            if document is not None and document["next_at"] is not None:
                writer.put_in(subscription.deliveries, key, {**document, "next_at": None})


def _arrived(writer: Writer, subscription: Subscription, delivery: Delivery) -> Subscription:
    keep_delivery(writer, subscription, replace(delivery, state=DeliveryState.DELIVERED, next_at=None))
    if subscription.failures > 1:
        _all_due(writer, subscription)
    return replace(subscription, failures=0, failing_since=None, next_at=None)


def _failed(
    writer: Writer, subscription: Subscription, delivery: Delivery, answer: Answer, now: datetime
) -> Subscription:
    failures, since = subscription.failures + 1, subscription.failing_since or instant(now)
    # While others arrive in between it is this message that is refused, not the receiver that is away.
    alone = failures == 1 and delivery.count >= MOST_ATTEMPTS
    state = DeliveryState.GIVEN_UP if alone else DeliveryState.PENDING
    own = RESTS[min(delivery.count, len(RESTS)) - 1]
    keep_delivery(writer, subscription, replace(delivery, state=state, next_at=instant(now + own)))
    rested = replace(
        subscription,
        failures=failures,
        failing_since=since,
        next_at=instant(now + _rest(failures, answer)),
    )
    if answer.status == GONE:
        return replace(rested, state=SubscriptionState.PAUSED, paused_because="the receiver said 410 Gone")
    if since <= instant(now - PATIENCE):
        days = PATIENCE.days
        return replace(
            rested, state=SubscriptionState.PAUSED, paused_because=f"nothing has arrived for {days} days"
        )
    return rested


def _forget(writer: Writer, subscription: Subscription, now: datetime) -> None:
    """Drop the oldest message where it is done with for long."""
    for key, document in writer.drawer(subscription.deliveries, limit=2):
        old = document["at"] < instant(now - REMEMBERED)
        if old and document["state"] != DeliveryState.PENDING.value:
            writer.take_out(subscription.deliveries, key)


@dataclass(frozen=True, slots=True)
class Deliverer:
    """Sends what waits.

    Attributes:
        desk: over the store.
        send: sends one message.
        sign: proves where it comes from.
        holder: under which subscriptions are held while they are sent to.
        is_gone: whether another holder has certainly ended.
        go_on: asked before each message.
    """

    desk: Desk
    send: Send
    sign: Sign
    holder: str
    is_gone: Callable[[str], bool] = lambda holder: False
    go_on: Callable[[], bool] = lambda: True

    def waiting(self) -> list[Subscription]:
        """Return the subscriptions that something may be sent to now."""
        store, now = self.desk.store, self.desk.clock()
        found = []
        for subscription in all_subscriptions(store):
            while follow(self.desk, known_subscription(store, subscription.id) or subscription):
                pass
            rests = lies_ahead(subscription.next_at, now, LONGEST_REST)
            active = subscription.state is SubscriptionState.ACTIVE
            if active and not rests and store.drawer(subscription.pending, limit=1):
                found.append(subscription)
        return found

    def _claimed(self, subscription_id: str) -> Subscription | None:
        now = self.desk.clock()
        with self.desk.store.writing() as writer:
            found = known_subscription(writer, subscription_id)
            if found is None or found.state is not SubscriptionState.ACTIVE:
                return None
            held = found.holder not in (None, self.holder) and lies_ahead(found.held_until, now, LONGEST_HOLD)
            if held and not self.is_gone(found.holder or ""):
                return None
            return keep_subscription(
                writer, replace(found, holder=self.holder, held_until=instant(now + HELD_FOR))
            )

    def _settled(self, subscription_id: str, key: str, answer: Answer) -> Subscription | None:
        """Keep what came of a message; ``None`` where nothing more is to be sent now."""
        now = self.desk.clock()
        with self.desk.store.writing() as writer:
            found = known_subscription(writer, subscription_id)
            document = None if found is None else writer.drawn(found.deliveries, key)
            if found is None or document is None:
                return None
            delivery = _attempted(delivery_of(document), answer, instant(now))
            if answer.is_good:
                after = _arrived(writer, found, delivery)
                _forget(writer, found, now)
            else:
                after = _failed(writer, found, delivery, answer, now)
            after = replace(after, held_until=instant(now + HELD_FOR))
            if after.holder != self.holder:
                return None
            keep_subscription(writer, after)
            going = after.state is SubscriptionState.ACTIVE and answer.is_good
            return after if going else None

    def _released(self, subscription_id: str) -> None:
        with self.desk.store.writing() as writer:
            found = known_subscription(writer, subscription_id)
            if found is not None and found.holder == self.holder:
                keep_subscription(writer, replace(found, holder=None, held_until=None))

    def _sent(self, subscription: Subscription, delivery: Delivery) -> Answer:
        now = self.desk.clock()
        change = None
        if delivery.seq is not None:
            change = self.desk.store.changes(after=delivery.seq - 1, limit=1)[0]
        body = message(subscription, delivery, change)
        holding = (s for s in subscription.secrets if s.expires_at is None or s.expires_at > instant(now))
        name = delivery.key.lstrip("0") or "0"
        headers = self.sign(
            f"{subscription.id}-{name}", int(now.timestamp()), body, tuple(s.text for s in holding)
        )
        return self.send(subscription.url, body, {**headers, "Content-Type": "application/json"})

    def deliver(self, subscription_id: str) -> int:
        """Send what waits for one subscription until something fails; return how many messages were tried."""
        subscription, tried = self._claimed(subscription_id), 0
        if subscription is None:
            return 0
        try:
            while subscription is not None and tried < MOST_A_ROUND and self.go_on():
                delivery = _next(self.desk.store, subscription, self.desk.clock())
                if delivery is None:
                    break
                answer = self._sent(subscription, delivery)
                tried += 1
                subscription = self._settled(subscription_id, delivery.key, answer)
        finally:
            self._released(subscription_id)
        return tried


def delivery_document(delivery: Delivery) -> dict[str, object]:
    """Return a message and what became of it, as it is told."""
    told = asdict(delivery)
    del told["subject"]
    return {**told, "attempts": list(told["attempts"])}
