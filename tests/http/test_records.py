"""Jobs and records over HTTP, from the contract to the last header."""

from __future__ import annotations

import csv
import io
import json
from datetime import UTC, datetime
from pathlib import Path

import pytest

from fourpair_service.app import create_app
from fourpair_service.http.schemas import change_answers, job_answers, record_answers
from fourpair_service.http.schemas.verdict import VerdictSchema
from fourpair_service.storage.sqlite import SqliteStore

ROOT = Path(__file__).resolve().parents[2]
LINKS = ROOT / "samples" / "links"
NOW = datetime(2026, 12, 1, tzinfo=UTC)
JOB = "alder-row-clinic"


def sample(name="0A-01-clean-pass", **changes):
    return {**json.loads((LINKS / f"{name}.json").read_bytes()), **changes}


@pytest.fixture(scope="module")
def passing():
    return sample()


@pytest.fixture
def app(tmp_path):
    store = SqliteStore(tmp_path / "records.db")
    yield create_app(clock=lambda: NOW, store=store)
    store.close()


@pytest.fixture
def client(app):
    client = app.test_client()
    made = client.post(
        "/v1/jobs", json={"id": JOB, "name": "Clinic", "customer": "Alder Row", "site": "Row 4"}
    )
    assert made.status_code == 201, made.get_json()
    return client


def create(client, document=None, **arguments):
    return client.post("/v1/records", json=document or sample(), **arguments)


def light(label, **changes):
    """Return a small document: grading is not what these tests are about."""
    document = sample("2A-03-summary-only", label=label, **changes)
    document["job"] = changes.get("job", JOB)
    return document


# --- records -----------------------------------------------------------------------


def test_a_record_is_made_read_and_told_apart_by_its_etag(client, passing):
    made = create(client, passing)
    document = made.get_json()
    record_id = document["record"]["id"]

    assert made.status_code == 201
    assert record_answers.WrittenSchema().validate(document) == {}
    assert document["verdict"]["outcome"] == "pass"
    read = client.get(made.headers["Location"])
    assert record_answers.RecordAnswerSchema().validate(read.get_json()) == {}
    assert read.headers["ETag"] == made.headers["ETag"]
    assert (
        client.get(f"/v1/records/{record_id}", headers={"If-None-Match": read.headers["ETag"]}).status_code
        == 304
    )
    weak = {"If-None-Match": f"W/{read.headers['ETag']}"}
    assert client.get(f"/v1/records/{record_id}", headers=weak).status_code == 304
    verdict = client.get(f"/v1/records/{record_id}/verdict").get_json()
    assert VerdictSchema().validate(verdict) == {}
    assert verdict == document["verdict"]


def test_the_verdict_of_a_record_is_that_of_grading_the_same_measurement(client, passing):
    graded = client.post("/v1/grade", json=passing).get_json()
    document = create(client, passing).get_json()

    assert document["verdict"] == graded["verdict"]
    assert document["revision"]["verdict_digest"] == graded["verdict_digest"]
    told = client.get(f"/v1/records/{document['record']['id']}/assessment").get_json()
    # Beside it stands what the link supports, by name, to be searched by.
    assert told["assessment"].pop("supported")["applications"]
    assert told["assessment"] == graded["assessment"]


@pytest.mark.parametrize(
    "query", [{}, *({"assessment": word} for word in ("none", "faults", "all"))], ids=str
)
def test_a_record_is_found_by_what_it_carries_however_much_was_said_beside_it(client, passing, query):
    create(client, passing, query_string=query)
    graded = client.post("/v1/grade?assessment=all", json=passing).get_json()["assessment"]
    (record,) = client.get("/v1/records?application=1000BASE-T").get_json()["records"]

    def supported(rows, name):
        return {str(row[name]) for row in rows if row["state"] == "supported"}

    assert set(record["applications"]) == supported(graded["applications"]["applications"], "application")
    assert set(record["power_types"]) == supported(graded["powering"]["types"], "type") != set()
    found = client.get(f"/v1/records?power_type={record['power_types'][0]}").get_json()["records"]
    assert [each["id"] for each in found] == [record["id"]]
    assert client.get("/v1/records?application=none").get_json()["records"] == []


def test_a_withdrawn_record_is_still_found_by_what_it_carries_among_the_withdrawn(client, passing):
    made = create(client, passing)
    url = f"{made.headers['Location']}/withdrawal"
    assert client.post(url, json={"reason": "gone"}, headers={"If-Match": "*"}).status_code == 200
    found = [client.get(f"/v1/records?application=1000BASE-T&withdrawn={word}") for word in ("no", "only")]

    assert [len(answer.get_json()["records"]) for answer in found] == [0, 1]


