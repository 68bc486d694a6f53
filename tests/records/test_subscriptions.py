"""Subscriptions: who is told, in which order, and what outages, kills and stubborn receivers make of it."""

from __future__ import annotations

import time
from collections import defaultdict
from dataclasses import replace
from datetime import timedelta

import pytest

from fourpair_service.records import commands, job_commands
from fourpair_service.records.desk import Caller, Terms
from fourpair_service.records.errors import InvalidRecordError, NotFoundError
from fourpair_service.records.model import ChangeKind
from fourpair_service.records.subscriptions.commands import (
    change_subscription,
    deliveries,
    known_subscription,
    replay,
    rotate_secret,
    send_test,
    subscribe,
    unsubscribe,
)
from fourpair_service.records.subscriptions.delivering import Deliverer
from fourpair_service.records.subscriptions.model import (
    MOST_ATTEMPTS,
    Answer,
    DeliveryState,
    Interest,
    SubscriptionState,
)
from fourpair_service.records.times import instant
from fourpair_service.records.transfer import export_lines, import_lines
from fourpair_service.storage.memory import MemoryStore
from fourpair_service.storage.opening import open_store
from fourpair_service.webhooks.sending import Sender
from fourpair_service.webhooks.signing import secret_of, signed_headers
from record_factory import ANYONE, START, desk_of, measurement
from stores import KINDS, store_name
from webhook_receiver import LOOPBACK, receiving

JOB = "harbour-hall"
SECRET = secret_of(bytes(32))
ALL = Interest()


class Wall:
    """A clock that goes only when it is told to."""

    def __init__(self):
        self.now = START

    def __call__(self):
        return self.now

    def forward(self, **how):
        self.now += timedelta(**how)


@pytest.fixture(params=KINDS)
def store(request, tmp_path):
    with store_name(request.param, tmp_path) as name:
        made = open_store(name)
        yield made
        made.close()


@pytest.fixture
def wall():
    return Wall()


@pytest.fixture
def desk(store, wall):
    desk = replace(desk_of(store), clock=wall)
    job_commands.create_job(desk, ANYONE, JOB, {"name": "Harbour hall"}, Terms())
    return desk


@pytest.fixture
def receiver():
    with receiving() as made:
        yield made


def subscribed(desk, url, interest=ALL, caller=ANYONE, **more):
    return subscribe(desk, caller, url, interest, Terms(), secret=SECRET, **more)[0]


def submit(desk, label, margin_db=5.0, **more):
    return commands.submit(desk, ANYONE, measurement(label, margin_db=margin_db, **more), Terms()).record


def deliverer(desk, holder="me", send=None):
    return Deliverer(desk, send or Sender(LOOPBACK), signed_headers, holder)


def send_all(desk, send=None):
    """Send until nothing more may be sent now."""
    own = deliverer(desk, send=send)
    while any([own.deliver(each.id) for each in own.waiting()]):
        pass


def states(store, subscription):
    return [(d.seq, d.state.value) for d in deliveries(store, subscription, after="", limit=1000)]


def test_each_change_is_told_once_thinly_and_names_the_one_told_before(desk, receiver):
    subscription = subscribed(desk, receiver.url)
    record = submit(desk, "A-1")
    commands.retest(desk, ANYONE, record.id, measurement("A-1", margin_db=-3.0), Terms())

    send_all(desk)
    send_all(desk)

    assert [(m["type"], m["data"]["seq"], m["data"]["previous_seq"]) for m in receiver.arrived] == [
        ("record.submitted", 2, None),
        ("record.retested", 3, 2),
    ]
    assert receiver.arrived[1]["data"] == {
        "subscription": subscription.id,
        "seq": 3,
        "previous_seq": 2,
        "job": JOB,
        "previous_job": JOB,
        "record": record.id,
        "revision": 2,
        "label": "A-1",
        "outcome": "fail",
        "previous_outcome": "pass",
    }


