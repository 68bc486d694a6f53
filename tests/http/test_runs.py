"""Re-grading and assessing over HTTP, with the real limits and one edition that supersedes them."""

from __future__ import annotations

import csv
import io
import json
import multiprocessing
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from fourpair_service.app import create_app, record_grader
from fourpair_service.background import Background
from fourpair_service.config import Settings
from fourpair_service.http.record_grader import RecordGrader
from fourpair_service.http.schemas import runs as schemas
from fourpair_service.records.key_commands import KeyGrant, make_key
from fourpair_service.records.keys import Scope
from fourpair_service.records.runs.examining import Held
from fourpair_service.storage.sqlite import SqliteStore

ROOT = Path(__file__).resolve().parents[2]
LINKS = ROOT / "samples" / "links"
OWN = ROOT / "samples" / "limits-example"
NOW = datetime(2026, 12, 1, tzinfo=UTC)
OLD, NEW = "tia-568.2-d-2018", "tia-568.2-d-2018-example"
JOB = "alder-row-clinic"
NAMES = ("0A-01-clean-pass", "0A-03-marginal-pass", "1A-02-too-long", "1A-08-screened-class-ea")
# The settings of a service that finds a file of own limits when it starts again.
SETTINGS = Settings(grading_processes=1, limits_directory=OWN)


@pytest.fixture(scope="module")
def filled(tmp_path_factory):
    path = tmp_path_factory.mktemp("store") / "records.db"
    store = SqliteStore(path)
    client = create_app(store=store).test_client()
    client.post("/v1/jobs", json={"id": JOB, "name": "Clinic"})
    for name in NAMES:
        document = json.loads((LINKS / f"{name}.json").read_bytes())
        document["requirement"]["rule_set"] = {"TIA": OLD}.get(
            document["requirement"]["rule_set"], document["requirement"]["rule_set"]
        )
        made = client.post("/v1/records", json={**document, "job": JOB})
        assert made.status_code == 201, made.get_json()
    store.close()
    return path.read_bytes()


@pytest.fixture
def app(tmp_path, filled):
    path = tmp_path / "records.db"
    path.write_bytes(filled)
    store = SqliteStore(path)
    yield create_app(SETTINGS, clock=lambda: NOW, store=store)
    store.close()


@pytest.fixture
def client(app):
    return app.test_client()


def carry(app):
    work = Background(SETTINGS, app.extensions["fourpair"].desk)
    work.round()
    work.close()


def run_to_the_end(app, url, **arguments):
    client = app.test_client()
    begun = client.post(url, **arguments)
    assert begun.status_code == 202, begun.get_json()
    assert schemas.RunSchema().validate(begun.get_json()) == {}
    carry(app)
    ended = client.get(begun.headers["Location"]).get_json()
    assert schemas.RunSchema().validate(ended) == {}
    assert ended["state"] == "done"
    page = client.get(f"{begun.headers['Location']}/findings").get_json()
    return ended, page["findings"], begun.headers["Location"]


def test_a_dry_run_tells_who_changes_by_how_much_and_because_of_which_limit(app, client):
    ended, findings, url = run_to_the_end(app, "/v1/regrades?dry_run=true", json={"rule_set": NEW})

    assert schemas.ChangesFoundSchema().validate(client.get(f"{url}/findings").get_json()) == {}
    assert ended["counts"]["not_concerned"] == 1
    assert (ended["records"], ended["settled"], ended["dry_run"]) == (4, 4, True)
    by_label = {found["label"]: found for found in findings}
    too_long = by_label["1A-02"]
    assert (too_long["rule_set_before"], too_long["rule_set_after"]) == (OLD, NEW)
    for found in findings:
        before, after = found["headroom_before_db"], found["headroom_after_db"]
        told = None if None in (before, after) else pytest.approx(after - before)
        assert found["change_db"] == told
    loss = next(cause for cause in too_long["because"] if cause["parameter"] == "insertion_loss")
    # The example edition allows half the loss for connectors; nothing else has moved.
    assert loss["frequency_before_mhz"] == loss["frequency_after_mhz"]
    moved = loss["limit_after"] - loss["limit_before"]
    assert moved < 0
    assert loss["margin_after"] - loss["margin_before"] == pytest.approx(moved, abs=0.0015)
    assert client.get("/v1/changes").get_json()["last_seq"] == 5


