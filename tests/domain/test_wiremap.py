"""Continuity is named in the words of the trade; every row of the published table of maps."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fourpair_service.domain.errors import InvalidMeasurementError
from fourpair_service.domain.link import PINS
from fourpair_service.domain.measurement import WireMap
from fourpair_service.domain.wiremap import WireMapFault, broken_pairs, name_faults, pair_of, shorted_groups


def wire_map(changes: dict[str, str | None], shorts: tuple[tuple[str, ...], ...] = ()) -> WireMap:
    """Return a straight-through map with some near pins going elsewhere or nowhere."""
    far = {pin: changes.get(pin, pin) for pin in PINS}
    return WireMap(tuple((near, to) for near, to in far.items() if to is not None), shorts)


def named(found: WireMap) -> list[str]:
    return [
        f"{fault.kind.value} {','.join(fault.pins)}" for fault in name_faults(found, shield_expected=False)
    ]


# What each map is called: common practice, no published source.
MAPS = {
    "straight-through": ({}, []),
    "T568A to T568B": (
        {"1": "3", "2": "6", "3": "1", "6": "2"},
        ["crossover 1,2,3,4,5,6,7,8"],
    ),
    "all four pairs crossed over": (
        {"1": "3", "2": "6", "3": "1", "6": "2", "4": "7", "5": "8", "7": "4", "8": "5"},
        ["crossover_all_pairs 1,2,3,4,5,6,7,8"],
    ),
    "rollover": ({pin: str(9 - int(pin)) for pin in PINS}, ["rollover 1,2,3,4,5,6,7,8"]),
    "reversed 12": ({"1": "2", "2": "1"}, ["reversed_pair 1,2"]),
    "crossed 12 and 36, reversed 45": (
        {"1": "3", "2": "6", "3": "1", "6": "2", "4": "5", "5": "4"},
        ["crossed_pair 1,2", "crossed_pair 3,6", "reversed_pair 4,5"],
    ),
    "crossed 12 and 45, wires exchanged": (
        {"1": "5", "2": "4", "4": "2", "5": "1"},
        ["crossed_pair 1,2", "crossed_pair 4,5"],
    ),
    "open 4": ({"4": None}, ["open 4"]),
    "open 7 and 8": ({"7": None, "8": None}, ["open 7,8"]),
    "one conductor exchanged": (
        {"2": "3", "3": "2"},
        ["miswire 2", "miswire 3", "conductors_exchanged 2,3"],
    ),
    "three miswires": ({"2": "3", "3": "4", "4": "2"}, ["miswire 2", "miswire 3", "miswire 4"]),
}


@pytest.mark.parametrize(("changes", "expected"), MAPS.values(), ids=MAPS.keys())
def test_a_map_is_called_what_the_trade_calls_it(changes, expected):
    assert named(wire_map(changes)) == expected


def test_pins_that_reach_the_same_two_far_pins_are_shorted():
    contacts = [("1", "1"), ("1", "2"), ("2", "1"), ("2", "2"), *((p, p) for p in "345678")]

    assert named(WireMap(tuple(contacts))) == ["short 1,2"]


def test_a_pin_tied_to_the_shield_is_shorted_to_it():
    found = name_faults(wire_map({}, (("3", "S"),)), shield_expected=False)

    assert [fault.pins for fault in found] == [("3", "S")]
    assert "3 and the shield" in found[0].text


def test_overlapping_shorts_are_one_short():
    assert shorted_groups(wire_map({}, (("1", "2"), ("2", "3"), ("7", "8"), ("5",)))) == (
        ("1", "2", "3"),
        ("7", "8"),
    )


def test_wires_exchanged_within_a_crossed_pair_are_said():
    texts = [
        f.text for f in name_faults(wire_map({"1": "5", "2": "4", "4": "2", "5": "1"}), shield_expected=False)
    ]

    assert all("with its wires exchanged" in text for text in texts)


def test_a_pair_half_open_whose_other_wire_strays_is_open_and_miswired():
    assert named(wire_map({"1": None, "2": "1"})) == ["open 1", "miswire 2"]


@pytest.mark.parametrize(
    ("tested", "expected", "faults"), [(True, True, 1), (True, False, 0), (False, True, 0)]
)
def test_an_open_shield_counts_where_one_is_expected_and_tested(tested, expected, faults):
    found = WireMap(wire_map({}).contacts, shield_tested=tested)

    assert len(name_faults(found, shield_expected=expected)) == faults


def test_a_shield_that_is_connected_is_no_fault():
    found = WireMap((*wire_map({}).contacts, ("S", "S")), shield_tested=True)

    assert name_faults(found, shield_expected=True) == ()


def test_open_and_shorted_pairs_are_broken_and_reversed_ones_are_not():
    found = wire_map({"4": None, "7": "8", "8": "7"}, (("1", "2"),))

    assert broken_pairs(found) == {"12", "45"}


@given(st.permutations(PINS))
def test_every_permutation_but_the_identity_is_named(far):
    found = name_faults(WireMap(tuple(zip(PINS, far, strict=True))), shield_expected=False)

    assert bool(found) == (tuple(far) != PINS)
    assert all(fault.kind in WireMapFault for fault in found)


@given(st.sets(st.sampled_from(PINS)))
def test_every_pin_that_goes_nowhere_is_in_an_open(missing):
    found = name_faults(wire_map(dict.fromkeys(missing)), shield_expected=False)

    assert {pin for fault in found for pin in fault.pins} == missing


@pytest.mark.parametrize("contacts", [(("9", "1"),), (("1", "x"),)])
def test_a_contact_that_does_not_exist_is_refused(contacts):
    with pytest.raises(InvalidMeasurementError, match="/wire_map/contacts/0"):
        WireMap(contacts)


def test_a_short_of_contacts_that_do_not_exist_is_refused():
    with pytest.raises(InvalidMeasurementError, match="/wire_map/shorts/0"):
        WireMap((), (("0", "1"),))


def test_the_shield_belongs_to_no_pair():
    assert pair_of("S") is None
