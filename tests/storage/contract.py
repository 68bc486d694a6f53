"""What every store promises; a store's test class inherits all of it."""

from __future__ import annotations

import json
import threading
from dataclasses import replace
from datetime import timedelta

import pytest

from fourpair_service.records import commands, job_commands, key_commands, upserts
from fourpair_service.records.completing import CHUNK, complete
from fourpair_service.records.curves import join, part
from fourpair_service.records.desk import Caller, Terms, record_tag
from fourpair_service.records.errors import (
    ExternalIdTakenError,
    IdempotencyMismatchError,
    JobExistsError,
    LabelTakenError,
    NotFoundError,
    RecordWithdrawnError,
    RevisionConflictError,
)
from fourpair_service.records.integrity import first_break
from fourpair_service.records.keys import Scope
from fourpair_service.records.label_order import label_key
from fourpair_service.records.model import Assessment, ChangeKind, Job, PartyKind, Record
from fourpair_service.records.search import (
    GROUP_VALUES,
    Field,
    Filter,
    GroupBy,
    Sort,
    group_order,
    position,
)
from fourpair_service.records.views.clock import set_back
from record_factory import ANYONE, START, desk_of, grade, measurement

JOB = "harbour-hall"


class RecordStoreContract:
    """The promises of the store's port, as tests."""

    @pytest.fixture
    def desk(self, store):
        desk = desk_of(store)
        job_commands.create_job(desk, ANYONE, JOB, {"name": "Harbour hall"}, Terms())
        return desk

    def submit(self, desk, label="A-01", **more):
        return commands.submit(desk, ANYONE, measurement(label, **more), Terms())

    # --- what is kept -----------------------------------------------------

    def test_a_measurement_comes_back_to_the_last_digit(self, desk, store):
        document = measurement(notes="12 is no 12.0", external_ids={"costing": "J-1"})
        document["sweeps"]["next"]["near"]["12-36"] = [12, 12.0, -0.0, 1e-17, 1 / 3, 99.125, 7, 0.1 + 0.2]
        document["sweeps"]["next"]["far"]["12-36"] = [2**53, 2**53 + 2, 1, 2, 3, 4, 5, 6]
        record = commands.submit(desk, ANYONE, document, Terms()).record

        back = commands.stored_document(store, record.id, 1)

        assert json.dumps(back, sort_keys=True) == json.dumps(document, sort_keys=True)

    def test_revisions_follow_one_another_and_each_names_the_one_before(self, desk, store):
        record = self.submit(desk, margin_db=-3.0).record
        commands.retest(desk, ANYONE, record.id, measurement(margin_db=2.0), Terms(), reason="re-terminated")
        commands.correct(desk, ANYONE, record.id, {"label": "A-02"}, Terms(), reason="typing mistake")
        commands.withdraw(desk, ANYONE, record.id, Terms(), reason="link given up")

        revisions = store.revisions(record.id)

        assert [r.number for r in revisions] == [1, 2, 3, 4]
        assert [r.kind.value for r in revisions] == ["submitted", "retested", "corrected", "withdrawn"]
        assert [r.previous_digest for r in revisions] == [None, *(r.digest for r in revisions[:-1])]
        assert store.record(record.id).digest == revisions[-1].digest
        assert first_break(store) is None

    def test_a_correction_keeps_what_was_measured_and_who_measured(self, desk, store):
        record = self.submit(desk).record
        commands.correct(desk, ANYONE, record.id, {"notes": "seen twice"}, Terms(), reason="note")

        first, second = store.revisions(record.id)

        assert first.measured_digest == second.measured_digest
        assert first.measurement_digest != second.measurement_digest
        assert first.tester_id == second.tester_id
        assert commands.stored_document(store, record.id, 2)["notes"] == "seen twice"

    def test_a_block_that_fails_leaves_nothing(self, desk, store):
        before = store.last_change()

        with pytest.raises(RuntimeError, match="in the middle"), store.writing() as writer:
            writer.put_job(Job("other", 1, "Other", "t", "a"), ChangeKind.JOB_CREATED)
            raise RuntimeError("in the middle")

        assert store.job("other") is None
        assert store.last_change() == before

    def test_an_attempt_that_fails_takes_only_itself_back(self, desk, store):
        with store.writing() as writer:
            writer.put_job(Job("kept", 1, "Kept", "t", "a"), ChangeKind.JOB_CREATED)
            with pytest.raises(RuntimeError), writer.attempt():
                writer.put_job(Job("lost", 1, "Lost", "t", "a"), ChangeKind.JOB_CREATED)
                raise RuntimeError
            writer.put_job(Job("later", 1, "Later", "t", "a"), ChangeKind.JOB_CREATED)

        assert (store.job("kept").name, store.job("lost"), store.job("later").name) == ("Kept", None, "Later")
        assert [c.seq for c in store.changes(after=0, limit=10)] == [1, 2, 3]

    def test_a_dry_run_answers_as_the_real_one_and_keeps_nothing(self, desk, store):
        dry = commands.submit(desk, ANYONE, measurement(margin_db=0.5), Terms(dry_run=True))

        assert dry.verdict["outcome"] == "marginal_pass"
        assert store.record(dry.record.id) is None
        assert store.last_change().seq == 1

    def test_a_block_of_reading_sees_one_state(self, desk, store):
        with store.reading() as reader:
            before = reader.last_change()
            worker = threading.Thread(target=self.submit, args=(desk,))
            worker.start()
            worker.join()

            assert reader.last_change() == before
        assert store.last_change().seq == before.seq + 1

    # --- what is refused ----------------------------------------------------

    def test_one_label_names_one_link_until_it_is_withdrawn(self, desk, store):
        record = self.submit(desk).record
        with pytest.raises(LabelTakenError) as caught:
            self.submit(desk)
        assert caught.value.record_id == record.id

        commands.withdraw(desk, ANYONE, record.id, Terms(), reason="again")

        assert self.submit(desk).record.id != record.id
        with pytest.raises(RecordWithdrawnError):
            commands.withdraw(desk, ANYONE, record.id, Terms(), reason="twice")

    def test_renaming_keeps_the_chain_and_frees_the_label(self, desk, store):
        record = self.submit(desk).record
        commands.correct(desk, ANYONE, record.id, {"label": "A-09"}, Terms(), reason="swapped")

        assert self.submit(desk, "A-01").created
        assert store.record_labelled(JOB, "A-09").id == record.id

    def test_one_external_id_names_one_record(self, desk):
        self.submit(desk, external_ids={"costing": "J-1"})

        with pytest.raises(ExternalIdTakenError):
            self.submit(desk, "A-02", external_ids={"costing": "J-1"})

    def test_a_change_that_rests_on_an_older_revision_is_refused(self, desk):
        record = self.submit(desk).record
        stale = Terms(expected=frozenset({record_tag(record)}))
        commands.retest(desk, ANYONE, record.id, measurement(margin_db=1.0), stale)

        with pytest.raises(RevisionConflictError):
            commands.retest(desk, ANYONE, record.id, measurement(margin_db=2.0), stale)

    def test_a_revision_out_of_turn_is_refused_by_the_store_itself(self, desk, store):
        written = self.submit(desk)
        late = replace(written.revision, number=3)

        with pytest.raises(RevisionConflictError), store.writing() as writer:
            writer.append(late, part(measurement()), written.verdict, None)
        assert len(store.revisions(written.record.id)) == 1

    def test_two_jobs_cannot_have_one_id(self, desk):
        with pytest.raises(JobExistsError):
            job_commands.create_job(desk, ANYONE, JOB, {"name": "Again"}, Terms())

    def test_what_a_caller_may_not_see_is_not_there(self, desk):
        record = self.submit(desk).record
        stranger = Caller("stranger", frozenset({"another-job"}))

        with pytest.raises(NotFoundError):
            commands.withdraw(desk, stranger, record.id, Terms(), reason="mine")

    # --- idempotency ----------------------------------------------------------

    def test_a_repeated_request_has_one_effect_and_the_first_answer(self, desk, store):
        terms = Terms(key="k1", fingerprint="f1")
        first = commands.submit(desk, ANYONE, measurement(), terms)
        commands.retest(desk, ANYONE, first.record.id, measurement(margin_db=9.0), Terms())

        again = commands.submit(desk, ANYONE, measurement(), terms)

        assert again.replayed
        assert again.revision == first.revision
        assert again.verdict == first.verdict
        assert store.last_change().seq == 3

    def test_one_key_for_two_requests_is_refused(self, desk):
        commands.submit(desk, ANYONE, measurement(), Terms(key="k1", fingerprint="f1"))

        with pytest.raises(IdempotencyMismatchError):
            commands.submit(desk, ANYONE, measurement("A-02"), Terms(key="k1", fingerprint="f2"))

    def test_twenty_four_writers_with_one_key_have_one_effect(self, desk, store):
        terms, found, barrier = Terms(key="k", fingerprint="f"), [], threading.Barrier(24)

        def write():
            barrier.wait()
            found.append(commands.submit(desk, ANYONE, measurement(), terms))

        workers = [threading.Thread(target=write) for _ in range(24)]
        for worker in workers:
            worker.start()
        for worker in workers:
            worker.join()

        assert len({written.record.id for written in found}) == 1
        assert sum(written.replayed for written in found) == 23
        assert store.last_change().seq == 2

    # --- the feed -------------------------------------------------------------

    def test_the_feed_has_no_gaps_and_each_entry_names_the_one_before_of_its_record(self, desk, store):
        one, two = self.submit(desk).record, self.submit(desk, "A-02").record
        commands.retest(desk, ANYONE, one.id, measurement(margin_db=1.5), Terms())

        changes = store.changes(after=0, limit=100)

        assert [c.seq for c in changes] == [1, 2, 3, 4]
        assert [c.previous_seq for c in changes] == [None, None, None, 2]
        assert store.changes(after=2, limit=1)[0].record_id == two.id
        assert store.changes(after=0, limit=9, jobs=frozenset({"none"})) == []

    def test_a_moved_record_is_a_change_of_both_jobs(self, desk, store):
        job_commands.create_job(desk, ANYONE, "annex", {"name": "Annex"}, Terms())
        record = self.submit(desk).record
        commands.correct(desk, ANYONE, record.id, {"job": "annex"}, Terms(), reason="wrong job")

        assert [c.seq for c in store.job_changes(JOB)] == [1, 3, 4]
        assert [c.seq for c in store.job_changes("annex")] == [2, 4]
        assert [c.seq for c in store.job_changes(JOB, until=3)] == [1, 3]
        assert store.revision_as_of(record.id, 3).job_id == JOB

    # --- asking -----------------------------------------------------------------

    @pytest.fixture
    def many(self, desk):
        for index, margin in enumerate([5.0, 0.5, -0.5, -5.0, None, 3.0, 3.0]):
            document = measurement(f"B-{index:02d}", margin_db=margin or 0.0)
            if margin is None:
                del document["sweeps"], document["tested_at"]
            commands.submit(desk, ANYONE, document, Terms())
        return desk

    FILTERS = (
        (Filter(outcomes=frozenset({"fail", "marginal_fail"})), ["B-02", "B-03"]),
        (Filter(margin_min_db=0.5, margin_max_db=3.0), ["B-01", "B-05", "B-06"]),
        (Filter(label_prefix="B-0", category_met="6"), ["B-00", "B-05", "B-06"]),
        (Filter(fault="next"), ["B-02", "B-03"]),
        (Filter(fault="next:near"), ["B-02", "B-03"]),
        (Filter(fault="next:link"), []),
        (Filter(tested_from="2026-11-02T09:21:07.000000Z", outcomes=frozenset({"incomplete"})), []),
        (Filter(job_id="another"), []),
        (Filter(visible_jobs=frozenset()), []),
        (Filter(rule_set_id="demo-2026", provisional=False, category="6", margin_min_db=4), ["B-00"]),
        (Filter(withdrawn=True), []),
        (Filter(external_system="costing"), []),
    )

    @pytest.mark.parametrize(("wanted", "labels"), FILTERS, ids=lambda v: str(v)[:40])
    def test_filters_find_what_they_name(self, many, store, wanted, labels):
        assert [r.label for r in store.records(wanted, Sort(), after=None, limit=50)] == labels

    @pytest.mark.parametrize("field", Field)
    @pytest.mark.parametrize("descending", [False, True])
    def test_pages_joined_are_the_whole_list_in_order(self, many, store, field, descending):
        sort = Sort(field, descending=descending)
        whole = list(store.records(Filter(), sort, after=None, limit=50))
        joined, after = [], None
        while page := store.records(Filter(), sort, after=after, limit=2):
            joined += page
            after = position(page[-1], sort)

        assert joined == whole
        assert len({r.id for r in joined}) == 7
        assert [r.label for r in whole] != [] and whole[0].outcome in {"pass", "fail", "incomplete"}

    MIXED = (
        *("A10", "a2", "A1", "B1", "Ä3", "A02", "10A-1", "2A-10", "2A-9", "\ufdfa" * 200),
        *("room 9", "room 10", "A" + "9" * 190, "A1" + "0" * 190, "漢字 10", "漢字 2", "A"),
    )

    @pytest.mark.parametrize("size", [1, 2, 5, 50])
    @pytest.mark.parametrize("wanted", [Filter(), Filter(job_id=JOB), Filter(label_prefix="A")], ids=str)
    def test_labels_follow_as_people_sort_them_from_page_to_page(self, desk, store, wanted, size):
        for label in self.MIXED:
            self.submit(desk, label)
        expected = sorted(
            filter(lambda label: label.startswith(wanted.label_prefix or ""), self.MIXED), key=label_key
        )

        for descending in (False, True):
            sort, joined, after = Sort(Field.LABEL, descending=descending), [], None
            while page := store.records(wanted, sort, after=after, limit=size):
                joined += [record.label for record in page]
                after = position(page[-1], sort)
            assert joined == (expected[::-1] if descending else expected)
        assert expected.index("A02") < expected.index("A10")

    def test_a_link_with_another_name_stands_in_its_place(self, desk, store):
        records = [self.submit(desk, label).record for label in ("A1", "A2", "A10")]
        commands.correct(desk, ANYONE, records[0].id, {"label": "A3"}, Terms(), reason="swapped")

        found = store.records(Filter(), Sort(Field.LABEL), after=None, limit=9)
        assert [record.label for record in found] == ["A2", "A3", "A10"]

    def test_records_without_headroom_come_behind_every_real_one(self, many, store):
        whole = store.records(Filter(), Sort(Field.HEADROOM), after=None, limit=50)

        assert [r.headroom_db for r in whole] == [-5.0, -0.5, 0.5, 3.0, 3.0, 5.0, None]

    def test_groups_count_and_tell_the_worst(self, many, store):
        groups = store.stats(Filter(), [GroupBy.OUTCOME])

        assert {g.values[0]: (g.links, g.worst_headroom_db) for g in groups} == {
            "fail": (1, -5.0),
            "incomplete": (1, None),
            "marginal_fail": (1, -0.5),
            "marginal_pass": (1, 0.5),
            "pass": (3, 3.0),
        }
        assert [g.values for g in store.stats(Filter(), [GroupBy.MONTH])] == [(None,), ("2026-11",)]
        assert store.stats(Filter(job_id="none"), []) == []

    @pytest.mark.parametrize(
        "by",
        [
            [],
            [GroupBy.JOB],
            [GroupBy.OUTCOME],
            [GroupBy.JOB, GroupBy.OUTCOME],
            [GroupBy.OUTCOME, GroupBy.JOB],
        ],
    )
    @pytest.mark.parametrize(
        "wanted",
        [
            Filter(),
            Filter(job_id=JOB),
            Filter(job_id="annex", outcomes=frozenset({"pass", "fail"})),
            Filter(visible_jobs=frozenset({JOB, "unknown"})),
            Filter(visible_jobs=frozenset()),
            Filter(withdrawn=None),
            Filter(category="6"),
        ],
        ids=lambda v: str(v)[:60],
    )
    def test_counts_follow_retests_moves_withdrawals_and_what_is_undone(self, many, store, wanted, by):
        job_commands.create_job(many, ANYONE, "annex", {"name": "Annex"}, Terms())
        ids = {record.label: record.id for record in store.records(Filter(), Sort(), after=None, limit=50)}
        commands.retest(many, ANYONE, ids["B-03"], measurement("B-03", margin_db=4.0), Terms())
        commands.retest(many, ANYONE, ids["B-00"], measurement("B-00", margin_db=-9.0), Terms())
        commands.correct(many, ANYONE, ids["B-05"], {"job": "annex"}, Terms(), reason="wrong job")
        commands.withdraw(many, ANYONE, ids["B-06"], Terms(), reason="given up")
        submitted = [measurement(label, margin_db=1.5) for label in ("C-1", "B-02")]
        undone = [*submitted, measurement("C-3", margin_db=1.5) | {"job": "no such job"}]
        told = {"mode": upserts.ATOMIC, "told": lambda items: {}}
        assert not upserts.batch(many, ANYONE, undone, Terms(), **told).kept
        upserts.batch(many, ANYONE, submitted, Terms(dry_run=True), **told)
        assert upserts.batch(many, ANYONE, undone, Terms(), **told | {"mode": upserts.PARTIAL}).kept

        members = [r for r in store.records(wanted, Sort(), after=None, limit=50)]
        counted: dict[tuple[str | None, ...], list[Record]] = {}
        for record in members:
            counted.setdefault(tuple(GROUP_VALUES[each](record) for each in by), []).append(record)
        expected = {
            values: (len(own), min((r.headroom_db for r in own if r.headroom_db is not None), default=None))
            for values, own in counted.items()
        }
        found = store.stats(wanted, by)

        assert {g.values: (g.links, g.worst_headroom_db) for g in found} == expected
        assert list(found) == sorted(found, key=group_order)

    # --- a clock that is set back ---------------------------------------------------

    def test_a_clock_that_is_set_back_breaks_neither_chain_nor_order_and_is_told(self, desk, store):
        record = self.submit(desk, margin_db=5.0).record
        late = desk_of(store, start=START - timedelta(days=400), prefix="late")
        commands.retest(late, ANYONE, record.id, measurement(margin_db=-3.0), Terms())
        newer = self.submit(late, "A-02").record
        again = commands.correct(desk, ANYONE, record.id, {"notes": "seen"}, Terms(), reason="note")

        changes = store.changes(after=0, limit=100)
        assert [change.seq for change in changes] == [1, 2, 3, 4, 5]
        assert changes[2].at < changes[1].at
        assert first_break(store) is None
        assert store.record(record.id).revision == again.revision.number == 3
        assert [r.id for r in store.records(Filter(), Sort(), after=None, limit=9)] == [record.id, newer.id]
        assert store.revision_as_of(record.id, 3).outcome == "fail"
        assert store.faults_of(record.id)[0].opened_seq == 3
        (turned,) = set_back(store)
        assert (turned.before.seq, turned.after.seq) == (2, 3)
        assert f"before entry 3 of the feed: it is dated {changes[2].at}" in turned.told()
        assert "nothing is broken" in turned.told()

    def test_clocks_that_lie_a_little_apart_are_no_clock_that_was_set_back(self, desk, store):
        self.submit(desk)
        beside = desk_of(store, start=START - timedelta(seconds=30), prefix="beside")
        self.submit(beside, "A-02")

        assert store.changes(after=2, limit=1)[0].at < store.changes(after=1, limit=1)[0].at
        assert list(set_back(store)) == []

    def test_a_repeated_request_is_known_whichever_way_the_clock_went(self, desk, store):
        terms = Terms(key="k", fingerprint="f")
        first = commands.submit(desk, ANYONE, measurement(), terms)
        for days in (-400, 20):
            other = desk_of(store, start=START + timedelta(days=days), prefix=f"d{days}")
            again = commands.submit(other, ANYONE, measurement(), terms)
            assert (again.replayed, again.record.id) == (True, first.record.id)
        assert store.last_change().seq == 2

    # --- beside the chain ---------------------------------------------------------

    def test_an_assessment_moves_neither_chain_nor_feed_and_can_be_searched(self, desk, store):
        record = self.submit(desk).record
        carried = [{"application": "1000BASE-T", "state": "supported"}]
        document = {"applications": {"applications": carried}, "powering": {"types": []}}
        with store.writing() as writer:
            writer.put_assessment(record.id, 1, Assessment("2", document))

        after = store.record(record.id)

        assert store.last_change().seq == 2
        assert after.digest == record.digest
        assert store.assessment(record.id, 1).document == document
        wanted = Filter(application="1000BASE-T")
        assert [r.id for r in store.records(wanted, Sort(), after=None, limit=5)] == [record.id]
        assert first_break(store) is None

    def named(self, calls=None):
        """Return a grader that tells what a link supports: 1000BASE-T from 3 dB of margin on."""

        def tell(document, requirement):
            if calls is not None:
                calls.append(document["label"])
            grading = grade(document, requirement)
            able = grading.verdict["headroom_db"] >= 3
            names = {"applications": ["1000BASE-T"] if able else [], "power_types": ["3"]}
            return grading._replace(assessment=Assessment("2", {"version": "2", "supported": names}))

        return tell

    def found(self, store, application="1000BASE-T", **more):
        wanted = Filter(application=application, **more)
        return [r.label for r in store.records(wanted, Sort(), after=None, limit=500)]

    def test_records_that_told_nothing_of_what_they_support_are_found_once_they_are_completed(
        self, desk, store
    ):
        old = self.submit(desk, "A-1", margin_db=5.0).record
        self.submit(desk, "A-2", margin_db=1.0)
        gone = self.submit(desk, "A-3", margin_db=4.0).record
        commands.withdraw(desk, ANYONE, gone.id, Terms(), reason="gone")
        diagnosed = self.submit(desk, "A-4", margin_db=4.0).record
        before = Assessment("1", {"version": "1", "diagnosis": {"faults": []}})
        with store.writing() as writer:
            writer.put_assessment(diagnosed.id, 1, before)
        commands.submit(replace(desk, grade=self.named()), ANYONE, measurement("A-5", margin_db=6.0), Terms())
        last, digest_before = store.last_change(), store.record(old.id).digest
        assert self.found(store) == ["A-5"]

        calls = []
        done = complete(desk, self.named(calls))

        assert (done.records, done.completed, done.refused, done.is_ended) == (5, 4, (), True)
        assert calls == ["A-1", "A-2", "A-3", "A-4"]
        assert self.found(store) == ["A-1", "A-4", "A-5"]
        assert self.found(store, withdrawn=None) == ["A-1", "A-3", "A-4", "A-5"]
        assert store.assessment(diagnosed.id, 1).version == "1"
        assert store.assessment(diagnosed.id, 1).document["diagnosis"] == {"faults": []}
        assert (store.last_change(), store.record(old.id).digest) == (last, digest_before)
        assert first_break(store) is None

    def test_completing_goes_on_where_it_was_cut_off_and_looks_at_nothing_twice(self, desk, store):
        for number in range(CHUNK + 3):
            self.submit(desk, f"A-{number:03}", margin_db=5.0)
        once, calls = [True], []
        cut = complete(desk, self.named(calls), go_on=lambda: bool(once and once.pop()))
        assert (cut.records, cut.completed, cut.is_ended) == (CHUNK, CHUNK, False)

        rest = complete(desk, self.named(calls))
        assert (rest.records, rest.completed, rest.is_ended) == (3, 3, True)
        assert len(calls) == len(set(calls)) == CHUNK + 3
        assert complete(desk, self.named(calls)).records == 0
        again = complete(desk, self.named(calls), again=True)
        assert (again.records, again.completed) == (CHUNK + 3, 0)
        assert len(calls) == CHUNK + 3

    def test_completing_leaves_a_record_that_moves_on_meanwhile_and_one_that_no_longer_can_be_graded(
        self, desk, store
    ):
        moving, other = self.submit(desk, "A-1", margin_db=5.0).record, self.submit(desk, "A-2").record
        tell = self.named()

        def retesting(document, requirement):
            if document["label"] == "A-1":
                newer = replace(desk, grade=self.named())
                commands.retest(newer, ANYONE, moving.id, measurement("A-1", margin_db=1.0), Terms())
                return tell(document, requirement)
            found = tell(document, requirement)
            changed = {"id": "demo-2026", "digest": f"sha256:{99:064d}"}
            return found._replace(verdict={**found.verdict, "rule_set": changed})

        done = complete(desk, retesting)

        assert (done.completed, self.found(store)) == (0, [])
        assert [each.record_id for each in done.refused] == [other.id]
        assert "Rule set demo-2026 had the digest" in done.refused[0].detail
        assert store.record(moving.id).power_types == ("3",)

    def test_erasing_a_person_leaves_every_digest_valid(self, desk, store):
        record = self.submit(desk).record
        person = store.party_named(PartyKind.PERSON, "crew 2")
        job_commands.erase_party(desk, person.id, dry_run=False)

        assert first_break(store) is None
        assert "tested_by" not in commands.stored_document(store, record.id, 1)
        assert "crew 2" not in str(store.parties())
        commands.correct(desk, ANYONE, record.id, {"notes": "still there"}, Terms(), reason="note")
        assert first_break(store) is None
        assert store.record(record.id).tester_id == person.id

    def test_a_fault_keeps_its_key_across_retests_and_closes_when_one_passes(self, desk, store):
        record = self.submit(desk, margin_db=-5.0).record
        first = {fault.what: fault for fault in store.faults_of(record.id)}
        commands.retest(desk, ANYONE, record.id, measurement(margin_db=-2.0), Terms())
        again = {fault.what: fault for fault in store.faults_of(record.id)}
        silent = {k: v for k, v in measurement().items() if k != "sweeps"}
        commands.retest(desk, ANYONE, record.id, silent, Terms())
        after_silence = store.job_faults(JOB)
        commands.retest(desk, ANYONE, record.id, measurement(margin_db=2.0), Terms())

        assert set(first) == set(again) == {"next:near", "next:far"}
        assert first["next:near"].key == again["next:near"].key
        assert [fault.closed_seq for fault in after_silence] == [None, None]
        assert [fault.closed_seq for fault in store.faults_of(record.id)] == [5, 5]

    def test_attachments_are_kept_by_their_digest(self, desk, store):
        made = job_commands.attach(
            desk, ANYONE, JOB, b"plan", Terms(), name="plan.pdf", media_type="application/pdf"
        )

        assert store.attachments(JOB) == [made.attachment]
        assert store.attachment_content(made.attachment.digest) == b"plan"

    def test_keys_are_kept_without_their_secret(self, desk, store):
        grant = key_commands.KeyGrant("night run", frozenset({Scope.READ}), jobs=frozenset({JOB}))
        made = key_commands.make_key(
            store, grant, key_id="Ab1", randomness=bytes(range(32)), now="2026-11-02T00:00:00.000000Z"
        )
        store.touch_api_keys([("Ab1", "2026-11-03T00:00:00.000000Z")])

        kept = store.api_key("Ab1")

        assert replace(kept, last_used_at=None) == made.key
        assert kept.last_used_at == "2026-11-03T00:00:00.000000Z"
        assert made.text not in str(store.api_keys())
        assert store.has_api_keys()

    # --- drawers ---------------------------------------------------------------------

    def test_a_drawer_keeps_documents_by_key_and_forgets_what_is_taken_out(self, store):
        with store.writing() as writer:
            for key in ("b", "a", "c", "é"):
                writer.put_in("one", key, {"key": key, "n": 1.5})
            writer.put_in("two", "a", {})
            writer.put_in("one", "a", {"key": "a", "again": True})
            writer.take_out("one", "b")
            writer.take_out("one", "never there")

        assert store.drawers() == ["one", "two"]
        assert [key for key, _ in store.drawer("one", limit=9)] == ["a", "c", "é"]
        assert store.drawer("one", after="a", limit=1) == [("c", {"key": "c", "n": 1.5})]
        assert store.drawn("one", "a") == {"key": "a", "again": True}
        assert store.drawn("one", "b") is None

    def test_what_is_put_in_shares_the_fate_of_its_block(self, store):
        with pytest.raises(RuntimeError), store.writing() as writer:
            writer.put_in("one", "a", {})
            with pytest.raises(KeyError), writer.attempt():
                writer.put_in("one", "b", {})
                raise KeyError
            assert [key for key, _ in writer.drawer("one", limit=9)] == ["a"]
            raise RuntimeError
        assert store.drawers() == []

    # --- many at once ----------------------------------------------------------------

    def told(self, items):
        return {"items": [item.written.record.id if item.written else None for item in items]}

    def test_a_partial_batch_keeps_what_can_be_kept(self, desk, store):
        items = [
            measurement("C-1"),
            measurement("C-2", requirement={"category": "unknown"}),
            measurement("C-3"),
        ]

        result = upserts.batch(desk, ANYONE, items, Terms(), mode="partial", told=self.told)

        assert [item.error is None for item in result.items] == [True, False, True]
        assert store.record_labelled(JOB, "C-3") is not None

    def test_an_atomic_batch_keeps_all_or_nothing(self, desk, store):
        items = [measurement("C-1"), measurement("C-2", job="no-such-job")]

        result = upserts.batch(desk, ANYONE, items, Terms(), mode="atomic", told=self.told)

        assert not result.kept
        assert store.record_labelled(JOB, "C-1") is None
        assert store.last_change().seq == 1

    def test_a_batch_retests_what_is_new_and_leaves_what_is_the_same(self, desk, store):
        self.submit(desk, "C-1")
        items = [measurement("C-1"), measurement("C-1", margin_db=1.0), measurement("C-2")]

        result = upserts.batch(desk, ANYONE, items, Terms(), mode="atomic", told=self.told)

        kinds = [item.written.change and item.written.revision.kind.value for item in result.items]
        assert kinds == [None, "retested", "submitted"]

    def test_a_repeated_batch_is_told_what_it_did(self, desk):
        terms = Terms(key="b", fingerprint="b")
        first = upserts.batch(desk, ANYONE, [measurement()], terms, mode="atomic", told=self.told)
        again = upserts.batch(desk, ANYONE, [measurement()], terms, mode="atomic", told=self.told)

        assert again.known.answer == self.told(first.items)

    def test_an_upsert_finds_its_record_by_external_id(self, desk, store):
        external = upserts.ExternalId("costing", "J-7")
        first = upserts.upsert(desk, ANYONE, measurement(), Terms(), external)
        second = upserts.upsert(desk, ANYONE, measurement(margin_db=1.0), Terms(), external)

        assert (first.created, second.created) == (True, False)
        assert second.record.id == first.record.id
        assert second.record.external_ids == {"costing": "J-7"}

    def test_the_measurement_that_is_kept_is_whole(self, desk, store):
        record = self.submit(desk).record

        assert join(store.measurement(record.id, 1))["sweeps"] == measurement()["sweeps"]
