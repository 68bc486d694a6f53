"""`fourpair.testing`: messages that really go out, runs that go on, and bad days by script."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from fourpair import InvalidDocumentError, NotFoundError, Retries, RunGoesOnError
from fourpair.testing import DELIVERY_TROUBLES, service, troubled
from fourpair.webhooks import verify

ROOT = Path(__file__).resolve().parents[2]
HOOK = "https://tickets.example.com/fourpair"
PASSING, FAILING = (
    json.loads((ROOT / "samples" / "links" / name).read_text())
    for name in ("0A-01-clean-pass.json", "1A-01-bad-far-connector.json")
)
LIGHT = {
    "job": "clinic",
    "configuration": "permanent_link",
    "requirement": {"rule_set": "TIA", "category": "6"},
    "wire_map": {"contacts": [[p, p] for p in "12345678"]},
}
# Extends what is built in, with one limit tightened by 3 dB: whoever passed narrowly fails.
EDITION = """
id = "tia-568.2-d-2018-own"
extends = "tia-568.2-d-2018"
confirmed_by = "A. Person, invented for this test"
confirmed_on = "2026-11-20"
"""


class Follower:
    """Keeps the revision of each record, as somebody's own database would."""

    def __init__(self, running, client):
        self.state, self.order, self.messages = {}, [], []
        self._running = running
        self.inbox = client.changes.inbox(self._deal)
        self.secret = client.subscriptions.create(HOOK).secret
        running.deliver_to(HOOK, self.receive)

    def _deal(self, change):
        self.order.append(change.seq)
        if change.record:
            self.state[change.record] = change.revision

    def receive(self, body, headers):
        message = verify(body, headers, self.secret, now_s=self._running.clock.now().timestamp())
        self.messages.append(message)
        self.inbox.receive(message)
        return 204


def busy_day(client, links=6):
    client.jobs.create("clinic", name="Clinic")
    for n in range(links):
        record = client.records.create({**LIGHT, "label": f"A-{n}"}).record
        for note in range(n % 3):
            client.records.correct(record.id, {"notes": str(note)}, reason="note")


@pytest.mark.parametrize("seed", range(10))
def test_whatever_happens_to_messages_and_requests_the_follower_ends_with_the_state_of_the_service(seed):
    messages = troubled(seed, share=0.6, kinds=DELIVERY_TROUBLES[1:])
    with (
        service(troubles=troubled(seed), delivery_troubles=messages) as running,
        running.client(retries=Retries(tries=12)) as client,
    ):
        follower = Follower(running, client)
        busy_day(client)
        running.carry_on(seconds=86_400)
        follower.inbox.catch_up()
        feed = [change.seq for change in client.changes.list()]
        newest = {record.id: record.revision for record in client.records.list()}

    assert follower.order == feed
    assert follower.state == newest
    assert len(feed) == 13


def test_messages_are_signed_and_arrive_in_the_order_of_the_feed(tmp_path):
    with service() as running, running.client() as client:
        follower = Follower(running, client)
        busy_day(client, 3)
        tried = running.carry_on()
        told = [
            delivery.state for delivery in client.subscriptions.deliveries(client.subscriptions.list()[0])
        ]

    assert [message.seq for message in follower.messages] == list(range(1, tried + 1))
    assert [message.previous_seq for message in follower.messages][1:] == list(range(1, tried))
    assert told == ["delivered"] * tried


@pytest.mark.parametrize(
    ("trouble", "arrived"),
    [
        # After a failure the service tries first what was tried less often.
        ("lost", [2, 1, 3]),
        ("lost_answer", [1, 2, 1, 3]),
        ("duplicated", [1, 1, 2, 3]),
        ("late", [2, 1, 3]),
        ("dropped", [2, 3]),
    ],
)
def test_each_trouble_of_a_message_is_what_it_says(trouble, arrived):
    with service(delivery_troubles=[trouble]) as running, running.client() as client:
        follower = Follower(running, client)
        for name in ("a", "b", "c"):
            client.jobs.create(name, name=name)
        running.carry_on(seconds=60)

    assert [message.seq for message in follower.messages] == arrived
    assert follower.order == [1, 2, 3]


@pytest.mark.parametrize("trouble", ["lost_answer", "slow", "duplicated"])
def test_the_secret_of_a_subscription_is_known_though_the_first_answer_was_lost(trouble):
    with service(troubles=[trouble]) as running, running.client() as client:
        follower = Follower(running, client)
        client.jobs.create("a", name="a")
        running.carry_on()

        assert len(client.subscriptions.list()) == 1
        known = [client.subscriptions.create(HOOK, idempotency_key="own") for _ in range(2)]
    assert [message.seq for message in follower.messages] == [1]
    assert [each.secret is None for each in known] == [False, True]


