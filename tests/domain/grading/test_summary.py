"""Reported worst margins decide only against the limits that they were taken against."""

import numpy as np
import pytest

from domain.grading.flat import ASKED, CURVE_LIMITS, curve, edition, link, result, segment, verdict_of
from fourpair_service.domain.limits import Basis
from fourpair_service.domain.link import End
from fourpair_service.domain.measurement import AccuracyCurve, Summary, SummaryReading
from fourpair_service.domain.parameters import TRAITS, Parameter
from fourpair_service.domain.verdict import Outcome

SAME, OTHER = ("made-up-2020", "x"), ("another-1999", "X")
NEAR = (Parameter.NEXT, End.NEAR)


def reported(*readings, of=SAME, **fields):
    return link(curves={}, summary=Summary(*of, readings), **fields)


def next_at(margin, measured=None, frequency=50.0):
    return SummaryReading(*NEAR, margin, measured, frequency, "12-36")


def outcome(measured, rule_set=None, place=NEAR):
    return result(verdict_of(measured, rule_set), *place)


@pytest.mark.parametrize(
    ("reading", "expected"),
    [
        (next_at(1.0), Outcome.PASS),
        (next_at(-1.0), Outcome.FAIL),
        (next_at(1.0, 31.0), Outcome.PASS),
        (next_at(1.0, 31.2), Outcome.PASS),
        (next_at(1.0, 31.3), Outcome.INCOMPLETE),
        (next_at(1.0, 29.0), Outcome.FAIL),
        (next_at(1.0, 31.0, 400.0), Outcome.PASS),
        (next_at(1.0, 31.0, None), Outcome.PASS),
    ],
)
def test_a_margin_against_the_limits_asked_for_is_taken_where_its_value_agrees(reading, expected):
    assert outcome(reported(reading)).outcome is expected


def test_a_value_that_contradicts_its_margin_says_so():
    found = outcome(reported(next_at(1.0, 33.0)))

    assert found.incomplete_because == (
        "the reported margin of 1 dB does not fit the reported value, which gives 3.0 dB",
    )


@pytest.mark.parametrize("of", [OTHER, ("made-up-2020", "Y"), (None, None)])
@pytest.mark.parametrize(
    ("reading", "expected"),
    [
        (next_at(5.0), Outcome.INCOMPLETE),
        (next_at(5.0, 35.0), Outcome.INCOMPLETE),
        (next_at(5.0, 29.0), Outcome.FAIL),
        (next_at(-5.0), Outcome.INCOMPLETE),
    ],
)
def test_against_other_limits_a_point_can_fail_and_never_pass(of, reading, expected):
    found = outcome(reported(reading, of=of))

    assert found.outcome is expected
    if expected is Outcome.INCOMPLETE:
        assert found.incomplete_because == (
            "only a worst margin against other limits was reported; the curve is needed",
        )


def test_a_loss_is_inside_below_its_limit():
    loss = SummaryReading(Parameter.INSERTION_LOSS, None, 5.0, 15.0, 50.0, "12")

    found = outcome(reported(loss), place=(Parameter.INSERTION_LOSS, None))

    assert (found.outcome, found.worst_margin.margin, found.worst_margin.limit) == (Outcome.PASS, 5.0, 20.0)


@pytest.mark.parametrize(("margin", "expected"), [(0.4, Outcome.MARGINAL_PASS), (0.6, Outcome.PASS)])
def test_a_reported_margin_has_the_stated_accuracy_at_its_frequency(margin, expected):
    accuracy = {Parameter.NEXT: AccuracyCurve(np.array([1.0, 50.0]), np.array([9.0, 0.5]))}

    found = outcome(reported(next_at(margin), accuracy=accuracy))

    assert (found.outcome, found.accuracy) == (expected, 0.5)


def test_a_reported_parameter_without_a_limit_is_left_out_and_one_for_information_has_no_outcome():
    readings = (SummaryReading(Parameter.TCL, End.NEAR, 5.0), next_at(-5.0))
    required = tuple(p for p in edition().category("X").required() if p is not Parameter.NEXT)

    verdict = verdict_of(reported(*readings), edition(required=required))

    assert result(verdict, *NEAR).outcome is None
    assert not [r for r in verdict.parameters if r.parameter is Parameter.TCL]


def test_curves_stand_before_what_was_reported():
    summary = Summary(*SAME, (next_at(-9.0),))

    verdict = verdict_of(link(summary=summary))

    assert verdict.outcome is Outcome.PASS
    assert verdict.from_summary


def test_the_provenance_is_that_of_the_segment_at_the_reported_frequency():
    stretches = (segment(30.0, stop=60.0), segment(30.0, start=60.0, basis=Basis.MEMORY))
    rule_set = edition(curves=[curve(Parameter.NEXT, *stretches)])

    at_50, nowhere = (outcome(reported(next_at(3.0, frequency=f)), rule_set) for f in (50.0, None))

    assert (at_50.basis, nowhere.basis) == (Basis.PUBLISHED, Basis.MEMORY)
    assert at_50.note == "from a reported worst margin, without its curve"


def test_margins_of_everything_required_make_a_pass():
    ends = {p: End if TRAITS[p].has_ends else (None,) for p in CURVE_LIMITS if TRAITS[p].unit == "db"}
    readings = tuple(SummaryReading(p, end, 3.0) for p, places in ends.items() for end in places)

    verdict = verdict_of(reported(*readings), requirement=ASKED)

    assert verdict.outcome is Outcome.PASS
    assert verdict.headroom.margin_db == 3.0