@pytest.mark.parametrize(
    ("interest", "seqs"),
    [
        (Interest(kinds=("record.retested",)), [4, 5]),
        (Interest(kinds=("job.changed",)), [6]),
        (Interest(outcomes=("fail",)), [4, 5]),
        (Interest(outcome_changes=True, kinds=tuple(ChangeKind)), [2, 3, 4]),
        (Interest(job="annex"), []),
        (Interest(job=JOB, outcomes=("pass",)), [2, 3, 4]),
    ],
)
def test_only_what_is_of_interest_is_told(desk, store, receiver, interest, seqs):
    subscription = subscribed(desk, receiver.url, interest)
    first, _ = submit(desk, "A-1"), submit(desk, "A-2")
    for margin in (-3.0, -4.0):
        commands.retest(desk, ANYONE, first.id, measurement("A-1", margin_db=margin), Terms())
    job_commands.change_job(desk, ANYONE, JOB, {"name": "Hall"}, Terms())

    send_all(desk)

    assert receiver.seqs == seqs
    assert [m["data"]["previous_seq"] for m in receiver.arrived] == [None, *seqs[:-1]][: len(seqs)]
    assert known_subscription(store, subscription.id).position == 6


def test_whoever_sees_one_job_is_told_of_it_alone_and_of_no_other_by_name(desk, receiver):
    job_commands.create_job(desk, ANYONE, "annex", {"name": "Annex"}, Terms())
    subscribed(desk, receiver.url, caller=Caller("key", frozenset({"annex"})))
    record = submit(desk, "A-1")
    commands.correct(desk, ANYONE, record.id, {"job": "annex"}, Terms(), reason="moved")

    send_all(desk)

    assert [(m["data"]["seq"], m["data"]["job"], m["data"]["previous_job"]) for m in receiver.arrived] == [
        (4, "annex", None)
    ]


def test_a_receiver_that_is_down_for_a_day_is_caught_up_in_order(desk, store, wall, receiver):
    subscription = subscribed(desk, receiver.url)
    is_down = [True]
    receiver.status = lambda message: 503 if is_down[0] else 204
    records = [submit(desk, f"A-{n}") for n in range(4)]
    began = wall.now
    while wall.now - began < timedelta(days=1):
        send_all(desk)
        wall.forward(minutes=10)
        if (wall.now - began) % timedelta(hours=6) == timedelta(0):
            for record in records:
                commands.retest(
                    desk,
                    ANYONE,
                    record.id,
                    measurement(record.label, margin_db=(wall.now - began) / timedelta(hours=1)),
                    Terms(),
                )
    tried = len(receiver.requests)
    is_down[0] = False
    assert receiver.arrived == []
    for _ in range(8):
        wall.forward(minutes=10)
        send_all(desk)

    assert sorted(receiver.seqs) == list(range(2, 22))
    by_record = defaultdict(list)
    for each in receiver.arrived:
        by_record[each["data"]["record"]].append(each["data"]["revision"])
    assert list(by_record.values()) == [[1, 2, 3, 4, 5]] * 4
    # Patience: not every message is tried again and again against a receiver that is away.
    assert tried < 40
    assert {state for _, state in states(store, subscription)} == {"delivered"}
    after = known_subscription(store, subscription.id)
    assert (after.failures, after.failing_since, after.state) == (0, None, SubscriptionState.ACTIVE)


def test_one_message_that_is_refused_holds_up_its_own_record_alone_and_is_given_up_in_the_end(
    desk, store, wall, receiver
):
    subscription = subscribed(desk, receiver.url)
    odd, others = submit(desk, "odd"), [submit(desk, f"A-{n}") for n in range(30)]
    commands.retest(desk, ANYONE, odd.id, measurement("odd", margin_db=1.5), Terms())
    receiver.status = lambda message: 500 if message["data"]["seq"] == 2 else 204

    for number, record in enumerate(others):
        send_all(desk)
        wall.forward(hours=1)
        commands.retest(desk, ANYONE, record.id, measurement(record.label, margin_db=3.5 + number), Terms())
    send_all(desk)
    wall.forward(hours=1)
    send_all(desk)

    told = deliveries(store, subscription, after="", limit=1000)
    assert (told[0].state, told[0].count) == (DeliveryState.GIVEN_UP, MOST_ATTEMPTS)
    assert told[0].attempts[-1].status == 500
    assert all(each.state is DeliveryState.DELIVERED for each in told[1:])
    assert [m["data"]["seq"] for m in receiver.arrived if m["data"]["record"] == odd.id] == [33]


