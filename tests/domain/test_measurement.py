"""A measurement refuses what no link can have, with the place of it."""

import numpy as np
import pytest

from fourpair_service.domain.errors import InvalidMeasurementError
from fourpair_service.domain.link import PAIRS, Configuration, End
from fourpair_service.domain.measurement import Cable, CurveGroup, LinkMeasurement
from fourpair_service.domain.parameters import Parameter

F = np.array([1.0, 2.0])
LOSS = (Parameter.INSERTION_LOSS, None)


def group(*keys, value=None):
    return CurveGroup(F, keys, np.full((len(keys), 2), 1.0), value)


def measured(**curves):
    return LinkMeasurement(Configuration.CHANNEL, **curves)


@pytest.mark.parametrize(
    "axis", [np.array([]), np.array([1.0, 1.0]), np.array([2.0, 1.0]), np.array([[1.0, 2.0]])]
)
def test_an_axis_must_increase_strictly(axis):
    with pytest.raises(InvalidMeasurementError, match="increases strictly"):
        CurveGroup(axis, ("12",), np.ones((1, 2)))


@pytest.mark.parametrize("shape", [(1, 3), (2, 2), (2,)])
def test_there_is_one_value_for_each_frequency_of_each_curve(shape):
    with pytest.raises(InvalidMeasurementError, match="expected"):
        CurveGroup(F, ("12",), np.ones(shape))
    with pytest.raises(InvalidMeasurementError, match="expected"):
        CurveGroup(F, ("12",), np.ones((1, 2)), np.ones(shape, complex))


@pytest.mark.parametrize(
    ("key", "groups", "pointer"),
    [
        ((Parameter.NEXT, None), (group("12-36"),), "/sweeps/next"),
        ((Parameter.INSERTION_LOSS, End.NEAR), (group("12"),), "/sweeps/insertion_loss"),
        (LOSS, (group("13"),), "/sweeps/insertion_loss/13"),
        ((Parameter.NEXT, End.NEAR), (group("36-12"),), "/sweeps/next/36-12"),
        (LOSS, (group("12", "12"),), "/sweeps/insertion_loss/12"),
        (LOSS, (group("12"), group("12")), "/sweeps/insertion_loss/12"),
        ((Parameter.PS_ANEXT_AVERAGE, End.NEAR), (group("12"),), "/sweeps/ps_anext_average/12"),
    ],
)
def test_ends_and_combinations_must_be_those_of_the_parameter(key, groups, pointer):
    with pytest.raises(InvalidMeasurementError) as refused:
        measured(curves={key: groups})

    assert refused.value.pointer == pointer


def test_curves_are_found_by_pair_in_any_group():
    second = CurveGroup(np.array([3.0, 4.0]), ("36",), np.full((1, 2), 7.0))
    link = measured(curves={LOSS: (group("45"), second)})

    assert link.sweep(*LOSS, "36").value_db.tolist() == [7.0, 7.0]
    assert link.sweep(*LOSS, "78") is None
    assert link.sweep(Parameter.NEXT, End.NEAR, "12-36") is None


def test_groups_are_kept_in_the_order_of_their_first_pair():
    later = CurveGroup(np.array([3.0, 4.0]), PAIRS[:1], np.full((1, 2), 7.0))

    link = measured(
        curves={(Parameter.RETURN_LOSS, End.NEAR): (group("78", "45"), later), LOSS: (group("12"),)}
    )

    assert [g.keys for g in link.curves[(Parameter.RETURN_LOSS, End.NEAR)]] == [("12",), ("45", "78")]
    assert list(link.curves) == [LOSS, (Parameter.RETURN_LOSS, End.NEAR)]


def test_it_says_what_is_complex_and_whether_anything_was_swept():
    value = np.full((1, 2), 0.5 + 0j)
    link = measured(
        curves={LOSS: (group("12", value=value),), (Parameter.RETURN_LOSS, End.NEAR): (group("12"),)}
    )

    assert list(link.complex_keys()) == [LOSS]
    assert link.has_curves
    assert not measured().has_curves
    assert link.sweep(*LOSS, "12").value_complex.tolist() == [0.5, 0.5]


@pytest.mark.parametrize(
    ("screening", "screened"),
    [(None, None), ("U/UTP", False), ("UTP", False), ("F/UTP", True), ("S/FTP", True), ("STP", True)],
)
def test_a_screen_is_read_from_the_name_of_the_cable(screening, screened):
    assert Cable(screening=screening).is_screened is screened
