"""How often a key may ask: told with every answer, held to on every operation, and what a refusal says and leaves."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from pathlib import Path

import pytest
import yaml

from fourpair_service.app import create_app
from fourpair_service.config import Settings
from fourpair_service.records.key_commands import KeyGrant, make_key
from fourpair_service.records.keys import Scope
from fourpair_service.records.times import instant
from fourpair_service.storage.memory import MemoryStore

CONTRACT = yaml.safe_load((Path(__file__).resolve().parents[2] / "openapi.yaml").read_text())
NOW = datetime(2026, 12, 1, tzinfo=UTC)
PUBLIC = {"getLiveness", "getReadiness"}
OPERATIONS = {
    operation["operationId"]: (method.upper(), path, operation)
    for path, operations in CONTRACT["paths"].items()
    for method, operation in operations.items()
    if method in {"get", "put", "post", "patch", "delete"}
}
KEPT = sorted(OPERATIONS.keys() - PUBLIC)
JOB = {"id": "clinic", "name": "Clinic"}


class Service:
    """A service whose monotonic clock goes when it is told to, and keys with rates of their own."""

    def __init__(self, settings=None):
        self.now_s = 1000.0
        self.store = MemoryStore()
        app = create_app(settings, clock=lambda: NOW, store=self.store)
        object.__setattr__(app.extensions["fourpair"], "monotonic", lambda: self.now_s)
        self.client = app.test_client()

    def key(self, name, per_minute=None):
        grant = KeyGrant(name, frozenset({Scope.ADMIN}), requests_per_minute=per_minute)
        randomness = name.encode().ljust(32, b"-")[:32]
        return make_key(self.store, grant, key_id=name, randomness=randomness, now=instant(NOW)).text

    def ask(self, key, method="GET", path="/v1/jobs", **more):
        headers = {"Authorization": f"Bearer {key}", **more.pop("headers", {})}
        return self.client.open(path, method=method, headers=headers, **more)


@pytest.fixture
def service():
    return Service()


@pytest.fixture(scope="module")
def asked_out():
    """A service, and a key that has asked as often as it may."""
    own = Service()
    key = own.key("one", per_minute=1)
    assert own.ask(key, "POST", json=JOB).status_code == 201
    return own, key


def told(answer):
    """Return what an answer tells of the rate: requests left, and seconds until all are."""
    left, reset = re.fullmatch(r'"key";r=(\d+);t=(\d+)', answer.headers["RateLimit"]).groups()
    return int(left), int(reset)


@pytest.mark.parametrize("name", KEPT)
def test_no_operation_is_carried_out_for_a_key_that_asks_too_often(asked_out, name):
    own, key = asked_out
    method, path, operation = OPERATIONS[name]
    before = own.store.last_change()
    refused = own.ask(key, method, re.sub(r"{\w+}", "1", path), json=JOB if method != "GET" else None)
    problem = refused.get_json()

    assert (refused.status_code, problem["code"]) == (429, "rate-limited")
    assert problem["detail"] == "This key may ask once a minute; wait 60 s."
    assert refused.headers["Retry-After"] == "60"
    assert refused.headers["RateLimit-Policy"] == '"key";q=1;w=60'
    assert told(refused) == (0, 60)
    assert own.store.last_change() == before
    described = operation["responses"]["429"]["headers"]
    assert described.keys() <= {header for header, _ in refused.headers}
    assert described.keys() == {"Retry-After", "RateLimit-Policy", "RateLimit"}


@pytest.mark.parametrize("name", sorted(PUBLIC))
def test_whether_the_service_lives_may_be_asked_as_often_as_one_likes(asked_out, name):
    own, key = asked_out
    answer = own.ask(key, path=OPERATIONS[name][1])

    assert answer.status_code == 200
    assert "RateLimit" not in answer.headers
    assert "429" not in OPERATIONS[name][2]["responses"]


def test_what_is_left_counts_down_and_fills_again_as_time_goes_by(service):
    key = service.key("three", per_minute=3)

    assert [told(service.ask(key)) for _ in range(3)] == [(2, 20), (1, 40), (0, 60)]
    assert service.ask(key).status_code == 429
    service.now_s += 19.9
    refused = service.ask(key)
    assert (refused.status_code, refused.headers["Retry-After"]) == (429, "1")
    service.now_s += int(refused.headers["Retry-After"])
    assert service.ask(key).status_code == 200
    assert service.ask(key).status_code == 429
    service.now_s += 3600
    assert told(service.ask(key)) == (2, 20)


def test_what_the_client_has_already_and_what_is_refused_cost_nothing(service):
    key = service.key("two", per_minute=2)
    tag = {"If-None-Match": service.ask(key).headers["ETag"]}
    answers = [service.ask(key, headers=tag) for _ in range(5)]

    assert [(answer.status_code, told(answer)[0]) for answer in answers] == [(304, 1)] * 5
    assert service.ask(key).status_code == 200
    assert {service.ask(key).status_code for _ in range(50)} == {429}
    service.now_s += 30
    assert service.ask(key).status_code == 200


def test_a_refused_write_may_be_sent_again_with_its_key_and_is_then_done_once(service):
    key = service.key("slow", per_minute=1)
    service.ask(key)
    write = {"method": "POST", "json": JOB, "headers": {"Idempotency-Key": "k"}}
    assert service.ask(key, **write).status_code == 429
    assert service.store.last_change() is None
    service.now_s += 60
    done = service.ask(key, **write)
    service.now_s += 60
    again = service.ask(key, **write)

    assert (done.status_code, "Idempotent-Replayed" in done.headers) == (201, False)
    assert (again.status_code, again.headers["Idempotent-Replayed"]) == (201, "true")
    assert service.store.last_change().seq == 1


def test_one_key_does_not_ask_at_the_cost_of_another(service):
    first, second = service.key("first", per_minute=1), service.key("second", per_minute=1)

    assert [service.ask(key).status_code for key in (first, first, second)] == [200, 429, 200]


def test_a_key_without_a_rate_of_its_own_has_that_of_the_settings():
    own = Service(Settings(requests_per_minute=2))
    key, quick = own.key("usual"), own.key("quick", per_minute=5)

    assert own.ask(key).headers["RateLimit-Policy"] == '"key";q=2;w=60'
    assert own.ask(quick).headers["RateLimit-Policy"] == '"key";q=5;w=60'
    free = Service(Settings(requests_per_minute=0))
    key = free.key("free")
    answers = [free.ask(key) for _ in range(20)]
    assert {answer.status_code for answer in answers} == {200}
    assert not any("RateLimit" in answer.headers for answer in answers)


def test_whoever_asks_too_often_of_a_list_can_follow_what_the_refusal_says():
    """A client that goes by Retry-After alone comes through all pages, and is refused no more than once a page."""
    own = Service()
    key = own.key("pages", per_minute=2)
    over = own.key("over", per_minute=1000)
    for number in range(6):
        made = own.ask(over, "POST", json={"id": f"job-{number}", "name": "Job"})
        assert made.status_code == 201
    found, cursor, refusals = [], "", 0
    while cursor is not None:
        answer = own.ask(key, path=f"/v1/jobs?limit=1{f'&cursor={cursor}' if cursor else ''}")
        if answer.status_code == 429:
            refusals += 1
            own.now_s += int(answer.headers["Retry-After"])
            continue
        page = answer.get_json()
        found += [job["id"] for job in page["jobs"]]
        cursor = page["next_cursor"]

    assert found == [f"job-{number}" for number in range(6)]
    assert refusals == 4
