"""The impedance profile reads the impedances that the model line is made of."""

from __future__ import annotations

import numpy as np
import pytest

from domain.distance.line_model import Line, stepped, sweep
from fourpair_service.domain.distance.impedance import impedance_from_both_ends, impedance_profile
from fourpair_service.domain.distance.line import path_of_link
from fourpair_service.domain.errors import InvalidMeasurementError
from fourpair_service.domain.measurement import Sweep

AXIS = stepped(250.0)


def stepped_line():
    """98 | 85 (1 m at 12.3) | 98 | 112 (2 m at 60.3) | 98 ohm in 90 m."""
    line = Line(AXIS).stretch(12.3).stretch(1.0, z0=85.0).stretch(47.0)
    return line.stretch(2.0, z0=112.0).stretch(27.7)


def test_two_sections_of_other_impedance_are_read_within_2_5_ohm_to_60_m_and_3_ohm_at_70():
    # Vector; before it read 98.1 97.4 96.7 83.5 96.1 96.1 99.2 114.2 101.4 at these places; computed.
    places = np.array([0.7, 5.0, 10.0, 12.8, 15.0, 40.0, 58.0, 61.3, 70.0])
    true_ohm = np.array([98.0, 98.0, 98.0, 85.0, 98.0, 98.0, 98.0, 112.0, 98.0])
    line = stepped_line()

    read = impedance_profile(line.reflection(), path_of_link(line.transmission(), 90.0), places)

    np.testing.assert_allclose(read[:-1], true_ohm[:-1], atol=2.5)
    assert read[-1] == pytest.approx(98.0, abs=3.0)


@pytest.mark.parametrize("z0", [85.0, 100.0, 115.0])
@pytest.mark.parametrize("top_mhz", [100.0, 250.0, 500.0])
@pytest.mark.parametrize("length_m", [20.0, 60.0, 90.0])
def test_a_line_of_one_impedance_reads_it_from_end_to_end(z0, top_mhz, length_m):
    line = Line(stepped(top_mhz), z0).stretch(length_m)
    path, near, far = path_of_link(line.transmission(), length_m), line.reflection(), line.far_reflection()
    places = np.linspace(3.0, length_m - 3.0, 50)

    np.testing.assert_allclose(impedance_from_both_ends(near, far, path, places), z0, rtol=0.04)
    # From one end the far half drifts, as its docstring says.
    np.testing.assert_allclose(impedance_profile(near, path, places), z0, rtol=0.15)


def test_a_cord_of_other_impedance_in_front_shows_as_such():
    line = Line(AXIS).stretch(5.0, z0=85.0).stretch(55.0, z0=100.0)
    path = path_of_link(line.transmission(), 60.0)

    cord, cable = impedance_profile(line.reflection(), path, np.array([2.5, 20.0]))

    assert cord == pytest.approx(85.0, abs=2.5)
    assert cable == pytest.approx(100.0, abs=2.5)


def test_places_may_come_in_any_order_and_one_by_one():
    line = stepped_line()
    path = path_of_link(line.transmission(), 90.0)
    both = impedance_profile(line.reflection(), path, np.array([40.0, 12.8]))

    alone = [impedance_profile(line.reflection(), path, np.array([x]))[0] for x in (40.0, 12.8)]

    np.testing.assert_allclose(both, alone, atol=0.3)


def test_a_total_reflection_does_not_divide_by_zero():
    line = Line(AXIS).stretch(10.0)
    path = path_of_link(line.transmission(), 10.0)

    read = impedance_profile(sweep(AXIS, np.ones(AXIS.size)), path, np.array([1.0]))

    assert np.isfinite(read).all()


def test_magnitudes_alone_have_no_profile():
    path = path_of_link(stepped_line().transmission(), 90.0)

    with pytest.raises(InvalidMeasurementError, match="measure again with magnitude and phase"):
        impedance_profile(Sweep(AXIS, np.full(AXIS.size, 20.0)), path, np.array([1.0]))