def test_what_is_late_at_the_end_arrives_all_the_same():
    with service(delivery_troubles=["late", "late"]) as running, running.client() as client:
        follower = Follower(running, client)
        client.jobs.create("a", name="a")
        running.carry_on()

    assert [message.seq for message in follower.messages] == [1]


def test_a_lost_message_waits_until_the_clock_has_moved():
    with service(delivery_troubles=["lost"] * 2) as running, running.client() as client:
        follower = Follower(running, client)
        client.jobs.create("a", name="a")
        at_once, later = running.carry_on(), running.carry_on(seconds=600)
        (delivery,) = client.subscriptions.deliveries(client.subscriptions.list()[0])

    assert (at_once, later, len(follower.messages)) == (1, 2, 1)
    assert [attempt["error"] is None for attempt in delivery.attempts] == [False, False, True]
    assert running.clock.monotonic() == 35


def test_a_receiver_that_was_not_given_is_named_in_what_became_of_the_message():
    with service() as running, running.client() as client:
        made = client.subscriptions.create(HOOK)
        client.subscriptions.test(made)
        running.carry_on()
        (delivery,) = client.subscriptions.deliveries(made)

    assert HOOK in delivery.attempts[0]["error"]
    assert "deliver_to" in delivery.attempts[0]["error"]


def test_what_a_receiver_raises_reaches_the_test_and_the_message_still_waits():
    def fail(body, headers):
        raise ZeroDivisionError("in the receiver")

    with service() as running, running.client() as client:
        client.subscriptions.create(HOOK)
        running.deliver_to(HOOK, fail)
        client.jobs.create("a", name="a")
        with pytest.raises(ZeroDivisionError):
            running.carry_on()
        follower = []
        running.deliver_to(HOOK, lambda body, headers: follower.append(body) or 204)
        running.carry_on()

    assert len(follower) == 1


def test_a_run_goes_on_while_it_is_waited_for_and_a_regrading_moves_records(tmp_path):
    (tmp_path / "own.toml").write_text(EDITION)
    with service(limits_directory=tmp_path) as running, running.client() as client:
        client.jobs.create("clinic", name="Clinic")
        rule_set = {"rule_set": "tia-568.2-d-2018", "category": "6"}
        for label, link in (("A", PASSING), ("B", FAILING)):
            client.records.create({**link, "job": "clinic", "label": label, "requirement": rule_set})
        dry = client.regrades.wait(client.regrades.start("tia-568.2-d-2018-own", dry_run=True))
        started = client.regrades.start("tia-568.2-d-2018-own", reason="confirmed")
        waiting = client.regrades.get(started).state
        running.carry_on()
        done = client.regrades.get(started)
        kinds = [change.kind for change in client.changes.list()][-2:]
        asked = client.assessments.wait(client.assessments.start({"application": "1000BASE-T"}))
        answers = {finding.label: finding.answer for finding in client.assessments.findings(asked)}

    assert (dry.state, dry.settled, dry.counts["changed"]) == ("done", 2, 2)
    assert (waiting, done.state) == ("waiting", "done")
    assert kinds == ["record.regraded"] * 2
    assert (asked.state, answers["A"]) == ("done", "supported")


def test_a_run_that_was_stopped_is_waited_for_no_longer():
    with service() as running, running.client() as client:
        run = client.assessments.start({"power_type": 4})
        client.assessments.stop(run)

        assert client.assessments.wait(run).state == "stopped"
        with pytest.raises(NotFoundError):
            client.assessments.wait("none")


def test_a_wait_ends_in_time_on_the_clock_of_the_test():
    with service() as running, running.client() as client:
        run = client.assessments.start({"power_type": 4})
        idle = client.with_options(sleep=running.clock.sleep)
        with pytest.raises(RunGoesOnError):
            idle.assessments.wait(run, timeout_s=600)

        assert running.clock.monotonic() == 600


def test_networks_of_the_site_are_those_that_were_given():
    inside = "http://10.1.2.3:8080/hook"
    with service() as running, running.client() as client, pytest.raises(InvalidDocumentError):
        client.subscriptions.create(inside)
    with service(webhook_networks=["10.1.0.0/16"]) as running, running.client() as client:
        seen = []
        running.deliver_to(inside, lambda body, headers: seen.append(json.loads(body)["type"]) or 204)
        client.subscriptions.test(client.subscriptions.create(inside))
        running.carry_on()

    assert seen == ["test"]


@pytest.mark.parametrize("script", ["troubles", "delivery_troubles"])
def test_a_trouble_that_does_not_exist_is_named(script):
    def use(running, client):
        client.subscriptions.create(HOOK)
        running.deliver_to(HOOK, lambda body, headers: 204)
        client.jobs.create("a", name="a")
        running.carry_on()

    with (
        service(**{script: ["rain"]}) as running,
        running.client() as client,
        pytest.raises(ValueError, match="'rain'"),
    ):
        use(running, client)
