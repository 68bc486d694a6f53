"""Records whose sweeps come as CSV or as numbers: the same record as from JSON, whatever is asked of it."""

from __future__ import annotations

import json
import struct
import sys
from pathlib import Path

import pytest

from fourpair_service.app import create_app
from fourpair_service.http.binary_body import MEDIA_TYPE
from fourpair_service.http.measurement_csv import measurement_csv
from fourpair_service.storage.memory import MemoryStore

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "samples"))
from binary_sweeps import binary  # noqa: E402 - a script beside the packages, not one of them

IN_DB, WITH_PHASE = "0A-01-clean-pass", "0A-05-split-pair"
BOTH = pytest.mark.parametrize("name", [IN_DB, WITH_PHASE])


@pytest.fixture
def client():
    client = create_app(store=MemoryStore()).test_client()
    assert client.post("/v1/jobs", json={"id": "clinic", "name": "Clinic"}).status_code == 201
    return client


def sample(name, label="L1"):
    document = json.loads((ROOT / "samples" / "links" / f"{name}.json").read_bytes())
    return {**document, "job": "clinic", "label": label}


def rows(document):
    return "".join(measurement_csv(document)).encode()


def form(document, text):
    beside = {name: value for name, value in document.items() if name not in ("sweeps", "frequency_mhz")}
    # Written out here: the test client's own writer leaves the file of a large form open.
    parts = (("measurement", "m.json", json.dumps(beside).encode()), ("sweep", "sweeps.csv", text))
    body = b"".join(
        f'--cut\r\nContent-Disposition: form-data; name="{part}"; filename="{file}"\r\n\r\n'.encode()
        + own
        + b"\r\n"
        for part, file, own in parts
    )
    return {"data": body + b"--cut--\r\n", "content_type": "multipart/form-data; boundary=cut"}


def as_csv(document):
    return form(document, rows(document))


def as_numbers(document):
    return {"data": binary(document), "content_type": MEDIA_TYPE}


FORMS = pytest.mark.parametrize("sent", [as_csv, as_numbers])


@FORMS
@BOTH
def test_it_is_kept_with_the_verdict_and_the_measurement_that_json_gives(client, sent, name):
    as_json = client.post("/v1/records", json=sample(name)).get_json()

    answer = client.post("/v1/records", **sent(sample(name, "L2")))

    assert answer.status_code == 201, answer.text
    kept = answer.get_json()
    assert kept["verdict"]["parameters"] == as_json["verdict"]["parameters"]
    path = "/v1/records/{}/measurement?format=csv"
    found, expected = (client.get(path.format(each["record"]["id"])).data for each in (kept, as_json))
    assert found == expected


@FORMS
def test_the_same_measurement_in_another_form_changes_nothing(client, sent):
    document = sample(WITH_PHASE)
    assert client.put("/v1/records/by-external-id/crm/7", **sent(document)).status_code == 201

    again = client.put("/v1/records/by-external-id/crm/7", **sent(document)).get_json()
    retested = client.put("/v1/records/by-external-id/crm/7", **sent(sample(IN_DB))).get_json()

    assert (again["result"], retested["result"]) == ("unchanged", "revised")


@FORMS
def test_a_retest_takes_it_and_rests_on_what_was_read(client, sent):
    made = client.post("/v1/records", **sent(sample(IN_DB)))
    path = f"{made.headers['Location']}/retests"

    stale = client.post(path, **sent(sample(WITH_PHASE)), headers={"If-Match": '"none"'})
    done = client.post(path, **sent(sample(WITH_PHASE)), headers={"If-Match": made.headers["ETag"]})

    assert (stale.status_code, done.status_code) == (412, 200)
    assert done.get_json()["revision"]["number"] == 2
    assert done.get_json()["record"]["outcome"] == "fail"


def test_a_form_with_another_table_is_another_request(client):
    document, key = sample(IN_DB), {"Idempotency-Key": "k"}
    first = client.post("/v1/records", **as_csv(document), headers=key)
    again = client.post("/v1/records", **as_csv(document), headers=key)
    other = client.post("/v1/records", **form(document, rows(sample(WITH_PHASE))), headers=key)

    assert again.get_json() == first.get_json()
    assert (other.status_code, other.get_json()["code"]) == (422, "idempotency-mismatch")


def test_an_axis_that_all_sweeps_share_is_kept_once(client):
    wide = b"frequency_mhz,insertion_loss 12 db,insertion_loss 36 db\n1,2.0,2.1\n4,4.1,4.0\n"
    apart = b"frequency_mhz,insertion_loss 12 db,insertion_loss 36 db\n1,2.0,\n4,4.1,4.0\n"
    kept = []
    for label, text in (("L1", wide), ("L2", apart)):
        made = client.post("/v1/records", **form(sample(IN_DB, label), text))
        kept.append(client.get(f"{made.headers['Location']}/measurement").get_json())

    assert kept[0]["frequency_mhz"] == [1, 4]
    assert kept[0]["sweeps"] == {"insertion_loss": {"12": [2.0, 4.1], "36": [2.1, 4.0]}}
    assert kept[1]["sweeps"]["insertion_loss"]["36"] == {"frequency_mhz": [4.0], "db": [4.0]}


def test_short_lists_of_numbers_make_the_record_that_json_makes(client):
    document = {
        "job": "clinic",
        "label": "L1",
        "configuration": "channel",
        "requirement": {"rule_set": "TIA", "category": "6"},
        "frequency_mhz": [1.0, 4.0],
        "sweeps": {"insertion_loss": {"12": [2.0, 4.1]}},
    }
    assert client.post("/v1/records", json=document).status_code == 201
    again = client.put("/v1/records/by-external-id/crm/7", **as_numbers(document))
    batch = client.post("/v1/records:batch", json={"records": [document]})

    assert batch.get_json()["items"][0]["result"] == "unchanged"
    # Only the external id is new.
    assert again.status_code == 200, again.text


@pytest.mark.parametrize(
    ("sent", "status", "words"),
    [
        ({"data": b"FPS2", "content_type": MEDIA_TYPE}, 400, "does not begin with FPS1"),
        (
            {"data": b"FPS1" + struct.pack("<I", 1 << 30), "content_type": MEDIA_TYPE},
            400,
            "the body was cut",
        ),
        ({**as_numbers(sample(IN_DB)), "data": as_numbers(sample(IN_DB))["data"][:-3]}, 400, "was cut"),
        (form(sample(IN_DB), b"frequency_mhz,next near 12-36 db\n1,=1+1\n"), 400, "line 2"),
        (form(sample(IN_DB), b"\xff\xfe"), 400, "UTF-8"),
        (
            form(sample(IN_DB), b"frequency_mhz,insertion_loss 12 db\n2,1\n1,1\n"),
            422,
            "/frequency_mhz",
        ),
    ],
)
def test_what_is_wrong_is_told_by_its_place_and_nothing_is_kept(client, sent, status, words):
    answer = client.post("/v1/records", **sent)

    assert answer.status_code == status, answer.text
    assert words in answer.text
    assert client.get("/v1/records").get_json()["records"] == []
