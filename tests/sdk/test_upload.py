"""Many measurements at once, and following what comes of them."""

from __future__ import annotations

import json
from dataclasses import replace
from itertools import islice
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fourpair import ConflictError, InvalidSettingError, Reconciled, Retries, TransportError
from fourpair._kept import joined
from fourpair._uploading import parts_of
from fourpair.testing import service, troubled

MEASURED = Path(__file__).resolve().parents[2] / "samples" / "measured"
LIGHT = {
    "job": "clinic",
    "configuration": "permanent_link",
    "requirement": {"rule_set": "TIA", "category": "6"},
    "wire_map": {"contacts": [[p, p] for p in "12345678"]},
}


def links(count):
    return [{**LIGHT, "label": f"A-{n:03d}", "external_ids": {"costing": f"J/{n}"}} for n in range(count)]


@pytest.fixture
def running():
    with service() as running, running.client() as client:
        client.jobs.create("clinic", name="Clinic")
        yield running


def test_parts_keep_both_bounds_and_lose_nothing():
    sent = links(23)
    size = len(json.dumps(sent[0]))
    parts = list(parts_of(sent, 5, 3 * size))

    assert [part.start for part in parts] == [0, 3, 6, 9, 12, 15, 18, 21]
    assert [json.loads(line) for part in parts for line in part.lines] == sent
    assert [len(part.lines) for part in parts_of(sent, 5, 10**6)] == [5, 5, 5, 5, 3]
    assert [len(part.lines) for part in parts_of(sent, 5, 1)] == [1] * 23


@pytest.mark.parametrize("threads", [1, 3])
def test_an_upload_reads_a_generator_as_it_sends_and_tells_of_each_in_order(running, threads):
    read = []

    def generated():
        for document in links(40):
            read.append(document["label"])
            yield document

    told = []
    with running.client() as client:
        items = client.records.upload(generated(), most_items=4, threads=threads, progress=told.append)
        first = next(items)
        assert len(read) <= 4 * (threads + 1) + 1
        rest = list(items)

    assert first.index == 0
    assert [item.index for item in rest] == list(range(1, 40))
    assert {item.result for item in rest} == {"created"}
    assert told == list(range(1, 41))


def test_one_that_cannot_be_right_is_told_in_its_place_and_the_rest_is_kept(running):
    sent = links(6)
    sent[2]["lable"] = "oops"
    sent[4]["job"] = "none"
    with running.client() as client:
        items = list(client.records.upload(sent, most_items=2))

    assert [item.result for item in items] == [
        "created",
        "created",
        "refused",
        "created",
        "refused",
        "created",
    ]
    assert items[2].problem["errors"][0]["pointer"] == "/lable"
    assert items[4].problem["status"] == 404


def test_an_upload_that_was_stopped_goes_on_where_it_was(running, tmp_path):
    checkpoint = tmp_path / "upload.checkpoint"
    with running.client() as client:
        started = client.records.upload(links(20), most_items=4, checkpoint=checkpoint)
        seen = [item.label for item in islice(started, 10)]
        started.close()
        assert checkpoint.exists()
        again = [item.label for item in client.records.upload(links(20), most_items=4, checkpoint=checkpoint)]
        changes = [change.label for change in client.changes.list(after=1)]

    # What was not told to its end is told again, from the answer that was given then.
    assert again == [f"A-{n:03d}" for n in range(8, 20)]
    assert sorted({*seen, *again}) == changes
    assert not checkpoint.exists()


def test_a_checkpoint_of_something_else_is_not_trusted(running, tmp_path):
    checkpoint = tmp_path / "upload.checkpoint"
    with running.client() as client:
        started = client.records.upload(links(20), most_items=4, checkpoint=checkpoint)
        list(islice(started, 9))
        started.close()
        other = [{**each, "notes": "other"} for each in links(20)]
        with pytest.raises(InvalidSettingError, match="other measurements"):
            list(client.records.upload(other, most_items=4, checkpoint=checkpoint))
        with pytest.raises(InvalidSettingError, match="other parts"):
            list(client.records.upload(links(20), most_items=7, checkpoint=checkpoint))
        checkpoint.write_text("[]")
        with pytest.raises(InvalidSettingError, match="no checkpoint"):
            list(client.records.upload(links(20), checkpoint=checkpoint))


@pytest.mark.parametrize("seed", range(4))
def test_an_upload_through_a_bad_network_keeps_each_measurement_once(seed):
    with service(troubles=troubled(seed)) as running, running.client(retries=Retries(tries=12)) as client:
        client.jobs.create("clinic", name="Clinic")
        items = list(client.records.upload(links(60), most_items=7))
        changes = [change.label for change in client.changes.list(after=1)]

    assert [item.result for item in items] == ["created"] * 60
    assert sorted(changes) == [f"A-{n:03d}" for n in range(60)]


def test_an_upload_that_gave_up_can_be_started_again_without_doing_anything_twice(tmp_path):
    troubles = ["none"] * 3 + ["lost_answer"] + ["lost_request"] * 3
    checkpoint = tmp_path / "c"
    with service(troubles=troubles) as running, running.client() as client:
        client.jobs.create("clinic", name="Clinic")
        with pytest.raises(TransportError):
            list(client.records.upload(links(20), most_items=5, checkpoint=checkpoint))
        items = list(client.records.upload(links(20), most_items=5, checkpoint=checkpoint))
        changes = [change.label for change in client.changes.list(after=1)]

    assert [item.index for item in items] == list(range(10, 20))
    # The third part had landed unseen: the same key gets the answer of then, and not "unchanged".
    assert {item.result for item in items} == {"created"}
    assert len(changes) == len(set(changes)) == 20


