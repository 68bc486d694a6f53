"""What a shop is told of its jobs."""

from __future__ import annotations

import pytest

from fourpair_service.records import commands, job_commands
from fourpair_service.records.desk import Caller, Terms
from fourpair_service.records.errors import (
    InvalidQueryError,
    InvalidRecordError,
    NotFoundError,
    NotSupersedingError,
)
from fourpair_service.records.model import ScheduledLink
from fourpair_service.records.reconciling import reconcile
from fourpair_service.records.views.billing import billing
from fourpair_service.records.views.faults import faults
from fourpair_service.records.views.past import job_at
from fourpair_service.records.views.summary import summary
from fourpair_service.storage.memory import MemoryStore
from record_factory import ANYONE, desk_of, measurement

JOB = "harbour-hall"
SCHEDULE = tuple(ScheduledLink(f"A-{n:02d}", "outlet" if n < 4 else "backbone") for n in range(6))


@pytest.fixture
def store():
    return MemoryStore()


@pytest.fixture
def desk(store):
    desk = desk_of(store)
    values = {"name": "Harbour hall", "schedule": SCHEDULE, "marginal_pass_billable": True}
    job_commands.create_job(desk, ANYONE, JOB, values, Terms())
    return desk


def submit(desk, number, margin_db=5.0, **more):
    document = measurement(f"A-{number:02d}", margin_db=margin_db, **more)
    return commands.submit(desk, ANYONE, document, Terms()).record


def test_the_summary_groups_links_as_one_would_tell_a_supervisor(desk, store):
    for number, margin in enumerate([5.0, 0.5, -0.5, -5.0]):
        submit(desk, number, margin)
    told = summary(store, store.job(JOB))

    groups = {name: [link["label"] for link in links] for name, links in told["groups"].items()}
    assert groups == {"fine": ["A-00", "A-01"], "look_again": ["A-02"], "redo": ["A-03"]}
    assert told["missing"] == ["A-04", "A-05"]
    assert told["counts"] == {"pass": 1, "marginal_pass": 1, "marginal_fail": 1, "fail": 1, "incomplete": 0}
    assert told["worst"][0]["label"] == "A-03"
    assert (told["done"], told["links"], told["first_pass_rate"]) == (2, 4, 0.5)


def test_any_past_summary_is_told_again_as_it_was(desk, store):
    job_commands.create_job(desk, ANYONE, "elsewhere", {"name": "Elsewhere"}, Terms())
    told = {}

    def noted():
        then = store.job(JOB)
        told[store.last_change().seq] = (then, summary(store, then))

    noted()
    first = submit(desk, 0, -5.0)
    noted()
    second = submit(desk, 1, 3.0)
    noted()
    commands.retest(desk, ANYONE, first.id, measurement("A-00"), Terms())
    noted()
    commands.correct(desk, ANYONE, second.id, {"job": "elsewhere"}, Terms(), reason="wrong job")
    noted()
    job_commands.change_job(desk, ANYONE, JOB, {"schedule": SCHEDULE[:2]}, Terms())
    noted()
    job_commands.accept_job(desk, ANYONE, JOB, Terms(), by="K. Person", on="2026-12-01")
    noted()
    third = submit(desk, 1, 0.5)
    noted()
    commands.withdraw(desk, ANYONE, third.id, Terms(), reason="given up")
    noted()
    commands.correct(desk, ANYONE, second.id, {"job": JOB}, Terms(), reason="right after all")
    noted()

    for seq, (job, then) in told.items():
        assert job_at(store, JOB, seq) == job
        assert summary(store, job, as_of=seq) == then, seq
    assert summary(store, store.job(JOB), as_of=10**6) == summary(store, store.job(JOB))
    with pytest.raises(NotFoundError):
        job_at(store, "elsewhere", 1)


def test_a_retest_that_passes_leaves_the_first_pass_rate_where_it_was(desk, store):
    record = submit(desk, 0, -5.0)
    commands.retest(desk, ANYONE, record.id, measurement("A-00"), Terms())
    told = summary(store, store.job(JOB))

    assert (told["done"], told["first_pass_rate"]) == (1, 0.0)


