"""Rule 3 of the verdict: what points, parameters and a link come to, and the headroom."""

from itertools import combinations_with_replacement

import numpy as np
import pytest

from domain.grading.flat import (
    AXIS,
    READINGS,
    at,
    curve,
    edition,
    link,
    result,
    rule,
    rules,
    segment,
    verdict_of,
)
from fourpair_service.domain.link import NEXT_COMBINATIONS, PAIRS, End
from fourpair_service.domain.measurement import AccuracyCurve, PairReadings, WireMap
from fourpair_service.domain.parameters import Parameter
from fourpair_service.domain.verdict import Outcome, point_outcome, worst

NEAR = (Parameter.NEXT, End.NEAR, "12-36")
NEXT_ALONE = edition(required=(Parameter.WIRE_MAP, Parameter.NEXT))
REVERSED = WireMap((("1", "2"), ("2", "1"), *((pin, pin) for pin in "345678")))


@pytest.mark.parametrize(
    ("margin", "outcome"),
    [
        (0.5, Outcome.PASS),
        (0.499, Outcome.MARGINAL_PASS),
        (0.0, Outcome.MARGINAL_PASS),
        (-0.001, Outcome.MARGINAL_FAIL),
        (-0.499, Outcome.MARGINAL_FAIL),
        (-0.5, Outcome.FAIL),
    ],
)
def test_rule_3_a_point_is_marginal_where_its_margin_is_smaller_than_its_accuracy(margin, outcome):
    assert point_outcome(margin, 0.5) is outcome
    measured = link({NEAR: at(30.0 + margin, 50.0, 60.0)}, accuracy={Parameter.NEXT: 0.5})
    assert result(verdict_of(measured), Parameter.NEXT, End.NEAR).outcome is outcome


ORDER = [Outcome.FAIL, Outcome.MARGINAL_FAIL, Outcome.INCOMPLETE, Outcome.MARGINAL_PASS, Outcome.PASS]
TWO_OF_THEM = list(combinations_with_replacement(ORDER, 2))


@pytest.mark.parametrize("pair", TWO_OF_THEM, ids=str)
def test_rule_3_fail_outweighs_marginal_fail_outweighs_incomplete_outweighs_marginal_pass(pair):
    assert worst(list(pair)) is worst(list(pair)[::-1]) is pair[0]


CAUSES = {
    Outcome.FAIL: {"changes": {NEAR: 29.0}},
    Outcome.MARGINAL_FAIL: {"changes": {(Parameter.RETURN_LOSS, End.FAR, "78"): 9.8}},
    Outcome.INCOMPLETE: {"without": ((Parameter.INSERTION_LOSS, None, "45"),)},
    Outcome.MARGINAL_PASS: {"changes": {(Parameter.INSERTION_LOSS, None, "36"): 19.8}},
    Outcome.PASS: {},
}


@pytest.mark.parametrize("pair", TWO_OF_THEM, ids=str)
def test_rule_3_a_link_is_as_bad_as_the_worst_of_its_parameters(pair):
    changes = {k: v for cause in pair for k, v in CAUSES[cause].get("changes", {}).items()}
    without = [x for cause in pair for x in CAUSES[cause].get("without", ())]
    accuracy = dict.fromkeys((Parameter.NEXT, Parameter.RETURN_LOSS, Parameter.INSERTION_LOSS), 0.5)

    assert verdict_of(link(changes, without=without, accuracy=accuracy)).outcome is pair[0]


def test_rule_3_the_worst_point_need_not_have_the_smallest_margin_and_the_reason_names_it():
    accuracy = AccuracyCurve(np.array([10.0, 20.0, 90.0, 100.0]), np.array([2.0, 2.0, 0.5, 0.5]))
    # 1.5 dB outside where the accuracy is 2 dB, 1 dB outside where it is half a dB.
    bad = np.where(AXIS == 10.0, 28.5, at(29.0, 90.0, 60.0))

    verdict = verdict_of(link({NEAR: bad}, accuracy={Parameter.NEXT: accuracy}), NEXT_ALONE)

    found = result(verdict, Parameter.NEXT, End.NEAR)
    assert found.outcome is verdict.outcome is Outcome.FAIL
    assert (found.worst_margin.margin, found.worst_margin.frequency_mhz) == (-1.5, 10.0)
    assert (found.decisive.margin, found.decisive.frequency_mhz, found.accuracy) == (-1.0, 90.0, 0.5)
    assert "NEXT at the near end fails by 1.0 dB on pairs 12-36 at 90 MHz." in verdict.reasons


def test_rule_3_a_pass_can_be_marginal_where_the_margin_is_not_the_smallest():
    accuracy = AccuracyCurve(np.array([10.0, 20.0, 90.0, 100.0]), np.array([0.1, 0.1, 2.0, 2.0]))
    close = np.where(AXIS == 10.0, 30.5, at(31.0, 90.0, 60.0))

    verdict = verdict_of(link({NEAR: close}, accuracy={Parameter.NEXT: accuracy}), NEXT_ALONE)

    assert verdict.outcome is Outcome.MARGINAL_PASS
    assert verdict.headroom.margin_db == 0.5
    assert verdict.reasons[0] == (
        "NEXT at the near end passes by only 1.0 dB on pairs 12-36 at 90 MHz, "
        "less than the measurement accuracy of 2.0 dB (pass*)."
    )


