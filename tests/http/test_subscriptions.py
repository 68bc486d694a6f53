"""Subscriptions over HTTP: what is asked, shown once, refused, and delivered by the worker."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from ipaddress import ip_network
from pathlib import Path

import pytest

from fourpair_service.app import create_app
from fourpair_service.background import Background
from fourpair_service.config import InvalidSettingError, Settings
from fourpair_service.http.schemas import subscriptions as schemas
from fourpair_service.records.key_commands import KeyGrant, make_key
from fourpair_service.records.keys import Scope
from fourpair_service.storage.memory import MemoryStore
from webhook_receiver import receiving

ROOT = Path(__file__).resolve().parents[2]
LINK = json.loads((ROOT / "samples" / "links" / "2A-03-summary-only.json").read_bytes())
SETTINGS = Settings(webhook_networks=(ip_network("127.0.0.0/8"),))


@pytest.fixture
def app():
    return create_app(SETTINGS, clock=lambda: datetime.now(UTC), store=MemoryStore())


@pytest.fixture
def client(app):
    client = app.test_client()
    client.post("/v1/jobs", json={"id": "clinic", "name": "Clinic"})
    return client


def deliver(app):
    Background(SETTINGS, app.extensions["fourpair"].desk).deliver()


def test_a_receiver_verifies_what_it_gets_with_the_secret_that_was_shown_once(app, client):
    with receiving() as receiver:
        made = client.post("/v1/subscriptions", json={"url": receiver.url, "kinds": ["record.submitted"]})
        url, document = made.headers["Location"], made.get_json()
        assert made.status_code == 201
        assert schemas.NewSubscriptionSchema().validate(document) == {}
        receiver.secret = document["secret"]
        record = client.post("/v1/records", json={**LINK, "job": "clinic"}).get_json()["record"]
        client.post(f"{url}/test")
        deliver(app)

        assert receiver.refused == []
        submitted, test = receiver.arrived
        assert (
            schemas.MessageSchema().validate({k: submitted[k] for k in ("type", "timestamp", "data")}) == {}
        )
        assert (submitted["data"]["record"], test["type"]) == (record["id"], "test")
        listed = client.get(f"{url}/deliveries").get_json()
        assert schemas.DeliveryListSchema().validate(listed) == {}
        assert [(d["kind"], d["state"]) for d in listed["deliveries"]] == [
            ("record.submitted", "delivered"),
            ("test", "delivered"),
        ]
        page = client.get(f"{url}/deliveries?limit=1")
        assert f"cursor={page.get_json()['next_cursor']}" in page.headers["Link"]
        shown = client.get(url)
        assert document["secret"] not in shown.text + client.get("/v1/subscriptions").text


def test_a_subscription_is_changed_paused_rotated_replayed_and_ended(app, client):
    with receiving() as receiver:
        url = client.post("/v1/subscriptions", json={"url": receiver.url, "after": 0}).headers["Location"]
        changed = client.patch(url, json={"state": "paused", "description": "billing"}).get_json()
        assert (changed["state"], changed["paused_because"], changed["description"]) == (
            "paused",
            "asked for",
            "billing",
        )
        deliver(app)
        assert receiver.arrived == []
        client.patch(url, json={"state": "active"})
        rotated = client.post(f"{url}/secrets", json={"hours": 2}).get_json()
        assert schemas.SecretSchema().validate(rotated) == {}
        receiver.secret = rotated["secret"]
        deliver(app)
        assert receiver.seqs == [1]
        assert client.post(f"{url}/replays", json={"first_seq": 1}).get_json() == {"messages": 1}
        deliver(app)
        assert receiver.seqs == [1, 1]
        assert client.get(f"{url}/deliveries?state=pending").get_json()["deliveries"] == []
        assert client.delete(url).status_code == 200
        assert client.get(url).status_code == 404


@pytest.mark.parametrize(
    ("url", "words"),
    [
        ("http://receiver.example/", "http is refused"),
        ("https://10.0.0.1/", "no public address"),
        ("https://[::1]/", "no public address"),
        ("ftp://receiver.example/", "https"),
        ("https://a:b@receiver.example/", "user name"),
    ],
)
def test_a_receiver_that_nothing_may_be_sent_to_is_refused_at_once(url, words):
    client = create_app(store=MemoryStore()).test_client()
    answer = client.post("/v1/subscriptions", json={"url": url})

    assert (answer.status_code, answer.get_json()["code"]) == (422, "target-refused")
    assert words in answer.get_json()["detail"]
    assert answer.get_json()["errors"][0]["pointer"] == "/url"


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({}, "/url"),
        ({"url": 5}, "/url"),
        ({"url": "https://a.example/", "kinds": ["record.lost"]}, "/kinds/0"),
        ({"url": "https://a.example/", "filter": "x"}, "/filter"),
    ],
)
def test_what_cannot_be_subscribed_to_is_refused_with_its_place(client, body, pointer):
    answer = client.post("/v1/subscriptions", json=body)

    assert answer.status_code == 422
    assert answer.get_json()["errors"][0]["pointer"] == pointer


def test_a_repeated_request_makes_one_subscription_and_shows_no_secret_again(client):
    body, headers = {"url": "https://a.example/"}, {"Idempotency-Key": "k"}
    first = client.post("/v1/subscriptions", json=body, headers=headers).get_json()
    again = client.post("/v1/subscriptions", json=body, headers=headers)

    assert (again.get_json()["id"], again.get_json()["secret"]) == (first["id"], None)
    assert len(client.get("/v1/subscriptions").get_json()["subscriptions"]) == 1


def test_subscribing_needs_a_key_for_administration(app, client):
    store = app.extensions["fourpair"].desk.store
    made = make_key(
        store,
        KeyGrant("k", frozenset({Scope.READ, Scope.WRITE})),
        key_id="k",
        randomness=bytes(32),
        now="2026-11-01T00:00:00.000000Z",
    )
    headers = {"Authorization": f"Bearer {made.text}"}
    assert client.get("/v1/subscriptions", headers=headers).status_code == 403


def test_the_contract_describes_the_messages(client):
    document = client.get("/openapi.json").get_json()

    assert "record.regraded" in document["webhooks"]
    assert document["components"]["schemas"]["Message"]["required"]


@pytest.mark.parametrize(
    ("variable", "value"),
    [("FOURPAIR_WEBHOOK_NETWORKS", "10.0.0.1/8"), ("FOURPAIR_WEBHOOK_AUTHORITIES", "/nowhere.pem")],
)
def test_a_wrong_setting_of_the_sender_is_refused_by_its_name(variable, value):
    with pytest.raises(InvalidSettingError, match=variable):
        Settings.from_environment({variable: value})
    assert Settings.from_environment({"FOURPAIR_WEBHOOK_NETWORKS": "10.0.0.0/8, fd00::/8"}).webhook_networks
