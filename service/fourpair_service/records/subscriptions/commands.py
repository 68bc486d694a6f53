"""Making, changing and ending subscriptions; testing and replaying."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict, replace
from datetime import timedelta
from typing import Any, Final

from fourpair_service.records.desk import Caller, Desk, Subject, Terms, known_key, remember
from fourpair_service.records.errors import InvalidRecordError, NotFoundError
from fourpair_service.records.ports import Reader, Writer
from fourpair_service.records.subscriptions.model import (
    SUBSCRIPTIONS,
    Delivery,
    DeliveryState,
    Interest,
    Secret,
    Subscription,
    SubscriptionState,
    delivery_of,
    subscription_document,
    subscription_of,
)
from fourpair_service.records.times import instant

PAGE: Final = 200
TEST: Final = "test"
MOST_REPLAYED: Final = 10_000


def keep_subscription(writer: Writer, subscription: Subscription) -> Subscription:
    """Keep a subscription as it stands."""
    writer.put_in(SUBSCRIPTIONS, subscription.id, subscription_document(subscription))
    return subscription


def keep_delivery(writer: Writer, subscription: Subscription, delivery: Delivery) -> None:
    """Keep a message as it stands."""
    writer.put_in(subscription.deliveries, delivery.key, asdict(delivery))
    if delivery.state is DeliveryState.PENDING:
        writer.put_in(subscription.pending, delivery.key, {})
    else:
        writer.take_out(subscription.pending, delivery.key)


def known_subscription(reader: Reader, subscription_id: str) -> Subscription | None:
    """Return a subscription by its id."""
    document = reader.drawn(SUBSCRIPTIONS, subscription_id)
    return None if document is None else subscription_of(document)


def _may_see(caller: Caller, subscription: Subscription) -> bool:
    if caller.jobs is None:
        return True
    own = subscription.interest.visible_jobs
    return own is not None and caller.jobs.issuperset(own)


def visible_subscription(reader: Reader, caller: Caller, subscription_id: str) -> Subscription:
    """Return a subscription that the caller may see.

    Raises:
        NotFoundError: there is none, or it is not the caller's to see.
    """
    found = known_subscription(reader, subscription_id)
    if found is None or not _may_see(caller, found):
        raise NotFoundError("subscription", subscription_id)
    return found


def all_subscriptions(reader: Reader) -> list[Subscription]:
    """Return all of them by id."""
    found: list[Subscription] = []
    page = reader.drawer(SUBSCRIPTIONS, limit=PAGE)
    while page:
        found += [subscription_of(document) for _, document in page]
        page = reader.drawer(SUBSCRIPTIONS, after=page[-1][0], limit=PAGE)
    return found


def visible_subscriptions(reader: Reader, caller: Caller) -> list[Subscription]:
    """Return those that the caller may see."""
    return [each for each in all_subscriptions(reader) if _may_see(caller, each)]


def _last_seq(reader: Reader) -> int:
    last = reader.last_change()
    return last.seq if last else 0


def subscribe(
    desk: Desk,
    caller: Caller,
    url: str,
    interest: Interest,
    terms: Terms,
    *,
    secret: str,
    description: str | None = None,
    after: int | None = None,
) -> tuple[Subscription, bool]:
    """Keep a subscription, and say whether the same request had made it before.

    Args:
        desk: where it is done.
        caller: who asks; what it may not see is never told.
        url: of the receiver.
        interest: what is told.
        terms: how it is to be done.
        secret: that messages are signed with.
        description: for people.
        after: tell what the feed has above this; from now on where not given.
    """
    jobs = None if caller.jobs is None else tuple(sorted(caller.jobs))
    with desk.store.writing(keep=not terms.dry_run) as writer:
        known = known_key(writer, caller, terms)
        if known is not None:
            return visible_subscription(writer, caller, known.subject_id), True
        last = _last_seq(writer)
        made = Subscription(
            id=desk.new_id(),
            url=url,
            interest=replace(interest, visible_jobs=jobs),
            secrets=(Secret(secret),),
            actor=caller.actor,
            created_at=desk.now(),
            description=description,
            position=last if after is None else min(after, last),
        )
        remember(writer, desk, caller, terms, Subject("subscription", made.id, status=201))
        return keep_subscription(writer, made), False


def _changed(
    desk: Desk, caller: Caller, subscription_id: str, change: Callable[[Subscription], Subscription]
) -> Subscription:
    with desk.store.writing() as writer:
        found = visible_subscription(writer, caller, subscription_id)
        return keep_subscription(writer, change(found))


def resumed(subscription: Subscription) -> Subscription:
    """Return a subscription that is tried again from now on."""
    return replace(
        subscription,
        state=SubscriptionState.ACTIVE,
        paused_because=None,
        failures=0,
        failing_since=None,
        next_at=None,
    )


def change_subscription(
    desk: Desk, caller: Caller, subscription_id: str, values: dict[str, Any]
) -> Subscription:
    """Change what a subscription tells, whom, and whether.

    Args:
        desk: where it is done.
        caller: who asks.
        subscription_id: which one.
        values: of url, description, state and the fields of :class:`Interest`.

    Raises:
        NotFoundError: there is no such subscription.
    """

    def change(found: Subscription) -> Subscription:
        own = {name: values[name] for name in ("url", "description") if name in values}
        told = {n: v for n, v in values.items() if n in Interest.__dataclass_fields__}
        found = replace(found, interest=replace(found.interest, **told), **own)
        state = values.get("state")
        if state is SubscriptionState.PAUSED:
            return replace(found, state=state, paused_because="asked for")
        return resumed(found) if state is SubscriptionState.ACTIVE else found

    return _changed(desk, caller, subscription_id, change)


def rotate_secret(
    desk: Desk, caller: Caller, subscription_id: str, *, secret: str, old_holds: timedelta
) -> Subscription:
    """Give a subscription a new secret; messages are signed with the old one too for a while.

    Raises:
        NotFoundError: there is no such subscription.
    """
    until = instant(desk.clock() + old_holds)

    def change(found: Subscription) -> Subscription:
        ending = (replace(s, expires_at=min(until, s.expires_at or until)) for s in found.secrets)
        return replace(found, secrets=(Secret(secret), *ending))

    return _changed(desk, caller, subscription_id, change)


def _emptied(writer: Writer, name: str) -> None:
    while page := writer.drawer(name, limit=PAGE):
        for key, _ in page:
            writer.take_out(name, key)


def unsubscribe(desk: Desk, caller: Caller, subscription_id: str) -> Subscription:
    """End a subscription and forget its messages; return it as it last stood.

    Raises:
        NotFoundError: there is no such subscription.
    """
    with desk.store.writing() as writer:
        found = visible_subscription(writer, caller, subscription_id)
        _emptied(writer, found.pending)
        _emptied(writer, found.deliveries)
        writer.take_out(SUBSCRIPTIONS, found.id)
        return found


def send_test(desk: Desk, caller: Caller, subscription_id: str) -> Delivery:
    """Queue a message that tells nothing but that it arrives.

    Raises:
        NotFoundError: there is no such subscription.
    """
    with desk.store.writing() as writer:
        found = visible_subscription(writer, caller, subscription_id)
        key = f"{_last_seq(writer):016d}-{TEST}-{desk.new_id()}"
        made = Delivery(key, None, None, TEST, key, desk.now())
        keep_delivery(writer, found, made)
        return made


def deliveries(
    reader: Reader, subscription: Subscription, *, after: str, limit: int, state: DeliveryState | None = None
) -> list[Delivery]:
    """Return messages of a subscription in the order of sending, above ``after``."""
    found: list[Delivery] = []
    page = reader.drawer(subscription.deliveries, after=after, limit=PAGE)
    while page and len(found) < limit:
        made = (delivery_of(document) for _, document in page)
        found += [each for each in made if state is None or each.state is state]
        page = reader.drawer(subscription.deliveries, after=page[-1][0], limit=PAGE)
    return found[:limit]


def replay(desk: Desk, caller: Caller, subscription_id: str, *, first: int, last: int | None) -> int:
    """Tell changes again, with the ids that they had, and return how many.

    What was never told for want of a subscription is told now, if it matches.

    Raises:
        NotFoundError: there is no such subscription.
        InvalidRecordError: these are too many at once, or the wrong way round.
    """
    with desk.store.writing() as writer:
        found = visible_subscription(writer, caller, subscription_id)
        end = found.position if last is None else min(last, found.position)
        if last is not None and last < first:
            raise InvalidRecordError("/last_seq", f"Expected at least first_seq, {first}.", last)
        if end - first >= MOST_REPLAYED:
            detail = f"At most {MOST_REPLAYED} entries of the feed are told again at once; ask for fewer."
            raise InvalidRecordError("/last_seq", detail, end)
        told, previous = 0, None
        for change in writer.changes(after=first - 1, limit=max(end - first + 1, 0)):
            if change.seq > end or not found.interest.matches(change):
                continue
            key = f"{change.seq:016d}"
            document = writer.drawn(found.deliveries, key)
            known = None if document is None else delivery_of(document)
            subject = change.record_id or f"job {change.job_id}"
            made = known or Delivery(key, change.seq, previous, change.kind.value, subject, desk.now())
            again = replace(made, state=DeliveryState.PENDING, count=0, next_at=None)
            keep_delivery(writer, found, again)
            told, previous = told + 1, change.seq
        return told
