"""GET /v1/rule-sets and below, through the real application."""

from __future__ import annotations

import csv
import io
import tomllib
from pathlib import Path
from xml.etree import ElementTree

import pytest

from fourpair_service.app import create_app
from fourpair_service.config import Settings
from fourpair_service.http.schemas.rule_sets import LimitTableSchema, RuleSetListSchema, RuleSetSchema
from fourpair_service.rulesets.catalogue import Catalogue

TIA = "/v1/rule-sets/tia-568.2-d-2018"
NEXT_6 = "category=6&configuration=permanent_link&parameter=next"
EXAMPLE = Path(__file__).resolve().parents[2] / "samples" / "limits-example"


@pytest.fixture(scope="module")
def client():
    return create_app().test_client()


def limits(client, query, **headers):
    return client.get(f"{TIA}/limits?{query}", headers=headers)


def one_value(client, rule_set, category, configuration, parameter, frequency_mhz):
    address = f"/v1/rule-sets/{rule_set}/limits?category={category}&configuration={configuration}"
    answer = client.get(f"{address}&parameter={parameter}&frequency_mhz={frequency_mhz}").get_json()
    return answer["rows"][0]["limit_ns" if parameter == "propagation_delay" else "limit_db"]


def test_the_list_names_every_edition_with_its_digest_and_how_well_it_is_known(client):
    answer = client.get("/v1/rule-sets").get_json()

    assert RuleSetListSchema().validate(answer) == {}
    assert [r["id"] for r in answer["rule_sets"]] == [r.id for r in Catalogue.load()]
    for found in answer["rule_sets"]:
        assert found["digest"].startswith("sha256:")
        assert found["origin"] == "built_in"


def test_the_basis_counts_are_those_of_the_data_file(client):
    file = Path(__file__).parents[2] / "service/fourpair_service/rulesets/data/tia-568.2-d-2018.toml"
    data = tomllib.loads(file.read_text())
    bases = [s["basis"] for limit in data["limit"] for s in limit["segment"] for _ in limit["configurations"]]
    bases += [
        reading["basis"]
        for reading in data["reading_limit"]
        for _ in reading["categories"]
        for _ in reading["configurations"]
    ]

    found = {r["id"]: r["basis"] for r in client.get("/v1/rule-sets").get_json()["rule_sets"]}

    assert found["tia-568.2-d-2018"] == {b: bases.count(b) for b in ("published", "cross_checked", "memory")}


def test_what_is_known_by_name_alone_says_load_your_own(client):
    known = {k["name"]: k for k in client.get("/v1/rule-sets").get_json()["known_by_name"]}

    assert set(known) == {"EN 50173-1", "category 8", "class I", "class II"}
    assert all("oad your own edition file" in k["advice"] for k in known.values())


def test_a_rule_set_shows_what_it_requires_judges_and_shows(client):
    answer = client.get(TIA).get_json()
    six_a = next(c for c in answer["categories"] if c["name"] == "6A")
    status = {p["parameter"]: p["status"] for p in six_a["parameters"]}

    assert RuleSetSchema().validate(answer) == {}
    assert status["next"] == "required"
    assert status["dc_loop_resistance"] == "judged_if_present"
    assert status["acr_n"] == "information"


def test_a_switch_stands_with_its_threshold_and_source(client):
    answer = client.get("/v1/rule-sets/iso-11801-1-2017").get_json()
    classes = {c["name"]: c["rules"] for c in answer["categories"]}
    next_rule = {n: r["switches"][1] for n, r in classes.items()}

    # JIS X 5150:2016 examination question (see the source of the switch): 4 dB, classes D to FA.
    assert next_rule["D"]["threshold_db"] == 4.0
    assert next_rule["C"]["threshold_db"] is None
    assert "JIS X 5150" in next_rule["D"]["source"]
    assert classes["EA"]["short_link_relief"]["from_mhz"] == 450
    assert classes["E"]["short_link_relief"] is None


def test_a_standard_by_name_gives_its_newest_edition(client):
    assert client.get("/v1/rule-sets/iso").get_json()["id"] == "iso-11801-1-2017"


# Printed values; the sources stand in tests/rulesets/printed_limits.csv.
PRINTED = [
    ("tia-568.2-d-2018", "3", "channel", "next", 16, 19.3),
    ("tia-568.2-d-2018", "3", "permanent_link", "next", 10, 24.3),
    ("iso-11801-1-2017", "EA", "channel", "insertion_loss", 500, 49.3),
    ("iso-11801-1-2017", "E", "channel", "insertion_loss", 250, 35.9),
]