def test_a_record_kept_with_no_assessment_tells_names_alone_and_its_sheet_says_nothing_of_faults(
    client, passing
):
    made = create(client, passing, query_string={"assessment": "none"}).get_json()["record"]
    told = client.get(f"/v1/records/{made['id']}/assessment").get_json()["assessment"]

    assert set(told) == {"version", "supported"}
    assert told["supported"]["applications"] == made["applications"] != []
    assert client.get(f"/v1/records/{made['id']}/sheet?format=text").status_code == 200


def test_the_cords_of_the_job_complete_a_link_that_states_none_and_no_verdict_changes(client, passing):
    assert passing["configuration"] == "permanent_link"
    made = [create(client, {**passing, "label": "A"}, query_string={"assessment": "all"})]
    patch = {"cords": {"near_m": 60}}
    changed = client.patch(f"/v1/jobs/{JOB}", json=patch, headers={"If-Match": "*"})
    assert changed.status_code == 200, changed.get_json()
    made.append(create(client, {**passing, "label": "B"}, query_string={"assessment": "all"}))
    own = {**passing, "label": "C", "cords": {"near_m": 4}}
    made.append(create(client, own, query_string={"assessment": "all"}))

    told = [
        client.get(f"{each.headers['Location']}/assessment").get_json()["assessment"]["applications"]["cords"]
        for each in made
    ]
    assert told[0] != told[1] != told[2]
    assert "60" in json.dumps(told[1])
    assert "60" not in json.dumps(told[2])
    headrooms = [each.get_json()["verdict"]["headroom_db"] for each in made]
    assert headrooms[0] == headrooms[1] == headrooms[2]
    assert client.get(f"{made[1].headers['Location']}/measurement").get_json() == {**passing, "label": "B"}


def test_the_measurement_comes_back_as_it_was_sent(client, passing):
    record_id = create(client, passing).get_json()["record"]["id"]

    assert client.get(f"/v1/records/{record_id}/measurement").get_json() == passing


def test_the_measurement_comes_as_csv_too(client, passing):
    record_id = create(client, passing).get_json()["record"]["id"]
    response = client.get(f"/v1/records/{record_id}/measurement", headers={"Accept": "text/csv"})

    rows = list(csv.DictReader(io.StringIO(response.text)))
    assert response.content_type.startswith("text/csv")
    near = [r for r in rows if (r["parameter"], r["end"], r["pairs"]) == ("next", "near", "12-36")]
    assert [float(r["value_db"]) for r in near] == passing["sweeps"]["next"]["near"]["12-36"]
    assert float(near[0]["frequency_mhz"]) == 1.0


def test_a_retest_needs_the_revision_it_rests_on(client, passing):
    made = create(client, sample("0A-02-near-miss"))
    url = f"{made.headers['Location']}/retests"
    document = {**passing, "label": "0A-02"}

    assert client.post(url, json=document).status_code == 428
    done = client.post(url, json=document, headers={"If-Match": made.headers["ETag"]})
    assert (done.status_code, done.get_json()["record"]["outcome"]) == (200, "pass")
    assert client.post(url, json=document, headers={"If-Match": made.headers["ETag"]}).status_code == 412
    assert client.post(url, json=document, headers={"If-Match": "*"}).status_code == 200


def test_a_dry_run_tells_what_the_write_then_tells(client, passing):
    expected = create(client, passing, query_string={"dry_run": "true"}).get_json()
    written = create(client, passing).get_json()
    own = {"id", "digest", "created_at", "changed_at"}

    assert expected["record"]["tested_by"] == passing["tested_by"]
    assert {k: v for k, v in expected["record"].items() if k not in own} == {
        k: v for k, v in written["record"].items() if k not in own
    } | {"measurement_digest": expected["record"]["measurement_digest"]}
    assert (expected["verdict"], expected["dry_run"]) == (written["verdict"], True)


def test_a_rule_set_is_searched_for_by_the_names_that_grading_takes(client, passing):
    create(client, passing)
    for name, found in (("TIA", 1), (passing["requirement"]["rule_set"], 1), ("ISO", 0), ("gone-2001", 0)):
        assert len(client.get(f"/v1/records?rule_set={name}").get_json()["records"]) == found, name


def test_a_follower_that_is_ahead_of_the_feed_is_told(client, passing):
    create(client, passing)
    last = client.get("/v1/changes").get_json()["last_seq"]
    refused = client.get(f"/v1/changes?after={last + 1}&wait=20")

    assert client.get(f"/v1/changes?after={last}").get_json()["changes"] == []
    assert refused.status_code == 422
    (error,) = refused.get_json()["errors"]
    assert error["pointer"] == "/query/after"
    assert f"has come to {last}: {last + 1} was given by another store" in error["detail"]