def test_all_or_nothing_is_by_part(running):
    sent = links(6)
    sent[4]["job"] = "none"
    with running.client() as client:
        items = client.records.upload(sent, most_items=3, mode="atomic")
        assert [item.result for item in islice(items, 3)] == ["created"] * 3
        with pytest.raises(ConflictError) as caught:
            next(items)
        assert len(list(client.records.list())) == 3

    assert "/records/1" in caught.value.pointers


def test_a_part_that_is_too_large_for_the_service_is_sent_in_halves(running):
    own = running.app.extensions["fourpair"]
    running.app.extensions["fourpair"] = replace(own, settings=replace(own.settings, max_part_bytes=2000))
    with running.client() as client:
        items = list(client.records.upload(links(24), most_items=24))

    assert [item.index for item in items] == list(range(24))
    assert {item.result for item in items} == {"created"}
    assert running.requests_sent > 3


def test_pages_can_be_read_on_from_their_cursor(running):
    with running.client() as client:
        list(client.records.upload(links(10)))
        listing = client.records.list(limit=4, sort="label")
        first = list(islice(listing, 4))
        rest = list(client.records.list(limit=4, sort="label", cursor=listing.cursor))

    assert [record.label for record in (*first, *rest)] == [f"A-{n:03d}" for n in range(10)]


def test_a_listing_goes_on_after_a_page_that_did_not_arrive():
    troubles = ["none"] * 4 + ["lost_answer"]
    with service(troubles=troubles) as running, running.client(retries=Retries(tries=1)) as client:
        client.jobs.create("clinic", name="Clinic")
        list(client.records.upload(links(10)))
        listing = client.records.list(limit=4, sort="label")
        first = [record.label for record in islice(listing, 8)]
        with pytest.raises(TransportError):
            next(listing)
        rest = [record.label for record in listing]

    assert first + rest == [f"A-{n:03d}" for n in range(10)]


def test_a_follower_that_starts_again_misses_nothing_and_repeats_nothing(running):
    with running.client() as client:
        list(client.records.upload(links(10)))
        seen = [change.seq for change in islice(client.changes.follow(after=0), 4)]
        seen += [change.seq for change in islice(client.changes.follow(after=seen[-1]), 7)]

    assert seen == list(range(1, 12))


def test_reconciling_tells_same_changed_missing_and_extra(running):
    with running.client() as client:
        list(client.records.upload(links(4)))
        held = {record.external_ids["costing"]: record.measurement_digest for record in client.records.list()}
        whole = client.reconcile("costing", held.items())
        held["J/0"], held["J/99"] = "sha256:0", held.pop("J/3")
        told = client.reconcile("costing", held, job="clinic")

    assert whole.agree
    assert not told.agree
    assert [
        [item["external_id"] for item in part] for part in (told.same, told.changed, told.missing, told.extra)
    ] == [["J/1", "J/2"], ["J/0"], ["J/99"], ["J/3"]]


IDS = st.sets(st.integers(0, 30).map(str))


def _compared(held, here):
    return {
        "same": [{"external_id": i} for i in held & here],
        "changed": [],
        "missing": [{"external_id": i} for i in held - here],
        "extra": [{"external_id": i} for i in sorted(here - held)],
    }


@given(st.lists(IDS, min_size=1, max_size=5), IDS)
@settings(max_examples=60, suppress_health_check=[HealthCheck.too_slow])
def test_a_comparison_in_parts_is_that_of_the_whole(parts, here):
    parts = [part - set().union(*parts[:i]) for i, part in enumerate(parts)]
    told = joined([_compared(part, here) for part in parts])
    whole = set().union(*parts)

    def ids(entries):
        return {item["external_id"] for item in entries}

    assert isinstance(told, Reconciled)
    assert ids(told.same) == whole & here
    assert ids(told.missing) == whole - here
    assert ids(told.extra) == here - whole


def test_files_sent_again_through_a_bad_network_make_one_record_and_one_retest():
    described = {**{k: LIGHT[k] for k in ("job", "requirement")}, "configuration": "channel", "label": "C-1"}
    described["touchstone"] = {"pairs": ["12"]}
    files = [{"a.s4p": MEASURED / f"CABLE1_{name}_pair.s4p"} for name in ("TX", "RX")]
    with service(troubles=["none", *["lost_answer", "duplicated", "lost_request"] * 3]) as running:
        client = running.client()
        client.jobs.create("clinic", name="Clinic")
        made = client.records.create(described, touchstone=files[0])
        retested = client.records.retest(made.record, described, touchstone=files[1])
        with (MEASURED / "CABLE1_RX_pair.s4p").open("rb") as opened:
            same = client.records.upsert(
                "costing", "7", described | {"label": "C-2"}, touchstone={"a.s4p": opened}
            )
        kept = client.records.measurement(made.record.id)
        kinds = [change.kind for change in client.changes.list()]

    assert kinds == ["job.created", "record.submitted", "record.retested", "record.submitted"]
    assert (retested.revision.number, same.result) == (2, "created")
    assert set(kept.sweeps["insertion_loss"]["12"]) >= {"re", "im"}
    assert "touchstone" not in kept
