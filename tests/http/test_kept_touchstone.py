"""Records whose sweeps come as Touchstone files."""

from __future__ import annotations

import io
import json
from pathlib import Path

import pytest

from fourpair_service.app import create_app

MEASURED = Path(__file__).resolve().parents[2] / "samples" / "measured"
FILES = ("CABLE1_TX_pair.s4p", "CABLE1_RX_pair.s4p")
DOCUMENT = {
    "label": "CABLE1",
    "job": "bench",
    "configuration": "channel",
    "requirement": {"rule_set": "TIA", "category": "6"},
    "pairs": {"12": {"length_m": 2.8}},
    "touchstone": {"pairs": ["12", "36"]},
}


@pytest.fixture
def client():
    client = create_app().test_client()
    assert client.post("/v1/jobs", json={"id": "bench", "name": "Bench"}).status_code == 201
    return client


def form(document=DOCUMENT, files=FILES):
    parts = [(io.BytesIO((MEASURED / name).read_bytes()), name) for name in files]
    return {"measurement": json.dumps(document), "sweep": parts}


def send(client, method="post", path="/v1/records", headers=None, **more):
    return getattr(client, method)(
        path, data=form(**more), content_type="multipart/form-data", headers=headers or {}
    )


def test_the_record_of_files_has_the_verdict_that_grading_them_gives(client):
    graded = send(client, path="/v1/grade").get_json()
    kept = send(client)

    assert kept.status_code == 201, kept.get_json()
    assert kept.get_json()["verdict"] == graded["verdict"]


def test_the_measurement_is_given_back_without_need_of_the_files_and_grades_alike(client):
    kept = send(client)
    document = client.get(f"{kept.headers['Location']}/measurement").get_json()

    assert "touchstone" not in document
    assert document["pairs"]["12"]["length_m"] == 2.8
    assert document["pairs"]["36"]["delay_frequency_mhz"] == pytest.approx(10, abs=4)
    assert set(document["sweeps"]["insertion_loss"]) == {"12", "36"}
    again = client.post("/v1/grade", json=document).get_json()
    assert again["verdict"] == kept.get_json()["verdict"]


def test_a_form_sent_again_with_its_key_is_the_same_request_whatever_its_boundary(client):
    first = send(client, headers={"Idempotency-Key": "k"})
    again = send(client, headers={"Idempotency-Key": "k"})
    other = send(client, headers={"Idempotency-Key": "k"}, files=FILES[::-1])

    assert again.get_json() == first.get_json()
    assert again.headers["Idempotent-Replayed"] == "true"
    assert (other.status_code, other.get_json()["code"]) == (422, "idempotency-mismatch")


def test_a_retest_and_an_upsert_take_files_too(client):
    made = send(client)
    retested = send(
        client,
        path=f"{made.headers['Location']}/retests",
        headers={"If-Match": made.headers["ETag"]},
        document={**DOCUMENT, "touchstone": {"pairs": ["36", "12"]}},
    )
    put = send(
        client, "put", "/v1/records/by-external-id/crm/7", document={**DOCUMENT, "label": "CABLE1 again"}
    )

    assert (retested.status_code, retested.get_json()["revision"]["number"]) == (200, 2)
    assert put.status_code == 201
    assert put.get_json()["record"]["external_ids"] == {"crm": "7"}


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"sweeps": {"insertion_loss": {"12": [1.0]}}, "frequency_mhz": [1.0]}, "/sweeps"),
        ({"touchstone": {"pairs": ["12"]}}, "/touchstone/pairs"),
        ({"touchstone": {"pears": []}}, "/touchstone/pears"),
        ({"lenght_m": 3}, "/lenght_m"),
    ],
)
def test_what_does_not_fit_is_refused_by_its_place_and_nothing_is_kept(client, change, pointer):
    answer = send(client, document={**DOCUMENT, **change})

    assert answer.status_code == 422
    assert answer.get_json()["errors"][0]["pointer"] == pointer
    assert client.get("/v1/records").get_json()["records"] == []


def test_another_kind_of_body_is_told_of_both_that_are_read(client):
    answer = client.post("/v1/records", data=b"x", content_type="text/plain")

    assert answer.status_code == 415
    assert "application/json or multipart/form-data" in answer.get_json()["detail"]