@pytest.mark.parametrize(
    ("path", "pointer"),
    [
        ("/v1/records?cursor=xx", "/query/cursor"),
        ("/v1/records?sort=colour", "/query/sort"),
        (f"/v1/jobs/{JOB}/billing?since=1&until=0", "/query/since"),
    ],
)
def test_a_list_that_cannot_be_given_says_which_part_of_the_query_is_wrong(client, path, pointer):
    refused = client.get(path)

    assert refused.status_code == 422
    assert [error["pointer"] for error in refused.get_json()["errors"]] == [pointer]


def test_one_damaged_verdict_is_told_as_such_and_hides_no_other_record(app, client, passing):
    damaged = create(client, passing).headers["Location"]
    sound = create(client, sample("0A-02-near-miss")).headers["Location"]
    connection = app.extensions["fourpair"].desk.store.connection
    connection.execute("DROP TRIGGER content_refuses_update")
    connection.execute("UPDATE content SET verdict = x'0102' WHERE seq = (SELECT min(seq) FROM content)")

    refused = client.get(f"{damaged}/verdict")
    assert (refused.status_code, refused.get_json()["code"]) == (503, "store-corrupt")
    assert "fourpair-service verify" in refused.get_json()["detail"]
    assert client.get(f"{sound}/verdict").status_code == 200
    assert len(client.get("/v1/records").get_json()["records"]) == 2


def test_every_revision_tells_its_place_in_the_feed(client, passing):
    made = create(client, passing)
    create(client, sample("0A-02-near-miss"))
    url = made.headers["Location"]
    done = client.post(f"{url}/retests", json=passing, headers={"If-Match": "*"}).get_json()
    dry = client.post(f"{url}/retests?dry_run=true", json=passing, headers={"If-Match": "*"}).get_json()
    fed = client.get("/v1/changes?after=0").get_json()["changes"]
    told = client.get(f"{url}/revisions").get_json()["revisions"]

    own = [c for c in fed if c["record"] == done["record"]["id"]]
    assert [(r["number"], r["seq"]) for r in told] == [(c["revision"], c["seq"]) for c in own]
    assert [client.get(f"{url}/revisions/{r['number']}").get_json()["seq"] for r in told] == [
        r["seq"] for r in told
    ]
    assert client.get(f"{url}?as_of={told[0]['seq']}").get_json()["revision"]["seq"] == told[0]["seq"]
    assert (done["revision"]["seq"], dry["revision"]["seq"]) == (fed[-1]["seq"], fed[-1]["seq"] + 1)


def test_a_failing_link_opens_faults_that_its_retest_closes(client, passing):
    made = create(client, sample("0A-02-near-miss"))
    opened = client.get(f"/v1/jobs/{JOB}/faults").get_json()
    client.post(
        f"{made.headers['Location']}/retests", json={**passing, "label": "0A-02"}, headers={"If-Match": "*"}
    )
    closed = client.get(f"/v1/jobs/{JOB}/faults?state=all").get_json()

    assert job_answers.JobFaultListSchema().validate(opened) == {}
    assert {f["what"] for f in opened["faults"]} == {"next:far"}
    assert "0A-02" in opened["faults"][0]["ticket"]["title"]
    assert [(f["key"], f["state"]) for f in closed["faults"]] == [(opened["faults"][0]["key"], "closed")]


def test_a_correction_is_a_merge_patch_of_names_alone(client):
    made = create(client, light("2A-03"))
    url, tag = made.headers["Location"], {"If-Match": made.headers["ETag"]}

    assert (
        client.patch(url, json={"sweeps": {}}, headers=tag, query_string={"reason": "x"}).status_code == 422
    )
    assert client.patch(url, json={"label": "2A-33"}, headers=tag).status_code == 422
    done = client.patch(
        f"{url}?reason=typing+mistake",
        data=json.dumps({"label": "2A-33", "notes": None}),
        headers={**tag, "Content-Type": "application/merge-patch+json"},
    )
    assert done.get_json()["record"]["label"] == "2A-33"
    assert done.get_json()["revision"]["reason"] == "typing mistake"
    assert done.get_json()["verdict"]["label"] == "2A-33"


