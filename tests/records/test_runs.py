"""Runs over many records: what they find, what they move, and what no kill or second run can spoil."""

from __future__ import annotations

import copy
from dataclasses import replace
from datetime import datetime, timedelta

import pytest

from fourpair_service.domain.errors import InvalidRequirementError
from fourpair_service.records import commands, job_commands
from fourpair_service.records.desk import Caller, Grading, Terms
from fourpair_service.records.errors import NotFoundError, RunFinishedError, RunHeldError, StoreError
from fourpair_service.records.integrity import first_break
from fourpair_service.records.model import Assessment
from fourpair_service.records.runs import comparing
from fourpair_service.records.runs.carrying import CHUNK, InPlace, carry_on, claim
from fourpair_service.records.runs.commands import (
    begin,
    open_runs,
    resume_run,
    start_run,
    stop_run,
    visible_run,
    visible_runs,
)
from fourpair_service.records.runs.examining import Bench, examine
from fourpair_service.records.runs.model import Question, RunKind, RunState
from fourpair_service.records.search import Filter, Sort
from fourpair_service.storage.opening import open_store
from record_factory import ANYONE, desk_of, grade, measurement
from stores import KINDS, store_name

JOB = "harbour-hall"
OLD, NEW = "demo-2026", "demo-2027"
STRICTER_DB = 2.0
ALL = Filter()
REGRADE = Question(RunKind.REGRADE, rule_set=NEW, supersedes=(OLD,))


def by_edition(document, requirement):
    """Grade by the factory's limit; the newer edition asks for 2 dB more at the near end above 40 dB of margin."""
    if requirement.get("rule_set") != NEW:
        return grade(document, requirement)
    if document.get("label") == "odd":
        raise InvalidRequirementError("/requirement/category", "The edition has no such category.", "6")
    curves = document["sweeps"]["next"]
    near = [value - STRICTER_DB if value < 46 else value for value in curves["near"]["12-36"]]
    shifted = {**document, "sweeps": {"next": {**curves, "near": {"12-36": near}}}}
    return grade(shifted, requirement)


@pytest.fixture(params=KINDS)
def store(request, tmp_path):
    with store_name(request.param, tmp_path) as name:
        made = open_store(name)
        yield made
        made.close()


@pytest.fixture
def desk(store):
    desk = replace(desk_of(store), grade=by_edition)
    job_commands.create_job(desk, ANYONE, JOB, {"name": "Harbour hall"}, Terms())
    return desk


def submit(desk, label, margin_db, **more):
    return commands.submit(desk, ANYONE, measurement(label, margin_db=margin_db, **more), Terms()).record


def carried(desk, run, *, holder="me", go_on=lambda: True):
    with desk.store.writing() as writer:
        taken = claim(writer, desk, run.id, holder)
    assert taken is not None
    carrier = InPlace(Bench(desk.store, lambda question: desk.grade, desk.grade))
    return carry_on(desk, taken, carrier, lambda question: desk.grade, holder=holder, go_on=go_on)


def started(desk, question=REGRADE, wanted=ALL, **more):
    terms = Terms(dry_run=more.pop("dry_run", False))
    return start_run(desk, ANYONE, question, wanted, terms, **more)[0]


def found(store, run):
    return [document for _, document in store.drawer(run.drawer, limit=1000)]


def test_a_regrade_appends_only_where_something_has_changed(desk, store):
    falls, stays = submit(desk, "A-1", 1.5), submit(desk, "A-2", 9.0)
    other = submit(desk, "A-3", 1.5, requirement={"rule_set": "another"})
    gone = submit(desk, "A-4", 1.5)
    commands.withdraw(desk, ANYONE, gone.id, Terms(), reason="given up")

    run = carried(desk, started(desk, reason="the new edition"))

    assert run.state is RunState.DONE
    assert run.counts == {"changed": 1, "unchanged": 1, "not_concerned": 1}
    assert run.moves == {"pass > marginal_fail": 1}
    revisions = store.revisions(falls.id)
    assert [r.kind.value for r in revisions] == ["submitted", "regraded"]
    assert (revisions[1].rule_set_id, revisions[1].reason) == (NEW, "the new edition")
    assert revisions[1].measured_digest == revisions[0].measured_digest
    assert revisions[1].tester_id == revisions[0].tester_id
    assert [len(store.revisions(r.id)) for r in (stays, other, gone)] == [1, 1, 2]
    assert first_break(store) is None
    assert open_runs(store) == []


