"""Modelled links with known faults: the cause comes first, its place is right, good links stay calm.

The links are invented, and their physics is that of the published wire types
named in ``samples/line_model``; the levels of the faults are a model, as no open
measurement of faulty four-pair links was found.
"""

import pytest

from domain.diagnosis.cases import FAULTY, GOOD
from domain.diagnosis.matrix import is_first, results


@pytest.fixture(scope="module")
def found():
    return results()


@pytest.mark.parametrize("case", FAULTY, ids=lambda case: case.name)
def test_the_intended_cause_is_named_first(case, found):
    assert is_first(case, found[case.name]), found[case.name]


@pytest.mark.parametrize("case", GOOD, ids=lambda case: case.name)
def test_no_fault_is_called_on_a_good_link_near_its_limits(case, found):
    assert found[case.name].outcome in ("pass", "marginal_pass")
    assert not found[case.name].faults


@pytest.mark.parametrize("case", [c for c in FAULTY if c.position_m is not None], ids=lambda case: case.name)
def test_the_place_of_a_fault_is_within_the_uncertainty_that_is_stated(case, found):
    place = found[case.name].faults[0].place
    assert abs(place.position_m - case.position_m) <= place.uncertainty_m
    assert place.uncertainty_m < 0.05 * (place.to_m or place.position_m) + 2.0


@pytest.mark.parametrize("case", [c for c in FAULTY if c.end is not None], ids=lambda case: case.name)
def test_a_fault_at_an_end_names_that_end(case, found):
    assert found[case.name].faults[0].place.end == case.end


def test_without_phase_no_distance_is_invented(found):
    for case in FAULTY:
        if not case.phase and case.position_m is None:
            for fault in found[case.name].faults:
                assert fault.place is None or fault.place.position_m is None
