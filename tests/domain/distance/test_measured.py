"""Distances and impedances on measured hardware of known dimensions.

Microstrip lines of 50, 100, 140 and 200 mm (tests/data/microstrip) and a cable
with two connectors (samples/measured); sources and licences stand beside them.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import skrf

from domain.distance.line_model import sweep
from fourpair_service.domain.distance.coupling import concentration
from fourpair_service.domain.distance.events import EventKind, find_events, merge_ends, open_or_short
from fourpair_service.domain.distance.impedance import impedance_profile
from fourpair_service.domain.distance.line import LinePath, path_of_link, path_of_link_at_nvp
from fourpair_service.domain.link import End

ROOT = Path(__file__).resolve().parents[3]
MICROSTRIP = ROOT / "tests" / "data" / "microstrip"
CABLE = ROOT / "samples" / "measured"
LIGHT_M_PER_NS = 0.299792458
# Above it the microstrip radiates and its connectors resonate.
TOP_MHZ = 6000.0


def network(name):
    return skrf.Network(MICROSTRIP / f"P1-MSL_{name}")


def measured(net, to_port, from_port, top_mhz):
    kept = net.f / 1e6 <= top_mhz
    return sweep(net.f[kept] / 1e6, net.s[kept, to_port, from_port])


def strip_velocity():
    """Velocity of 100 mm of strip [m/ns], as 200 mm differ from 100 mm."""
    one, two = (measured(network(f"Thru_{mm}-P2.s2p"), 1, 0, 3000.0) for mm in (100, 200))
    strip = path_of_link(sweep(one.frequency_mhz, two.value_complex / one.value_complex), 0.1)
    return strip.velocity_m_per_ns(1500.0)


def launch_m(velocity):
    """Length of strip that one connector looks like, as 100 mm with two of them is longer."""
    through = path_of_link(measured(network("Thru_100-P2.s2p"), 1, 0, 3000.0), 0.1)
    return (velocity * 0.1 / through.velocity_m_per_ns(1500.0) - 0.1) / 2


def strip_path(velocity, length_m=0.3):
    return LinePath(length_m, (0.0, 0.0, 0.0), (0.0, 2 * np.pi / 1000 / velocity, 0.0), 0.01)


def test_the_velocity_of_the_microstrip_is_that_of_its_two_lengths():
    # v/c 0.5463; computed from the same files.
    assert strip_velocity() / LIGHT_M_PER_NS == pytest.approx(0.5463, abs=0.001)


@pytest.mark.parametrize(
    ("name", "kind", "before_mm"), [("Open", EventKind.OPEN, 50.5), ("Short", EventKind.SHORT, 50.3)]
)
def test_the_end_of_50_mm_of_strip_is_found_within_2_mm(name, kind, before_mm):
    velocity = strip_velocity()

    event = open_or_short(measured(network(f"{name}_50.s1p"), 0, 0, TOP_MHZ), strip_path(velocity))

    reading_mm = (event.position_m - launch_m(velocity)) * 1000
    assert event.kind is kind
    assert reading_mm == pytest.approx(50.0, abs=2.0)
    assert reading_mm == pytest.approx(before_mm, abs=0.5)


def test_a_load_at_50_mm_is_no_end():
    strip = strip_path(strip_velocity())

    assert open_or_short(measured(network("Load_50.s1p"), 0, 0, TOP_MHZ), strip) is None


def step_response_ohm(net, places_m, velocity, launch):
    """The impedance that scikit-rf reads at the same places."""
    time_s, step = net.s11.extrapolate_to_dc(kind="linear").step_response(pad=4000)
    position = time_s * 1e9 * velocity / 2 - launch
    return np.interp(places_m, position, 50 * (1 + step) / (1 - step))


@pytest.mark.filterwarnings("ignore::RuntimeWarning")
def test_the_sections_of_the_stepped_strip_have_the_impedance_that_scikit_rf_reads_within_3_ohm():
    # 49.2 / 24.8 / 66.7 / 50.2 ohm before, scikit-rf 49.3 / 24.8 / 66.4 / 50.2; computed.
    velocity, net = strip_velocity(), network("Stepped_140-P2.s2p")
    launch, places = launch_m(velocity), np.array([0.030, 0.061, 0.080, 0.120])

    read = impedance_profile(measured(net, 0, 0, 1e4), strip_path(velocity), places + launch, 50.0)

    np.testing.assert_allclose(read, step_response_ohm(net, places, velocity, launch), atol=3.0)
    np.testing.assert_allclose(read, [49.2, 24.8, 66.7, 50.2], atol=3.0)


def test_the_edges_of_the_stepped_strip_are_where_they_were_etched():
    # Etched at 50, 70, 90 mm; 48.8, 72.8, 86.4 mm before: each section has a velocity of its own.
    velocity = strip_velocity()
    places = np.arange(0.0, 0.120, 0.0005)
    sweep_ = measured(network("Stepped_140-P2.s2p"), 0, 0, 1e4)
    slope = np.gradient(impedance_profile(sweep_, strip_path(velocity), places + launch_m(velocity), 50.0))

    for edge_mm, sign in ((50.0, -1), (70.0, 1), (90.0, -1)):
        near_by = np.abs(places * 1000 - edge_mm) < 9.0
        steepest = places[near_by][(sign * slope[near_by]).argmax()] * 1000
        assert steepest == pytest.approx(edge_mm, abs=6.0)


BALANCE = np.array([[1, 0, -1, 0], [0, 1, 0, -1]]) / np.sqrt(2)


def cable_pair(name, top_mhz):
    """Return loss at both ends and transmission of one pair."""
    net = skrf.Network(CABLE / f"CABLE1_{name}_pair.s4p")
    kept = (net.f > 0) & (net.f / 1e6 <= top_mhz)
    pair = BALANCE @ net.s[kept] @ BALANCE.T
    f = net.f[kept] / 1e6
    return tuple(sweep(f, pair[:, i, j]) for i, j in ((0, 0), (1, 1), (1, 0)))


@pytest.mark.parametrize("top_mhz", [500.0, 1000.0])
@pytest.mark.parametrize("name", ["TX", "RX"])
def test_the_measured_cable_reflects_at_its_two_connectors_alone(name, top_mhz):
    # 0.02 to 0.08 m and 2.87 to 2.97 m of 2.995 m, at 14.27 ns and an assumed NVP of 0.7; computed.
    near, far, through = cable_pair(name, top_mhz)
    path = path_of_link_at_nvp(through, 0.7)

    events = merge_ends(find_events(near, path, 0.005), find_events(far, path, 0.005), path.length_m)

    assert path.length_m == pytest.approx(2.995, abs=0.04)
    assert all(min(e.position_m, path.length_m - e.position_m) < 0.1 for e in events)
    assert {End.NEAR, End.FAR} == {end for e in events for end in e.seen_from}
    assert concentration(near, path).share > 0.4


def test_the_measured_cable_at_2_ghz_shows_the_two_sides_of_a_connector():
    near, _, through = cable_pair("TX", 2000.0)
    path = path_of_link_at_nvp(through, 0.7)

    events = find_events(near, path, 0.005)

    assert all(min(e.position_m, path.length_m - e.position_m) < 0.12 for e in events)
    assert events[0].resolution_m == pytest.approx(0.105, abs=0.005)
