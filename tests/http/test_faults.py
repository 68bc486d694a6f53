"""The help of faults, and the diagnosis beside a verdict, through the real application."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

from fourpair_service.app import create_app
from fourpair_service.domain.diagnosis.faults import FaultCode
from fourpair_service.http.schemas.assessment import FaultListSchema, FaultPageSchema
from fourpair_service.http.schemas.verdict import GradeAnswerSchema

LINKS = Path(__file__).resolve().parents[2] / "samples" / "links"
OPEN = json.loads((LINKS / "0A-08-open-pair.json").read_text())
PASSING = json.loads((LINKS / "0A-01-clean-pass.json").read_text())


@pytest.fixture(scope="module")
def client():
    return create_app().test_client()


def test_every_fault_is_listed_with_its_help(client):
    document = client.get("/v1/faults").get_json()
    assert FaultListSchema().validate(document) == {}
    assert [page["code"] for page in document["faults"]] == [str(code) for code in FaultCode]


@pytest.mark.parametrize("code", FaultCode)
def test_each_fault_has_a_page_as_json_text_and_html(client, code):
    document = client.get(f"/v1/faults/{code}", headers={"Accept": "application/json"})
    assert FaultPageSchema().validate(document.get_json()) == {}
    text = client.get(f"/v1/faults/{code}", headers={"Accept": "text/plain"})
    assert text.text.startswith(document.get_json()["title"])
    page = client.get(f"/v1/faults/{code}", headers={"Accept": "text/html"})
    assert page.content_type.startswith("text/html")
    assert "How to repair it" in page.text


def test_a_page_that_shows_danger_defers_to_local_rules(client):
    page = client.get("/v1/faults/poor_contact").get_json()
    assert "local code" in page["caution"]


def test_an_unknown_fault_is_a_problem_that_says_where_the_list_is(client):
    response = client.get("/v1/faults/gremlins")
    assert response.status_code == 404
    assert "GET /v1/faults" in response.get_json()["detail"]


def test_an_open_pair_comes_with_its_distance(client):
    fault = client.post("/v1/grade", json=OPEN).get_json()["assessment"]["diagnosis"]["faults"][0]
    assert fault["code"] == "open_conductor"
    # The story of the sample: cut "some twenty-three metres from the cabinet", at 23.4 m in its model.
    assert abs(fault["place"]["position_m"] - 23.4) <= fault["place"]["uncertainty_m"]


def test_the_diagnosis_changes_neither_verdict_nor_digest(client):
    usual, none = (client.post(f"/v1/grade?assessment={d}", json=OPEN).get_json() for d in ("faults", "none"))
    assert "assessment" not in none
    assert (usual["verdict"], usual["verdict_digest"]) == (none["verdict"], none["verdict_digest"])


def test_distances_along_a_passing_link_are_given_when_asked_for(client):
    phase = json.loads((LINKS / "0A-08-open-pair.json").read_text())
    answer = client.post("/v1/grade?assessment=along", json=phase).get_json()
    assert GradeAnswerSchema().validate(answer) == {}
    assert answer["assessment"]["along"]["reflections"]
    quiet = client.post("/v1/grade?assessment=along", json=PASSING).get_json()
    assert quiet["assessment"]["along"]["reflections"] == []


LIVE = {
    "advertised": ["10BASE-T/full", "100BASE-TX/full", "1000BASE-T/full"],
    "mdi": "auto",
    "levels": [{"pair": "12", "signal": "100base_tx", "peak_v": 1.0, "termination_ohm": 100, "at": "port"}],
    "link_up": "1000BASE-T/full",
    "poe": {"type": 3, "voltage_v": 53.1},
}


@pytest.mark.parametrize("path", sorted(LINKS.glob("*.json")), ids=lambda path: path.stem)
@pytest.mark.parametrize("port", [None, LIVE], ids=["without a port", "with a port"])
def test_everything_that_can_be_said_of_a_sample_is_as_described(client, path, port):
    document = json.loads(path.read_text()) | ({"port": port} if port else {})
    answer = client.post("/v1/grade?assessment=all", json=document).get_json()
    assert GradeAnswerSchema().validate(answer) == {}


def test_a_good_link_and_a_gigabit_port_run_at_a_gigabit(client):
    answer = client.post("/v1/grade?assessment=all", json=PASSING | {"port": LIVE}).get_json()
    together = answer["assessment"]["port"]["together"]
    assert together["runs_at"].startswith("1000BASE-T")
    states = {a["application"]: a["state"] for a in answer["assessment"]["applications"]["applications"]}
    assert states["1000BASE-T"] == "supported"


def test_a_break_on_45_leaves_100base_tx(client):
    answer = client.post("/v1/grade?assessment=all", json=OPEN).get_json()
    states = {a["application"]: a["state"] for a in answer["assessment"]["applications"]["applications"]}
    # 10 and 100 Mb/s use pairs 12 and 36 alone (IEEE 802.3 clauses 14 and 25).
    assert (states["100BASE-TX"], states["1000BASE-T"]) == ("supported", "not_supported")


def test_an_unknown_detail_is_refused_with_the_known_ones(client):
    response = client.post("/v1/grade?assessment=everything", json=PASSING)
    assert response.status_code == 422
    assert "along" in response.text


def _run(*arguments):
    command = [sys.executable, "-m", "fourpair_service", *arguments]
    return subprocess.run(command, capture_output=True, text=True, check=False)


def test_the_command_line_explains_faults():
    listed = _run("faults")
    assert all(code in listed.stdout for code in FaultCode)
    assert "Caution" in _run("faults", "clad_conductors").stdout
    unknown = _run("faults", "gremlins")
    assert (unknown.returncode, "fourpair-service faults lists" in unknown.stderr) == (2, True)


def test_the_command_line_says_what_is_suspected_of_a_failing_link():
    shown = _run("grade", str(LINKS / "0A-08-open-pair.json")).stdout
    assert "Suspected (certain): Open conductor, pair 45" in shown
    assert "fourpair-service faults open_conductor" in shown


def test_the_command_tells_of_a_port_without_a_cable_test_what_stands_behind_its_speed():
    shown = _run("grade", str(LINKS.parent / "ports" / "reception-desk.json")).stdout

    assert "Port: The two ports will settle on 2.5GBASE-T full duplex; the cable was not tested." in shown
    assert "  - Pair 12: the port sends 2.41 V, as 10BASE-T must" in shown
    assert "  - Both ends offer energy-efficient Ethernet for 2.5GBASE-T" in shown
    assert "Do not unplug a powered device under load" in shown


def test_the_command_tells_what_a_link_carries_and_what_power_arrives():
    shown = _run("grade", str(LINKS / "2A-02-corroded-contact.json")).stdout

    assert "Not judged: 10GBASE-T, 25GBASE-T, 40GBASE-T" in shown
    assert "The link does not meet category 6, and 10BASE-T is another question" in shown
    assert "better than over a link at the limit lines (calculated" in shown
    assert "every class up to 8 reaches a device; of class 8" in shown
    assert "Unequal resistance of 78: Of 0.87 A through pair 78" in shown
    assert "warmer than its surroundings (estimate)" in shown


@pytest.mark.parametrize(("name", "told"), [("0A-06-reversed-pair", False), ("0A-02-near-miss", True)])
def test_phase_is_missed_only_where_a_fault_lies_at_a_place(client, name, told):
    document = json.loads((LINKS / f"{name}.json").read_text())
    notes = client.post("/v1/grade", json=document).get_json()["assessment"]["diagnosis"]["notes"]

    assert any("carry no phase" in note for note in notes) is told


def test_the_command_tells_what_lies_along_a_link_where_phase_was_measured():
    cut = _run("grade", "--along", str(LINKS / "0A-08-open-pair.json")).stdout
    coiled = _run("grade", "--along", str(LINKS / "1A-06-coil.json")).stdout
    without = _run("grade", "--along", str(LINKS / "1A-02-too-long.json")).stdout

    # The screw sits 23.4 m into 51.5 m of cable, 52.1 m by the velocity that was set.
    assert "  45: open at 23.67 m (± 1.1 m), 0.0 dB, seen from the near and far end" in cut
    assert "of NEXT measured from the near end comes from 23.5" in cut
    assert "  78: bumps every 1.21 m, or a whole multiple of it, from 18.6 to 47.3 m" in coiled
    assert "12: the loss departs by up to 6.02 dB" in coiled
    assert "Along the link: nothing can be told, as no sweep carries phase." in without
