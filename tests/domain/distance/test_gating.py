"""What is left when a connector is taken out of a sweep, against a line that never had it."""

from __future__ import annotations

import numpy as np
import pytest

from domain.distance.line_model import Line, line_with, stepped, sweep
from fourpair_service.domain.distance.gating import only, without
from fourpair_service.domain.distance.line import path_of_link
from fourpair_service.domain.errors import InvalidMeasurementError
from fourpair_service.domain.measurement import Sweep

AXIS = stepped(250.0)
GAMMA = Line(AXIS).gamma()
PATH = path_of_link(Line(AXIS).stretch(90.0).transmission(), 90.0)
# Reflection of a shunt capacitance of 2 pF.
CONNECTOR = -2j * np.pi * AXIS * 1e6 * 2e-12 * 49 / (1 + 2j * np.pi * AXIS * 1e6 * 2e-12 * 49)


def rms(value):
    return np.sqrt(np.mean(np.abs(value)[AXIS > 5.0] ** 2))


def from_place(place):
    return CONNECTOR * np.exp(-2 * GAMMA * place)


@pytest.mark.parametrize(
    ("place", "other", "half_width_m", "of_itself"),
    [
        # Reached before: 1.2 to 1.9 % rms above 5 MHz; computed.
        (0.0, 30.0, 3.0, 0.006),
        (10.0, 60.0, 2.0, 0.010),
        (10.0, 60.0, 5.0, 0.005),
        (40.0, 60.0, 5.0, 0.005),
        (40.0, 60.0, 2.0, 0.008),
        (85.0, 60.0, 5.0, 0.016),
        (85.0, 60.0, 2.0, 0.015),
        (60.0, 80.0, 5.0, 0.005),
        (70.0, 80.0, 3.0, 0.008),
        # Not reached: far out, behind a reflection that is stronger by all the loss between them.
        (40.0, 10.0, 3.0, 0.056),
        (75.0, 20.0, 3.0, 0.050),
    ],
)
def test_what_comes_from_a_connector_is_separated_from_the_rest(place, other, half_width_m, of_itself):
    connector, rest = from_place(place), from_place(other)
    measured = sweep(AXIS, connector + rest)
    gate = (place - half_width_m, place + half_width_m)

    gated, left = only(measured, PATH, *gate), without(measured, PATH, *gate)

    assert rms(gated.value_complex - connector) < of_itself * rms(connector)
    np.testing.assert_allclose(gated.value_complex + left.value_complex, measured.value_complex, atol=1e-15)
    np.testing.assert_allclose(left.value_db, -20 * np.log10(np.abs(left.value_complex)), atol=1e-9)


@pytest.mark.parametrize("first_mhz", [4.0, 10.0])
@pytest.mark.parametrize(("place", "other", "half_width_m"), [(10.0, 60.0, 5.0), (40.0, 60.0, 2.0)])
def test_a_sweep_that_starts_high_is_gated_without_the_frequencies_it_does_not_have(
    place, other, half_width_m, first_mhz
):
    inside = first_mhz <= AXIS
    connector, rest = from_place(place)[inside], from_place(other)[inside]
    gated = only(sweep(AXIS[inside], connector + rest), PATH, place - half_width_m, place + half_width_m)

    apart = np.abs(gated.value_complex - connector)
    assert np.sqrt(np.mean(apart**2)) < 0.04 * np.sqrt(np.mean(np.abs(connector) ** 2))


@pytest.mark.parametrize("bad_at", [0.0, 10.0])
def test_a_link_without_its_bad_connector_is_close_to_one_that_never_had_it(bad_at):
    bad = line_with(AXIS, 90.0, [(bad_at, "shunt_c"), (60.0, "shunt_c")])
    good = line_with(AXIS, 90.0, [(60.0, "shunt_c")])
    path = path_of_link(bad.transmission(), 90.0)

    estimate = without(bad.reflection(), path, bad_at - 3.0, bad_at + 3.0).value_complex
    # The line's own mismatch at its near end lies inside the gate at 0 m.
    truth = without(good.reflection(), path, bad_at - 3.0, bad_at + 3.0).value_complex

    assert rms(estimate - truth) < 0.015 * rms(bad.reflection().value_complex)


def test_nothing_is_changed_where_there_is_nothing():
    measured = sweep(AXIS, from_place(10.0))

    assert rms(only(measured, PATH, 40.0, 50.0).value_complex) < 0.015 * rms(measured.value_complex)


@pytest.mark.parametrize("to_m", [5.0, 4.0, float("nan")])
def test_a_gate_that_ends_before_it_starts_is_refused(to_m):
    with pytest.raises(InvalidMeasurementError, match="ends behind its start"):
        without(sweep(AXIS, from_place(10.0)), PATH, 5.0, to_m)


@pytest.mark.parametrize("gate", [only, without])
def test_magnitudes_alone_cannot_be_gated(gate):
    with pytest.raises(InvalidMeasurementError, match="measure again with magnitude and phase"):
        gate(Sweep(AXIS, np.full(AXIS.size, 20.0)), PATH, 0.0, 3.0)
