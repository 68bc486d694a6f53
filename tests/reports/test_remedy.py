"""What a sheet says must be done: what, by whom, where."""

from __future__ import annotations

import json

import pytest

from fourpair_service.domain.diagnosis.faults import FAULT_KINDS, FaultCode
from fourpair_service.domain.diagnosis.model import Confidence
from fourpair_service.reports.language import Tongue, language
from fourpair_service.reports.sheet.remedy import DIFFERS_ALONG, Site, to_do
from fourpair_service.reports.sheet.saying import UNSAFE_TO_FEED

from .sheets import LINKS, answer_of, sheet_of

NAMES = {"near": "cabinet 3", "far": "desk 12"}
FAILING = {
    "outcome": "fail",
    "wire_map": {"findings": [], "outcome": "pass", "split_pairs": "excluded"},
    "parameters": [],
    "headroom": None,
}


def fault(code, place=None, confidence="certain"):
    return {"code": code, "pairs": ["45"], "place": place, "confidence": confidence}


def place(end=None, position_m=None, to_m=None, uncertainty_m=None):
    return {"end": end, "position_m": position_m, "to_m": to_m, "uncertainty_m": uncertainty_m}


def said(found, tongue=Tongue.ENGLISH, length_m=50.0, verdict=FAILING, names=NAMES):
    return to_do(verdict, found, Site("A-7", names, length_m, language(tongue)))


def where(found, **more):
    (line,) = [line for line in said([found], **more).more if line.startswith("Where: ")]
    return line.removeprefix("Where: ")


@pytest.mark.parametrize("tongue", Tongue)
@pytest.mark.parametrize("code", FaultCode)
def test_of_every_fault_it_is_said_what_is_done_by_whom_where_and_how_to_begin(code, tongue):
    answer = said([fault(code)], tongue)

    assert answer.text.endswith(".") and "{" not in answer.text
    assert len(answer.more) == 4 + (code in UNSAFE_TO_FEED) + (code == "too_long")
    assert all(line.count(": ") and "{" not in line for line in answer.more[:3])
    if tongue == Tongue.ENGLISH:
        assert answer.more[-2] == f"For the installer: {FAULT_KINDS[code].first}"


@pytest.mark.parametrize("code", FaultCode)
def test_where_nothing_could_be_placed_both_ends_are_named_or_the_tester(code):
    at = where(fault(code))

    if code in (FaultCode.TEST_SETUP, FaultCode.WRONG_NVP):
        assert at == "not on the cable but at the test equipment."
    else:
        assert "cabinet 3" in at and "desk 12" in at


def test_a_place_at_an_end_is_named_by_the_end():
    assert where(fault("bad_connector", place(end="far"))) == "at the far end (desk 12)."
    half = {"near": "cabinet 3"}
    assert (
        where(fault("bad_connector", place(end="far")), names=half)
        == "at the far end (not named in the test)."
    )


def test_where_the_test_names_no_end_the_label_must_tell_which_cable_it_is():
    unnamed = "The test does not name the ends: the label A-7 must tell which cable it is."

    assert where(fault("bad_connector", place(end="far")), names={}) == f"at the far end. {unnamed}"
    assert where(fault("split_pair"), names={}) == f"at both ends. {unnamed}"


def test_a_place_on_the_way_is_counted_from_both_ends_the_nearer_first():
    found = fault("open_conductor", place(position_m=38.0, uncertainty_m=1.5))

    near, far = (
        "38.0 m from the near end (cabinet 3)",
        "12.0 m, give or take 1.5 m, from the far end (desk 12)",
    )
    assert where(found) == f"{far}; {near}."
    unsure = fault("open_conductor", place(position_m=38.0))
    assert where(unsure) == f"12.0 m from the far end (desk 12); {near}."
    alone = "38.0 m, give or take 1.5 m, from the near end (cabinet 3)."
    assert where(found, length_m=None) == alone


@pytest.mark.parametrize("code", sorted(DIFFERS_ALONG - {FaultCode.SPLIT_PAIR}))
def test_a_break_at_an_end_is_connected_anew_and_one_on_the_way_means_another_cable(code):
    at_end = said([fault(code, place(position_m=49.5, uncertainty_m=0.4))])
    on_the_way = said([fault(code, place(position_m=20.0, uncertainty_m=0.4))])

    assert "connected anew" in at_end.text and "replaced" not in at_end.text
    assert "if none is, the cable is" in on_the_way.text and on_the_way.text.endswith("must be replaced.")
    assert on_the_way.more[-2].startswith("For the installer: Look there for")


def test_a_split_pair_from_end_to_end_is_mended_at_both_ends_and_one_on_a_part_at_its_joint():
    whole = fault("split_pair", place(position_m=0.0, to_m=49.0, uncertainty_m=1.5))
    part = fault("split_pair", place(position_m=10.0, to_m=22.0, uncertainty_m=1.5))

    assert where(whole) == "at both ends: the near end (cabinet 3) and the far end (desk 12)."
    assert said([whole]).text.startswith("Both ends must be connected anew")
    assert where(part) == "between 10.0 m and 22.0 m from the near end (cabinet 3), of 50.0 m in all."
    assert "joint there" in said([part]).text


