"""What a path is made from, and what is refused."""

from __future__ import annotations

import numpy as np
import pytest

from domain.distance.line_model import Line, stepped, sweep
from fourpair_service.domain.distance.line import (
    mean_path,
    nominal_path,
    path_of_broken_pair,
    path_of_link,
    path_of_link_at_nvp,
)
from fourpair_service.domain.distance.weights import kaiser, trapezoid_weights
from fourpair_service.domain.errors import InvalidMeasurementError

AXIS = stepped(250.0)


def test_the_path_of_a_link_has_the_loss_and_delay_of_its_cable():
    line = Line(AXIS).stretch(90.0)
    gamma, path = line.gamma(), path_of_link(line.transmission(), 90.0)
    above = AXIS > 5.0

    np.testing.assert_allclose(path.attenuation_np_per_m(AXIS)[above], gamma.real[above], rtol=0.02)
    np.testing.assert_allclose(path.phase_rad_per_m(AXIS)[above], gamma.imag[above], rtol=0.001)


def test_a_nominal_path_has_the_loss_of_the_standard_and_the_nvp_of_the_cable_at_10_mhz():
    # 22.0 dB per 100 m at 100 MHz (category 5e, what-when-how.com LAN wiring, table 15.2).
    path = nominal_path(90.0, 0.69)

    assert path.attenuation_np_per_m(np.array([100.0]))[0] * 100 * 8.686 == pytest.approx(22.0, abs=0.05)
    assert path.velocity_m_per_ns(10.0) == pytest.approx(0.69 * 0.299792458)


def test_a_broken_pair_borrows_the_mean_of_the_good_ones_or_a_nominal_path():
    good = [path_of_link(Line(AXIS).stretch(x).transmission(), x) for x in (89.0, 91.0)]

    assert path_of_broken_pair(good, 110.0, 0.69) == mean_path(good)
    assert path_of_broken_pair([], 110.0, 0.69, 0.05) == nominal_path(110.0, 0.69, tolerance=0.05)


def test_an_attenuation_is_never_negative():
    gaining = path_of_link(sweep(AXIS, 1.1 * np.exp(-2j * np.pi * AXIS * 0.4)), 80.0)

    assert (gaining.attenuation_np_per_m(AXIS) == 0.0).all()


@pytest.mark.parametrize("length_m", [0.0, -1.0, float("nan")])
def test_a_link_without_length_has_no_path(length_m):
    with pytest.raises(InvalidMeasurementError, match="greater than 0 m"):
        path_of_link(Line(AXIS).stretch(90.0).transmission(), length_m)


@pytest.mark.parametrize("nvp", [0.0, 1.01, float("nan")])
def test_an_nvp_is_a_fraction_of_the_speed_of_light(nvp):
    transmission = Line(AXIS).stretch(90.0).transmission()

    for refused in (
        lambda: nominal_path(90.0, nvp),
        lambda: path_of_link_at_nvp(transmission, nvp),
        lambda: path_of_broken_pair([], 90.0, nvp),
    ):
        with pytest.raises(InvalidMeasurementError, match="fraction of the speed of light"):
            refused()


def test_a_transmission_without_delay_is_no_link():
    with pytest.raises(InvalidMeasurementError, match="no delay; was a link between"):
        path_of_link_at_nvp(sweep(AXIS, np.ones(AXIS.size)), 0.69)


def test_trapezoid_weights_integrate_a_straight_line_exactly():
    assert trapezoid_weights(AXIS) @ (3 * AXIS + 1) == pytest.approx(1.5 * (250.0**2 - 1) + 249.0, rel=1e-12)


def test_the_taper_is_that_of_numpy_and_zero_outside():
    np.testing.assert_allclose(kaiser(np.linspace(-1, 1, 51)), np.kaiser(51, 6.0), atol=1e-12)
    assert kaiser(np.array([-1.01, 1.01])).tolist() == [0.0, 0.0]