def test_a_regrade_moves_what_the_dry_run_said(app, client):
    _, dry, _ = run_to_the_end(app, "/v1/regrades?dry_run=true", json={"rule_set": NEW})
    body = {"rule_set": NEW, "reason": "checked edition"}
    _, findings, _ = run_to_the_end(app, f"/v1/regrades?job={JOB}", json=body)

    assert findings == dry
    changes = client.get("/v1/changes?after=5").get_json()["changes"]
    assert [c["kind"] for c in changes] == ["record.regraded"] * len(findings)
    assert {c["record"] for c in changes} == {found["record"] for found in findings}
    revision = client.get(f"/v1/records/{findings[0]['record']}").get_json()["revision"]
    assert (revision["kind"], revision["reason"], revision["rule_set"]) == (
        "regraded",
        "checked edition",
        NEW,
    )
    again, left, _ = run_to_the_end(app, "/v1/regrades", json={"rule_set": NEW})
    assert left == []
    assert again["counts"]["changed"] == 0


@pytest.mark.parametrize(
    ("asked", "answers"),
    [
        ({"application": "10GBASE-T"}, {"supported", "conditional", "not_supported", "not_evaluated"}),
        ({"power_type": 4}, {"supported", "conditional", "not_supported", "not_evaluated"}),
        (
            {"requirement": {"rule_set": "ISO", "category": "E"}},
            {"pass", "marginal_pass", "fail", "incomplete"},
        ),
    ],
    ids=["application", "power", "requirement"],
)
def test_an_assessment_answers_for_every_record_and_moves_none(app, client, asked, answers):
    before = client.get("/v1/records").get_json()
    ended, findings, url = run_to_the_end(app, "/v1/assessments", json=asked)

    assert schemas.AnswersFoundSchema().validate(client.get(f"{url}/findings").get_json()) == {}
    assert len(findings) == ended["counts"]["answered"] == 4
    assert {found["answer"] for found in findings} <= answers
    assert sum(move["records"] for move in ended["moves"]) == 4
    assert client.get("/v1/records").get_json() == before


def test_what_a_link_carries_is_kept_on_request_and_can_be_searched(app, client):
    _, findings, _ = run_to_the_end(app, "/v1/assessments", json={"application": "1000BASE-T", "keep": True})

    able = {found["record"] for found in findings if found["answer"] == "supported"}
    listed = client.get("/v1/records?application=1000BASE-T").get_json()["records"]
    assert able == {record["id"] for record in listed} != set()
    assert client.get("/v1/changes").get_json()["last_seq"] == 5


def test_the_cords_of_the_job_complete_a_link_also_where_it_is_looked_at_again(app, client):
    patched = client.patch(f"/v1/jobs/{JOB}", json={"cords": {"near_m": 60}}, headers={"If-Match": "*"})
    assert patched.status_code == 200, patched.get_json()
    run_to_the_end(app, "/v1/assessments", json={"application": "10GBASE-T", "keep": True})
    kept = client.get("/v1/records").get_json()["records"]
    told = [client.get(f"/v1/records/{each['id']}/assessment").get_json()["assessment"] for each in kept]
    permanent = [each["applications"]["cords"] for each in told if each["applications"]["cords"] is not None]

    assert {(cords["stated"], cords["length_m"]) for cords in permanent} == {(True, 60.0)}
    # A re-grading that changes the verdict says anew what the link carries.
    run_to_the_end(app, "/v1/regrades", json={"rule_set": NEW})
    long = {each["label"]: set(each["applications"]) for each in kept}
    again = {
        each["label"]: set(each["applications"])
        for each in client.get("/v1/records?rule_set=" + NEW).get_json()["records"]
    }
    assert again.keys() & {"0A-01"}
    assert again["0A-01"] == long["0A-01"]


