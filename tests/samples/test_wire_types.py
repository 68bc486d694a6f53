"""The wire types against printed and independently computed values."""

import numpy as np
import pytest

from line_model.conductors import (
    COPPER_MS_PER_M,
    WIRE_OHM_PER_M,
    clad_ohm_per_m,
    clad_ratio,
    loop_ohm_per_m,
    solid_ohm_per_m,
)
from line_model.wire_types import ACCESS_ROWS, WIRE_TYPES, propagation

FREQUENCY_MHZ = np.array([1.0, 10.0, 31.25, 100.0, 250.0])
DB_PER_NEPER = 20 / np.log(10)

# dB per 100 m, |Z| in ohm and phase velocity over 3e8 m/s at the frequencies above, computed apart from this
# code from the parameter rows of the G.fast wire types (contribution 11GS3-028; 2013-07-Q4-R20 draft).
WORKED = {
    "CAT5": ([1.95, 5.73, 10.04, 18.22, 29.76], [105.2, 100.5, 99.6, 99.2, 99.0],
             [0.6505, 0.6803, 0.6864, 0.6901, 0.6919]),
    "B05a": ([1.79, 6.32, 12.39, 26.49, 52.08], [113.2, 108.4, 107.5, 107.1, 107.0],
             [0.6561, 0.6874, 0.6953, 0.7007, 0.7038]),
    "T05u": ([1.56, 5.10, 9.34, 17.68, 29.97], [134.6, 129.3, 128.3, 127.7, 127.5],
             [0.6927, 0.7219, 0.7285, 0.7326, 0.7347]),
    "T05b": ([1.49, 4.69, 8.28, 14.81, 23.42], [139.7, 134.7, 133.7, 133.1, 132.8],
             [0.6406, 0.6639, 0.6689, 0.6718, 0.6731]),
    "T05h": ([2.04, 7.11, 13.26, 25.62, 44.25], [108.1, 102.6, 101.5, 101.0, 100.7],
             [0.6384, 0.6741, 0.6824, 0.6876, 0.6903]),
}  # fmt: skip


def _line(row, frequency_mhz):
    return propagation(row.series_ohm_per_m(frequency_mhz), row.shunt_s_per_m(frequency_mhz))


@pytest.mark.parametrize("name", WORKED)
def test_a_wire_type_has_the_loss_impedance_and_velocity_of_its_row(name):
    loss, impedance, velocity = WORKED[name]
    gamma, z = _line(WIRE_TYPES[name], FREQUENCY_MHZ)
    assert gamma.real * 100 * DB_PER_NEPER == pytest.approx(loss, abs=0.006)
    assert abs(z) == pytest.approx(impedance, abs=0.06)
    assert 2e6 * np.pi * FREQUENCY_MHZ / gamma.imag / 3e8 == pytest.approx(velocity, abs=0.00006)


def test_the_row_that_the_itu_prints_is_the_row_here():
    # ITU, "5G Basics", table I.6, page 1072.
    row = WIRE_TYPES["T05h"]
    assert (row.impedance_ohm, row.nvp, row.loop_ohm_per_m) == (98.369783, 0.681182, 0.1708)
    assert (row.q_l, row.q_h, row.q_x, row.q_y) == (1.7, 0.65, 0.777307, 1.5)
    assert (row.q_c, row.phi, row.f_d) == (0, 3.02393e-3, 1)


def test_the_24_gauge_access_cable_has_its_worked_loss():
    frequency = np.array([1, 4, 10, 31.25, 62.5, 100, 250])
    gamma, _ = _line(ACCESS_ROWS["A24u"], frequency)
    expected = [2.04, 4.20, 6.70, 11.89, 16.83, 21.29, 33.67]
    assert gamma.real * 100 * DB_PER_NEPER == pytest.approx(expected, abs=0.006)


def test_two_forms_of_the_same_telephone_cable_agree():
    # B05a and CAD55 are fits of one drop cable, by two groups: 1 to 10 MHz within 5 %.
    frequency = np.array([1.0, 2.0, 5.0, 10.0])
    one, _ = _line(WIRE_TYPES["B05a"], frequency)
    other, _ = _line(ACCESS_ROWS["CAD55"], frequency)
    assert one.real == pytest.approx(other.real, rel=0.05)


def test_towards_direct_current_a_pair_has_the_resistance_of_its_wires():
    series = WIRE_TYPES["CAT5"].series_ohm_per_m(np.array([1e-6]))
    assert series.real[0] * 100 == pytest.approx(16.59, abs=0.005)


def test_category_5_cable_delays_100_m_by_490_ns_at_10_mhz():
    gamma, _ = _line(WIRE_TYPES["CAT5"], np.array([1.0, 10.0, 100.0]))
    delay_ns = gamma.imag * 100 / (2e-3 * np.pi * np.array([1.0, 10.0, 100.0]))
    assert delay_ns == pytest.approx([512.4, 490.0, 483.05], abs=0.1)


def test_another_cross_section_has_its_own_direct_resistance_and_the_skin_effect_asked_for():
    row = WIRE_TYPES["CAT5"].drawn(loop_ohm_per_m(26), skin_factor=1.5)
    high = np.array([4000.0])
    own = row.series_ohm_per_m(high) - WIRE_TYPES["CAT5"].series_ohm_per_m(high)
    of_row = WIRE_TYPES["CAT5"].series_ohm_per_m(high).real
    assert row.series_ohm_per_m(np.array([1e-6])).real[0] == pytest.approx(0.26778, rel=1e-4)
    assert own.real / of_row == pytest.approx(0.5, abs=0.03)


def test_wire_resistance_is_that_of_the_wire_table():
    # LAN Wiring handbook, table A.1: ohm per 1000 ft at 20 degrees Celsius.
    for awg, ohm_per_1000_ft in {22: 16.14, 24: 25.67, 26: 40.81}.items():
        assert WIRE_OHM_PER_M[awg] * 304.8 == pytest.approx(ohm_per_1000_ft, rel=1e-3)


@pytest.mark.parametrize(
    ("share", "expected"),
    [
        (0.10, [1.518, 1.233, 1.156, 1.045, 1.004, 0.994]),
        (0.15, [1.476, 1.188, 1.087, 0.997, 0.990]),
    ],
)
def test_clad_aluminium_has_the_resistance_of_the_exact_two_layer_solution(share, expected):
    # An independent solution of the same two-layer problem, 0.511 mm, 58 and 36 MS/m.
    frequency = np.array([1e-6, 1.0, 4.0, 16.0, 31.0, 100.0])[: len(expected)]
    at = np.array(frequency)
    ratio = clad_ohm_per_m(0.2555e-3, share, at).real / solid_ohm_per_m(0.2555e-3, COPPER_MS_PER_M, at).real
    assert ratio == pytest.approx(expected, abs=0.006)


def test_direct_current_in_a_clad_wire_follows_the_two_conductivities():
    by_area = 58 / (0.1 * 58 + 0.9 * 36)
    assert clad_ratio(0.2555e-3, 0.1, np.array([1e-6])).real[0] == pytest.approx(by_area, rel=1e-4)