@pytest.mark.parametrize("tag", ["", ",", '"', 'W/"', "1, ,", '"a" "b"', "\u00e9", "x" * 5000])
def test_a_precondition_that_no_tag_can_be_read_from_holds_for_nothing(client, tag):
    made = create(client, light("2A-03"))
    for url in (f"{made.headers['Location']}?reason=x", f"/v1/jobs/{JOB}"):
        answer = client.patch(url, json={"notes": "x"} if "records" in url else {}, headers={"If-Match": tag})

        assert (answer.status_code, answer.get_json()["code"]) == (412, "revision-conflict"), url


def test_external_ids_are_corrected_one_by_one_and_never_taken_from_another_record(client):
    other = create(client, {**light("2A-02"), "external_ids": {"crm": "taken"}})
    made = create(client, {**light("2A-03"), "external_ids": {"crm": "7", "ledger": "x"}})
    url = f"{made.headers['Location']}?reason=typing+mistake"

    def corrected(ids, tag):
        return client.patch(url, json={"external_ids": ids}, headers={"If-Match": tag})

    taken = corrected({"crm": "taken"}, made.headers["ETag"])
    done = corrected({"crm": "8", "ledger": None}, made.headers["ETag"])
    assert (taken.status_code, taken.get_json()["code"]) == (409, "external-id-taken")
    assert done.get_json()["record"]["external_ids"] == {"crm": "8"}
    assert done.get_json()["verdict"] == made.get_json()["verdict"]
    assert client.get("/v1/records/by-external-id/crm/7").status_code == 404
    assert client.get("/v1/records/by-external-id/ledger/x").status_code == 404
    found = client.get("/v1/records/by-external-id/crm/8").get_json()["record"]
    assert found["id"] == made.get_json()["record"]["id"]
    none = corrected(None, done.headers["ETag"])
    assert none.get_json()["record"]["external_ids"] == {}
    assert client.get("/v1/records/by-external-id/crm/8").status_code == 404
    assert other.status_code == 201


def test_a_withdrawn_record_stays_readable_and_takes_nothing_more(client):
    made = create(client, light("2A-03"))
    url = made.headers["Location"]
    done = client.post(
        f"{url}/withdrawal", json={"reason": "given up"}, headers={"If-Match": made.headers["ETag"]}
    )

    assert done.get_json()["record"]["withdrawn"] is True
    assert client.get("/v1/records").get_json()["records"] == []
    assert len(client.get("/v1/records?withdrawn=only").get_json()["records"]) == 1
    again = client.post(f"{url}/withdrawal", json={"reason": "twice"}, headers={"If-Match": "*"})
    assert (again.status_code, again.get_json()["code"]) == (409, "record-withdrawn")
    assert create(client, light("2A-03")).status_code == 201


def test_history_and_any_moment_of_it_can_be_read(client):
    made = create(client, light("2A-03"))
    url = made.headers["Location"]
    client.patch(f"{url}?reason=a", json={"notes": "b"}, headers={"If-Match": "*"})

    chain = client.get(f"{url}/revisions").get_json()["revisions"]
    assert [r["kind"] for r in chain] == ["submitted", "corrected"]
    assert chain[1]["previous_digest"] == chain[0]["digest"]
    assert client.get(f"{url}?as_of=2").get_json()["revision"] == chain[0]
    assert client.get(f"{url}?as_of=1").status_code == 404
    assert client.get(f"{url}/revisions/1").get_json() == chain[0]
    assert client.get(f"{url}/revisions/9").status_code == 404
    assert "notes" not in client.get(f"{url}/revisions/1/measurement").get_json()
    assert client.get(f"{url}/measurement").get_json()["notes"] == "b"


def test_a_label_is_taken_once(client):
    create(client, light("2A-03"))
    again = create(client, light("2A-03"))

    assert (again.status_code, again.get_json()["code"]) == (409, "label-taken")


def test_a_record_without_a_known_job_is_refused(client):
    assert create(client, light("X", job="nowhere")).status_code == 404
    nameless = {k: v for k, v in light("X").items() if k != "label"}
    assert create(client, nameless).get_json()["errors"][0]["pointer"] == "/label"


def test_the_requirement_of_the_job_is_what_its_links_are_judged_by(client):
    client.post(
        "/v1/jobs",
        json={
            "id": "six",
            "name": "Six",
            "requirement": {"rule_set": "TIA", "category": "6"},
            "configuration": "permanent_link",
            "minimum_basis": "memory",
        },
    )
    bare = {k: v for k, v in light("S-1", job="six").items() if k != "requirement"}
    other = light("S-2", job="six", requirement={"rule_set": "tia-568.2-d-2018", "category": "6A"})

    assert create(client, bare).get_json()["record"]["category"] == "6"
    assert create(client, other).get_json()["errors"][0]["pointer"] == "/requirement/category"