def test_a_receiver_that_stays_away_is_paused_and_nothing_is_lost(desk, store, wall, receiver):
    subscription = subscribed(desk, receiver.url)
    receiver.status = lambda message: 500
    submit(desk, "A-1")
    for _ in range(80):
        send_all(desk)
        wall.forward(hours=1)
    paused = known_subscription(store, subscription.id)
    assert (paused.state, paused.paused_because) == (
        SubscriptionState.PAUSED,
        "nothing has arrived for 3 days",
    )
    tried = len(receiver.requests)
    submit(desk, "A-2")
    send_all(desk)
    assert len(receiver.requests) == tried
    receiver.status = lambda message: 204

    change_subscription(desk, ANYONE, subscription.id, {"state": SubscriptionState.ACTIVE})
    wall.forward(hours=1)
    send_all(desk)

    assert receiver.seqs == [2, 3]


def test_a_clock_that_is_set_back_keeps_nobody_waiting_until_it_has_caught_up(desk, store, wall, receiver):
    subscription = subscribed(desk, receiver.url)
    receiver.status = lambda message: 500
    submit(desk, "A-1")
    send_all(desk)
    resting = known_subscription(store, subscription.id).next_at
    wall.forward(days=-400)
    assert resting > instant(wall.now)
    receiver.status = lambda message: 204
    submit(desk, "A-2")
    send_all(desk)

    assert sorted(receiver.seqs) == [2, 3]
    assert known_subscription(store, subscription.id).next_at is None


def test_a_hold_of_before_the_clock_was_set_back_is_nobodys(desk, store, wall, receiver):
    subscription = subscribed(desk, receiver.url)
    submit(desk, "A-1")
    assert deliverer(desk, "gone")._claimed(subscription.id) is not None
    assert deliverer(desk)._claimed(subscription.id) is None
    wall.forward(days=-1)

    send_all(desk)
    assert receiver.seqs == [2]


def test_gone_pauses_at_once(desk, store, receiver):
    subscription = subscribed(desk, receiver.url)
    receiver.status = lambda message: 410
    submit(desk, "A-1")
    send_all(desk)

    assert known_subscription(store, subscription.id).paused_because == "the receiver said 410 Gone"


def test_a_receiver_that_asks_for_time_gets_it_within_reason(desk, store, wall, receiver):
    subscription = subscribed(desk, receiver.url)
    receiver.status = lambda message: 429
    receiver.headers["Retry-After"] = "1800"
    submit(desk, "A-1")
    send_all(desk)

    wall.forward(minutes=29)
    send_all(desk)
    assert len(receiver.requests) == 1
    wall.forward(minutes=2)
    send_all(desk)
    assert len(receiver.requests) == 2
    receiver.headers["Retry-After"] = "99999999"
    wall.forward(hours=1)
    send_all(desk)
    rest = known_subscription(store, subscription.id).next_at
    assert rest <= (wall.now + timedelta(hours=1)).isoformat(timespec="microseconds").replace("+00:00", "Z")


def test_a_paused_subscription_lets_messages_wait_and_sends_them_in_order_later(desk, receiver):
    subscription = subscribed(desk, receiver.url)
    change_subscription(desk, ANYONE, subscription.id, {"state": SubscriptionState.PAUSED})
    for number in range(3):
        submit(desk, f"A-{number}")
    send_all(desk)
    assert receiver.arrived == []

    change_subscription(desk, ANYONE, subscription.id, {"state": SubscriptionState.ACTIVE})
    send_all(desk)

    assert receiver.seqs == [2, 3, 4]


def test_a_test_message_arrives_and_is_told_among_the_deliveries(desk, store, receiver):
    subscription = subscribed(desk, receiver.url, Interest(kinds=("job.accepted",)))
    made = send_test(desk, ANYONE, subscription.id)
    send_all(desk)

    assert [(m["type"], m["data"]) for m in receiver.arrived] == [("test", {"subscription": subscription.id})]
    (told,) = deliveries(store, subscription, after="", limit=9)
    assert (told.key, told.state, told.attempts[0].status) == (made.key, DeliveryState.DELIVERED, 204)


