"""Every operation against every scope, taken from the contract itself."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
import yaml
from werkzeug.test import TestResponse

from fourpair_service.app import create_app
from fourpair_service.config import InvalidSettingError, Settings
from fourpair_service.http.rate_limit import RateLimit
from fourpair_service.records.key_commands import KeyGrant, make_key, revoke_key
from fourpair_service.records.keys import Scope
from fourpair_service.records.times import instant
from fourpair_service.server import check_address
from fourpair_service.storage.memory import MemoryStore

CONTRACT = yaml.safe_load((Path(__file__).resolve().parents[2] / "openapi.yaml").read_text())
NOW = datetime(2026, 12, 1, tzinfo=UTC)
OPERATIONS = [
    (method, path, operation)
    for path, operations in CONTRACT["paths"].items()
    for method, operation in operations.items()
    if method in {"get", "put", "post", "patch", "delete"}
]
PUBLIC = {"/livez", "/readyz"}


@pytest.fixture(scope="module")
def store():
    return MemoryStore()


def key_for(store, name, *scopes, **more):
    grant = KeyGrant(name, frozenset(scopes), **more)
    randomness = name.encode().ljust(32, b"-")[:32]
    return make_key(store, grant, key_id=name, randomness=randomness, now=instant(NOW)).text


@pytest.fixture(scope="module")
def keys(store):
    return {scope: key_for(store, scope.value, scope) for scope in Scope}


@pytest.fixture(scope="module")
def client(store, keys):
    return create_app(clock=lambda: NOW, store=store).test_client()


def call(client, method, path, key=None) -> TestResponse:
    url = path.replace("{number}", "1")
    for name in (
        "job_id",
        "record_id",
        "attachment_id",
        "handover_id",
        "party_id",
        "system",
        "external_id",
        "key",
        "name",
        "code",
    ):
        url = url.replace(f"{{{name}}}", "none")
    headers = {} if key is None else {"Authorization": f"Bearer {key}"}
    return client.open(url, method=method.upper(), headers=headers)


@pytest.mark.parametrize(("method", "path", "operation"), OPERATIONS, ids=lambda v: str(v)[:50])
def test_an_operation_opens_to_its_scopes_and_to_no_other(client, keys, method, path, operation):
    if path in PUBLIC:
        assert call(client, method, path).status_code == 200
        assert "security" not in operation
        return
    allowed = {Scope(scope) for scope in operation["x-scopes"]} | {Scope.ADMIN}

    assert call(client, method, path).get_json()["code"] == "key-missing"
    for scope, key in keys.items():
        code = (call(client, method, path, key).get_json(silent=True) or {}).get("code")
        assert (code == "scope-missing") == (scope not in allowed), (scope, code)


def test_every_write_needs_more_than_reading(client):
    readable = {o["operationId"] for _, _, o in OPERATIONS if "read" in o.get("x-scopes", ())}
    writes = {o["operationId"] for m, _, o in OPERATIONS if m != "get"}

    assert readable & writes == {"reconcile"}


def test_a_key_that_sees_one_job_finds_nothing_of_another(store, client):
    admin, own = key_for(store, "all", Scope.WRITE, Scope.READ), None
    own = key_for(store, "mine", Scope.WRITE, Scope.READ, jobs=frozenset({"mine"}))
    both = {"admin": {"Authorization": f"Bearer {admin}"}, "own": {"Authorization": f"Bearer {own}"}}
    for job in ("mine", "theirs"):
        client.post("/v1/jobs", json={"id": job, "name": job}, headers=both["admin"])
        document = {"label": "A", "job": job, "configuration": "channel"}
        document["requirement"] = {"rule_set": "TIA", "category": "6"}
        made = client.post("/v1/records", json=document, headers=both["admin"])
        assert made.status_code == 201, made.get_json()
    theirs = made.get_json()["record"]["id"]

    def get(path):
        return client.get(path, headers=both["own"])

    assert [j["id"] for j in get("/v1/jobs").get_json()["jobs"]] == ["mine"]
    assert [r["job"] for r in get("/v1/records").get_json()["records"]] == ["mine"]
    assert {c["job"] for c in get("/v1/changes").get_json()["changes"]} == {"mine"}
    assert get("/v1/stats?by=job").get_json()["groups"][0]["values"] == {"job": "mine"}
    for path in ("", "/verdict", "/measurement", "/revisions", "/revisions/1", "/assessment"):
        assert get(f"/v1/records/{theirs}{path}").status_code == 404
    for path in ("", "/summary", "/billing", "/faults", "/schedule", "/attachments", "/handover"):
        assert get(f"/v1/jobs/theirs{path}").status_code == 404
    assert client.post("/v1/jobs", json={"id": "new", "name": "x"}, headers=both["own"]).status_code == 409
    stolen = client.post("/v1/records", json={**document, "label": "B"}, headers=both["own"])
    assert stolen.status_code == 404


def moved_record(store, client, name):
    """Return the answer that moved a record from job ``{name}-from`` to ``{name}-to``, and keys of both."""
    admin = {"Authorization": f"Bearer {key_for(store, name, Scope.WRITE, Scope.READ)}"}
    own = {}
    for end in ("from", "to"):
        job = f"{name}-{end}"
        key = key_for(store, f"{name}key{end}", Scope.WRITE, Scope.READ, jobs=frozenset({job}))
        own[end] = {"Authorization": f"Bearer {key}"}
        requirement = {"rule_set": "TIA", "category": "6"}
        client.post("/v1/jobs", json={"id": job, "name": job, "requirement": requirement}, headers=admin)
    document = {"label": "A", "configuration": "channel", "notes": "secret", "external_ids": {"crm": name}}
    made = client.post(
        "/v1/records", json=document | {"job": f"{name}-from"}, headers=own["from"] | {"Idempotency-Key": "k"}
    )
    record = made.get_json()["record"]["id"]
    moved = client.patch(
        f"/v1/records/{record}?reason=moved",
        json={"job": f"{name}-to", "notes": "shared"},
        headers=admin | {"If-Match": made.headers["ETag"]},
    )
    assert moved.status_code == 200, moved.get_json()
    return moved.get_json(), document, own


def test_a_key_that_sees_one_job_sees_a_moved_record_only_as_it_is_there(store, client):
    moved, _, own = moved_record(store, client, "move")
    path, seq = f"/v1/records/{moved['record']['id']}", moved["record"]["seq"]

    def get(end, query):
        return client.get(f"{path}{query}", headers=own[end])

    assert [r["number"] for r in get("to", "/revisions").get_json()["revisions"]] == [2]
    assert get("to", "/measurement").get_json()["notes"] == "shared"
    for query in (
        "/revisions/1",
        "/revisions/1/verdict",
        "/revisions/1/measurement",
        f"?as_of={seq - 1}",
        f"/verdict?as_of={seq - 1}",
        f"/measurement?as_of={seq - 1}",
        f"/assessment?as_of={seq - 1}",
    ):
        assert get("to", query).status_code == 404, query
        assert "move-from" not in get("to", query).get_data(as_text=True)
    for query in ("", "/revisions", "/revisions/1", f"?as_of={seq - 1}"):
        assert get("from", query).status_code == 404, query


def test_the_feed_tells_a_key_of_a_move_without_the_other_job(store, client):
    moved, _, own = moved_record(store, client, "tell")
    record = moved["record"]["id"]

    told = {
        end: [
            change
            for change in client.get("/v1/changes", headers=own[end]).get_json()["changes"]
            if change["record"] == record
        ]
        for end in own
    }

    (arrived,), (_, left) = told["to"], told["from"]
    assert (arrived["job"], arrived["previous_job"], arrived["previous_outcome"]) == ("tell-to", None, None)
    assert (left["job"], left["previous_job"]) == (None, "tell-from")
    assert (left["label"], left["outcome"]) == (None, None)


def test_a_repeated_request_and_an_external_id_tell_nothing_of_a_record_that_moved_away(store, client):
    _, document, own = moved_record(store, client, "away")
    mine = document | {"job": "away-from"}

    again = client.post("/v1/records", json=mine, headers=own["from"] | {"Idempotency-Key": "k"})
    put = client.put("/v1/records/by-external-id/crm/away", json=mine, headers=own["from"])
    stale = client.put(
        "/v1/records/by-external-id/crm/away", json=mine, headers=own["from"] | {"If-Match": '"1-x"'}
    )

    assert again.status_code == 404
    assert (put.status_code, put.get_json()["code"]) == (409, "external-id-taken")
    assert stale.status_code == 409
    for answer in (again, put, stale):
        assert "away-to" not in answer.get_data(as_text=True)


@pytest.mark.parametrize(
    "given", ["Basic x", "Bearer", "Bearer fpk_a_b", "Bearer fpk_none_" + "0" * 49, "fpk", "Bearer \u00e9"]
)
def test_what_is_no_key_is_refused_with_a_challenge(client, given):
    response = client.get("/v1/jobs", headers={"Authorization": given})

    assert (response.status_code, response.get_json()["code"]) == (401, "invalid-key")
    assert response.headers["WWW-Authenticate"].startswith("Bearer")


def test_a_revoked_and_an_expired_key_open_nothing(store, client):
    gone = key_for(store, "gone", Scope.READ)
    late = key_for(store, "late", Scope.READ, expires_at=instant(NOW - timedelta(days=1)))
    revoke_key(store, "gone", now=instant(NOW))

    assert "revoked" in call(client, "get", "/v1/jobs", gone).get_json()["detail"]
    assert "expired" in call(client, "get", "/v1/jobs", late).get_json()["detail"]


def test_a_bucket_fills_as_time_goes_by_and_never_above_its_size():
    limit = RateLimit()
    taken = [limit.take("k", 60, 0.0).retry_after_s for _ in range(61)]

    assert taken == [0] * 60 + [1]
    assert limit.take("k", 60, 1.0).retry_after_s == 0
    assert limit.take("k", 60, 10_000.0).left == 59
    limit.give_back("k")
    assert limit.take("k", 60, 10_000.0).left == 59


def test_the_last_use_of_a_key_is_noted(store, client, keys):
    call(client, "get", "/v1/jobs", keys[Scope.READ])

    assert store.api_key("read").last_used_at == instant(NOW)


def test_nobody_elsewhere_is_listened_to_without_keys():
    away = Settings(host="0.0.0.0")
    with pytest.raises(InvalidSettingError, match="keys make"):
        check_address(away, has_keys=False)
    check_address(away, has_keys=True)
    check_address(Settings(host="0.0.0.0", allow_open=True), has_keys=False)
    check_address(Settings(), has_keys=False)


def test_without_any_key_everything_is_open():
    client = create_app(clock=lambda: NOW).test_client()

    assert client.get("/v1/parties").status_code == 200