def test_a_touchstone_declaration_is_no_part_of_a_record(client):
    refused = create(client, light("T", touchstone={"pairs": ["12"]}))

    assert refused.get_json()["errors"][0]["pointer"] == "/touchstone"


# --- dry run and idempotency ----------------------------------------------------------


def test_a_dry_run_gives_the_real_verdict_and_keeps_nothing(client, passing):
    dry = create(client, passing, query_string={"dry_run": "true"}).get_json()

    assert dry["dry_run"] is True
    assert dry["verdict"] == client.post("/v1/grade", json=passing).get_json()["verdict"]
    assert client.get("/v1/records").get_json()["records"] == []
    assert client.get(f"/v1/records/{dry['record']['id']}").status_code == 404


def test_a_repeated_request_is_answered_as_the_first_time(client):
    headers = {"Idempotency-Key": '"7f3b"'}
    first = create(client, light("2A-03"), headers=headers)
    again = create(client, light("2A-03"), headers={"Idempotency-Key": "7f3b"})
    other = create(client, light("2A-04"), headers=headers)

    assert (again.status_code, again.get_json()) == (first.status_code, first.get_json())
    assert again.headers["Idempotent-Replayed"] == "true"
    assert "Idempotent-Replayed" not in first.headers
    assert (other.status_code, other.get_json()["code"]) == (422, "idempotency-mismatch")
    told = client.get("/v1/idempotency/7f3b").get_json()
    assert change_answers.IdempotencySchema().validate(told) == {}
    assert (told["state"], told["subject_id"]) == ("landed", first.get_json()["record"]["id"])
    assert client.get("/v1/idempotency/none").get_json()["state"] == "not_landed"


def test_a_request_that_is_being_carried_out_is_not_begun_twice(app, client):
    with app.extensions["fourpair"].running.claimed("anyone", "k"):
        refused = create(client, light("2A-03"), headers={"Idempotency-Key": "k"})
        told = client.get("/v1/idempotency/k").get_json()

    assert (refused.status_code, refused.get_json()["code"]) == (409, "idempotency-running")
    assert refused.headers["Retry-After"] == "1"
    assert told["state"] == "running"


# --- upsert and batch --------------------------------------------------------------------


def test_an_upsert_makes_retests_or_leaves_alone(client):
    url = "/v1/records/by-external-id/costing/J-7"
    results = [
        client.put(url, json=light("2A-03")),
        client.put(url, json=light("2A-03")),
        client.put(url, json=light("2A-03", notes="measured again")),
    ]

    assert [r.status_code for r in results] == [201, 200, 200]
    assert [r.get_json()["result"] for r in results] == ["created", "unchanged", "revised"]
    assert client.get(url).get_json()["record"]["external_ids"] == {"costing": "J-7"}
    stale = client.put(url, json=light("2A-03"), headers={"If-Match": results[0].headers["ETag"]})
    assert stale.status_code == 412


def test_a_partial_batch_answers_item_by_item(client):
    items = [light("B-1", external_ids={"costing": "1"}), light("B-2", configuration="no such"), light("B-3")]
    done = client.post("/v1/records:batch", json={"records": items})
    document = done.get_json()

    assert record_answers.BatchAnswerSchema().validate(document) == {}
    assert [i["result"] for i in document["items"]] == ["created", "refused", "created"]
    assert document["items"][1]["problem"]["errors"][0]["pointer"] == "/configuration"
    assert document["items"][0]["external_ids"] == {"costing": "1"}


@pytest.mark.parametrize("ids", [[1], "x", 5, True, [["a", "b"]], None])
def test_external_ids_that_are_no_object_are_refused_by_their_place_wherever_they_are_sent(client, ids):
    made = client.post("/v1/records", json=light("kept")).get_json()["record"]
    document = light("A", external_ids=ids)
    batch = client.post("/v1/records:batch", json={"records": [document]}).get_json()["items"][0]
    put = client.put("/v1/records/by-external-id/crm/1", json=document)
    sent = client.post("/v1/records", json=document)
    retest = client.post(
        f"/v1/records/{made['id']}/retests",
        json={**document, "label": "kept"},
        headers={"If-Match": "*"},
    )

    assert batch["result"] == "refused"
    for problem in (batch["problem"], put.get_json(), sent.get_json(), retest.get_json()):
        assert (problem["status"], problem["errors"][0]["pointer"]) == (422, "/external_ids"), problem