@pytest.mark.parametrize("place", PRINTED, ids=lambda p: "-".join(map(str, p[:5])))
def test_a_limit_is_the_printed_one(client, place):
    assert one_value(client, *place[:5]) == pytest.approx(place[5], abs=0.06)


def test_a_table_says_of_each_row_where_it_comes_from(client):
    answer = limits(client, f"{NEXT_6}&frequency_mhz=250,1&frequency_mhz=100").get_json()

    assert LimitTableSchema().validate(answer) == {}
    assert [row["frequency_mhz"] for row in answer["rows"]] == [1, 100, 250]
    for row in answer["rows"]:
        assert row["form"] == "voltage_sum"
        assert row["status"] == "required"
        assert row["basis"] == "memory"
        assert row["source"] and row["clause"]
    assert answer["provisional"] is True


def test_without_frequencies_the_table_holds_the_usual_ones_and_the_edges(client):
    answer = limits(client, "category=6A&configuration=permanent_link&parameter=return_loss").get_json()
    frequencies = [row["frequency_mhz"] for row in answer["rows"]]

    assert frequencies == sorted(frequencies)
    assert {1, 10, 100, 500} <= set(frequencies)
    assert 3 in frequencies  # where the built-in limit turns flat
    assert frequencies[0] == 1 and frequencies[-1] == 500


def test_a_single_value_has_one_row_and_says_how_it_is_made_up(client):
    answer = limits(client, "category=6&configuration=permanent_link&parameter=length").get_json()

    # 90 m: see the source in the row; the 10 % for the NVP is memory (TIA-1152).
    assert answer["single_value"] == {"nominal": 90, "allowance_percent": 10, "or_percent_of_sum": None}
    assert answer["rows"][0]["limit_m"] == 99
    assert answer["rows"][0]["frequency_mhz"] is None


def test_every_limit_of_every_edition_answers_in_every_form(client):
    for rule_set in Catalogue.load():
        for category, configuration, parameter in (*rule_set.curve_limits, *rule_set.reading_limits):
            address = f"/v1/rule-sets/{rule_set.id}/limits?category={category}&configuration={configuration}"
            for form in ("json", "csv", "svg"):
                answer = client.get(f"{address}&parameter={parameter}&format={form}")
                assert answer.status_code == 200, answer.text
            ElementTree.fromstring(answer.data)


def test_the_csv_holds_what_the_json_holds(client):
    query = f"{NEXT_6}&frequency_mhz=1,10,100"
    rows = list(csv.DictReader(io.StringIO(limits(client, query, Accept="text/csv").text)))
    table = limits(client, query).get_json()

    assert [float(r["limit_db"]) for r in rows] == [r["limit_db"] for r in table["rows"]]
    assert {r["basis"] for r in rows} == {"memory"}
    assert {r["status"] for r in rows} == {"required"}


@pytest.mark.parametrize(
    ("accept", "kind"),
    [
        ("*/*", "application/json"),
        ("text/csv", "text/csv"),
        ("image/svg+xml,image/*;q=0.8", "image/svg+xml"),
        ("text/html,application/xml;q=0.9,*/*;q=0.8", "application/json"),
    ],
)
def test_the_accept_header_chooses_the_form(client, accept, kind):
    answer = limits(client, NEXT_6, Accept=accept)

    assert answer.mimetype == kind
    assert "Accept" in answer.headers["Vary"]


def test_the_format_goes_before_the_accept_header(client):
    assert limits(client, f"{NEXT_6}&format=svg", Accept="text/csv").mimetype == "image/svg+xml"


def test_a_form_that_is_not_given_is_refused_with_those_that_are(client):
    answer = limits(client, NEXT_6, Accept="application/pdf")

    assert answer.status_code == 406
    assert "image/svg+xml" in answer.get_json()["detail"]


