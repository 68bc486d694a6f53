"""Webhooks: only what is proven is read, and whatever the network does, nothing is missed or done twice."""

from __future__ import annotations

import base64
import json
from datetime import UTC, datetime

import pytest
from standardwebhooks.webhooks import Webhook

from fourpair import InvalidSettingError
from fourpair.testing import disordered, service
from fourpair.webhooks import InvalidMessageError, signature, verify

SECRET = "whsec_" + base64.b64encode(bytes(range(24))).decode()
OLD = "whsec_" + base64.b64encode(bytes(24)).decode()
NOW_S = 1_767_225_600
BODY = b'{"type":"record.retested","data":{"seq":9,"previous_seq":4}}'
LIGHT = {
    "job": "clinic",
    "configuration": "permanent_link",
    "requirement": {"rule_set": "TIA", "category": "6"},
    "wire_map": {"contacts": [[p, p] for p in "12345678"]},
}


def signed(body=BODY, secret=SECRET, at_s=NOW_S, message_id="d1"):
    return {
        "Webhook-Id": message_id,
        "Webhook-Timestamp": str(at_s),
        "Webhook-Signature": signature(secret, message_id, at_s, body),
    }


def test_signatures_are_those_of_the_reference_library():
    # standardwebhooks, the library of the authors of the specification.
    reference = Webhook(SECRET)
    at = datetime.fromtimestamp(NOW_S, UTC)

    assert reference.sign("d1", at, BODY.decode()) == signature(SECRET, "d1", NOW_S, BODY)


def test_what_the_reference_library_signs_is_read():
    now = datetime.now(UTC)
    headers = {
        "webhook-id": "d1",
        "webhook-timestamp": str(int(now.timestamp())),
        "webhook-signature": Webhook(SECRET).sign("d1", now, BODY.decode()),
    }

    assert verify(BODY, headers, SECRET).seq == 9


def test_while_a_secret_is_rotated_both_count():
    both = signed()
    both["Webhook-Signature"] = f"v1a,other {signed(secret=OLD)['Webhook-Signature']} v1,AAAA"

    assert verify(BODY, both, [SECRET, OLD], now_s=NOW_S).previous_seq == 4
    with pytest.raises(InvalidMessageError):
        verify(BODY, both, SECRET, now_s=NOW_S)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"Webhook-Signature": ""}, "webhook-signature is missing"),
        ({"Webhook-Id": "d2"}, "No signature fits"),
        ({"Webhook-Timestamp": str(NOW_S + 1)}, "No signature fits"),
        ({"Webhook-Timestamp": "yesterday"}, "no number"),
        ({"Webhook-Timestamp": "٣"}, "no number"),
        ({"Webhook-Signature": "v1,ünsinn"}, "No signature fits"),
    ],
)
def test_what_is_not_proven_is_refused(change, words):
    with pytest.raises(InvalidMessageError, match=words):
        verify(BODY, signed() | change, SECRET, now_s=NOW_S)


def test_every_altered_byte_is_noticed():
    headers = signed()
    for place in range(len(BODY)):
        altered = BODY[:place] + bytes([BODY[place] ^ 1]) + BODY[place + 1 :]
        with pytest.raises(InvalidMessageError):
            verify(altered, headers, SECRET, now_s=NOW_S)


@pytest.mark.parametrize("away_s", [-301, 301])
def test_an_old_delivery_is_not_played_again(away_s):
    with pytest.raises(InvalidMessageError, match="301 s"):
        verify(BODY, signed(), SECRET, now_s=NOW_S + away_s)


@pytest.mark.parametrize("body", [b"{", b"[]", b"\xff"])
def test_a_proven_body_that_is_no_object_is_refused(body):
    with pytest.raises(InvalidMessageError, match="body"):
        verify(body, signed(body), SECRET, now_s=NOW_S)


@pytest.mark.parametrize("secret", ["", "whsec_", "whsec_?"])
def test_a_secret_that_is_none_is_a_mistake_of_the_receiver(secret):
    with pytest.raises(InvalidSettingError):
        verify(BODY, signed(), secret, now_s=NOW_S)


def deliveries(changes, wanted=lambda change: True):
    """Return deliveries as a subscription gets them, each with the ``seq`` of the one before."""
    previous = None
    for change in filter(wanted, changes):
        data = {**change.raw, "previous_seq": previous}
        body = json.dumps({"type": change.kind, "data": data}).encode()
        yield verify(body, signed(body), SECRET, now_s=NOW_S)
        previous = change.seq


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize("only_failing", [False, True])
def test_lost_repeated_and_reordered_deliveries_leave_the_follower_with_the_state_of_the_service(
    seed, only_failing
):
    def wanted(change):
        return not only_failing or change.kind == "record.corrected"

    state, order = {}, []

    def deal(change):
        order.append(change.seq)
        state[change.record] = change.revision

    with service() as running, running.client() as client:
        client.jobs.create("clinic", name="Clinic")
        for n in range(8):
            record = client.records.create({**LIGHT, "label": f"A-{n}"}).record
            for note in range(n % 3):
                client.records.correct(record.id, {"notes": str(note)}, reason="note")
        inbox = client.changes.inbox(deal, wanted=wanted)
        for message in disordered(list(deliveries(client.changes.list(), wanted)), seed):
            inbox.receive(message)
        inbox.catch_up()
        expected = [change for change in client.changes.list() if wanted(change)]
        newest = {record.id: record.revision for record in client.records.list()}

    assert order == [change.seq for change in expected]
    if not only_failing:
        assert {name: number for name, number in state.items() if name} == newest


def test_a_message_of_what_was_dealt_with_asks_nothing_of_the_service():
    seen = []
    with service() as running, running.client() as client:
        client.jobs.create("clinic", name="Clinic")
        client.records.create({**LIGHT, "label": "A"})
        sent = list(deliveries(client.changes.list()))
        inbox = client.changes.inbox(seen.append)
        dealt = [inbox.receive(sent[1])]
        before = running.requests_sent
        dealt += [inbox.receive(message) for message in (sent[0], sent[1])]

        assert running.requests_sent == before
    assert dealt == [2, 0, 0]
    assert [change.seq for change in seen] == [1, 2]


def test_a_change_that_could_not_be_dealt_with_comes_again():
    tries = []

    def deal(change):
        tries.append(change.seq)
        if len(tries) == 2:
            raise RuntimeError("the ticket system is down")

    with service() as running, running.client() as client:
        client.jobs.create("clinic", name="Clinic")
        client.records.create({**LIGHT, "label": "A"})
        inbox = client.changes.inbox(deal)
        with pytest.raises(RuntimeError):
            inbox.catch_up()
        inbox.catch_up()

    assert tries == [1, 2, 2]