def test_an_atomic_batch_keeps_all_or_nothing(client):
    items = [light("B-1"), light("B-2", configuration="no such")]
    refused = client.post("/v1/records:batch?mode=atomic", json={"records": items})

    assert (refused.status_code, refused.get_json()["code"]) == (409, "batch-refused")
    assert refused.get_json()["errors"][0]["pointer"] == "/records/1"
    assert client.get("/v1/records").get_json()["records"] == []


def test_a_batch_of_lines_can_be_repeated(client):
    lines = b"\n".join(json.dumps(light(f"B-{n}")).encode() for n in range(3))
    headers = {"Content-Type": "application/x-ndjson", "Idempotency-Key": "night"}
    first = client.post("/v1/records:batch", data=lines, headers=headers)
    again = client.post("/v1/records:batch", data=lines, headers=headers)

    assert first.get_json() == again.get_json()
    assert again.headers["Idempotent-Replayed"] == "true"
    assert client.get("/v1/changes").get_json()["last_seq"] == 4


def test_a_line_that_cannot_be_read_is_told_by_its_number_and_spoils_no_other(client):
    lines = [json.dumps(light("B-1")), "", "{ no json", "[1]", json.dumps(light("B-2"))]
    headers = {"Content-Type": "application/x-ndjson"}
    partial, atomic = (
        client.post(f"/v1/records:batch?mode={mode}", data="\n".join(lines), headers=headers)
        for mode in ("partial", "atomic")
    )

    items = partial.get_json()["items"]
    assert record_answers.BatchAnswerSchema().validate(partial.get_json()) == {}
    assert [item["result"] for item in items] == ["created", "refused", "refused", "created"]
    assert items[1]["problem"]["errors"][0]["pointer"] == "/records/1"
    assert "Line 3: The body is not JSON" in items[1]["problem"]["detail"]
    assert items[2]["problem"]["errors"][0]["pointer"] == "/records/2"
    assert (atomic.status_code, atomic.get_json()["errors"][0]["pointer"]) == (400, "/records/1")
    assert len(client.get("/v1/records").get_json()["records"]) == 2


# --- lists, feed, stats ----------------------------------------------------------------------


@pytest.fixture
def many(client):
    items = [light(f"L-{n:02d}", external_ids={"costing": f"J-{n}"}) for n in range(7)]
    client.post("/v1/records:batch?mode=atomic", json={"records": items})
    return client


@pytest.mark.parametrize("sort", ["created", "-label", "headroom_db", "-tested_at"])
def test_pages_follow_one_another_by_link_and_by_cursor(many, sort):
    url, labels = f"/v1/records?limit=3&sort={sort}", []
    while url:
        page = many.get(url)
        assert record_answers.RecordListSchema().validate(page.get_json()) == {}
        labels += [r["label"] for r in page.get_json()["records"]]
        link = page.headers.get("Link", "")
        assert bool(link) == bool(page.get_json()["next_cursor"])
        url = link.partition("<")[2].partition(">")[0]

    assert sorted(labels) == [f"L-{n:02d}" for n in range(7)]
    assert labels == sorted(labels, reverse=sort.startswith("-"))


QUERIES = {
    "label_prefix=L-0&external_system=costing&external_id=J-3": 1,
    "outcome=pass,marginal_pass,incomplete,fail,marginal_fail": 7,
    "job=elsewhere": 0,
    "tested_by=nobody": 0,
    "tested_from=2030-01-01T00:00:00Z": 0,
    "changed_from=2026-12-01T00:00:00Z&changed_to=2026-12-02T00:00:00%2B00:00": 7,
    "limit=100000": 7,
    "withdrawn=also&rule_set=tia-568.2-d-2018": 7,
}


@pytest.mark.parametrize(("query", "count"), QUERIES.items())
def test_filters_can_be_combined(many, query, count):
    assert len(many.get(f"/v1/records?{query}").get_json()["records"]) == count


@pytest.mark.parametrize(
    "query",
    [
        "limit=0",
        "limit=ten",
        "cursor=x",
        "sort=size",
        "outcome=great",
        "margin_min_db=1e3",
        "lable=x",
        "as_of=1",
    ],
)
def test_a_query_that_means_nothing_is_refused(client, query):
    assert client.get(f"/v1/records?{query}").status_code == 422


def test_the_feed_tells_everything_once_and_in_order(many):
    first = many.get("/v1/changes?limit=5").get_json()
    second = many.get(f"/v1/changes?limit=5&after={first['next_after']}").get_json()

    assert change_answers.ChangesSchema().validate(first) == {}
    assert [c["seq"] for c in first["changes"] + second["changes"]] == list(range(1, 9))
    assert second["next_after"] == second["last_seq"] == 8
    assert many.get("/v1/changes?after=8").get_json()["changes"] == []


