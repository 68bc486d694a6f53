"""Delay is exact on a model line whose propagation constant is published."""

from __future__ import annotations

import numpy as np
import pytest
import skrf

from domain.distance.line_model import Line, stepped
from fourpair_service.domain.delay import delay_at, group_delay_ns, phase_delay_ns, phase_lag_rad, skew_ns
from fourpair_service.domain.errors import InvalidMeasurementError

LENGTHS_M = (0.3, 3.0, 20.0, 50.0, 90.0, 100.0)


def matched(f, length_m):
    """Transmission and phase delay [ns] of a line that ends in its own impedance."""
    gamma = Line(f).gamma()
    return np.exp(-gamma * length_m), gamma.imag * length_m / (2 * np.pi * f) * 1e3


def axes():
    yield from (stepped(top) for top in (100.0, 250.0, 500.0))
    yield from (np.arange(1, 250.5, step) for step in (0.3, 1.0, 2.0))
    yield np.geomspace(1, 250, 401)


@pytest.mark.parametrize("length_m", LENGTHS_M)
@pytest.mark.parametrize("polarity", [1, -1])
def test_the_phase_delay_of_a_matched_line_is_exact_whatever_the_steps(length_m, polarity):
    for f in axes():
        transmission, expected = matched(f, length_m)

        np.testing.assert_allclose(phase_delay_ns(f, polarity * transmission), expected, atol=1e-9)


@pytest.mark.parametrize("length_m", LENGTHS_M[1:])
def test_between_100_ohm_the_delay_at_125_mhz_is_within_a_picosecond_and_at_1_mhz_within_half_a_nanosecond(
    length_m,
):
    for f in axes():
        _, expected = matched(f, length_m)
        transmission = Line(f).stretch(length_m).s_parameters()[1]

        error = phase_delay_ns(f, transmission) - expected

        assert abs(error[0]) < 0.5
        if f[-1] > 125:
            assert abs(error[np.argmin(np.abs(f - 125))]) < 0.001


def test_100_m_of_the_published_wire_type_delay_as_published():
    # Wire type CAT5 of the G.fast draft 2013-07-Q4-R20: 512.4 ns at 1 MHz, 490.0 ns at
    # 10 MHz, 483.05 ns at 100 MHz, from its phase velocity.
    f = np.arange(1.0, 100.5, 1.0)
    transmission, _ = matched(f, 100.0)

    np.testing.assert_allclose(phase_delay_ns(f, transmission)[[0, 9, 99]], [512.4, 490.0, 483.05], atol=0.05)


def test_noise_60_db_down_leaves_the_delay_at_10_mhz_within_150_picoseconds():
    rng = np.random.default_rng(7)
    for f in axes():
        for length_m in LENGTHS_M:
            transmission, expected = matched(f, length_m)
            noise = 1e-3 * (rng.normal(size=f.size) + 1j * rng.normal(size=f.size))

            delay = delay_at(f, transmission + noise, 10.0)

            at = np.argmin(np.abs(f - delay.frequency_mhz))
            assert delay.delay_ns == pytest.approx(expected[at], abs=0.15)


def test_the_group_delay_equals_that_of_scikit_rf():
    f = np.arange(1.0, 250.5, 0.5)
    transmission, _ = matched(f, 90.0)
    network = skrf.Network(s=np.repeat(transmission, 4).reshape(-1, 2, 2), f=f, f_unit="MHz", z0=100)

    theirs = network.group_delay[:, 1, 0].real * 1e9

    np.testing.assert_allclose(group_delay_ns(f, transmission), theirs, rtol=1e-9)


def test_noise_above_the_reach_of_a_cable_does_not_hide_its_delay():
    # As in a sweep to many GHz of a cable that ends at some: nothing comes through above.
    f = np.arange(1.0, 1000.5, 1.0)
    transmission, expected = matched(f, 20.0)
    rng = np.random.default_rng(3)
    noise = 1e-4 * (rng.normal(size=f.size) + 1j * rng.normal(size=f.size))
    transmission = np.where(f > 500, 0, transmission) + noise

    assert delay_at(f, transmission, 10.0).delay_ns == pytest.approx(expected[9], abs=0.02)


def test_a_delay_states_the_measured_frequency_nearest_to_the_one_asked():
    f = np.arange(1.0, 100.5, 0.7)
    transmission, expected = matched(f, 90.0)

    delay = delay_at(f, transmission, 10.0)

    assert delay.frequency_mhz == 10.1
    assert delay.delay_ns == pytest.approx(expected[13])


def test_a_cord_of_no_length_has_no_delay_in_spite_of_noise():
    f = stepped(250.0)
    rng = np.random.default_rng(11)
    noise = 1e-3 * (rng.normal(size=f.size) + 1j * rng.normal(size=f.size))

    np.testing.assert_allclose(phase_delay_ns(f, 1 + noise), 0, atol=1.0)


def test_a_small_negative_delay_stays_one():
    # A reference plane a little too far out.
    f = stepped(250.0)

    np.testing.assert_allclose(phase_delay_ns(f, np.exp(2j * np.pi * f * 0.001)), -1.0, atol=1e-9)


def test_the_phase_lag_of_a_pure_delay_is_proportional_to_the_frequency():
    f = np.arange(1.0, 50.0)

    np.testing.assert_allclose(phase_lag_rad(f, np.exp(-2j * np.pi * f * 0.3)), 2 * np.pi * f * 0.3)


def test_noise_alone_has_no_delay():
    f = stepped(100.0)
    rng = np.random.default_rng(2)

    with pytest.raises(InvalidMeasurementError, match="is noise"):
        phase_delay_ns(f, rng.normal(size=f.size) + 1j * rng.normal(size=f.size))


def test_a_pair_through_which_nothing_comes_has_no_delay():
    f = stepped(100.0)

    with pytest.raises(InvalidMeasurementError, match="nothing comes through"):
        phase_delay_ns(f, np.zeros(f.size, complex))


def test_a_sweep_that_starts_too_high_cannot_count_the_turns():
    f = np.arange(900.0, 1000.0)
    transmission, _ = matched(f, 5.0)
    noise = 1e-2 * np.random.default_rng(4).normal(size=f.size)

    with pytest.raises(InvalidMeasurementError, match="starts too high"):
        phase_delay_ns(f, transmission * np.exp(1j * noise))


def test_four_points_are_too_few():
    with pytest.raises(InvalidMeasurementError, match="at least 5"):
        phase_delay_ns(np.arange(1.0, 5.0), np.ones(4, complex))


def test_a_skew_of_5_ns_is_the_span_of_the_delays():
    # A good link has a skew of about 5 ns (common practice, no published source).
    assert skew_ns([246.0, 251.0, 248.5, 247.0]) == 5.0