REFUSED = {
    "unknown category": ("category=9&configuration=channel&parameter=next", "category", "3, 5e, 6, 6A"),
    "category without limits": (
        "category=8&configuration=channel&parameter=next",
        "category",
        "Load your own",
    ),
    "unknown configuration": ("category=6&configuration=link&parameter=next", "configuration", "channel"),
    "configuration without limits": (
        "category=3&configuration=patch_cord&parameter=next",
        "configuration",
        "it has permanent_link, channel, mptl",
    ),
    "unknown parameter": ("category=6&configuration=channel&parameter=nxt", "parameter", "next"),
    "parameter without a limit": (
        "category=6&configuration=channel&parameter=wire_map",
        "parameter",
        "insertion_loss",
    ),
    "frequency above": (f"{NEXT_6}&frequency_mhz=100,300", "frequency_mhz", "from 1 to 250 MHz"),
    "frequency below": (f"{NEXT_6}&frequency_mhz=0.5", "frequency_mhz", "from 1 to 250 MHz"),
    "frequency in Hz": (f"{NEXT_6}&frequency_mhz=100000000", "frequency_mhz", "write 100"),
    "frequency of nothing": (f"{NEXT_6}&frequency_mhz=", "frequency_mhz", "numbers in MHz"),
    "frequency in words": (f"{NEXT_6}&frequency_mhz=1,ten", "frequency_mhz", "'ten'"),
    "negative frequency": (f"{NEXT_6}&frequency_mhz=-3", "frequency_mhz", "above 0"),
    "no number": (f"{NEXT_6}&frequency_mhz=nan", "frequency_mhz", "numbers in MHz"),
    "infinite": (f"{NEXT_6}&frequency_mhz=1e999", "frequency_mhz", "above 0"),
    "too many": (f"{NEXT_6}&frequency_mhz={','.join(['1'] * 5001)}", "frequency_mhz", "at most 5000"),
    "frequency of a single value": (
        "category=6&configuration=channel&parameter=length&frequency_mhz=10",
        "frequency_mhz",
        "leave frequency_mhz out",
    ),
    "unknown format": (f"{NEXT_6}&format=pdf", "format", "json, csv, svg"),
    "unknown query parameter": (f"{NEXT_6}&frequency=10", "frequency", "frequency_mhz"),
    "nothing": ("", "category", "required"),
}


@pytest.mark.parametrize("query", REFUSED)
def test_a_question_without_an_answer_is_refused_with_advice(client, query):
    asked, name, advice = REFUSED[query]
    answer = limits(client, asked)
    problem = answer.get_json()
    details = {error["pointer"]: error["detail"] for error in problem["errors"]}

    assert (answer.status_code, answer.mimetype) == (422, "application/problem+json")
    assert problem["code"] == "invalid-query"
    assert advice in details[f"/query/{name}"]


@pytest.mark.parametrize("path", ["", "/limits?category=6&configuration=channel&parameter=next"])
def test_an_unknown_rule_set_is_not_found_and_says_what_there_is(client, path):
    answer = client.get(f"/v1/rule-sets/EN 50173-1{path}")

    assert answer.status_code == 404
    assert "load your own edition file" in answer.get_json()["detail"]
    assert "tia-568.2-d-2018" in answer.get_json()["detail"]


@pytest.mark.parametrize("path", ["/v1/rule-sets?page=2", f"{TIA}?page=2"])
def test_a_query_parameter_that_nobody_reads_is_refused(client, path):
    assert client.get(path).get_json()["errors"][0]["pointer"] == "/query/page"


@pytest.mark.parametrize("path", ["/v1/rule-sets", TIA, f"{TIA}/limits?{NEXT_6}"])
def test_what_a_client_has_already_is_not_sent_again(client, path):
    first = client.get(path)
    again = client.get(path, headers={"If-None-Match": first.headers["ETag"]})

    assert (again.status_code, again.data) == (304, b"")
    assert "max-age" in first.headers["Cache-Control"]


def test_each_form_and_each_frequency_has_its_own_tag(client):
    queries = ("", "&format=csv", "&format=svg", "&frequency_mhz=10", "&frequency_mhz=10&format=svg")

    assert len({limits(client, NEXT_6 + query).headers["ETag"] for query in queries}) == len(queries)


def test_an_edition_of_ones_own_is_listed_as_such_and_changes_the_tag_of_the_list(client):
    own = create_app(Settings(limits_directory=EXAMPLE)).test_client()
    listed = {r["id"]: r for r in own.get("/v1/rule-sets").get_json()["rule_sets"]}

    assert listed["tia-568.2-d-2018-example"]["origin"] == "own"
    assert listed["tia-568.2-d-2018"]["superseded_by"] == "tia-568.2-d-2018-example"
    assert own.get("/v1/rule-sets").headers["ETag"] != client.get("/v1/rule-sets").headers["ETag"]
    assert own.get(TIA).headers["ETag"] != client.get(TIA).headers["ETag"]
