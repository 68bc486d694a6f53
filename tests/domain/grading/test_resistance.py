"""DC resistance: loops, and the unbalance within and between pairs."""

from dataclasses import replace

import pytest

from domain.grading.flat import READINGS, REQUIRED, edition, link, result, verdict_of
from fourpair_service.domain.errors import InvalidMeasurementError
from fourpair_service.domain.limits import Basis, ReadingLimit
from fourpair_service.domain.link import PAIRS, PINS
from fourpair_service.domain.measurement import PairReadings
from fourpair_service.domain.parameters import Parameter
from fourpair_service.domain.verdict import Outcome

LOOP = Parameter.DC_LOOP_RESISTANCE
WITHIN, BETWEEN = Parameter.RESISTANCE_UNBALANCE_WITHIN_PAIR, Parameter.RESISTANCE_UNBALANCE_BETWEEN_PAIRS
WIRES = dict.fromkeys(PINS, 4.0)


def limit(parameter, value, percent):
    return ReadingLimit(parameter, "X", "permanent_link", value, "made up", Basis.PUBLISHED, percent=percent)


# As the editions write it: 3 % or 0.2 ohm within a pair, 7 % or 0.1 ohm between pairs.
RULES = edition(
    required=(*REQUIRED, WITHIN, BETWEEN), readings=[limit(WITHIN, 0.2, 3.0), limit(BETWEEN, 0.1, 7.0)]
)


def judged(parameter, rule_set=RULES, **fields):
    return result(verdict_of(link(**fields), rule_set), parameter)


def without_loops(**more):
    return dict.fromkeys(PAIRS, replace(READINGS, loop_resistance_ohm=None, **more))


def test_a_loop_is_both_conductors_in_series_where_it_was_not_stated():
    found = judged(LOOP, readings=without_loops(), conductor_resistance_ohm={**WIRES, "6": 18.0})

    assert (found.worst_margin.pairs, found.worst_margin.measured) == ("36", 22.0)
    assert found.outcome is Outcome.FAIL


def test_a_stated_loop_stands_before_its_conductors():
    assert judged(LOOP, conductor_resistance_ohm=dict.fromkeys(PINS, 50.0)).outcome is Outcome.PASS


def test_one_conductor_alone_gives_no_loop():
    wires = {pin: 4.0 for pin in PINS if pin != "8"}

    found = judged(LOOP, readings=without_loops(), conductor_resistance_ohm=wires)

    assert found.outcome is Outcome.INCOMPLETE
    assert found.incomplete_because == ("DC loop resistance not measured on 78",)


@pytest.mark.parametrize(("thicker", "outcome"), [(4.24, Outcome.PASS), (4.26, Outcome.FAIL)])
def test_the_unbalance_within_a_pair_may_be_the_greater_of_a_value_and_a_share_of_the_loop(thicker, outcome):
    # 3 % of 8.25 ohm is 0.2475 ohm, more than 0.2 ohm.
    found = judged(WITHIN, readings=without_loops(), conductor_resistance_ohm={**WIRES, "4": thicker})

    assert (found.outcome, found.worst_margin.pairs) == (outcome, "45")
    assert found.worst_margin.limit == pytest.approx(0.03 * (4.0 + thicker))


def test_on_a_short_link_the_plain_value_is_the_greater():
    wires = {**dict.fromkeys(PINS, 1.0), "1": 1.19}

    found = judged(WITHIN, readings=without_loops(), conductor_resistance_ohm=wires)

    assert (found.outcome, found.worst_margin.limit) == (Outcome.PASS, 0.2)


@pytest.mark.parametrize(("stated", "outcome"), [(0.23, Outcome.PASS), (0.25, Outcome.FAIL)])
def test_a_stated_unbalance_is_judged_where_there_are_no_conductors(stated, outcome):
    readings = dict.fromkeys(PAIRS, replace(READINGS, resistance_unbalance_ohm=stated))  # 3 % of 8 ohm: 0.24

    assert judged(WITHIN, readings=readings).outcome is outcome


