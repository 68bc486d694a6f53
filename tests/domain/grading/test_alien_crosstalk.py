"""Crosstalk from other cables: judged where it was measured, with the average of the four pairs."""

from dataclasses import replace

import numpy as np
import pytest

from domain.grading.flat import AXIS, REQUIRED, curve, edition, link, result, segment, verdict_of
from fourpair_service.domain.link import PAIRS, End
from fourpair_service.domain.measurement import CurveGroup
from fourpair_service.domain.parameters import Parameter
from fourpair_service.domain.verdict import Outcome

ALIEN = {
    Parameter.PS_ANEXT: Parameter.PS_ANEXT_AVERAGE,
    Parameter.PS_AACR_F: Parameter.PS_AACR_F_AVERAGE,
}
RULES = edition(
    required=REQUIRED,
    judged=(*ALIEN, *ALIEN.values()),
    curves=[curve(p, segment(50.0)) for p in ALIEN] + [curve(p, segment(52.0)) for p in ALIEN.values()],
)


def measured(parameter, values, end=End.NEAR):
    group = CurveGroup(AXIS, PAIRS[: len(values)], np.stack([np.full(AXIS.size, v) for v in values]))
    return replace(link(), curves={**link().curves, (parameter, end): (group,)})


@pytest.mark.parametrize("parameter", ALIEN)
@pytest.mark.parametrize(
    ("values", "pairs", "average"),
    [
        ((60.0, 60.0, 60.0, 60.0), Outcome.PASS, Outcome.PASS),
        ((49.0, 60.0, 60.0, 60.0), Outcome.FAIL, Outcome.PASS),
        ((51.0, 51.0, 51.0, 54.0), Outcome.PASS, Outcome.FAIL),
    ],
)
def test_each_pair_and_the_average_of_four_are_held_against_their_limits(parameter, values, pairs, average):
    verdict = verdict_of(measured(parameter, values), RULES)

    assert result(verdict, parameter, End.NEAR).outcome is pairs
    mean = result(verdict, ALIEN[parameter], End.NEAR)
    assert mean.outcome is average
    assert mean.worst_margin.measured == pytest.approx(np.mean(values))
    assert mean.worst_margin.pairs is None


@pytest.mark.parametrize("parameter", ALIEN)
def test_three_pairs_have_no_average(parameter):
    verdict = verdict_of(measured(parameter, (60.0, 60.0, 60.0)), RULES)

    assert result(verdict, parameter, End.NEAR).incomplete_because == ("not measured on 78",)
    assert not [r for r in verdict.parameters if r.parameter is ALIEN[parameter]]


def test_what_was_not_measured_is_not_missed():
    assert verdict_of(link(), RULES).outcome is Outcome.PASS