def test_findings_come_as_pages_lines_and_a_table_alike(app, client):
    _, findings, url = run_to_the_end(app, "/v1/assessments", json={"application": "10GBASE-T"})

    paged, cursor = [], ""
    while cursor is not None:
        page = client.get(f"{url}/findings?limit=3{f'&cursor={cursor}' if cursor else ''}").get_json()
        paged += page["findings"]
        cursor = page["next_cursor"]
    lines = client.get(f"{url}/findings?format=ndjson")
    table = client.get(f"{url}/findings", headers={"Accept": "text/csv"})

    assert paged == findings
    assert [json.loads(line) for line in lines.data.splitlines()] == findings
    rows = list(csv.DictReader(io.StringIO(table.text)))
    assert [row["label"] for row in rows] == [found["label"] for found in findings]
    assert [row["answer"] for row in rows] == [found["answer"] for found in findings]
    limiting = [(found["because"] or {}).get("parameter") or "" for found in findings]
    assert any(limiting)
    assert [row["because_parameter"] for row in rows] == limiting
    assert client.get(f"{url}/findings", headers={"Accept": "image/png"}).status_code == 406
    assert client.get(f"{url}/findings?cursor=%20").status_code == 422


def test_a_run_is_stopped_and_resumed(app, client):
    url = client.post("/v1/regrades", json={"rule_set": NEW}).headers["Location"]

    assert client.post(f"{url}/stop").get_json()["state"] == "stopped"
    carry(app)
    assert client.get(url).get_json()["settled"] == 0
    assert client.post(f"{url}/resume").get_json()["state"] == "waiting"
    carry(app)
    assert client.get(url).get_json()["state"] == "done"
    assert client.post(f"{url}/resume").status_code == 409


@pytest.mark.parametrize(
    ("url", "body", "pointer"),
    [
        ("/v1/regrades", {"rule_set": "ISO"}, "/rule_set"),
        ("/v1/regrades", {}, "/rule_set"),
        ("/v1/assessments", {}, ""),
        ("/v1/assessments", {"power_type": 4, "application": "10GBASE-T"}, ""),
        ("/v1/assessments", {"power_type": 5}, "/power_type"),
        ("/v1/assessments", {"application": "10GBASE-TX"}, "/application"),
        ("/v1/assessments", {"requirement": {"rule_set": "TIA", "category": "9"}}, "/requirement/category"),
        (
            "/v1/assessments",
            {"requirement": {"rule_set": "TIA", "category": "6"}, "keep": True},
            "/keep",
        ),
    ],
)
def test_what_cannot_be_asked_is_refused_with_its_place(client, url, body, pointer):
    answer = client.post(url, json=body)

    assert answer.status_code == 422
    assert answer.get_json()["errors"][0]["pointer"] == pointer


def test_a_repeated_request_begins_one_run(client):
    headers = {"Idempotency-Key": "night"}
    first = client.post("/v1/regrades", json={"rule_set": NEW}, headers=headers)
    again = client.post("/v1/regrades", json={"rule_set": NEW}, headers=headers)

    assert again.headers["Idempotent-Replayed"] == "true"
    assert again.get_json()["id"] == first.get_json()["id"]
    assert len(client.get("/v1/regrades").get_json()["runs"]) == 1