def test_the_same_measurement_under_two_labels_is_shown(desk, store):
    submit(desk, 0, 4.0)
    submit(desk, 1, 4.0)
    submit(desk, 2, 4.5)

    assert [same["labels"] for same in summary(store, store.job(JOB))["same_measurement"]] == [
        ["A-00", "A-01"]
    ]


def test_links_that_nobody_planned_are_named(desk, store):
    submit(desk, 17)

    assert summary(store, store.job(JOB))["unscheduled"] == ["A-17"]


def test_a_marginal_pass_counts_only_by_the_policy_of_its_job(desk, store):
    submit(desk, 0, 0.5)
    job_commands.change_job(desk, ANYONE, JOB, {"marginal_pass_billable": False}, Terms())
    job = store.job(JOB)

    assert summary(store, job)["done"] == 0
    assert billing(store, job, since=0, until=None)["billable"] == []
    assert billing(store, job, since=0, until=2)["billable"] == [{"item_code": "outlet", "quantity": 1}]
    credit = billing(store, job, since=2, until=3)["lines"]
    assert [(line["quantity"], line["credits_seq"]) for line in credit] == [(-1, 2)]


def test_billing_gives_signed_quantities_by_item_code(desk, store):
    for number in (0, 1, 4):
        submit(desk, number)
    submit(desk, 2, -5.0)
    told = billing(store, store.job(JOB), since=0, until=None)

    assert told["totals"] == [
        {"item_code": "backbone", "quantity": 1},
        {"item_code": "outlet", "quantity": 2},
    ]
    assert told["passed"] == 3
    assert told["changes"]["submitted"] == 4


def test_what_was_billed_and_later_fails_is_a_credit_that_names_what_it_credits(desk, store):
    record = submit(desk, 0)
    commands.retest(desk, ANYONE, record.id, measurement("A-00", margin_db=-4.0), Terms())
    told = billing(store, store.job(JOB), since=2, until=None)

    (line,) = told["lines"]
    assert (line["quantity"], line["credits_seq"], line["seq"], line["outcome"]) == (-1, 2, 3, "fail")
    assert told["totals"] == [{"item_code": "outlet", "quantity": -1}]


@pytest.mark.parametrize("how", ["withdrawn", "moved"])
def test_what_leaves_a_job_is_credited_there(desk, store, how):
    record = submit(desk, 0)
    job_commands.create_job(desk, ANYONE, "annex", {"name": "Annex"}, Terms())
    if how == "withdrawn":
        commands.withdraw(desk, ANYONE, record.id, Terms(), reason="given up")
    else:
        commands.correct(desk, ANYONE, record.id, {"job": "annex"}, Terms(), reason="wrong job")

    (line,) = billing(store, store.job(JOB), since=3, until=None)["lines"]
    assert (line["quantity"], line["credits_seq"]) == (-1, 2)
    assert how in line["reason"]
    annex = billing(store, store.job("annex"), since=0, until=None)["lines"]
    assert [charge["quantity"] for charge in annex] == ([] if how == "withdrawn" else [1])


def test_invoices_in_a_row_add_up_to_the_state(desk, store):
    record = submit(desk, 0)
    submit(desk, 1)
    commands.retest(desk, ANYONE, record.id, measurement("A-00", margin_db=-4.0), Terms())
    commands.retest(desk, ANYONE, record.id, measurement("A-00", margin_db=6.0), Terms())
    job, last = store.job(JOB), store.last_change().seq
    totals: dict = {}
    for since in range(last):
        for line in billing(store, job, since=since, until=since + 1)["lines"]:
            totals[line["item_code"]] = totals.get(line["item_code"], 0) + line["quantity"]

    whole = billing(store, job, since=0, until=last)
    assert totals == {row["item_code"]: row["quantity"] for row in whole["billable"]} == {"outlet": 2}


