"""The transform equals its definition, and the chirp z-transform where a line has no loss."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.signal
from hypothesis import given, settings
from hypothesis import strategies as st

from domain.distance.line_model import Line, stepped, sweep
from fourpair_service.domain.distance.events import find_events
from fourpair_service.domain.distance.line import LinePath, nominal_path, path_of_link
from fourpair_service.domain.distance.transform import (
    GAIN_CEILING_DB,
    distance_grid,
    link_grid,
    path_resolution_m,
    reflection_at,
    reflections,
    shown_share,
)
from fourpair_service.domain.distance.weights import band_weights
from fourpair_service.domain.errors import InvalidMeasurementError
from fourpair_service.domain.measurement import Sweep

LIGHT_M_PER_NS = 0.299792458
AXIS = stepped(250.0)
GAMMA = Line(AXIS).gamma()
LOSSY = path_of_link(Line(AXIS).stretch(90.0).transmission(), 90.0)


def lossless(nvp, length_m=90.0):
    """A path of constant velocity without loss."""
    return LinePath(length_m, (0.0, 0.0, 0.0), (0.0, 2 * np.pi / 1000 / (nvp * LIGHT_M_PER_NS), 0.0))


def by_definition(measured, path, distance_m):
    """The direct sum, one frequency and distance at a time."""
    f = measured.frequency_mhz
    alpha, beta, w = path.attenuation_np_per_m(f), path.phase_rad_per_m(f), band_weights(f)
    ceiling = 10 ** (GAIN_CEILING_DB / 20)
    return np.array(
        [
            sum(
                w[n] * s * min(np.exp(2 * alpha[n] * x), ceiling) * np.exp(2j * beta[n] * x)
                for n, s in enumerate(measured.value_complex)
            )
            for x in distance_m
        ]
    )


@pytest.mark.parametrize("from_to", [(-1.0, 10.0), (0.0, 90.0), (60.0, 130.0)])
@pytest.mark.parametrize("count", [2, 3, 50, 97])
def test_the_blocks_add_up_to_the_direct_sum_below_and_above_the_gain_ceiling(from_to, count):
    grid = np.linspace(*from_to, count)
    measured = Line(AXIS).stretch(40.0).shunt_c(2e-12).stretch(50.0).reflection()
    expected = by_definition(measured, LOSSY, grid)

    np.testing.assert_allclose(reflections(measured, LOSSY, grid), expected, atol=1e-12)
    np.testing.assert_allclose(reflection_at(measured, LOSSY, grid), expected, atol=1e-12)


@pytest.mark.parametrize("nvp", [0.55, 0.69, 1.0])
def test_without_loss_and_with_even_steps_the_transform_is_the_chirp_z_transform(nvp):
    # X_k = sum x_n a^-n w^nk at delay t_k = 2 x_k / v, by scipy.
    f = np.arange(1.0, 250.5, 0.5)
    path, grid = lossless(nvp), np.linspace(0.0, 90.0, 700)
    measured = Line(f).stretch(30.0).series_l(20e-9).stretch(60.0).reflection()
    delay_us = 2 * grid / (nvp * LIGHT_M_PER_NS) / 1000
    step = delay_us[1] - delay_us[0]
    chirped = scipy.signal.czt(
        band_weights(f) * measured.value_complex, grid.size, np.exp(2j * np.pi * 0.5 * step), 1.0
    )
    expected = chirped * np.exp(2j * np.pi * f[0] * delay_us)

    np.testing.assert_allclose(reflections(measured, path, grid), expected, atol=1e-12)


def test_a_lone_reflection_on_a_lossless_line_is_found_exactly():
    # Vector: 0.05 at 37.3 m, NVP 0.69, 1 to 250 MHz in steps of 1 MHz; computed, no model needed.
    f = np.arange(1.0, 251.0)
    measured = sweep(f, 0.05 * np.exp(-4j * np.pi * f * 37.3 / (0.69 * LIGHT_M_PER_NS * 1000)))

    (event,) = find_events(measured, lossless(0.69), 0.01)

    assert event.position_m == pytest.approx(37.3, abs=5e-5)
    assert event.magnitude == pytest.approx(0.05, abs=5e-6)
    assert event.phase_deg == pytest.approx(0.0, abs=0.01)


@pytest.mark.parametrize(
    ("top_mhz", "width_m"), [(100, 2.04), (250, 0.81), (500, 0.41), (1000, 0.20), (2000, 0.10)]
)
def test_the_width_of_one_event_at_half_height_is_what_the_resolution_says(top_mhz, width_m):
    # Widths at NVP 0.69 from 1 MHz, Kaiser taper of 6, to two figures: computed.
    f = np.linspace(1.0, top_mhz, 2001)
    path, place = lossless(0.69, 40.0), 20.0
    measured = sweep(f, np.exp(-2j * path.phase_rad_per_m(f) * place))
    grid = np.linspace(place - width_m, place + width_m, 4001)
    above = grid[np.abs(reflections(measured, path, grid)) >= 0.5]

    assert above[-1] - above[0] == pytest.approx(width_m, abs=0.006)
    assert path_resolution_m(f, path) == pytest.approx(above[-1] - above[0], rel=0.01)


spot = st.tuples(st.floats(0.0, 90.0), st.floats(-0.5, 0.5), st.floats(-0.5, 0.5))


def reflecting(place, real, imaginary):
    return complex(real, imaginary) * np.exp(-2 * GAMMA * place)


@settings(max_examples=30)
@given(first=spot, second=spot)
def test_what_two_places_reflect_adds_up(first, second):
    one, two = reflecting(*first), reflecting(*second)
    grid = distance_grid(AXIS, LOSSY)

    together = reflections(sweep(AXIS, one + two), LOSSY, grid)

    apart = reflections(sweep(AXIS, one), LOSSY, grid) + reflections(sweep(AXIS, two), LOSSY, grid)
    np.testing.assert_allclose(together, apart, atol=1e-12)


@settings(max_examples=30)
@given(place=st.floats(5.0, 30.0), shift=st.floats(0.0, 10.0))
def test_more_line_in_front_moves_the_picture_by_its_length(place, shift):
    # Exact below the gain ceiling, which the lossless path never meets.
    path, grid = lossless(0.69, 60.0), np.linspace(0.0, 40.0, 200)
    beta = path.phase_rad_per_m(AXIS)
    value = 0.1j * np.exp(-2j * beta * place)
    moved = sweep(AXIS, value * np.exp(-2j * beta * shift))

    before = reflections(sweep(AXIS, value), path, grid)

    np.testing.assert_allclose(reflections(moved, path, grid + shift), before, atol=1e-12)


@settings(max_examples=30)
@given(scale=st.complex_numbers(min_magnitude=0.01, max_magnitude=100))
def test_a_stronger_or_turned_reflection_gives_as_much_more_or_turned_a_picture(scale):
    value, grid = reflecting(33.0, 0.01, 0.0), np.linspace(30.0, 36.0, 40)

    np.testing.assert_allclose(
        reflections(sweep(AXIS, scale * value), LOSSY, grid),
        scale * reflections(sweep(AXIS, value), LOSSY, grid),
        rtol=1e-9,
        atol=1e-12,
    )


def test_a_reflection_keeps_its_level_over_the_whole_line_until_the_gain_ceiling_and_its_share_is_known():
    places = np.array([2.0, 30.0, 60.0, 90.0])
    levels = [abs(reflection_at(sweep(AXIS, reflecting(x, 0.1, 0)), LOSSY, np.array([x]))[0]) for x in places]

    np.testing.assert_allclose(levels, 0.1 * shown_share(AXIS, LOSSY, places), rtol=0.02)
    assert shown_share(AXIS, LOSSY, places)[0] == pytest.approx(1.0)
    assert shown_share(AXIS, LOSSY, places)[-1] < 0.95


def test_the_grids_span_the_link_with_six_points_across_the_width_of_an_event():
    width = path_resolution_m(AXIS, LOSSY)
    wide, inside = distance_grid(AXIS, LOSSY), link_grid(AXIS, LOSSY)

    assert (inside[0], inside[-1]) == (0.0, 90.0)
    assert (wide[0], wide[-1]) == pytest.approx((-width, 90.0 + width))
    assert max(np.diff(wide).max(), np.diff(inside).max()) <= width / 6 * (1 + 1e-9)


def test_magnitudes_without_phase_are_refused_with_advice():
    measured = Sweep(AXIS, np.full(AXIS.size, 20.0))

    with pytest.raises(InvalidMeasurementError, match="measure again with magnitude and phase"):
        reflections(measured, LOSSY, distance_grid(AXIS, LOSSY))


def test_two_points_are_too_few_for_a_distance():
    measured = sweep([1.0, 2.0], [0.1, 0.1])

    with pytest.raises(InvalidMeasurementError, match="at least 3 frequencies"):
        reflections(measured, nominal_path(90.0, 0.69), np.linspace(0, 1, 5))