def test_a_key_for_one_job_starts_and_sees_runs_over_that_job_alone(app, client):
    over_all = client.post("/v1/regrades", json={"rule_set": NEW}).headers["Location"]
    store = app.extensions["fourpair"].desk.store
    grant = KeyGrant("k", frozenset({Scope.READ, Scope.WRITE}), jobs=frozenset({"another"}))
    made = make_key(store, grant, key_id="k", randomness=bytes(32), now="2026-11-01T00:00:00.000000Z")
    headers = {"Authorization": f"Bearer {made.text}"}

    begun = client.post("/v1/regrades", json={"rule_set": NEW}, headers=headers).get_json()

    assert begun["records"] == 0
    assert client.get(over_all, headers=headers).status_code == 404
    listed = client.get("/v1/regrades", headers=headers).get_json()["runs"]
    assert [run["id"] for run in listed] == [begun["id"]]


def test_for_a_few_records_no_further_process_is_begun(app, client, tmp_path):
    url = client.post("/v1/regrades?dry_run=true", json={"rule_set": NEW}).headers["Location"]
    pooled = replace(SETTINGS, grading_processes=2, store=str(tmp_path / "records.db"))
    work, before = Background(pooled, app.extensions["fourpair"].desk), multiprocessing.active_children()

    work.round()

    assert multiprocessing.active_children() == before
    assert client.get(url).get_json()["state"] == "done"
    work.close()


def test_two_processes_find_the_same_to_the_byte_as_one(app, client, tmp_path, monkeypatch):
    monkeypatch.setattr("fourpair_service.background.FEW_RECORDS", 0)
    _, _, url = run_to_the_end(app, "/v1/regrades?dry_run=true", json={"rule_set": NEW})
    again = client.post("/v1/regrades?dry_run=true", json={"rule_set": NEW}).headers["Location"]
    pooled = replace(SETTINGS, grading_processes=2, store=str(tmp_path / "records.db"))
    work = Background(pooled, app.extensions["fourpair"].desk)

    work.round()
    work.close()

    one, two = (client.get(f"{each}/findings?format=ndjson").data for each in (url, again))
    assert one == two != b""


def test_what_stands_is_found_without_grading_it_and_nothing_is_appended(app, tmp_path):
    limits = tmp_path / "limits"
    limits.mkdir()
    (limits / "same.toml").write_text(f'id = "same-limits"\nextends = "{OLD}"\ntitle = "The same limits"\n')
    settings = replace(SETTINGS, limits_directory=limits)
    desk = app.extensions["fourpair"].desk
    again = create_app(settings, clock=lambda: NOW, store=desk.store)
    last, graded = desk.store.last_change().seq, []
    begun = again.test_client().post("/v1/regrades", json={"rule_set": "same-limits"})
    work = Background(settings, again.extensions["fourpair"].desk)
    grader = record_grader(settings)

    class Noting(RecordGrader):
        def __call__(self, document, requirement):
            graded.append(document["label"])
            return super().__call__(document, requirement)

    noting = Noting(grader.catalogue, grader.limits, grader.clock, grader.detail)
    work.desk = replace(work.desk, grade=noting)
    work.round()
    work.close()

    ended = again.test_client().get(begun.headers["Location"]).get_json()
    assert (ended["counts"]["unchanged"], ended["counts"]["changed"]) == (3, 0)
    assert "0A-01" not in graded
    assert desk.store.last_change().seq == last


def test_what_cannot_be_graded_is_not_said_to_stand():
    grader = record_grader(SETTINGS)
    link = json.loads((LINKS / f"{NAMES[0]}.json").read_bytes())
    document = {name: value for name, value in link.items() if name != "requirement"}
    asked = {"rule_set": OLD, "category": "6"}
    verdict = grader(document, asked).verdict
    held = [
        Held(document, asked, verdict),
        Held({**document, "wire_map": 5}, asked, verdict),
        Held(document, {**asked, "category": "1"}, verdict),
        Held(document, {**asked, "rule_set": "none"}, verdict),
        Held(document, asked, {**verdict, "outcome": "fail"}),
        Held(document, asked, verdict),
    ]
    assert grader.standing(held) == [True, False, False, False, False, True]