def test_an_invoice_can_be_printed_again_as_it_was(desk, store):
    record = submit(desk, 0)
    job = store.job(JOB)
    printed = billing(store, job, since=0, until=2)
    commands.withdraw(desk, ANYONE, record.id, Terms(), reason="given up")

    assert billing(store, store.job(JOB), since=0, until=2) == printed
    assert billing(store, job, since=0, until=3)["state_digest"] != printed["state_digest"]


def test_a_cursor_beyond_the_feed_is_refused(desk, store):
    with pytest.raises(InvalidQueryError):
        billing(store, store.job(JOB), since=5, until=None)


def test_changes_after_acceptance_are_listed_as_such(desk, store):
    record = submit(desk, 0)
    job_commands.accept_job(desk, ANYONE, JOB, Terms(), by="Port engineer", on="2026-11-20")
    commands.retest(desk, ANYONE, record.id, measurement("A-00", margin_db=-4.0), Terms())
    job = store.job(JOB)

    assert job.acceptance.seq == 2
    assert [change["seq"] for change in summary(store, job)["after_acceptance"]] == [4]
    assert billing(store, job, since=3, until=None)["after_acceptance"] == [record.id]


def test_a_fault_has_a_ticket_that_says_what_where_and_to_take_care(desk, store):
    submit(desk, 3, -4.0)
    told = faults(store, store.job(JOB), include_closed=False)["faults"]

    assert {fault["what"] for fault in told} == {"next:near", "next:far"}
    ticket = told[0]["ticket"]
    assert ticket["title"].startswith("A-03: NEXT fails at the")
    assert "-4.0 db" in ticket["body"] or "margin" in ticket["body"]
    assert "local codes" in ticket["body"]


def test_a_fault_that_is_mended_is_closed_and_shown_only_when_asked(desk, store):
    record = submit(desk, 3, -4.0)
    commands.retest(desk, ANYONE, record.id, measurement("A-03"), Terms())
    job = store.job(JOB)

    assert faults(store, job, include_closed=False)["faults"] == []
    assert {f["state"] for f in faults(store, job, include_closed=True)["faults"]} == {"closed"}


def test_reconciling_is_the_difference_of_two_sets(desk, store):
    kept = [submit(desk, n, 4.0 + n, external_ids={"costing": f"J-{n}"}) for n in range(3)]
    held = [
        {"external_id": "J-0", "measurement_digest": kept[0].measurement_digest},
        {"external_id": "J-1", "measurement_digest": "sha256:other"},
        {"external_id": "J-9", "measurement_digest": "sha256:none"},
    ]
    told = reconcile(store, ANYONE, "costing", held, job_id=None)

    assert {name: [item["external_id"] for item in items] for name, items in told.items()} == {
        "same": ["J-0"],
        "changed": ["J-1"],
        "missing": ["J-9"],
        "extra": ["J-2"],
    }
    blind = Caller("other", frozenset())
    assert reconcile(store, blind, "costing", held, job_id=None)["extra"] == []


def test_only_a_superseding_rule_set_moves_a_record(desk, store):
    record = submit(desk, 0)
    with pytest.raises(NotSupersedingError):
        commands.regrade(desk, ANYONE, record.id, Terms(), rule_set="other-2027", supersedes=frozenset())
    moved = commands.regrade(
        desk, ANYONE, record.id, Terms(), rule_set="demo-2027", supersedes=frozenset({"demo-2026"})
    )

    assert moved.revision.kind.value == "regraded"
    assert moved.record.rule_set_id == "demo-2027"
    assert moved.revision.measurement_digest == record.measurement_digest


def test_sweeps_are_not_corrected_but_measured_again(desk):
    record = submit(desk, 0)

    with pytest.raises(InvalidRecordError, match="retest"):
        commands.correct(desk, ANYONE, record.id, {"sweeps": {}}, Terms(), reason="tidier")


def test_a_schedule_names_a_link_once(desk):
    with pytest.raises(InvalidRecordError, match="more than once"):
        job_commands.change_job(desk, ANYONE, JOB, {"schedule": (*SCHEDULE, SCHEDULE[0])}, Terms())
