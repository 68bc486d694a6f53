"""The ripple of the insertion loss gives the distance between two mismatches."""

from __future__ import annotations

import numpy as np
import pytest

from domain.distance.line_model import Line, line_with, stepped, sweep
from fourpair_service.domain.distance.deviation import insertion_loss_deviation, smooth_loss_db
from fourpair_service.domain.distance.line import path_of_link
from fourpair_service.domain.errors import InvalidMeasurementError
from fourpair_service.domain.measurement import Sweep

AXIS = stepped(250.0)


def deviation_of(line, length_m=90.0):
    transmission = line.transmission()
    return insertion_loss_deviation(transmission, path_of_link(transmission, length_m))


@pytest.mark.parametrize("apart_m", [2.0, 4.0, 10.0, 20.0])
def test_the_ripple_gives_the_distance_between_two_mismatches(apart_m):
    # Before: 4.04 m for 4.0 m; computed.
    found = deviation_of(line_with(AXIS, 90.0, [(10.0, "shunt_c"), (10.0 + apart_m, "shunt_c")]))

    assert found.spacing_m == pytest.approx(apart_m, rel=0.02)
    assert found.ripple_db > 0.02


def test_the_ripple_has_the_amplitude_that_two_reflections_make():
    # Each reflects w C Z / 2; there and back between them: 8.686 r^2 exp(-2 alpha d), averaged over the band.
    line = line_with(AXIS, 90.0, [(10.0, "shunt_c"), (20.0, "shunt_c")])
    f = np.linspace(AXIS[0], AXIS[-1], 2000)
    gamma = np.interp(f, AXIS, Line(AXIS).gamma().real)
    ripple = 8.686 * (2e6 * np.pi * f * 2e-12 * 49) ** 2 * np.exp(-2 * gamma * 10.0)
    expected = np.average(ripple, weights=np.kaiser(f.size, 6.0))

    assert deviation_of(line).ripple_db == pytest.approx(expected, rel=0.1)


@pytest.mark.parametrize("length_m", [4.0, 90.0])
def test_a_clean_line_has_no_ripple(length_m):
    found = deviation_of(Line(AXIS).stretch(length_m), length_m)

    assert found.spacing_m is None
    assert found.ripple_db < 0.01
    assert found.worst_db < 0.3


def test_a_cord_too_short_to_tell_ripple_from_its_loss_has_none():
    found = deviation_of(line_with(AXIS, 1.5, [(0.2, "shunt_c"), (1.2, "shunt_c")]), 1.5)

    assert (found.spacing_m, found.ripple_db) == (None, 0.0)


def test_the_worst_departure_is_where_it_was_put():
    line = Line(AXIS).stretch(90.0)
    loss = smooth_loss_db(line.transmission())
    at = int(np.argmin(np.abs(AXIS - 150.0)))
    loss[at] += 3.0

    found = insertion_loss_deviation(Sweep(AXIS, loss), path_of_link(line.transmission(), 90.0))

    assert found.worst_db == pytest.approx(3.0, abs=0.1)
    assert found.worst_frequency_mhz == AXIS[at]


def test_loss_of_the_form_of_the_standard_is_smooth():
    loss = 1.808 * np.sqrt(AXIS) + 0.017 * AXIS + 0.2 / np.sqrt(AXIS)

    np.testing.assert_allclose(smooth_loss_db(Sweep(AXIS, loss)), loss, atol=1e-9)


def test_two_points_have_no_deviation():
    path = path_of_link(Line(AXIS).stretch(90.0).transmission(), 90.0)

    with pytest.raises(InvalidMeasurementError, match="at least 3 frequencies"):
        insertion_loss_deviation(sweep([1.0, 2.0], [0.9, 0.8]), path)