def test_a_replay_sends_the_same_messages_with_the_same_ids(desk, store, receiver):
    subscription = subscribed(desk, receiver.url)
    for number in range(4):
        submit(desk, f"A-{number}")
    send_all(desk)
    first = list(receiver.arrived)

    assert replay(desk, ANYONE, subscription.id, first=3, last=4) == 2
    send_all(desk)

    assert receiver.arrived[4:] == first[1:3]
    assert {state for _, state in states(store, subscription)} == {"delivered"}
    with pytest.raises(InvalidRecordError):
        replay(desk, ANYONE, subscription.id, first=3, last=2)
    assert replay(desk, ANYONE, subscription.id, first=99, last=None) == 0


def test_a_new_subscription_can_begin_in_the_past(desk, receiver):
    submit(desk, "A-1")
    subscribed(desk, receiver.url, after=0)
    send_all(desk)

    assert receiver.seqs == [1, 2]


def test_messages_carry_both_signatures_until_the_old_secret_ends(desk, wall):
    # The signature holds for the time of the attempt, so this clock is the real one.
    wall.now = wall.now.fromtimestamp(time.time(), wall.now.tzinfo)
    new = secret_of(bytes(range(32)))
    for holding in (SECRET, new):
        with receiving(secret=holding) as receiver:
            subscription = subscribed(desk, receiver.url)
            rotate_secret(desk, ANYONE, subscription.id, secret=new, old_holds=timedelta(hours=1))
            submit(desk, f"A-{holding[-5]}")
            send_all(desk)
            assert (len(receiver.arrived), receiver.refused) == (1, [])
            unsubscribe(desk, ANYONE, subscription.id)
    with receiving(secret=SECRET) as receiver:
        subscription = subscribed(desk, receiver.url)
        rotate_secret(desk, ANYONE, subscription.id, secret=new, old_holds=timedelta(0))
        submit(desk, "A-9")
        send_all(desk)
        assert (receiver.arrived, len(receiver.refused)) == ([], 1)


def test_two_workers_do_not_send_to_one_receiver_at_once(desk, receiver):
    subscription = subscribed(desk, receiver.url)
    submit(desk, "A-1")
    other = deliverer(desk, "other")
    seen = []

    def sending(url, body, headers):
        seen.append(other.deliver(subscription.id))
        return Answer(status=200)

    send_all(desk, send=sending)

    assert seen == [0]


def test_a_worker_that_ended_in_the_middle_is_succeeded_and_the_message_comes_again(desk, wall, receiver):
    subscription = subscribed(desk, receiver.url)
    submit(desk, "A-1")

    class KilledError(BaseException):
        pass

    def killed(url, body, headers):
        Sender(LOOPBACK)(url, body, headers)
        raise KilledError

    lost = deliverer(desk, "lost", killed)
    lost.waiting()
    claimed = lost._claimed(subscription.id)
    with pytest.raises(KilledError):
        lost._sent(claimed, deliveries(desk.store, subscription, after="", limit=1)[0])
    send_all(desk)
    assert receiver.seqs == [2]
    wall.forward(minutes=2)
    send_all(desk)

    assert receiver.seqs == [2, 2]
    assert receiver.arrived[0] == receiver.arrived[1]


def test_what_is_done_with_is_forgotten_after_a_month(desk, store, wall, receiver):
    subscription = subscribed(desk, receiver.url)
    submit(desk, "A-1")
    send_all(desk)
    wall.forward(days=31)
    submit(desk, "A-2")
    send_all(desk)

    assert states(store, subscription) == [(3, "delivered")]


def test_an_ended_subscription_leaves_nothing_behind(desk, store, receiver):
    subscription = subscribed(desk, receiver.url)
    submit(desk, "A-1")
    deliverer(desk).waiting()
    unsubscribe(desk, ANYONE, subscription.id)

    assert store.drawers() == []
    with pytest.raises(NotFoundError):
        unsubscribe(desk, ANYONE, subscription.id)


def test_subscriptions_move_with_the_store(desk, store, receiver):
    subscription = subscribed(desk, receiver.url)
    submit(desk, "A-1")
    send_all(desk)
    submit(desk, "A-2")
    other = MemoryStore()
    with store.reading() as reader:
        import_lines(other, export_lines(reader))

    send_all(replace(desk, store=other))

    assert receiver.seqs == [2, 3]
    assert known_subscription(other, subscription.id).secrets == subscription.secrets