def test_a_finding_says_from_what_to_what_by_how_much_and_because_of_which_limit(desk, store):
    record = submit(desk, "A-1", 1.5)

    run = carried(desk, started(desk, dry_run=True))

    (told,) = found(store, run)
    assert (told["record"], told["label"], told["revision"]) == (record.id, "A-1", 1)
    assert (told["outcome_before"], told["outcome_after"]) == ("pass", "marginal_fail")
    assert (told["headroom_before_db"], told["headroom_after_db"], told["change_db"]) == (1.5, -0.5, -2.0)
    cause = told["because"][0]
    assert (cause["parameter"], cause["end"], cause["pairs"]) == ("next", "near", "12-36")
    assert (cause["margin_before"], cause["margin_after"]) == (1.5, -0.5)
    assert (cause["limit_before"], cause["limit_after"]) == (40.0, 40.0)
    assert told["categories"] == [{"category": "6", "state_before": "met", "state_after": "not_met"}]


def test_a_dry_run_finds_the_same_as_the_real_one_and_moves_nothing(desk, store):
    for index, margin in enumerate([1.5, 9.0, 2.5, 0.5]):
        submit(desk, f"A-{index}", margin)
    before = store.last_change()

    dry = carried(desk, started(desk, dry_run=True))
    assert store.last_change() == before
    real = carried(desk, started(desk))

    assert found(store, dry) == found(store, real)
    assert dry.counts == real.counts == {"changed": 3, "unchanged": 1}


def test_a_second_run_finds_nothing_left(desk, store):
    submit(desk, "A-1", 1.5)
    carried(desk, started(desk))
    last = store.last_change()

    again = carried(desk, started(desk))

    assert again.counts == {"not_concerned": 1}
    assert store.last_change() == last


def test_a_record_that_cannot_be_graded_is_told_and_stops_nobody(desk, store):
    submit(desk, "odd", 1.5)
    submit(desk, "A-2", 1.5)

    run = carried(desk, started(desk))

    assert run.counts == {"refused": 1, "changed": 1}
    assert "no such category" in found(store, run)[0]["refused"]


def many(desk, count=CHUNK * 2 + 5):
    for index in range(count):
        submit(desk, f"A-{index:03d}", 1.5 if index % 3 else 9.0)
    return count


def test_a_run_that_is_cut_anywhere_goes_on_and_ends_as_one_that_was_not(desk, store):
    count = many(desk)
    whole = carried(desk, started(desk, dry_run=True))
    run = started(desk)

    class CutError(Exception):
        pass

    class Cutting(InPlace):
        def carry(self, chunks):
            for number, chunk in enumerate(super().carry(chunks)):
                if number == 1:
                    raise CutError
                yield chunk

    with store.writing() as writer:
        taken = claim(writer, desk, run.id, "first")
    with pytest.raises(CutError):
        carry_on(
            desk,
            taken,
            Cutting(Bench(store, lambda question: desk.grade, desk.grade)),
            lambda question: desk.grade,
            holder="first",
        )
    assert [r.id for r in open_runs(store)] == [run.id]
    with store.writing() as writer, pytest.raises(RunHeldError):
        claim(writer, desk, run.id, "second")
    with store.writing() as writer:
        assert claim(writer, desk, run.id, "second", lambda holder: holder == "first").position > 0

    ended = carried(desk, run, holder="second")

    assert ended.seen == count
    assert ended.counts == whole.counts
    assert found(store, ended) == found(store, whole)
    changed = [r for r in store.records(Filter(), Sort(), after=None, limit=count) if r.revision == 2]
    assert len(changed) == whole.counts["changed"]
    assert first_break(store) is None


def test_whoever_lost_a_run_settles_nothing_more(desk, store):
    many(desk)
    run = started(desk)
    with store.writing() as writer:
        taken = claim(writer, desk, run.id, "first")

    class TakenOver(InPlace):
        def carry(self, chunks):
            for chunk in super().carry(chunks):
                with store.writing() as writer:
                    claim(writer, desk, run.id, "second", lambda holder: True)
                yield chunk

    carrier = TakenOver(Bench(store, lambda question: desk.grade, desk.grade))
    after = carry_on(desk, taken, carrier, lambda question: desk.grade, holder="first")

    assert (after.holder, after.position, after.seen) == ("second", 0, 0)
    assert all(r.revision == 1 for r in store.records(Filter(), Sort(), after=None, limit=99))