def test_a_reader_that_waits_is_answered_as_soon_as_there_is_something(app, many):
    naps = []

    def nap(seconds):
        naps.append(seconds)
        if len(naps) == 3:
            create(many, light("L-99"))

    object.__setattr__(app.extensions["fourpair"], "sleep", nap)
    told = many.get("/v1/changes?after=8&wait=30").get_json()

    assert [c["label"] for c in told["changes"]] == ["L-99"]
    assert len(naps) == 3


def test_counts_can_be_grouped(many):
    told = many.get("/v1/stats?by=job,outcome").get_json()

    assert change_answers.StatsSchema().validate(told) == {}
    assert sum(group["records"] for group in told["groups"]) == 7
    assert {group["values"]["job"] for group in told["groups"]} == {JOB}
    assert many.get("/v1/stats").status_code == 422


def test_two_systems_can_be_reconciled_in_one_call(many):
    record = many.get("/v1/records/by-external-id/costing/J-3").get_json()["record"]
    held = [
        {"external_id": "J-3", "measurement_digest": record["measurement_digest"]},
        {"external_id": "J-99", "measurement_digest": "sha256:0"},
    ]
    told = many.post("/v1/reconcile", json={"system": "costing", "records": held}).get_json()

    assert change_answers.ReconciledSchema().validate(told) == {}
    assert [item["external_id"] for item in told["same"] + told["missing"]] == ["J-3", "J-99"]
    assert len(told["extra"]) == 6


# --- jobs ----------------------------------------------------------------------------------------


def test_a_job_changes_by_merge_patch_under_its_etag(client):
    read = client.get(f"/v1/jobs/{JOB}")
    assert job_answers.JobAnswerSchema().validate(read.get_json()) == {}
    tag = {"If-Match": read.headers["ETag"]}
    done = client.patch(
        f"/v1/jobs/{JOB}",
        json={"site": None, "metadata": {"po": "88"}, "requirement": {"rule_set": "ISO", "category": "EA"}},
        headers=tag,
    )

    assert done.status_code == 200, done.get_json()
    assert (done.get_json()["site"], done.get_json()["customer"]) == (None, "Alder Row")
    assert done.get_json()["requirement"] == {"rule_set": "ISO", "category": "EA"}
    assert client.patch(f"/v1/jobs/{JOB}", json={"site": "x"}, headers=tag).status_code == 412
    assert client.patch(f"/v1/jobs/{JOB}", json={"site": "x"}).status_code == 428
    assert client.patch(f"/v1/jobs/{JOB}", json={"name": None}, headers={"If-Match": "*"}).status_code == 422
    wrong = client.patch(
        f"/v1/jobs/{JOB}", json={"requirement": {"rule_set": "none"}}, headers={"If-Match": "*"}
    )
    assert wrong.status_code == 422


def test_jobs_are_listed_and_their_ids_are_theirs(client):
    assert client.post("/v1/jobs", json={"id": JOB, "name": "Again"}).get_json()["code"] == "job-exists"
    assert client.post("/v1/jobs", json={"id": "a/b", "name": "Slash"}).status_code == 422
    made = client.post("/v1/jobs", json={"name": "No id"}).get_json()
    page = client.get("/v1/jobs?limit=1").get_json()

    assert job_answers.JobListSchema().validate(page) == {}
    rest = client.get(f"/v1/jobs?cursor={page['next_cursor']}").get_json()
    assert {job["id"] for job in page["jobs"] + rest["jobs"]} == {JOB, made["id"]}


def test_a_schedule_comes_and_goes_as_csv_with_a_report_for_each_line(client):
    url, tag = f"/v1/jobs/{JOB}/schedule", {"If-Match": "*", "Content-Type": "text/csv"}
    first = client.put(url, data="label,item_code\r\n2A-03,outlet\r\n'-12V,feed\r\n", headers=tag)
    second = client.put(url, data="label,item_code\n2A-03,outlet\n'-12V,other\n2A-09\n", headers=tag)

    assert job_answers.ScheduleAnswerSchema().validate(first.get_json()) == {}
    assert [line["result"] for line in second.get_json()["lines"]] == ["same", "changed", "added"]
    assert client.get(url).get_json()["schedule"][1] == {"label": "-12V", "item_code": "other"}
    assert client.get(url, headers={"Accept": "text/csv"}).text.splitlines()[2] == "'-12V,other"
    wrong = client.put(url, data="label,item_code\n2A-03,x\n2A-03,y\n,z\n", headers=tag)
    assert [e["pointer"] for e in wrong.get_json()["errors"]] == ["/line/3/label", "/line/4/label"]


