"""Pairs may be swept on axes of their own; there is still one result for a parameter and end."""

from dataclasses import replace

import numpy as np
import pytest

from domain.grading.flat import AXIS, at, edition, link, result, rule, rules, verdict_of
from fourpair_service.domain.link import NEXT_COMBINATIONS, PAIRS, End
from fourpair_service.domain.measurement import AccuracyCurve, CurveGroup
from fourpair_service.domain.parameters import Parameter
from fourpair_service.domain.verdict import CategoryState, Outcome

SHIFTED = np.array([0.5, *range(5, 106, 10)], float)
LOSS, RL = (Parameter.INSERTION_LOSS, None), (Parameter.RETURN_LOSS, End.NEAR)


def on_two_axes(key, keys, first, second, **more):
    """A link of which two pairs of a parameter were swept on a second axis."""
    groups = (
        CurveGroup(AXIS, keys[:2], np.stack([np.broadcast_to(v, AXIS.shape) for v in first])),
        CurveGroup(SHIFTED, keys[2:], np.stack([np.broadcast_to(v, SHIFTED.shape) for v in second])),
    )
    measured = link(**more)
    return replace(measured, curves={**measured.curves, key: groups})


def test_two_axes_that_both_cover_the_range_make_one_complete_result():
    verdict = verdict_of(on_two_axes(RL, PAIRS, (20.0, 19.0), (18.0, 21.0)))

    found = result(verdict, *RL)
    assert (verdict.outcome, found.outcome) == (Outcome.PASS, Outcome.PASS)
    assert [point.pairs for point in found.by_pair] == list(PAIRS)
    assert (found.worst_margin.pairs, found.worst_margin.margin) == ("45", 8.0)
    assert found.worst_value.measured == 18.0
    assert found.judged_points == 2 * AXIS.size + 2 * 10
    assert verdict.categories[0].state is CategoryState.MET


def test_the_worst_value_of_a_loss_is_the_largest():
    found = result(verdict_of(on_two_axes(LOSS, PAIRS, (10.0, 12.0), (11.0, 9.0))), *LOSS)

    assert (found.worst_value.measured, found.worst_value.pairs) == (12.0, "36")


def test_a_failure_on_the_second_axis_decides():
    found = result(verdict_of(on_two_axes(RL, PAIRS, (20.0, 19.0), (9.0, 21.0))), *RL)

    assert (found.outcome, found.worst_margin.pairs) == (Outcome.FAIL, "45")


def test_a_gap_of_one_axis_leaves_the_parameter_incomplete():
    measured = on_two_axes(RL, PAIRS, (20.0, 19.0), (18.0, 21.0))
    first, second = measured.curves[RL]
    second = CurveGroup(second.frequency_mhz[2:], second.keys, second.value_db[:, 2:])
    measured = replace(measured, curves={**measured.curves, RL: (first, second)})

    found = result(verdict_of(measured), *RL)

    assert found.outcome is Outcome.INCOMPLETE
    assert found.incomplete_because == ("the sweep starts at 15 MHz and must start at 1 MHz or below",)


def test_a_pair_missing_from_both_axes_is_named_once():
    measured = on_two_axes(RL, PAIRS[:3], (20.0, 19.0), (18.0,))

    found = result(verdict_of(measured), *RL)

    assert found.incomplete_because == ("not measured on 78",)


def test_excuses_of_both_axes_are_counted_together():
    rule_set = edition(switches=rules(return_loss_below_loss_db=rule(11.0)))

    found = result(verdict_of(on_two_axes(RL, PAIRS, (1.0, 1.0), (1.0, 1.0)), rule_set), *RL)

    assert (found.outcome, found.worst_margin) == (Outcome.PASS, None)
    assert found.excuse.points == 2 * AXIS.size + 2 * 10


def test_with_an_accuracy_over_frequency_the_axis_that_decides_is_named():
    accuracy = AccuracyCurve(np.array([10.0, 20.0, 90.0, 100.0]), np.array([2.0, 2.0, 0.5, 0.5]))
    first, second = at(8.5, 10.0, 20.0), at(9.0, 95.0, 20.0, SHIFTED)
    measured = on_two_axes(
        RL, PAIRS, (first, 20.0), (second, 20.0), accuracy={Parameter.RETURN_LOSS: accuracy}
    )

    verdict = verdict_of(measured)

    found = result(verdict, *RL)
    assert (found.outcome, found.worst_margin.margin) == (Outcome.FAIL, -1.5)
    assert (found.decisive.margin, found.decisive.pairs, found.accuracy) == (-1.0, "45", 0.5)
    assert (
        "Return loss at the near end fails by 1.0 dB on pair 45 at 95 MHz, and on 1 more." in verdict.reasons
    )


@pytest.mark.parametrize("parameter", [Parameter.PS_NEXT, Parameter.PS_ACR_N])
def test_crosstalk_on_two_axes_is_summed_on_the_first(parameter):
    key = (Parameter.NEXT, End.NEAR)
    groups = (
        CurveGroup(AXIS, NEXT_COMBINATIONS[:3], np.full((3, AXIS.size), 60.0)),
        CurveGroup(SHIFTED, NEXT_COMBINATIONS[3:], np.full((3, SHIFTED.size), 60.0)),
    )
    measured = link()
    split = verdict_of(replace(measured, curves={**measured.curves, key: groups}))

    together, apart = (result(v, parameter, End.NEAR) for v in (verdict_of(measured), split))

    assert apart.worst_margin.margin == pytest.approx(together.worst_margin.margin)
    assert (apart.outcome, apart.judged_points) == (together.outcome, together.judged_points)


def test_for_information_two_axes_make_one_result_too():
    required = tuple(p for p in edition().category("X").required() if p is not Parameter.RETURN_LOSS)

    found = result(
        verdict_of(on_two_axes(RL, PAIRS, (20.0, 19.0), (1.0, 21.0)), edition(required=required)), *RL
    )

    assert (found.outcome, found.worst_margin.margin) == (None, -9.0)