def test_a_run_stops_and_resumes_where_it_stopped(desk, store):
    count = many(desk)
    run = started(desk)

    class Stopping(InPlace):
        def carry(self, chunks):
            for number, chunk in enumerate(super().carry(chunks)):
                if number == 1:
                    stop_run(desk, ANYONE, RunKind.REGRADE, run.id)
                yield chunk

    with store.writing() as writer:
        taken = claim(writer, desk, run.id, "me")
    carrier = Stopping(Bench(store, lambda question: desk.grade, desk.grade))
    stopped = carry_on(desk, taken, carrier, lambda question: desk.grade, holder="me")

    assert (stopped.state, stopped.seen) == (RunState.STOPPED, CHUNK)
    assert open_runs(store) == []
    with store.writing() as writer:
        assert claim(writer, desk, run.id, "me") is None
    resume_run(desk, ANYONE, RunKind.REGRADE, run.id)
    assert carried(desk, run).seen == count
    with pytest.raises(RunFinishedError):
        stop_run(desk, ANYONE, RunKind.REGRADE, run.id)
    with pytest.raises(RunFinishedError):
        resume_run(desk, ANYONE, RunKind.REGRADE, run.id)


def test_a_run_told_to_end_soon_can_be_taken_up_at_once(desk, store):
    count = many(desk)
    run = started(desk)

    paused = carried(desk, run, go_on=lambda: False)

    assert (paused.state, paused.holder, paused.seen) == (RunState.WAITING, None, CHUNK)
    assert carried(desk, run, holder="another").seen == count


def test_a_record_that_moves_on_during_the_run_is_looked_at_anew(desk, store):
    record = submit(desk, "A-1", 1.5)
    run = started(desk)

    class Overtaken(InPlace):
        def carry(self, chunks):
            for chunk in super().carry(chunks):
                commands.retest(desk, ANYONE, record.id, measurement("A-1", margin_db=9.5), Terms())
                yield chunk

    with store.writing() as writer:
        taken = claim(writer, desk, run.id, "me")
    carrier = Overtaken(Bench(store, lambda question: desk.grade, desk.grade))
    after = carry_on(desk, taken, carrier, lambda question: desk.grade, holder="me")

    assert after.counts == {"unchanged": 1}
    assert [r.kind.value for r in store.revisions(record.id)] == ["submitted", "retested"]


def test_a_clock_that_is_set_back_holds_no_run_until_it_has_caught_up(desk, store):
    submit(desk, "A-1", 1.5)
    run = started(desk)
    with store.writing() as writer:
        taken = claim(writer, desk, run.id, "a:1")

    def at(moment):
        return replace(desk, clock=lambda: moment)

    held_until = datetime.fromisoformat(taken.held_until)
    with store.writing() as writer, pytest.raises(RunHeldError):
        claim(writer, at(held_until - timedelta(seconds=90)), run.id, "b:1")
    back = at(held_until - timedelta(days=1))
    assert carried(back, run, holder="b:1").state is RunState.DONE


def test_records_made_after_the_start_are_left_to_the_next_run(desk):
    submit(desk, "A-1", 1.5)
    run = started(desk)
    submit(desk, "A-2", 1.5)

    assert carried(desk, run).seen == 1


def test_a_run_looks_at_the_records_of_its_filter_alone(desk, store):
    submit(desk, "A-1", 1.5)
    submit(desk, "B-1", 1.5)

    run = carried(desk, started(desk, wanted=Filter(label_prefix="B", outcomes=frozenset({"pass"}))))

    assert (run.total, run.seen) == (1, 1)
    assert [f["label"] for f in found(store, run)] == ["B-1"]
    assert run.wanted == Filter(label_prefix="B", outcomes=frozenset({"pass"}))


def test_an_assessment_answers_and_moves_nothing(desk, store):
    record = submit(desk, "A-1", 1.5)
    before = store.last_change(), store.record(record.id)
    asked = {"rule_set": NEW, "category": "6"}

    run = carried(desk, started(desk, Question(RunKind.ASSESSMENT, requirement=asked)))

    (told,) = found(store, run)
    assert (told["outcome"], told["answer"], told["headroom_db"]) == ("pass", "marginal_fail", -0.5)
    assert run.moves == {"marginal_fail": 1}
    assert (store.last_change(), store.record(record.id)) == before


