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


def changed(change):
    document = json.loads(SAMPLES[0].read_bytes())
    change(document)
    return json.dumps(document).encode()


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