def test_what_the_installer_cannot_settle_alone_says_with_whom():
    assert "after agreeing with you" in said([fault("too_long")]).more[0]
    assert "looks after the building" in said([fault("hot_or_wet_cable")]).more[0]
    assert said([fault("poor_contact")]).more[0] == "Who: the installer of the cabling."


@pytest.mark.parametrize("tongue", Tongue)
@pytest.mark.parametrize("code", FaultCode)
def test_a_cause_that_is_not_certain_says_how_sure_it_is_and_what_is_checked_first(code, tongue):
    certain, likely, possible = (said([fault(code, confidence=sure)], tongue) for sure in Confidence)

    assert len({certain.text, likely.text, possible.text}) == 3
    assert len(likely.more) == len(possible.more) == len(certain.more)
    check = language(tongue).say(f"check.{code}")
    assert [check in line for line in likely.more].count(True) == 1
    assert not any(check in line for line in certain.more)


def test_a_cause_that_is_not_certain_is_worded_so_from_the_first_word():
    likely = said([fault("clad_conductors", confidence="likely")])

    assert likely.text.startswith("Most likely the cable must be replaced:")
    assert likely.more[3] == (
        "This cause is likely, not proven: first the installer checks whether another metal shows when a "
        "wire is scraped. If that is not so, another cause is looked for before anything is replaced."
    )
    assert said([fault("bad_connector", confidence="possible")]).text.startswith("Possibly the connection")


def test_a_split_pair_that_the_verdict_itself_finds_is_not_doubted_beside_it():
    found = FAILING | {"wire_map": {"findings": [{"kind": "split_pair"}], "outcome": "fail"}}
    likely = fault("split_pair", confidence="likely")

    assert said([likely], verdict=found).text.startswith("Both ends must be connected anew")
    assert said([likely]).text.startswith("Most likely both ends")


def test_a_link_that_is_too_long_says_by_how_much_where_its_length_was_judged():
    result = {"parameter": "length", "outcome": "fail", "end": None, "unit": "m",
              "worst_margin": {"margin_m": -4.9}}  # fmt: skip
    too_long = FAILING | {"parameters": [result]}

    assert "must become at least 4.9 m shorter" in said([fault("too_long")], verdict=too_long).text
    assert "must become shorter" in said([fault("too_long")]).text


def test_a_poor_contact_is_mended_at_one_end_and_at_the_other_only_if_that_does_not_help():
    assert where(fault("poor_contact")) == (
        "first at the end that is easier to reach, the near end (cabinet 3) or the far end (desk 12); at the "
        "other only if the test after that still fails."
    )


def test_a_pass_by_limits_that_are_not_checked_says_who_confirms_them():
    passing = FAILING | {"outcome": "pass", "basis": "memory", "notices": []}
    provisional = passing | {"notices": ["a limit has not yet been checked"]}

    assert said([], verdict=passing).more == ()
    found = said([], verdict=provisional)
    assert "Have the installer confirm the limits" in found.text
    assert found.more[0].startswith("You can use it meanwhile.")


def test_a_link_that_current_would_heat_is_not_to_be_fed_before_it_is_right():
    assert said([fault("poor_contact")]).more[2].startswith("Do not feed devices over it")
    assert not any("feed" in line for line in said([fault("bad_connector")]).more)


def test_a_fault_suspected_on_a_link_that_passes_asks_for_no_second_test():
    passing = FAILING | {"outcome": "pass"}

    assert not any("test the link again" in line for line in said([fault("too_long")], verdict=passing).more)


@pytest.mark.parametrize("path", LINKS, ids=lambda path: path.stem)
def test_every_sample_says_who_does_what_where_unless_nothing_is_to_be_done(path):
    found = answer_of(json.loads(path.read_bytes()))
    do = sheet_of(found).answers[3]
    outcome = found.answer["verdict"]["outcome"]

    if outcome == "pass":
        assert do.text.startswith("Nothing on the cable.")
    elif outcome == "marginal_pass":
        assert do.text.startswith("Nothing on the cable, unless") and "Where: at the far end" in do.more[0]
    else:
        assert do.more[0].startswith("Who: ") and do.more[1].startswith("Where: ")


def test_what_fails_without_a_suspicion_says_where_by_the_result_or_the_wires():
    result = {"parameter": "next", "outcome": "fail", "end": "near", "unit": "db",
              "worst_margin": {"margin_db": -3.0, "pairs": "36-45"}}  # fmt: skip
    by_result = FAILING | {"parameters": [result]}
    by_wires = FAILING | {
        "wire_map": {"findings": [{"kind": "split_pair", "pairs": ["36", "45"]}], "outcome": "fail"}
    }

    assert said([], verdict=by_result).more[1] == "Where: at the near end (cabinet 3)."
    assert said([], verdict=by_wires).more[1].startswith("Where: at both ends: ")
    assert "cable, between" in said([], verdict=FAILING).more[1]