def test_without_any_resistance_the_unbalance_is_missing():
    assert judged(WITHIN, readings={}).incomplete_because == (
        "resistance unbalance not measured on 12, 36, 45, 78",
    )


def test_a_stated_unbalance_without_a_loop_has_the_plain_value_as_its_limit():
    found = judged(WITHIN, readings=without_loops(resistance_unbalance_ohm=0.19))

    assert (found.outcome, found.worst_margin.limit) == (Outcome.PASS, 0.2)


def test_between_pairs_the_conductors_of_each_pair_are_in_parallel():
    # 4 || 4 = 2 ohm and 5 || 5 = 2.5 ohm: 0.5 ohm apart, 7 % of 4.5 ohm is 0.315 ohm.
    wires = {**WIRES, "7": 5.0, "8": 5.0}

    found = judged(BETWEEN, readings=without_loops(), conductor_resistance_ohm=wires)

    assert found.outcome is Outcome.FAIL
    assert found.worst_margin.pairs == "12-78"
    assert found.worst_margin.measured == pytest.approx(0.5)
    assert found.worst_margin.limit == pytest.approx(0.315)
    assert [point.pairs for point in found.by_pair] == ["12-36", "12-45", "12-78", "36-45", "36-78", "45-78"]


def test_a_stated_unbalance_between_pairs_uses_the_loops_for_its_share():
    # A loop of 8 ohm is 2 ohm in parallel, two of them 4 ohm: 7 % is 0.28 ohm.
    found = judged(BETWEEN, unbalance_between_pairs_ohm={"12-45": 0.27})

    assert (found.outcome, found.worst_margin.limit) == (Outcome.PASS, pytest.approx(0.28))


def test_a_stated_unbalance_between_pairs_without_loops_has_the_plain_value_as_its_limit():
    found = judged(BETWEEN, readings=without_loops(), unbalance_between_pairs_ohm={"12-45": 0.09})

    assert (found.outcome, found.worst_margin.limit) == (Outcome.PASS, 0.1)


def test_loops_alone_say_nothing_of_the_unbalance_between_pairs():
    found = judged(BETWEEN)

    assert found.incomplete_because == ("resistance unbalance between pairs not measured",)


def test_conductors_without_any_resistance_are_a_short_cord_and_no_division_by_nothing():
    nothing = dict.fromkeys(PINS, 0.0)

    found = judged(BETWEEN, readings=without_loops(), conductor_resistance_ohm=nothing)

    assert (found.outcome, found.worst_margin.measured, found.worst_margin.limit) == (Outcome.PASS, 0.0, 0.1)


@pytest.mark.parametrize("parameter", [LOOP, WITHIN, BETWEEN, Parameter.DELAY_SKEW])
def test_without_a_limit_nothing_is_judged(parameter):
    rule_set = edition(required=(parameter,))
    limits = {key: value for key, value in rule_set.reading_limits.items() if key[2] != parameter}

    found = judged(parameter, replace(rule_set, reading_limits=limits), conductor_resistance_ohm=WIRES)

    assert (found.outcome, found.incomplete_because) == (Outcome.INCOMPLETE, ("no limit is built in",))


def test_a_delay_without_a_limit_is_not_judged():
    rule_set = edition(required=(Parameter.PROPAGATION_DELAY,))
    limits = {k: v for k, v in rule_set.curve_limits.items() if k[2] != Parameter.PROPAGATION_DELAY}

    found = judged(Parameter.PROPAGATION_DELAY, replace(rule_set, curve_limits=limits))

    assert found.incomplete_because == ("no limit is built in",)


def test_readings_of_a_pair_that_there_is_not_are_refused():
    with pytest.raises(InvalidMeasurementError) as refused:
        link(readings={"13": PairReadings()})

    assert refused.value.pointer == "/pairs/13"
