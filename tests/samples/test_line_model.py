"""The four-pair line against closed forms, and the laws that any passive line obeys."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from clinic.materials import CATEGORY_6, JACK_6
from line_model.link import PhysicalLink
from line_model.parts import CableType, Connector, Split, Stretch, even
from line_model.wire_types import WIRE_TYPES

DB_PER_NEPER = 20 / np.log(10)
SILENT = even(200.0)
SMOOTH = CableType(
    WIRE_TYPES["CAT5"], 0.1659, delay=(1, 1, 1, 1), next_db=SILENT, el_fext_db=SILENT, roughness_db=200.0
)


def _db(value):
    return -20 * np.log10(np.abs(value))


@settings(max_examples=15)
@given(
    length_m=st.floats(1, 60),
    seed=st.integers(0, 1000),
    next_db=st.floats(20, 60),
    is_split=st.booleans(),
    frequency_mhz=st.floats(1, 500),
)
def test_every_link_is_reciprocal_and_gives_no_energy(length_m, seed, next_db, is_split, frequency_mhz):
    cable = replace(CATEGORY_6, next_db=even(next_db), el_fext_db=even(next_db - 10))
    stretch = Stretch(cable, length_m, split=Split((1, 2)) if is_split else None)
    scattering = PhysicalLink((JACK_6, stretch, JACK_6), seed).scattering(np.array([frequency_mhz]))[0]
    assert np.abs(scattering - scattering.T).max() < 1e-9
    assert np.linalg.norm(scattering, 2) <= 1 + 1e-9


def test_a_smooth_line_has_the_loss_and_delay_of_its_cable():
    frequency = np.array([10.0, 100.0, 250.0])
    link = PhysicalLink((Stretch(SMOOTH, 90.0),), 1)
    gamma, z = SMOOTH.modes(frequency)
    # A line of impedance z between 100 ohm loses a little at both steps.
    step = (z[0] - 100) / (z[0] + 100)
    e = np.exp(-gamma[0] * 90)
    expected = (1 - step**2) * e / (1 - (step * e) ** 2)
    assert link.scattering(frequency)[:, 4, 0] == pytest.approx(expected, rel=1e-9)
    assert link.phase_delay_ns() == pytest.approx(90 * 4.900, abs=0.5)


def test_a_split_line_has_the_near_end_crosstalk_of_the_closed_form():
    # S11 = S22 = NEXT = Ge / 2 on a long line, Ge = (Ze - 100) / (Ze + 100): even and odd mode, textbook.
    frequency = np.arange(5.0, 31.0, 0.1)
    split = Split((1, 2), even_ohm=226.0)
    scattering = PhysicalLink((Stretch(SMOOTH, 300.0, split=split),), 1).scattering(frequency)
    closed_form = (226 - 100) / (226 + 100) / 2
    for near in (scattering[:, 1, 2], scattering[:, 1, 1], scattering[:, 2, 2]):
        assert np.sqrt(np.mean(np.abs(near) ** 2)) == pytest.approx(closed_form, rel=0.1)  # 0.8 dB
    assert np.abs(scattering[:, 0, 3]).max() < 1e-6


def test_a_split_line_loses_its_signal_where_its_two_modes_are_half_a_wave_apart():
    # f = 1 / (2 delta tau): interference of the even and the odd mode.
    frequency = np.arange(5.0, 120.0, 0.25)
    split = Split((1, 2), even_delay=0.94)
    scattering = PhysicalLink((Stretch(SMOOTH, 34.0, split=split),), 1).scattering(frequency)
    at = frequency[np.argmax(_db(scattering[:, 5, 1])[frequency < 80])]
    difference_ns = 0.06 * 34.0 / (0.69 * 0.3)
    assert at == pytest.approx(1e3 / (2 * difference_ns), rel=0.09)


def test_random_coupling_along_a_line_grows_15_db_per_decade_and_has_the_level_asked_for():
    # Power sum over a lossy line: |NEXT|^2 = s^2 w^2 / (4 alpha), alpha as sqrt(f): common practice.
    cable = replace(SMOOTH, next_db=even(50.0))
    frequency = np.array([10.0, 31.6, 100.0])
    power = np.mean(
        [
            np.abs(PhysicalLink((Stretch(cable, 150.0),), seed).scattering(frequency)[:, :4, :4]) ** 2
            for seed in range(40)
        ],
        axis=0,
    )
    level = -10 * np.log10(power[:, *np.triu_indices(4, 1)].mean(axis=1))
    assert level[2] == pytest.approx(50.0, abs=0.6)
    assert level[0] - level[2] == pytest.approx(15.0, abs=1.2)


def test_far_end_crosstalk_over_loss_grows_20_db_per_decade_and_with_the_length():
    cable = replace(SMOOTH, el_fext_db=even(45.0))
    frequency = np.array([10.0, 100.0])

    def level(length_m):
        power = []
        for seed in range(40):
            s = PhysicalLink((Stretch(cable, length_m),), seed).scattering(frequency)
            fext = s[:, 4:, :4][:, *np.triu_indices(4, 1)]
            power.append(np.mean(np.abs(fext / s[:, 4, 0][:, np.newaxis]) ** 2, axis=1))
        return -10 * np.log10(np.mean(power, axis=0))

    long, short = level(100.0), level(25.0)
    assert long[1] == pytest.approx(45.0, abs=0.8)
    assert long[0] - long[1] == pytest.approx(20.0, abs=0.3)
    assert short[1] - long[1] == pytest.approx(6.0, abs=1.0)


def test_a_connector_couples_as_asked_and_20_db_per_decade():
    jack = Connector(
        next_db=even(60.0, {"36-45": 54.0}), fext_db=even(55.0), return_loss_db=40.0, contact_ohm=(0, 0, 0, 0)
    )
    s = PhysicalLink((jack,), 3).scattering(np.array([10.0, 100.0]))
    assert _db(s[:, 1, 2]) == pytest.approx([74.0, 54.0], abs=0.15)
    assert _db(s[:, 0, 3]) == pytest.approx([80.0, 60.0], abs=0.15)
    assert _db(s[:, 5, 2]) == pytest.approx([75.0, 55.0], abs=0.15)
    assert _db(s[:, 0, 0]) == pytest.approx([60.0, 40.0], abs=0.15)


def test_a_connector_at_the_far_end_is_seen_there_more_than_here():
    frequency = np.arange(100.0, 250.0)
    bad = JACK_6.worse({"36-45": 36.0})
    s = PhysicalLink((JACK_6, Stretch(CATEGORY_6, 50.0), bad), 5).scattering(frequency)
    assert np.median(_db(s[:, 1, 2])) > np.median(_db(s[:, 5, 6])) + 10


def test_the_same_seed_is_the_same_link_and_another_seed_is_another():
    frequency = np.array([100.0])
    parts = (JACK_6, Stretch(CATEGORY_6, 20.0), JACK_6)
    one, again, other = (PhysicalLink(parts, seed).scattering(frequency) for seed in (7, 7, 8))
    assert np.array_equal(one, again)
    assert not np.allclose(one, other)
