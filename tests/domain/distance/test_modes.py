"""The far end of a split stretch sits where the beat of its two modes puts it."""

from __future__ import annotations

import numpy as np
import pytest

from domain.distance.line_model import NVP, Line, split_pair, split_transmission, stepped, sweep, with_noise
from fourpair_service.domain.distance.coupling import split_stretch, strong_stretch
from fourpair_service.domain.distance.line import path_of_link
from fourpair_service.domain.distance.modes import faster_by_m

STRETCHES = [(0.0, 90.0), (0.0, 20.0), (70.0, 90.0), (10.0, 35.0), (30.0, 42.0)]
LENGTH_M = 90.0


def sound_path(top_mhz=250.0):
    return path_of_link(Line(stepped(top_mhz)).stretch(LENGTH_M).transmission(), LENGTH_M)


def split(start, end, *, top_mhz=250.0, phantom_ohm=120.0, phantom_nvp=0.72):
    axis = stepped(top_mhz)
    shape = (axis, LENGTH_M, start, end, phantom_ohm, phantom_nvp)
    return split_pair(*shape), split_transmission(*shape)


@pytest.mark.parametrize(("start", "end"), STRETCHES)
@pytest.mark.parametrize("phantom_ohm", [93.0, 120.0, 154.0])
@pytest.mark.parametrize("phantom_nvp", [0.72, 0.76])
def test_the_far_end_of_a_split_stretch_is_within_1_percent_of_its_length(
    start, end, phantom_ohm, phantom_nvp
):
    path = sound_path()
    for near, far in ((start, end), (LENGTH_M - end, LENGTH_M - start)):
        coupling, loss = split(near, far, phantom_ohm=phantom_ohm, phantom_nvp=phantom_nvp)
        stretch = split_stretch(coupling, path, [loss, loss])

        assert stretch.from_m == pytest.approx(near, abs=0.15)
        assert stretch.to_m == pytest.approx(far, abs=0.01 * (far - near) + 0.15)
        assert abs(stretch.to_m - far) < stretch.uncertainty_m


def test_noise_and_rounded_readings_leave_the_far_end_where_it_is():
    coupling, loss = split(10.0, 45.0)
    for seed in range(5):
        noisy = with_noise(loss, -60.0, seed)
        rounded = sweep(noisy.frequency_mhz, 10 ** (-np.round(noisy.value_db, 1) / 20))

        assert split_stretch(coupling, sound_path(), [rounded]).to_m == pytest.approx(45.0, abs=0.5)


@pytest.mark.parametrize(("start", "end"), [(0.0, 2.0), (40.0, 44.0)])
def test_a_stretch_too_short_for_half_a_beat_keeps_the_wider_uncertainty(start, end):
    coupling, loss = split(start, end)

    assert split_stretch(coupling, sound_path(), [loss]) == strong_stretch(coupling, sound_path())


def test_without_insertion_loss_the_stretch_is_as_before():
    coupling, _ = split(10.0, 45.0)
    assert split_stretch(coupling, sound_path(), []) == strong_stretch(coupling, sound_path())


def test_what_is_not_split_has_no_beat():
    whole = Line(stepped(250.0)).stretch(LENGTH_M)

    assert faster_by_m(whole.transmission(), sound_path(), 40.0) is None
    assert (
        faster_by_m(
            Line(stepped(250.0)).stretch(40).series_r(8.0).stretch(50).transmission(), sound_path(), 40.0
        )
        is None
    )
    assert split_stretch(whole.reflection(), sound_path(), [whole.transmission()]) is None


def test_the_beat_gives_metres_and_no_velocity_has_to_be_known():
    _, loss = split(0.0, 60.0, phantom_nvp=0.74)
    apparent_m = 60.0 * NVP / 0.74

    assert faster_by_m(loss, sound_path(), apparent_m) == pytest.approx(60.0 - apparent_m, abs=0.3)
