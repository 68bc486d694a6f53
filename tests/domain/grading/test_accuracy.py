"""Rule 4 of the verdict: accuracy is what the measurement states, and never derived."""

import pytest

from domain.grading.flat import CURVE_LIMITS, READING_LIMITS, codes, link, result, verdict_of
from fourpair_service.domain.link import PAIRS, End
from fourpair_service.domain.measurement import PairReadings
from fourpair_service.domain.parameters import TRAITS, Parameter
from fourpair_service.domain.verdict import Outcome

EVERY = (*CURVE_LIMITS, *READING_LIMITS)


def test_rule_4_without_a_stated_accuracy_nothing_is_marginal_and_the_verdict_lists_it():
    verdict = verdict_of(link({(Parameter.NEXT, End.NEAR): 30.01}))

    assert result(verdict, Parameter.NEXT, End.NEAR).outcome is Outcome.PASS
    (text,) = [c.text for c in verdict.cautions if c.code == "accuracy-not-stated"]
    for parameter in EVERY:
        assert TRAITS[parameter].title in text


def test_rule_4_a_stated_accuracy_is_not_listed_as_missing():
    assert "accuracy-not-stated" not in codes(verdict_of(link(accuracy=dict.fromkeys(EVERY, 0.1))))


def test_rule_4_only_what_was_judged_is_listed():
    (text,) = [c.text for c in verdict_of(link(curves={})).cautions if c.code == "accuracy-not-stated"]

    assert "NEXT" not in text


def test_rule_4_the_accuracy_of_next_says_nothing_of_a_power_sum_of_it():
    # 34.9 dB on three combinations of pair 12 is 30.1 dB together: 0.1 dB inside.
    changes = {(Parameter.NEXT, End.NEAR, key): 34.9 for key in ("12-36", "12-45", "12-78")}

    plain = verdict_of(link(changes, accuracy={Parameter.NEXT: 1.0}))
    stated = verdict_of(link(changes, accuracy={Parameter.NEXT: 1.0, Parameter.PS_NEXT: 1.2}))

    assert result(plain, Parameter.PS_NEXT, End.NEAR).outcome is Outcome.PASS
    assert result(stated, Parameter.PS_NEXT, End.NEAR).outcome is Outcome.MARGINAL_PASS


@pytest.mark.parametrize(
    ("parameter", "fields"),
    [
        (Parameter.LENGTH, {"readings": dict.fromkeys(PAIRS, PairReadings(length_m=90.2))}),
        (Parameter.PROPAGATION_DELAY, {"readings": dict.fromkeys(PAIRS, PairReadings(delay_ns=500.2))}),
        (Parameter.DELAY_SKEW, {"delay_skew_ns": 44.2}),
        (
            Parameter.DC_LOOP_RESISTANCE,
            {"readings": dict.fromkeys(PAIRS, PairReadings(loop_resistance_ohm=21.2))},
        ),
    ],
)
def test_rule_4_length_delay_skew_and_resistance_have_an_accuracy_of_their_own(parameter, fields):
    sharp = result(verdict_of(link(**fields)), parameter)
    blunt = result(verdict_of(link(accuracy={parameter: 0.5}, **fields)), parameter)

    assert (sharp.outcome, blunt.outcome) == (Outcome.FAIL, Outcome.MARGINAL_FAIL)
    assert (sharp.accuracy, blunt.accuracy) == (None, 0.5)
