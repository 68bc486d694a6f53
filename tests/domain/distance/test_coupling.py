"""NEXT sources and split stretches are found where the model has them, from either end."""

from __future__ import annotations

import numpy as np
import pytest

from domain.distance.line_model import NVP, Line, crosstalk, split_pair, stepped, sweep
from fourpair_service.domain.distance.coupling import (
    SPLIT_THRESHOLD,
    concentration,
    coupling_reaches,
    strong_stretch,
)
from fourpair_service.domain.distance.events import find_events
from fourpair_service.domain.distance.line import path_of_link
from fourpair_service.domain.errors import InvalidMeasurementError
from fourpair_service.domain.measurement import Sweep

LENGTH_M = 90.0
AXIS = stepped(250.0)
GOOD = Line(AXIS).stretch(LENGTH_M)
PATH = path_of_link(GOOD.transmission(), LENGTH_M)
# A cable that couples weakly everywhere, at random.
ROUGH = 2e-4
# The phantom mode of the model runs at NVP 0.72, so its far end reads too near by this.
FASTER = NVP / 0.72


def strongest(measured):
    return max(find_events(measured, PATH, 0.005), key=lambda e: e.magnitude)


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize(("place", "loss_db"), [(0.0, 32.0), (90.0, 32.0)])
def test_a_connector_that_couples_is_found_at_its_end_with_its_level(place, loss_db, seed):
    # Reached before: 0.01 and 90.00 m, 32.4 and 33.5 dB; computed.
    event = strongest(crosstalk(GOOD, [(place, loss_db)], ROUGH, seed))

    assert event.position_m == pytest.approx(place, abs=0.012)
    assert -20 * np.log10(event.magnitude) == pytest.approx(loss_db, abs=1.0)


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("place", [15.0, 47.0, 77.0])
def test_a_place_that_couples_is_found_from_both_ends(place, seed):
    # Reached before: 15.02, 46.99, 77.00 m; from the far end 74.99, 43.02, 13.01; 37.9 to 38.4 dB; computed.
    for seen_at in (place, LENGTH_M - place):
        event = strongest(crosstalk(GOOD, [(seen_at, 38.0)], ROUGH, seed))

        assert event.position_m == pytest.approx(seen_at, abs=0.03)
        assert -20 * np.log10(event.magnitude) == pytest.approx(38.0, abs=0.6)


def test_one_place_holds_most_of_the_coupling_and_a_rough_cable_holds_it_nowhere():
    place = concentration(crosstalk(GOOD, [(47.0, 38.0)], ROUGH), PATH)
    cable = concentration(crosstalk(GOOD, [], ROUGH), PATH)

    assert place.share > 0.8
    assert place.position_m == pytest.approx(47.0, abs=place.uncertainty_m / 2)
    assert cable.share < 0.2


def test_what_arrives_of_a_cable_that_couples_everywhere_comes_from_its_near_part():
    cable = concentration(crosstalk(GOOD, [], ROUGH), PATH)
    connector = concentration(crosstalk(GOOD, [(0.0, 32.0)], ROUGH), PATH)

    assert connector.received_position_m < 2.0 < cable.received_position_m < LENGTH_M / 3


def test_no_coupling_at_all_has_no_share():
    silent = concentration(sweep(AXIS, np.zeros(AXIS.size)), PATH)

    assert (silent.share, silent.received_position_m) == (0.0, 0.0)


@pytest.mark.parametrize("phantom_ohm", [93.0, 120.0, 154.0])
@pytest.mark.parametrize(
    ("start", "end"), [(0, 20), (0, 5), (0, 2), (0, 1), (70, 90), (88, 90), (30, 50), (0, 90)]
)
def test_a_split_stretch_is_found_from_end_to_end_whatever_the_geometry(start, end, phantom_ohm):
    # Phantom impedances of 93 to 154 ohm span the geometries of a pair beside a pair; computed.
    for near, far in ((start, end), (LENGTH_M - end, LENGTH_M - start)):
        stretch = strong_stretch(split_pair(AXIS, LENGTH_M, near, far, phantom_ohm), PATH)

        assert stretch.from_m == pytest.approx(near, abs=0.15)
        assert stretch.to_m == pytest.approx(near + (far - near) * FASTER, abs=0.2)
        assert abs(stretch.to_m - far) < stretch.uncertainty_m


def test_the_start_of_a_split_couples_half_of_what_its_impedances_reflect():
    # |D| = Ge / 2 with Ge = (2 Zph - 100) / (2 Zph + 100), here against 98 ohm; computed.
    event = find_events(split_pair(AXIS, LENGTH_M, 40.0, 60.0, 120.0), PATH, 0.08)[0]

    assert event.magnitude == pytest.approx((240 - 98) / (240 + 98) / 2, abs=0.005)
    assert event.position_m == pytest.approx(40.0, abs=0.02)


def test_a_stretch_shorter_than_the_resolution_is_one_place():
    stretch = strong_stretch(split_pair(AXIS, LENGTH_M, 0.0, 0.4), PATH)

    assert stretch.from_m == stretch.to_m
    assert abs(stretch.from_m - 0.2) < stretch.uncertainty_m


def test_two_split_cords_span_the_link_though_the_first_one_echoes():
    near, far = split_pair(AXIS, LENGTH_M, 0.0, 5.0, 154.0), split_pair(AXIS, LENGTH_M, 85.0, 90.0, 154.0)

    stretch = strong_stretch(sweep(AXIS, near.value_complex + far.value_complex), PATH)

    assert (stretch.from_m, stretch.to_m) == pytest.approx((0.0, 89.8), abs=0.2)


def test_a_connector_and_a_rough_cable_are_no_split_pair():
    # A connector at the 28 dB that couples at 100 MHz, as far from a split as the rules allow.
    connector = crosstalk(GOOD, [(0.0, 28.0 - 20 * np.log10(1.255))], ROUGH)

    assert not coupling_reaches(connector, PATH, SPLIT_THRESHOLD)
    assert strong_stretch(connector, PATH) is None
    assert coupling_reaches(split_pair(AXIS, LENGTH_M, 0.0, 90.0), PATH, SPLIT_THRESHOLD)


@pytest.mark.parametrize("question", [concentration, strong_stretch])
def test_magnitudes_alone_have_no_place(question):
    with pytest.raises(InvalidMeasurementError, match="measure again with magnitude and phase"):
        question(Sweep(AXIS, np.full(AXIS.size, 40.0)), PATH)
