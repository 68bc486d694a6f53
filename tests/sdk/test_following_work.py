"""Runs over many records, subscriptions, predictions and streams, through the SDK against a real service."""

from __future__ import annotations

import csv
import io
import json
import time
from pathlib import Path

import pytest

from end_to_end.running import Running
from fourpair import (
    ApiError,
    Client,
    InvalidDocumentError,
    InvalidMeasurementError,
    NotFoundError,
    RunGoesOnError,
    TransportError,
    Verdict,
)
from running import running_service

LINKS = Path(__file__).resolve().parents[2] / "samples" / "links"
PASSING, FAILING = (
    json.loads((LINKS / name).read_text())
    for name in ("0A-01-clean-pass.json", "1A-01-bad-far-connector.json")
)


@pytest.fixture(scope="module")
def client(tmp_path_factory):
    server = Running(tmp_path_factory.mktemp("store") / "records.db")
    try:
        with Client(server.url) as own:
            own.jobs.create("clinic", name="Clinic", requirement={"rule_set": "TIA", "category": "6"})
            for label, link in (("A", PASSING), ("B", FAILING)):
                own.records.create({**link, "job": "clinic", "label": label})
            yield own
    finally:
        server.stop()


def until(found):
    """What there is as soon as there is anything; the worker follows the feed in its own time."""
    for _ in range(100):
        if there := found():
            return there
        time.sleep(0.1)
    raise AssertionError("nothing came")


def test_an_assessment_is_started_waited_for_and_read(client):
    run = client.assessments.wait(
        client.assessments.start({"application": "1000BASE-T"}, job="clinic"), every_s=0.2
    )

    found = {finding.label: finding for finding in client.assessments.findings(run)}
    assert (run.state, run.records, run.settled) == ("done", 2, 2)
    assert set(found) == {"A", "B"}
    assert found["A"].answer == "supported"
    assert [each.id for each in client.assessments.list()] == [run.id]
    assert client.assessments.get(run.id).counts["answered"] == 2


def test_a_run_that_is_done_can_neither_be_stopped_nor_resumed(client):
    run = client.assessments.wait(client.assessments.start({"power_type": 4}, job="clinic"), every_s=0.2)

    for word in (client.assessments.stop, client.assessments.resume):
        with pytest.raises(ApiError) as refused:
            word(run)
        assert refused.value.status == 409


def test_a_regrade_by_a_rule_set_that_supersedes_none_is_refused(client):
    with pytest.raises(InvalidDocumentError) as refused:
        client.regrades.start("iso-11801-1-2017", dry_run=True)

    assert refused.value.errors[0]["pointer"] == "/rule_set"
    assert list(client.regrades.list()) == []
    with pytest.raises(NotFoundError):
        client.regrades.get("none")


def test_a_subscription_lives_from_its_secret_to_its_end(client):
    made = client.subscriptions.create("https://tickets.example.com/hook", outcomes=["fail"], after=0)
    waiting = until(lambda: [each for each in client.subscriptions.deliveries(made) if each.seq])
    paused = client.subscriptions.change(made, {"state": "paused"})

    assert made.secret.startswith("whsec_")
    assert made.secret not in repr(made)
    assert (paused.state, paused.outcomes, paused.secret) == ("paused", ("fail",), None)
    assert [each.id for each in client.subscriptions.list()] == [made.id]
    assert client.subscriptions.get(made.id).job is None
    assert client.subscriptions.test(made).kind
    assert [delivery.kind for delivery in waiting] == ["record.submitted"]
    assert client.subscriptions.replay(made, first_seq=1) == 1
    assert client.subscriptions.rotate_secret(made, hours=1).secret != made.secret
    client.subscriptions.end(made)
    assert client.subscriptions.list() == ()


def test_a_receiver_that_must_not_be_reached_is_refused(client):
    with pytest.raises(InvalidDocumentError):
        client.subscriptions.create("http://169.254.169.254/latest")


def test_a_prediction_has_margins_beside_those_measured_and_no_outcome(client):
    found = client.what_if(FAILING, without_m=51.6)

    (far,) = (m for m in found.margins if (m.parameter, m.end) == ("next", "far"))
    assert far.as_measured < 0 < far.margin
    assert far.unit == "dB"
    assert "NEXT at the far end" in found.summary()
    assert "estimate" in found.assumptions[0]
    with pytest.raises(InvalidDocumentError):
        client.what_if(FAILING)


def test_many_are_graded_in_order_and_a_refusal_takes_its_place(client):
    asks_nothing = {name: value for name, value in PASSING.items() if name != "requirement"}

    found = list(client.grade_many([PASSING, asks_nothing, FAILING] * 5))

    assert len(found) == 15
    for passes, refused, fails in zip(*[iter(found)] * 3, strict=True):
        assert (passes.outcome, fails.outcome) == ("pass", "fail")
        assert isinstance(refused, InvalidDocumentError)
        assert isinstance(fails, Verdict)


def test_a_link_that_cannot_be_right_is_refused_in_its_place_and_holds_up_no_other(client):
    cannot_be = {**PASSING, "lable": "A"}
    is_no_json = {**PASSING, "notes": b"bytes"}
    sent = [cannot_be, PASSING, is_no_json, *[PASSING] * 12, None, FAILING]

    graded = list(client.grade_many(sent))
    kept = list(
        client.records.upsert_many(
            [{**each, "job": "clinic"} if each else each for each in sent], dry_run=True
        )
    )
    uploaded = list(
        client.records.upload([{**each, "job": "clinic"} if each else each for each in sent], dry_run=True)
    )

    assert [isinstance(each, InvalidMeasurementError) for each in graded] == [
        n in (0, 2, 15) for n in range(17)
    ]
    assert graded[0].pointers == ("/lable",)
    assert "JSON" in str(graded[2])
    assert graded[16].outcome == "fail"
    for items in (kept, uploaded):
        assert [item.index for item in items] == list(range(17))
        assert [n for n, item in enumerate(items) if item.result == "refused"] == [0, 2, 15]
        assert items[0].problem["errors"][0]["pointer"] == "/lable"
    assert next(client.grade_many([cannot_be])).pointers == ("/lable",)


