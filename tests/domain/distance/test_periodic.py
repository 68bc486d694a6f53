"""Bumps at equal distances are found with their pitch and extent; random roughness is not called."""

from __future__ import annotations

import numpy as np
import pytest

from domain.distance.line_model import Line, stepped, sweep
from fourpair_service.domain.distance.line import path_of_link
from fourpair_service.domain.distance.periodic import chance_db, find_periodic, find_spikes
from fourpair_service.domain.errors import InvalidMeasurementError
from fourpair_service.domain.measurement import Sweep

LENGTH_M = 90.0


def bumped(top_mhz, places, farads):
    """A line with a shunt capacitance at each place."""
    line, at = Line(stepped(top_mhz)), 0.0
    for place, farad in zip(places, farads, strict=True):
        line.stretch(place - at).shunt_c(farad)
        at = place
    return line.stretch(LENGTH_M - at)


def found_on(line):
    return find_periodic(line.reflection(), path_of_link(line.transmission(), LENGTH_M))


def at_pitch(pitch_m, from_m, to_m, picofarad, top_mhz=250.0):
    places = np.arange(from_m, to_m + 1e-9, pitch_m)
    return bumped(top_mhz, places, np.full(places.size, picofarad * 1e-12))


# Cases of which before was found: pitch errors of 0.5, 1.2, 0.1 and 0.4 %, stretches within 2 m
# (5 m for the weak one), one pitch as an integer fraction and the last not at all; computed.
@pytest.mark.parametrize(
    ("pitch_m", "from_m", "to_m", "picofarad", "top_mhz", "extent_within_m"),
    [
        (1.2, 20, 50, 0.6, 250, 1.0),
        (2.0, 30, 60, 1.0, 250, 1.5),
        (0.9, 5, 41, 0.2, 250, 1.0),
        (1.2, 8, 22.4, 0.8, 250, 1.0),
        (0.3, 10, 40, 0.1, 500, 3.0),
        (1.2, 20, 50, 0.15, 250, 1.5),
    ],
)
def test_pitch_and_extent_of_a_periodic_defect_are_found(
    pitch_m, from_m, to_m, picofarad, top_mhz, extent_within_m
):
    defect = found_on(at_pitch(pitch_m, from_m, to_m, picofarad, float(top_mhz)))

    assert defect.pitch_m == pytest.approx(pitch_m, rel=0.01)
    assert defect.from_m == pytest.approx(from_m, abs=extent_within_m)
    assert defect.to_m == pytest.approx(to_m, abs=extent_within_m)


@pytest.mark.parametrize(
    ("pitch_m", "from_m", "to_m", "picofarad", "spikes_mhz"),
    [
        (1.2, 20, 50, 0.6, [85.77, 171.49]),
        (2.0, 30, 60, 1.0, [51.10, 102.69, 154.28]),
        (0.9, 5, 41, 0.2, [115.05, 229.67]),
    ],
)
def test_the_spikes_stand_at_whole_multiples_of_v_over_2p(pitch_m, from_m, to_m, picofarad, spikes_mhz):
    # Frequencies computed on the same wire type.
    defect = found_on(at_pitch(pitch_m, from_m, to_m, picofarad))
    read = [spike.frequency_mhz for spike in defect.spikes][: len(spikes_mhz)]

    np.testing.assert_allclose(read, spikes_mhz, atol=0.7)


@pytest.mark.parametrize("wrong_end", [False, True])
def test_a_clean_line_and_one_with_two_bad_ends_have_no_periodic_defect(wrong_end):
    connectors = [0.0, 89.9] if wrong_end else []

    assert found_on(bumped(250.0, connectors, [3e-12] * len(connectors))) is None


@pytest.mark.parametrize("top_mhz", [100.0, 250.0, 500.0])
def test_a_cable_that_is_rough_at_random_is_called_periodic_once_in_fifty_at_most(top_mhz):
    line = Line(stepped(top_mhz))
    gamma, admittance = line.gamma(), 1j * line.w
    path = path_of_link(Line(line.f).stretch(LENGTH_M).transmission(), LENGTH_M)
    called = 0
    for seed in range(100):
        rng = np.random.default_rng(seed)
        places, farads = rng.uniform(0.0, LENGTH_M, 360), rng.normal(0.0, 0.1e-12, 360)
        rough = -admittance * 49 * (np.exp(-2 * np.outer(gamma, places)) @ farads)
        called += find_periodic(sweep(line.f, rough), path) is not None

    assert called <= 2


def test_a_few_bumps_at_no_common_distance_are_not_periodic():
    assert found_on(bumped(250.0, [11.0, 24.3, 26.1, 55.0], [1e-12] * 4)) is None


def test_magnitudes_are_enough_for_the_spikes_but_not_for_the_extent():
    line = at_pitch(1.2, 20, 50, 0.6)
    magnitudes = Sweep(line.f, line.reflection().value_db)

    assert find_spikes(magnitudes) == find_spikes(line.reflection())
    with pytest.raises(InvalidMeasurementError, match="measure again with magnitude and phase"):
        find_periodic(magnitudes, path_of_link(line.transmission(), LENGTH_M))


def test_two_points_have_no_spikes():
    with pytest.raises(InvalidMeasurementError, match="at least 3 frequencies"):
        find_spikes(sweep([1.0, 2.0], [0.1, 0.1]))


def test_a_spike_alone_must_be_rarer_than_one_with_its_second_order():
    path = path_of_link(Line(stepped(250.0)).stretch(LENGTH_M).transmission(), LENGTH_M)

    assert chance_db(100.0, path, alone=True) > chance_db(100.0, path, alone=False) > 3.0


@pytest.mark.parametrize(
    ("frequency_mhz", "alone", "with_second"), [(20.0, 1 / 3700, 1 / 350), (200.0, 1 / 320, 1 / 90)]
)
def test_the_stated_chance_is_that_of_averaged_noise(frequency_mhz, alone, with_second):
    # Power of complex noise averaged over as many independent values, 500 000 times, against
    # the median of as many averages as the floor's window of 60 MHz holds.
    path = path_of_link(Line(stepped(250.0)).stretch(LENGTH_M).transmission(), LENGTH_M)
    loss = 4 * path.attenuation_np_per_m(np.array([frequency_mhz]))[0]
    effective_m = (1 - np.exp(-loss * LENGTH_M)) / loss
    cell_mhz = 1000 * path.velocity_m_per_ns(frequency_mhz) / (2 * effective_m)
    rng, values, held = np.random.default_rng(0), 1 + 2.4 / cell_mhz, round(60.0 / max(cell_mhz, 2.4))
    floor = np.median(rng.gamma(values, 1.0, (500_000, held)), axis=1)
    over_db = 10 * np.log10(rng.gamma(values, 1.0, 500_000) / floor)

    for is_alone, chance in ((True, alone), (False, with_second)):
        beyond = np.mean(over_db > chance_db(frequency_mhz, path, alone=is_alone))
        assert beyond == pytest.approx(chance, rel=0.3)