@pytest.mark.parametrize("keep", [False, True])
def test_what_a_link_carries_is_kept_beside_it_only_where_that_is_asked(desk, store, keep):
    record = submit(desk, "A-1", 1.5)
    rows = [{"application": "10GBASE-T", "state": "supported", "headroom_db": 1.25, "text": ["Yes."]}]
    document = {
        "applications": {"applications": rows},
        "powering": {"types": [{"type": 4, "state": "supported"}]},
    }

    def carrying(measured, requirement):
        return Grading(grade(measured, requirement).verdict, Assessment("7", document))

    asking = replace(desk, grade=carrying)
    question = Question(RunKind.ASSESSMENT, application="10GBASE-T", keep=keep)
    run = carried(asking, started(asking, question))

    assert run.moves == {"supported": 1}
    assert found(store, run)[0]["headroom_db"] == 1.25
    searched = store.records(Filter(application="10GBASE-T"), Sort(), after=None, limit=9)
    assert [r.id for r in searched] == ([record.id] if keep else [])
    assert store.last_change().seq == 2
    powered = carried(asking, started(asking, Question(RunKind.ASSESSMENT, power_type=4)))
    assert powered.moves == {"supported": 1}


def test_the_same_request_begins_one_run(desk):
    terms = Terms(key="k", fingerprint="f")
    first, known = start_run(desk, ANYONE, REGRADE, Filter(), terms)
    again, repeated = start_run(desk, ANYONE, REGRADE, Filter(), terms)

    assert (known, repeated) == (False, True)
    assert again == first


def test_a_caller_sees_the_runs_over_its_own_jobs_alone(desk, store):
    mine = Caller("key", frozenset({JOB}))
    over_all = started(desk)
    own, _ = start_run(desk, mine, REGRADE, Filter(visible_jobs=mine.jobs), Terms())

    assert [r.id for r in visible_runs(store, mine, RunKind.REGRADE, after="", limit=9)] == [own.id]
    assert [r.id for r in visible_runs(store, ANYONE, RunKind.REGRADE, after="", limit=9)] == [
        over_all.id,
        own.id,
    ]
    with pytest.raises(NotFoundError):
        visible_run(store, mine, RunKind.REGRADE, over_all.id)
    with pytest.raises(NotFoundError):
        visible_run(store, ANYONE, RunKind.ASSESSMENT, own.id)


def test_other_words_for_the_same_results_are_no_change():
    before = grade(measurement(), {"rule_set": OLD}).verdict
    after = grade(measurement(), {"rule_set": NEW}).verdict
    after["parameters"][0] |= {"source": "another print", "clause": "6.3"}

    assert comparing.difference(before, after) is None
    after["parameters"][1]["outcome"] = "marginal_pass"
    assert comparing.difference(before, after) is not None


def test_a_basis_that_is_better_known_is_a_change(desk):
    before = grade(measurement(), {}).verdict
    after = {**before, "provisional": True, "basis": "memory"}

    told = comparing.difference(before, after)

    assert (told["provisional_before"], told["provisional_after"], told["change_db"]) == (False, True, 0.0)


def test_begin_counts_what_fits(desk, store):
    submit(desk, "A-1", 1.5)
    with store.writing() as writer:
        run = begin(writer, desk, "night", REGRADE, Filter(job_id="none"))
    assert (run.total, run.last_row) == (0, 2)


def test_what_is_only_shown_is_told_after_what_is_judged():
    before = grade(measurement(), {"rule_set": OLD}).verdict
    judged = {
        **before["parameters"][0],
        "parameter": "next",
        "end": "near",
        "outcome": "pass",
        "basis": "memory",
    }
    shown = {**judged, "parameter": "acr_n", "outcome": None, "worst_margin": {"margin_db": -9.0}}
    moved = {**judged, "parameter": "return_loss"}
    before["parameters"] = [shown, judged, moved]
    after = copy.deepcopy(before)
    for row in after["parameters"]:
        row["basis"] = "published"
    after["parameters"][2]["outcome"] = "fail"

    told = comparing.difference(before, after)

    assert [cause["parameter"] for cause in told["because"]] == ["return_loss", "next", "acr_n"]


@pytest.mark.parametrize(
    "question", [REGRADE, Question(RunKind.ASSESSMENT, requirement={"rule_set": NEW, "category": "6"})]
)
def test_a_store_that_fails_ends_the_look_and_is_no_finding_of_a_record(desk, store, question):
    record = submit(desk, "A-1", 1.5)

    class Away:
        def verdict(self, *_):
            raise StoreError("the database is away")

        measurement = verdict

    bench = Bench(Away(), lambda question: desk.grade, desk.grade)
    with pytest.raises(StoreError):
        examine(bench, question, record)