@pytest.mark.parametrize(("value", "outcome"), [(29.0, Outcome.MARGINAL_FAIL), (45.0, Outcome.PASS)])
def test_rule_3_with_an_accuracy_over_frequency_the_smallest_margin_decides_where_nothing_else_does(
    value, outcome
):
    accuracy = {Parameter.NEXT: AccuracyCurve(np.array([1.0, 100.0]), np.array([2.0, 2.0]))}

    found = result(verdict_of(link({NEAR: value}, accuracy=accuracy)), Parameter.NEXT, End.NEAR)

    assert (found.outcome, found.decisive) == (outcome, None)


def test_rule_3_a_parameter_with_every_point_excused_passes_without_a_margin_and_names_the_rule():
    rule_set = edition(switches=rules(return_loss_below_loss_db=rule(11.0)))

    verdict = verdict_of(link({(Parameter.RETURN_LOSS, End.NEAR): 1.0}), rule_set)

    found = result(verdict, Parameter.RETURN_LOSS, End.NEAR)
    assert (found.outcome, found.worst_margin, found.judged_points) == (Outcome.PASS, None, 0)
    assert found.excuse.text == "the pair's insertion loss is below 11.0 dB"
    assert (found.excuse.points, found.excuse.source) == (4 * AXIS.size, "the made-up rule book")


@pytest.mark.parametrize("missing", NEXT_COMBINATIONS)
def test_rule_3_a_power_sum_needs_all_its_disturbers(missing):
    verdict = verdict_of(link(without=[(Parameter.NEXT, End.FAR, missing)]))

    found = result(verdict, Parameter.PS_NEXT, End.FAR)
    lost = missing.split("-")
    assert found.outcome is Outcome.INCOMPLETE
    assert found.incomplete_because == (f"not measured on {', '.join(lost)}",)
    assert [point.pairs for point in found.by_pair] == [pair for pair in PAIRS if pair not in lost]
    assert result(verdict, Parameter.PS_NEXT, End.NEAR).outcome is Outcome.PASS


def test_rule_3_a_power_sum_that_fails_on_the_pairs_it_has_is_a_failure():
    changes = {(Parameter.NEXT, End.FAR, "45-78"): 29.0}

    verdict = verdict_of(link(changes, without=[(Parameter.NEXT, End.FAR, "12-36")]))

    assert result(verdict, Parameter.PS_NEXT, End.FAR).outcome is Outcome.FAIL


def test_rule_3_a_broken_wire_map_without_sweeps_is_a_failure():
    verdict = verdict_of(link(wire_map=REVERSED, curves={}, readings={}))

    assert verdict.outcome is Outcome.FAIL
    assert verdict.reasons == ("The two wires of pair 12 are exchanged (reversed pair).",)


def test_rule_3_headroom_is_the_smallest_margin_in_decibels_and_says_where():
    verdict = verdict_of(link({(Parameter.INSERTION_LOSS, None, "45"): at(18.0, 70.0, 10.0)}))

    room = verdict.headroom
    assert (room.margin_db, room.parameter, room.end) == (2.0, Parameter.INSERTION_LOSS, None)
    assert (room.pairs, room.frequency_mhz) == ("45", 70.0)


def test_rule_3_headroom_counts_only_what_is_judged():
    required = [p for p in edition().category("X").required() if p is not Parameter.INSERTION_LOSS]
    measured = link({(Parameter.INSERTION_LOSS, None, "45"): 19.0})

    assert verdict_of(measured, edition(required=required)).headroom.parameter is not Parameter.INSERTION_LOSS


@pytest.mark.parametrize(
    ("fields", "reason"),
    [
        ({"wire_map": REVERSED}, "The two wires of pair 12 are exchanged (reversed pair)."),
        (
            {"readings": {**dict.fromkeys(PAIRS, READINGS), "78": PairReadings(100.0, 501.0)}},
            "Propagation delay fails by 1 ns on pair 78 at 10 MHz.",
        ),
        ({"delay_skew_ns": 50.5}, "Delay skew fails by 6.5 ns."),
    ],
)
def test_rule_3_there_is_no_headroom_where_something_else_than_decibels_fails_and_the_reason_names_it(
    fields, reason
):
    verdict = verdict_of(link(**fields))

    assert (verdict.outcome, verdict.headroom) == (Outcome.FAIL, None)
    assert reason in verdict.reasons


def test_rule_3_there_is_no_headroom_where_nothing_in_decibels_was_judged():
    assert verdict_of(link(curves={})).headroom is None


def test_rule_3_failures_come_before_marginal_ones_and_the_worst_before_the_rest():
    changes = {
        NEAR: 28.0,
        (Parameter.INSERTION_LOSS, None, "45"): 23.0,
        (Parameter.RETURN_LOSS, End.FAR, "12"): 9.9,
        (Parameter.RETURN_LOSS, End.FAR, "36"): 9.8,
    }

    reasons = verdict_of(link(changes, accuracy={Parameter.RETURN_LOSS: 0.5})).reasons

    named = [reason.split(" fails by")[0] for reason in reasons]
    assert named.index("Insertion loss") < named.index("NEXT at the near end")
    assert named[-1] == "Return loss at the far end"
    assert reasons[-1] == (
        "Return loss at the far end fails by 0.2 dB on pair 36 at 1 MHz, and on 1 more; "
        "that is less than the measurement accuracy of 0.5 dB (fail*)."
    )


def test_a_limit_segment_holds_from_its_start_and_the_upper_one_where_two_meet():
    stepped = curve(Parameter.RETURN_LOSS, segment(10.0, stop=50.0), segment(15.0, start=50.0))
    verdict = verdict_of(link({(Parameter.RETURN_LOSS, End.NEAR): 14.0}), edition(curves=[stepped]))

    worst_margin = result(verdict, Parameter.RETURN_LOSS, End.NEAR).worst_margin
    assert (worst_margin.margin, worst_margin.frequency_mhz) == (-1.0, 50.0)
