"""A broken pair seen from both ends tells its own velocity."""

from __future__ import annotations

import pytest

from domain.distance.line_model import Line, stepped
from fourpair_service.domain.distance.breaks import path_to_break
from fourpair_service.domain.distance.events import open_or_short
from fourpair_service.domain.distance.line import nominal_path

LENGTH_M = 52.0
# The wire type of the model runs at this at 10 MHz.
TRUE_NVP = 0.6803


def ends(near_m, far_m, top_mhz=250.0, load_ohm=1e12):
    return [Line(stepped(top_mhz)).stretch(m).reflection(load_ohm) for m in (near_m, far_m)]


@pytest.mark.parametrize("nvp", [0.662, TRUE_NVP, 0.70])
@pytest.mark.parametrize("place", [3.0, 12.0, 23.4, 40.0, 50.0])
@pytest.mark.parametrize("load_ohm", [1e12, 1e-9])
def test_two_ends_place_a_break_whatever_velocity_was_assumed(place, nvp, load_ohm):
    near, far = ends(place, LENGTH_M - place, load_ohm=load_ohm)
    path = path_to_break(near, far, nominal_path(LENGTH_M, nvp))

    assert open_or_short(near, path).position_m == pytest.approx(place, abs=0.1)
    assert open_or_short(far, path).position_m == pytest.approx(LENGTH_M - place, abs=0.1)
    assert path.length_m == LENGTH_M


def test_one_end_alone_keeps_the_path():
    path = nominal_path(LENGTH_M, 0.70)
    near, far = ends(20.0, 32.0)

    assert path_to_break(near, None, path) is path
    assert path_to_break(None, far, path) is path


def test_a_pair_that_is_not_broken_keeps_the_path():
    path = nominal_path(LENGTH_M, 0.70)
    whole = Line(stepped(250.0)).stretch(LENGTH_M)

    assert path_to_break(whole.reflection(), whole.far_reflection(), path) is path


def test_two_breaks_keep_the_path():
    path = nominal_path(LENGTH_M, 0.70)

    assert path_to_break(*ends(10.0, 15.0), path) is path


def test_breaks_at_the_plugs_themselves_keep_the_path():
    path = nominal_path(LENGTH_M, 0.70)

    assert path_to_break(*ends(0.0, 0.0), path) is path
