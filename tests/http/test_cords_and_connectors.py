"""What a document says of its cords and connectors reaches what its link can carry, and no verdict."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from fourpair_service.app import create_app
from fourpair_service.config import Settings

LINK = json.loads(
    (Path(__file__).resolve().parents[2] / "samples" / "links" / "0A-01-clean-pass.json").read_bytes()
)


@pytest.fixture(scope="module")
def client():
    return create_app().test_client()


def graded(client, **said):
    answer = client.post("/v1/grade?assessment=all", json={**LINK, **said}).get_json()
    return answer["verdict_digest"], answer["assessment"]


def test_stated_cords_are_added_in_place_of_the_usual_ones(client):
    digest, usual = graded(client)
    same, stated = graded(client, cords={"near_m": 3, "far_m": 1.5})

    assert same == digest
    assert (usual["applications"]["cords"]["length_m"], usual["applications"]["cords"]["stated"]) == (
        10,
        False,
    )
    assert (stated["applications"]["cords"]["length_m"], stated["applications"]["cords"]["stated"]) == (
        4.5,
        True,
    )
    # 26 AWG at 0.2678 ohm a metre: common practice for stranded cords, no published source.
    assert stated["powering"]["resistance"]["cords_ohm"] == pytest.approx(4.5 * 0.2678, abs=0.001)


def test_solid_cords_have_no_stranded_factor(client):
    _, solid = graded(client, cords={"near_m": 2, "conductor": "solid"})

    assert solid["applications"]["cords"]["stranded_factor"] == 1.0
    assert any("2 m of solid cords" in note for note in solid["powering"]["notes"])


def test_cords_without_a_length_are_refused_with_what_to_do(client):
    response = client.post("/v1/grade", json={**LINK, "cords": {"conductor": "solid"}})

    (error,) = response.get_json()["errors"]
    assert (response.status_code, error["pointer"]) == (422, "/cords")
    assert error["detail"].startswith("Give near_m, far_m or both")


def test_a_record_takes_the_cords_of_its_job_where_it_states_none(tmp_path):
    kept = create_app(Settings(store=str(tmp_path / "records.db"))).test_client()
    assert (
        kept.post("/v1/jobs", json={"id": "J", "name": "J", "cords": {"near_m": 2, "far_m": 4}}).status_code
        == 201
    )
    cords = {}
    for label, said in (("A", {}), ("B", {"cords": {"near_m": 1}})):
        document = {**LINK, **said, "job": "J", "label": label}
        record = kept.post("/v1/records?assessment=all", json=document).get_json()["record"]["id"]
        told = kept.get(f"/v1/records/{record}/assessment").get_json()["assessment"]
        cords[label] = told["applications"]["cords"]["length_m"]
        assert ("cords" in kept.get(f"/v1/records/{record}/measurement").get_json()) is bool(said)

    assert cords == {"A": 6, "B": 1}


def test_declared_connectors_decide_on_alien_crosstalk_where_it_was_not_measured(client):
    cable = {**LINK["cable"], "category": "6A"}
    texts = {}
    for category in ("6A", "5e"):
        _, found = graded(client, cable=cable, connectors={"category": category})
        application = next(
            a for a in found["applications"]["applications"] if a["application"] == "10GBASE-T"
        )
        texts[category] = json.dumps(application)

    assert "limits it by design." in texts["6A"]
    assert "The declared cabling counts as unscreened and below category 6A." in texts["5e"]