def test_a_sheet_comes_of_a_record_and_of_a_link_that_is_not_kept(client):
    (record,) = client.records.list(job="clinic", label_prefix="B")

    kept, plain = client.records.sheet(record.id), client.sheet(FAILING, media="text", language="de")

    assert kept.startswith(b"%PDF")
    assert "1A-01" in plain.decode()
    assert b"<svg" in client.records.sheet(record.id, media="svg", picture="wires")
    drawn = client.records.sheet(record.id, media="png", picture="wires", width_px=300)
    assert drawn == client.sheet(FAILING, media="png", picture="wires", width_px=300)
    # The width stands behind the mark, the length and the name of the first chunk of a PNG.
    assert int.from_bytes(drawn[16:20]) == 300


@pytest.mark.parametrize("kept_lines", [0, 1, 2, 3])
def test_a_stream_that_was_cut_loses_no_link_in_silence(client, monkeypatch, kept_lines):
    whole = client._send

    def cut(*arguments, **options):
        answer = whole(*arguments, **options)
        answer._content = b"".join(answer.content.splitlines(keepends=True)[:kept_lines])
        return answer

    monkeypatch.setattr(client, "_send", cut)
    with pytest.raises(TransportError, match="3 measurements were answered"):
        list(client.grade_many([PASSING, FAILING, PASSING]))


def test_a_stream_that_ended_early_passes_off_its_end_as_no_link(client, monkeypatch):
    whole = client._send

    def ended(*arguments, **options):
        answer = whole(*arguments, **options)
        first = answer.content.splitlines(keepends=True)[0]
        end = {"end": {"lines": 1, "complete": False}, "problem": {"status": 400, "detail": "cut short"}}
        answer._content = first + json.dumps(end).encode() + b"\n"
        return answer

    monkeypatch.setattr(client, "_send", ended)
    with pytest.raises(TransportError, match="Only 1 of 2 measurements were answered: cut short"):
        list(client.grade_many([PASSING, FAILING]))


def test_runs_are_filtered_by_the_words_that_they_also_ask_with(client):
    question = {"application": "1000BASE-T"}
    none = client.assessments.start(
        question, application="10GBASE-T", power_type=4, rule_set="iso-11801-1-2017"
    )

    assert client.assessments.wait(none, every_s=0.2).records == 0
    assert none.asked["application"] == "1000BASE-T"
    with pytest.raises(InvalidDocumentError) as refused:
        client.regrades.start("iso-11801-1-2017", rule_set="tia-568.2-d-2018", dry_run=True)
    assert refused.value.errors[0]["pointer"] == "/rule_set"


def test_findings_are_given_as_a_table_and_as_lines(client):
    run = client.assessments.wait(client.assessments.start({"power_type": 2}, job="clinic"), every_s=0.2)
    regrade = client.regrades

    header, *rows = csv.reader(io.StringIO(client.assessments.findings_as("csv", run)))
    lines = [json.loads(line) for line in client.assessments.findings_as("ndjson", run.id).splitlines()]

    found = {finding.label: finding.answer for finding in client.assessments.findings(run)}
    assert {row[header.index("label")]: row[header.index("answer")] for row in rows} == found
    assert {line["label"]: line["answer"] for line in lines} == found
    with pytest.raises(NotFoundError):
        regrade.findings_as("csv", "none")


def test_a_run_is_waited_for_so_long_and_no_longer_in_the_time_of_the_client():
    class Clock:
        now_s, slept = 0.0, []

        def sleep(self, seconds):
            self.slept.append(seconds)
            self.now_s += seconds

    clock = Clock()
    # Nobody carries runs on here.
    with running_service(FOURPAIR_BACKGROUND="0") as url, Client(url) as plain:
        client = plain.with_options(sleep=clock.sleep, monotonic=lambda: clock.now_s)
        client.jobs.create("clinic", name="Clinic", requirement={"rule_set": "TIA", "category": "6"})
        client.records.create({**PASSING, "job": "clinic", "label": "A"})
        run = client.assessments.start({"power_type": 4})

        with pytest.raises(RunGoesOnError, match="0 of 1 records settled after 25 s, and goes on") as late:
            client.assessments.wait(run, every_s=10, timeout_s=25)
        seen = list(client.assessments.progress(run, every_s=10, timeout_s=20))

    assert clock.slept == [10, 10, 5, 10, 10]
    assert (late.value.run.id, late.value.run.state, len(seen)) == (run.id, "waiting", 3)
    assert isinstance(late.value, TimeoutError)


def test_any_number_of_records_is_kept_one_by_one_and_a_refused_one_is_told_in_its_place(client):
    client.jobs.create("ward", name="Ward", requirement={"rule_set": "TIA", "category": "6"})
    links = [{"configuration": "channel", "job": "ward", "label": f"L{number}"} for number in range(30)]
    links[7] = {**links[7], "job": "nowhere"}

    told = list(client.records.upsert_many(iter(links)))
    again = list(client.records.upsert_many(links))

    assert [each.index for each in told] == list(range(30))
    assert [each.result for each in told].count("created") == 29
    assert (told[7].result, told[7].problem["code"]) == ("refused", "not-kept")
    assert [each.result for each in again].count("unchanged") == 29
    assert sum(1 for _ in client.records.list(job="ward")) == 29