def test_a_job_is_summed_up_billed_and_accepted(client, passing):
    client.put(
        f"/v1/jobs/{JOB}/schedule",
        json={"schedule": [{"label": "0A-01", "item_code": "outlet"}, {"label": "0A-02"}]},
        headers={"If-Match": "*"},
    )
    create(client, passing)
    accepted = client.post(
        f"/v1/jobs/{JOB}/acceptance", json={"by": "B. Ward", "on": "2026-11-30"}, headers={"If-Match": "*"}
    )
    summary, billing = (client.get(f"/v1/jobs/{JOB}/{view}").get_json() for view in ("summary", "billing"))

    assert accepted.get_json()["acceptance"] == {"by": "B. Ward", "on": "2026-11-30", "seq": 3}
    assert job_answers.JobSummarySchema().validate(summary) == {}
    assert job_answers.BillingSchema().validate(billing) == {}
    assert summary["missing"] == ["0A-02"]
    assert billing["totals"] == [{"item_code": "outlet", "quantity": 1}]
    assert client.get(f"/v1/jobs/{JOB}/billing?since=3&until=2").status_code == 422
    before = client.get(f"/v1/jobs/{JOB}/summary?as_of=2").get_json()
    assert job_answers.JobSummarySchema().validate(before) == {}
    assert (before["links"], before["missing"], summary["links"]) == (0, ["0A-01", "0A-02"], 1)
    assert client.get(f"/v1/jobs/{JOB}?as_of=1").get_json()["schedule"] == []
    assert len(client.get(f"/v1/jobs/{JOB}?as_of=2").get_json()["schedule"]) == 2
    assert client.get(f"/v1/jobs/{JOB}?as_of=0").status_code == 404


def test_attachments_are_given_back_to_be_saved_and_never_shown(client):
    url = f"/v1/jobs/{JOB}/attachments"
    made = client.post(f"{url}?name=plan.html", data=b"<script>", headers={"Content-Type": "text/html"})
    document = made.get_json()
    read = client.get(f"{url}/{document['id']}")

    assert job_answers.AttachmentSchema().validate(document) == {}
    assert read.data == b"<script>"
    assert read.content_type == "application/octet-stream"
    assert read.headers["Content-Disposition"] == "attachment; filename=plan.html"
    assert client.get(url).get_json()["attachments"] == [document]
    assert client.get(f"{url}/none").status_code == 404


def test_a_person_can_be_forgotten_and_the_chain_stays_whole(client):
    create(client, light("2A-03", tested_by="Wren crew"))
    person = next(p for p in client.get("/v1/parties").get_json()["parties"] if p["name"] == "Wren crew")
    client.delete(f"/v1/parties/{person['id']}")

    assert "Wren" not in client.get("/v1/records").text
    assert "Wren" not in client.get("/v1/parties").text
    record_id = client.get("/v1/records").get_json()["records"][0]["id"]
    assert "tested_by" not in client.get(f"/v1/records/{record_id}/measurement").get_json()


# --- operations -------------------------------------------------------------------------------------


def test_readiness_proves_a_write_and_tells_what_it_rests_on(client):
    told = client.get("/readyz").get_json()

    assert (told["store"]["kind"], told["store"]["synchronous"], told["store"]["journal_mode"]) == (
        "sqlite",
        2,
        "wal",
    )


def test_a_store_that_cannot_be_written_is_not_ready_and_refuses_records(app, client):
    app.extensions["fourpair"].desk.store.connection.execute("PRAGMA query_only = 1")

    assert client.get("/readyz").get_json()["code"] == "store-read-only"
    refused = create(client, light("2A-03"))
    assert (refused.status_code, refused.get_json()["code"]) == (503, "store-read-only")


def test_metrics_name_routes_and_never_what_callers_write(many):
    many.get("/v1/records/secret-looking-id")
    text = many.get("/metrics").text

    assert 'route="/v1/records/<record_id>"' in text
    assert "secret-looking-id" not in text
    assert "fourpair_change_seq 8" in text
    assert all(line.startswith("#") or line.rsplit(" ", 1)[1] for line in text.splitlines())


def test_a_log_line_has_no_bodies_and_no_secrets(client, caplog):
    with caplog.at_level("INFO", logger="fourpair.requests"):
        create(client, light("2A-03", notes="between us"), headers={"X-Request-Id": "r-1"})

    line = json.loads(caplog.records[-1].message)
    assert (line["request_id"], line["status"], line["route"]) == ("r-1", 201, "/v1/records")
    assert "between us" not in caplog.text
