"""The circuit of source, cable and device: printed powers, worked values, laws."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from domain.powering.links import FACTS, ROWS
from fourpair_service.domain.powering.circuit import available_w, current_a, larger_share, parallel_ohm

# L. Yseboodt, D. Abramson, Overview of 802.3bt, Ethernet Alliance, April 2018 (docslib.org/doc/13215261)
PUBLISHED_W = {1: 3.84, 2: 6.49, 3: 13.0, 4: 25.5, 5: 40.0, 6: 51.0, 7: 62.0, 8: 71.3}


def at_worst_w(number):
    c = FACTS.classes[number]
    return available_w(c.source_voltage_v, c.loop_ohm, c.source_power_w, c.device_voltage_v)[0]


@pytest.mark.parametrize(("number", "watts"), PUBLISHED_W.items())
def test_the_printed_power_of_a_device_is_left_by_the_longest_cable_within_a_tenth_of_a_watt(number, watts):
    assert at_worst_w(number) == pytest.approx(watts, abs=0.1)


@pytest.mark.parametrize("row", [r for r in ROWS if r["id"] == "poe"], ids=lambda row: row["quantity"])
def test_the_rows_collected_for_powers_hold(row):
    number = int(row["quantity"].split()[-1])

    assert at_worst_w(number) == pytest.approx(float(row["published_value"]), abs=float(row["tolerance"]))


@pytest.mark.parametrize(("number", "watts"), PUBLISHED_W.items())
def test_a_device_that_draws_its_printed_power_asks_the_source_for_its_printed_power(number, watts):
    # Powers of sources from the same publication; the exact root, within the rounding of what it prints.
    source_w = {1: 4, 2: 7, 3: 15.4, 4: 30, 5: 45, 6: 60, 7: 75, 8: 90}
    c = FACTS.classes[number]
    current = current_a(c.source_voltage_v, c.loop_ohm, watts)

    assert current is not None
    assert current * c.source_voltage_v == pytest.approx(source_w[number], abs=0.15)


def test_four_pairs_of_18_ohm_carry_the_worked_example():
    # Worked: 60 W at 50 V over 4.5 ohm: 1.2 A, 6.48 W lost, 53.5 W arrive (common practice, no published source).
    pairset = (18 + 18) / 4
    watts, amperes = available_w(50.0, parallel_ohm(pairset, pairset), 60.0, 39.9)

    assert amperes == pytest.approx(1.2)
    assert 60 - watts == pytest.approx(6.48)


volts = st.floats(44, 57)
ohms = st.floats(0, 200)
watts = st.floats(0.1, 99)


@given(volts, ohms, ohms, watts)
def test_more_resistance_never_gives_more_power(volt, first, second, source_w):
    low, high = sorted((first, second))

    assert available_w(volt, high, source_w, 37.0)[0] <= available_w(volt, low, source_w, 37.0)[0] + 1e-9


@given(volts, ohms, watts)
def test_the_device_gets_what_the_source_gives_less_what_the_cable_takes(volt, ohm, device_w):
    current = current_a(volt, ohm, device_w)

    if current is None:
        assert volt**2 < 4 * ohm * device_w
    else:
        assert volt * current - current**2 * ohm == pytest.approx(device_w, rel=1e-6)
        # the smaller of the two roots: the device keeps at least half of the voltage
        assert current * ohm <= volt / 2 * (1 + 1e-9)


@given(volts, st.floats(0.01, 200), watts)
def test_what_is_available_can_be_drawn_and_leaves_the_device_its_least_voltage(volt, ohm, source_w):
    power, current = available_w(volt, ohm, source_w, 37.0)

    assert current_a(volt, ohm, power) == pytest.approx(current, rel=1e-5)
    assert volt - current * ohm >= 37.0 - 1e-9
    assert volt * current <= source_w * (1 + 1e-12)


@given(ohms, ohms)
def test_shares_and_parallel_paths_do_not_depend_on_order(first, second):
    assert parallel_ohm(first, second) == parallel_ohm(second, first)
    assert larger_share(first, second) == larger_share(second, first) >= 0.5
