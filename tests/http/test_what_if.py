"""POST /v1/what-if: predictions by HTTP, marked as such, refused where nothing can be said."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from fourpair_service.app import create_app

LINKS = Path(__file__).resolve().parents[2] / "samples" / "links"
JACK = (LINKS / "1A-01-bad-far-connector.json").read_bytes()
CLEAN = (LINKS / "0A-01-clean-pass.json").read_bytes()
JSON = {"Content-Type": "application/json"}


@pytest.fixture(scope="module")
def client():
    return create_app().test_client()


def ask(client, body=CLEAN, **query):
    return client.post("/v1/what-if", query_string=query, data=body, headers=JSON)


def margins(answer):
    return {(m["parameter"], m["end"]): m for m in answer["margins"]}


def test_a_prediction_says_that_it_is_one_and_has_no_outcome(client):
    answer = ask(client, temperature_c=45).get_json()

    assert answer["predicted"] is True
    assert answer["notice"].startswith("A prediction")
    assert "outcome" not in json.dumps(answer)
    assert answer["rule_set"]["id"] == "tia-568.2-d-2018"


def test_in_the_heat_there_is_less_margin_and_both_stand_side_by_side(client):
    found = margins(ask(client, temperature_c=45).get_json())[("insertion_loss", None)]
    graded = client.post("/v1/grade", data=CLEAN, headers=JSON).get_json()["verdict"]
    measured = next(p for p in graded["parameters"] if p["parameter"] == "insertion_loss")

    assert found["margin_as_measured_db"] == measured["worst_margin"]["margin_db"]
    assert found["margin_db"] < found["margin_as_measured_db"]


def test_a_connector_that_spoils_a_link_is_found_out_by_thinking_it_away(client):
    answer = ask(client, JACK, without_m=51.6).get_json()

    next_far = margins(answer)[("next", "far")]
    assert next_far["margin_as_measured_db"] < 0 < next_far["margin_db"]
    assert "estimate" in answer["assumptions"][0]


def test_a_category_may_be_asked_for_and_changes_stand_in_order(client):
    answer = client.post(
        "/v1/what-if?rule_set=TIA&category=5e&temperature_c=40&added_cord_m=5.5",
        data=json.dumps({**json.loads(CLEAN), "requirement": {}}),
        headers=JSON,
    ).get_json()

    assert [text.split()[0] for text in answer["assumptions"]] == ["At", "With"]
    assert answer["configuration"] == "channel"
    assert answer["rule_set"]["category_title"] == "category 5e"


@pytest.mark.parametrize(
    ("query", "body", "pointer", "words"),
    [
        ({}, CLEAN, "/query", "Say what to change"),
        ({"temperature_c": "95"}, CLEAN, "/query/temperature_c", "from 20 to 60"),
        ({"temperature_c": "hot"}, CLEAN, "/query/temperature_c", "a number of degrees Celsius"),
        ({"added_cord_m": "0"}, CLEAN, "/query/added_cord_m", "above 0"),
        ({"added_cord_m": "-3"}, CLEAN, "/query/added_cord_m", "a number of m from 0"),
        ({"without_m": "10"}, CLEAN, "/query/without_m", "as complex values"),
        ({"without_m": "60"}, JACK, "/query/without_m", "51.6 m long"),
        ({"temperature_c": "40", "category": "9"}, CLEAN, "/query/category", "asks for 6"),
        ({"temperature_c": "40"}, b'{"configuration": "channel"}', "/requirement/rule_set", "edition"),
    ],
)
def test_what_cannot_be_predicted_is_refused_with_its_place(client, query, body, pointer, words):
    response = ask(client, body, **query)

    problem = response.get_json()
    assert response.status_code == 422, problem
    assert problem["errors"][0]["pointer"] == pointer
    assert words in problem["errors"][0]["detail"]


def test_an_unknown_change_is_refused(client):
    assert ask(client, temperature_f=100).status_code in {400, 422}
