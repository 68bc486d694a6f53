"""A defect is one thing to mend: what a fault of the wiring brings about stands within it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from fourpair_service.domain.wiremap import WireMapFault
from fourpair_service.records import commands, job_commands
from fourpair_service.records.defects import BROUGHT_ABOUT, explained
from fourpair_service.records.desk import Desk, Grading, Terms
from fourpair_service.records.failures import failures
from fourpair_service.records.views.faults import faults
from fourpair_service.storage.memory import MemoryStore
from record_factory import ANYONE, desk_of, measurement

GOLDEN = Path(__file__).parents[1] / "golden" / "verdicts"
JOB = "harbour-hall"


def golden(name):
    return json.loads(next(GOLDEN.glob(f"{name}*")).read_text())


def row(parameter, end, *pairs, outcome="fail"):
    points = [{"pairs": each, "outcome": outcome} for each in pairs]
    title = parameter.replace("_", " ")
    return {
        "parameter": parameter,
        "title": title,
        "unit": "db",
        "end": end,
        "outcome": outcome,
        "by_pair": points,
    }


def finding(kind, *pairs):
    return {"kind": kind, "pins": [], "pairs": list(pairs), "text": f"{kind}."}


def verdict(findings=(), rows=(), *, outcome=None, split_pairs="none"):
    state = outcome or ("fail" if findings else "pass")
    return {
        "outcome": "fail" if findings or rows else "pass",
        "requirement": {"category": "6"},
        "rule_set": {"id": "demo-2026", "digest": f"sha256:{9:064d}"},
        "provisional": False,
        "headroom_db": None,
        "wire_map": {"outcome": state, "findings": list(findings), "split_pairs": split_pairs},
        "parameters": list(rows),
        "categories": [],
    }


@pytest.mark.parametrize(
    ("sample", "head", "count"),
    [("0A-05", "wire_map:split_pair:36+45", 7), ("0A-08", "wire_map:open:45", 5)],
)
def test_all_that_fails_on_a_sample_with_one_broken_pair_is_one_defect(sample, head, count):
    told = explained(golden(sample))

    assert set(told.values()) == {head}
    assert len(told) == count
    assert failures(golden(sample)).keys() - told.keys() == {head}


def test_what_fails_on_other_pairs_is_another_defect():
    rows = [
        row("next", "near", "36-45"),
        row("next", "far", "36-45", "12-78"),
        row("insertion_loss", None, "12"),
    ]

    assert explained(verdict([finding("split_pair", "36", "45")], rows)) == {
        "next:near": "wire_map:split_pair:36+45"
    }


@pytest.mark.parametrize("kind", ["reversed_pair", "open_shield"])
def test_wiring_that_changes_no_magnitude_explains_nothing(kind):
    assert explained(verdict([finding(kind, "12")], [row("next", "near", "12-36")])) == {}


def test_a_crossed_pair_explains_what_does_not_arrive_and_not_what_couples_at_the_plug():
    rows = [row("insertion_loss", None, "12"), row("next", "near", "12-36"), row("return_loss", "near", "12")]

    assert explained(verdict([finding("crossed_pair", "12", "36")], rows)).keys() == {"insertion_loss:link"}


def test_a_broken_wire_does_not_explain_crosstalk_between_cables():
    assert explained(verdict([finding("open", "12")], [row("ps_anext", "near", "12")])) == {}


def test_wires_in_a_wrong_order_are_one_defect_however_many_sentences_it_takes():
    told = explained(
        verdict(
            [
                finding("miswire", "12", "36"),
                finding("miswire", "36", "45"),
                finding("conductors_exchanged", "12", "36"),
                finding("crossed_pair", "45", "78"),
                finding("open", "78"),
            ]
        )
    )

    assert told == {
        "wire_map:miswire:12+36": "wire_map:conductors_exchanged:12+36",
        "wire_map:miswire:36+45": "wire_map:conductors_exchanged:12+36",
        "wire_map:crossed_pair:45+78": "wire_map:conductors_exchanged:12+36",
    }


def test_two_breaks_share_what_fails_and_each_takes_its_own_pair_first():
    rows = [
        row("return_loss", "near", "45"),
        row("insertion_loss", None, "12", "45"),
        row("delay_skew", None),
    ]
    told = explained(verdict([finding("open", "12"), finding("open", "45")], rows))

    assert told == {
        "return_loss:near": "wire_map:open:45",
        "insertion_loss:link": "wire_map:open:12",
        "propagation_delay:link": "wire_map:open:12",
    }


def test_every_class_of_wiring_fault_is_either_explained_or_meant_to_explain_nothing():
    assert set(WireMapFault) - set(BROUGHT_ABOUT) == {"reversed_pair", "open_shield"}


SPLIT = finding("split_pair", "36", "45")
ROWS = [row("next", "near", "36-45"), row("return_loss", "near", "36")]


@pytest.fixture
def shop():
    store = MemoryStore()
    answers = []
    plain = desk_of(store)
    desk = Desk(store, plain.clock, plain.new_id, lambda document, requirement: Grading(answers.pop(0)))
    job_commands.create_job(desk, ANYONE, JOB, {"name": "Harbour hall"}, Terms())

    def tests(*verdicts):
        answers.extend(verdicts)
        record = commands.submit(desk, ANYONE, measurement(), Terms()).record
        for number, _ in enumerate(verdicts[1:]):
            commands.retest(desk, ANYONE, record.id, measurement(margin_db=6.0 + number), Terms())
        return record

    def told(**options):
        listed = faults(store, store.job(JOB), **{"include_closed": True, **options})["faults"]
        return {f["what"]: (f["state"], [(b["what"], b["state"]) for b in f["by_products"]]) for f in listed}

    return tests, told


def test_a_mended_split_pair_closes_with_all_that_failed_because_of_it(shop):
    tests, told = shop
    good = [row("next", "near", "36-45", outcome="pass"), row("return_loss", "near", "36", outcome="pass")]
    tests(verdict([SPLIT], ROWS), verdict([], good))

    within = [("next:near", "closed"), ("return_loss:near", "closed")]
    assert sorted(told()["wire_map:split_pair:36+45"][1]) == within
    assert told().keys() == {"wire_map:split_pair:36+45"}
    assert told(include_closed=False) == {}


def test_what_still_fails_once_the_pair_is_mended_stands_alone_under_its_old_key(shop):
    tests, told = shop
    tests(verdict([SPLIT], ROWS), verdict([], ROWS[:1]))

    assert told() == {
        "wire_map:split_pair:36+45": ("closed", []),
        "next:near": ("open", []),
        "return_loss:near": ("open", []),
    }


def test_a_retest_of_continuity_alone_does_not_close_a_split_pair_nor_hide_what_it_explains(shop):
    tests, told = shop
    tests(
        verdict([SPLIT], ROWS),
        verdict(split_pairs="not_excluded"),
        verdict([], ROWS, split_pairs="not_excluded"),
    )

    within = [("next:near", "open"), ("return_loss:near", "open")]
    assert {what: (state, sorted(rest)) for what, (state, rest) in told().items()} == {
        "wire_map:split_pair:36+45": ("open", within)
    }


def test_a_break_beside_a_split_pair_leaves_the_split_pair_open(shop):
    tests, told = shop
    tests(verdict([SPLIT]), verdict([finding("open", "12")], split_pairs="not_excluded"))

    assert told() == {"wire_map:split_pair:36+45": ("open", []), "wire_map:open:12": ("open", [])}
