"""POST /v1/grade and what surrounds it, through the real application."""

from __future__ import annotations

import gzip
import json
from datetime import UTC, datetime
from pathlib import Path

import pytest

from fourpair_service.app import create_app
from fourpair_service.http.schemas.verdict import GradeAnswerSchema

ROOT = Path(__file__).resolve().parents[2]
SAMPLES = sorted((ROOT / "samples" / "links").glob("*.json"))
NOW = datetime(2026, 12, 1, tzinfo=UTC)


@pytest.fixture(scope="module")
def client():
    return create_app(clock=lambda: NOW).test_client()


def post(client, body, **headers):
    return client.post("/v1/grade", data=body, headers={"Content-Type": "application/json", **headers})


@pytest.mark.parametrize("path", SAMPLES, ids=lambda p: p.stem)
def test_every_sample_gets_a_verdict_that_the_contract_describes(client, path):
    response = post(client, path.read_bytes())

    assert response.status_code == 200
    assert GradeAnswerSchema().validate(response.get_json()) == {}


def test_the_same_sample_gives_the_same_bytes_plain_and_compressed(client):
    raw = SAMPLES[0].read_bytes()

    plain, packed = post(client, raw), post(client, gzip.compress(raw), **{"Content-Encoding": "gzip"})

    assert plain.data == packed.data


HOSTILE = {
    "empty": b"",
    "not JSON": b"{",
    "not UTF-8": b'{"label": "\xff"}',
    "duplicate keys": b'{"configuration": "channel", "configuration": "channel"}',
    "hidden duplicate": b'{"a" : 1, "a": ":"}',
    "NaN": b'{"a": NaN}',
    "infinity": b'{"a": 1e400}',
    "5,000 digits": b'{"a": ' + b"9" * 5000 + b"}",
    "100,000 brackets": b"[" * 100_000,
    "40 levels": b"[" * 40 + b"]" * 40,
    "half a surrogate": b'{"label": "\\ud800"}',
}


@pytest.mark.parametrize("body", HOSTILE.values(), ids=HOSTILE.keys())
def test_a_body_that_cannot_be_read_is_a_problem_and_never_a_failure(client, body):
    response = post(client, body)

    assert response.status_code == 400
    assert response.content_type == "application/problem+json"
    assert response.get_json()["code"] == "unreadable-body"
    assert client.get(response.get_json()["type"]).status_code == 200


def test_a_gzip_bomb_is_refused(client):
    response = post(client, gzip.compress(b" " * 50_000_000), **{"Content-Encoding": "gzip"})

    assert response.status_code == 413


@pytest.mark.parametrize("kind", ["text/plain", "application/xml", ""])
def test_another_content_type_is_refused(client, kind):
    assert client.post("/v1/grade", data=b"{}", headers={"Content-Type": kind}).status_code == 415


def test_an_unknown_query_parameter_is_refused_by_name(client):
    response = client.post("/v1/grade?categry=6", data=b"{}", headers={"Content-Type": "application/json"})

    assert response.status_code == 422
    assert "categry" in response.get_json()["errors"][0]["pointer"]


def changed(change):
    document = json.loads(SAMPLES[0].read_bytes())
    change(document)
    return json.dumps(document).encode()


MISTAKES = {
    "/lenght_m": lambda d: d.update(lenght_m=4),
    "/requirement/category": lambda d: d["requirement"].update(category="9"),
    "/requirement/configuration": lambda d: d["requirement"].update(configuration="channel"),
    "/pairs/12/delay_ns": lambda d: d["pairs"]["12"].update(delay_ns=0.2),
    "/frequency_mhz": lambda d: d.update(frequency_mhz=[1e6, 2e6]),
    "/sweeps/next/near/36-12": lambda d: d["sweeps"]["next"]["near"].update({"36-12": [1.0]}),
    "/sweeps/insertion_loss/12": lambda d: d["sweeps"]["insertion_loss"].update(
        {"12": [-v for v in d["sweeps"]["insertion_loss"]["12"]]}
    ),
}


@pytest.mark.parametrize("pointer", MISTAKES)
def test_a_mistake_is_answered_with_its_place_and_advice(client, pointer):
    response = post(client, changed(MISTAKES[pointer]))

    problem = response.get_json()
    assert response.status_code == 422
    assert problem["errors"][0]["pointer"].startswith(pointer)
    assert problem["errors"][0]["detail"]


def test_a_boolean_among_the_values_of_a_sweep_is_refused(client):
    body = changed(lambda d: d["sweeps"]["insertion_loss"]["12"].__setitem__(3, True))

    assert post(client, body).get_json()["errors"][0]["pointer"] == "/sweeps/insertion_loss/12/3"


def test_a_standard_known_by_name_says_load_your_own(client):
    body = changed(lambda d: d["requirement"].update(rule_set="EN 50173-1"))

    assert "load your own" in post(client, body).get_json()["detail"]


@pytest.mark.parametrize(
    "path", ["/livez", "/readyz", "/docs", "/docs/start.js", "/openapi.yaml", "/problems"]
)
def test_the_pages_beside_answer(client, path):
    assert client.get(path).status_code == 200


def test_the_docs_page_names_no_other_host(client):
    page = client.get("/docs")

    assert "://" not in page.text
    assert "default-src 'none'" in page.headers["Content-Security-Policy"]


def test_a_wrong_method_names_the_right_one(client):
    response = client.get("/v1/grade")

    assert response.status_code == 405
    assert "POST" in response.headers["Allow"]
