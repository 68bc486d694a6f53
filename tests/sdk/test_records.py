"""The SDK's jobs, records and feed, against a real server on a loopback port."""

from __future__ import annotations

import json
import threading
from datetime import UTC, datetime
from itertools import islice
from pathlib import Path

import pytest
import requests
from werkzeug.serving import make_server

from fourpair import (
    Client,
    ConflictError,
    ConnectionFailedError,
    InvalidDocumentError,
    NotAllowedError,
    NotFoundError,
    StaleError,
)
from fourpair_service.app import create_app
from fourpair_service.records.key_commands import KeyGrant, make_key
from fourpair_service.records.keys import Scope
from fourpair_service.storage.memory import MemoryStore

LINKS = Path(__file__).resolve().parents[2] / "samples" / "links"
NOW = datetime(2026, 12, 1, tzinfo=UTC)


def link(label, job="clinic", name="2A-03-summary-only", **changes):
    return {**json.loads((LINKS / f"{name}.json").read_bytes()), "label": label, "job": job, **changes}


@pytest.fixture
def store():
    return MemoryStore()


@pytest.fixture
def app(store):
    return create_app(clock=lambda: NOW, store=store)


@pytest.fixture
def url(app):
    server = make_server("127.0.0.1", 0, app, threaded=True)
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_port}"
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


@pytest.fixture
def client(url):
    with Client(url) as client:
        client.jobs.create("clinic", name="Clinic", schedule=[{"label": "A", "item_code": "outlet"}])
        yield client


def test_a_link_is_kept_failing_mended_and_billed(client):
    first = client.records.create(link("A", name="0A-02-near-miss"))
    (fault,) = client.jobs.faults("clinic")
    mended = client.records.retest(first.record, link("A", name="0A-01-clean-pass"), reason="re-terminated")
    (closed,) = client.jobs.faults("clinic", include_closed=True)

    assert (first.result, first.record.outcome, first.verdict.failing()[0].parameter) == (
        "created",
        "fail",
        "next",
    )
    assert (mended.result, mended.record.outcome, mended.revision.reason) == (
        "revised",
        "pass",
        "re-terminated",
    )
    assert (fault.state, closed.state, fault.key) == ("open", "closed", closed.key)
    assert client.jobs.billing("clinic").totals[0].quantity == 1
    assert client.jobs.summary("clinic").first_pass_rate == 0.0
    assert [r.kind for r in client.records.revisions(first.record.id)] == ["submitted", "retested"]
    assert client.records.get(first.record.id, as_of=2).shown.number == 1
    assert client.records.verdict(first.record.id).outcome == "pass"
    assert client.jobs.faults("clinic") == ()


def test_a_record_that_has_moved_on_is_not_overwritten_unseen(client):
    record = client.records.create(link("A")).record
    client.records.correct(record, {"notes": "first"}, reason="note")

    with pytest.raises(StaleError):
        client.records.correct(record, {"notes": "second"}, reason="note")
    newest = client.records.get(record.id)
    assert client.records.correct(newest, {"notes": "second"}, reason="note").record.revision == 3
    assert client.records.measurement(record.id)["notes"] == "second"


def test_a_repeated_create_has_one_effect(client):
    first = client.records.create(link("A"), idempotency_key="k")
    again = client.records.create(link("A"), idempotency_key="k")

    assert (first.replayed, again.replayed) == (False, True)
    assert again.record.id == first.record.id
    assert client.landed("k").state == "landed"
    assert client.landed("other").state == "not_landed"


def test_a_request_that_is_still_carried_out_is_waited_for(client, app):
    running = app.extensions["fourpair"].running
    claim = running.claimed("anyone", "slow")
    claim.__enter__()
    timer = threading.Timer(0.5, claim.__exit__, (None, None, None))
    timer.start()

    assert client.records.create(link("A"), idempotency_key="slow").result == "created"
    timer.join()


def test_a_dry_run_keeps_nothing(client):
    assert client.records.create(link("A"), dry_run=True).dry_run
    assert list(client.records.list()) == []


def test_errors_are_of_the_kind_that_happened(client):
    client.records.create(link("A"))
    with pytest.raises(ConflictError, match="label-taken"):
        client.records.create(link("A"))
    with pytest.raises(NotFoundError):
        client.records.get("none")
    with pytest.raises(InvalidDocumentError):
        client.records.create(link("B", configuration="none"))
    with pytest.raises(ConflictError, match="job-exists"):
        client.jobs.create("clinic", name="Again")


def test_an_upload_takes_a_generator_and_tells_of_each_item(client):
    items = list(client.records.upload(link(f"B-{n:03d}") for n in range(60)))

    assert [item.index for item in items] == list(range(60))
    assert {item.result for item in items} == {"created"}
    assert len(list(client.records.list(job="clinic", limit=25))) == 60
    assert {item.result for item in client.records.upload([link("B-000"), link("C")])} == {
        "unchanged",
        "created",
    }


def test_records_are_found_by_external_id_and_reconciled(client):
    made = client.records.upsert("costing", "J-1", link("A"))
    same = client.records.upsert("costing", "J-1", link("A"))
    told = client.reconcile("costing", {"J-1": made.record.measurement_digest, "J-2": "sha256:0"})

    assert (made.result, same.result) == ("created", "unchanged")
    assert client.records.find("costing", "J-1").id == made.record.id
    assert [item["external_id"] for item in told.same + told.missing] == ["J-1", "J-2"]


def test_the_feed_can_be_followed_from_where_one_left_off(client):
    client.records.create(link("A"))
    seen = list(client.changes.list())
    timer = threading.Timer(0.3, client.records.create, (link("B"),))
    timer.start()
    (new,) = islice(client.changes.follow(after=seen[-1].seq, wait_s=10), 1)
    timer.join()

    assert [change.kind for change in seen] == ["job.created", "record.submitted"]
    assert (new.seq, new.label, new.previous_seq) == (3, "B", None)


def test_a_job_changes_and_is_accepted(client):
    job = client.jobs.get("clinic")
    changed = client.jobs.change(job, {"site": "Row 4"})

    assert changed.site == "Row 4"
    with pytest.raises(StaleError):
        client.jobs.change(job, {"site": "Row 5"})
    assert client.jobs.accept(changed, by="B. Ward", on="2026-11-30").acceptance["by"] == "B. Ward"
    assert [job.id for job in client.jobs.list()] == ["clinic"]


def test_a_key_is_shown_where_the_service_asks_for_one(url, store):
    grant = KeyGrant("reader", frozenset({Scope.READ}))
    made = make_key(store, grant, key_id="Ab1", randomness=bytes(32), now="2026-11-01T00:00:00.000000Z")

    with Client(url) as stranger, pytest.raises(NotAllowedError, match="key-missing"):
        list(stranger.jobs.list())
    with Client(url, api_key=made.text) as reader:
        assert list(reader.jobs.list()) == []
        with pytest.raises(NotAllowedError, match="scope-missing"):
            reader.jobs.create("x", name="x")


def test_a_write_whose_answer_is_lost_names_its_key():
    nowhere = Client("http://127.0.0.1:9", session=requests.Session())
    with pytest.raises(ConnectionFailedError) as caught:
        nowhere.records.create(link("A"), idempotency_key="mine")
    nowhere.close()

    assert caught.value.idempotency_key == "mine"
