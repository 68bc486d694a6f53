"""What two ports settle on: every pair of words, fixed ports, duplex, flow control."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from domain.port.ports import FACTS, GIGABIT, seen, settled
from fourpair_service.domain.port.negotiation import How, Mismatch, settle
from fourpair_service.http.schemas.port import ABILITIES

# IEEE 802.3 28B.3 as printed in the TEMU manual (auto negotiation priority list), typed in
# for this test: rank by the names used there, 1 is the highest of those that words can carry.
PRINTED_RANK = {
    ("1000BASE-T", "FD"): 1,
    ("1000BASE-T", "HD"): 2,
    ("100BASE-TX", "FD"): 3,
    ("100BASE-T4", ""): 4,
    ("100BASE-TX", "HD"): 5,
    ("10BASE-T", "FD"): 6,
    ("10BASE-T", "HD"): 7,
}
# Bit in the base page (mii.h), or in the page after message 8 (table 40-4, memory).
BASE_MASK = {
    ("10BASE-T", "HD"): 0x20,
    ("10BASE-T", "FD"): 0x40,
    ("100BASE-TX", "HD"): 0x80,
    ("100BASE-TX", "FD"): 0x100,
    ("100BASE-T4", ""): 0x200,
}
PAGE_MASK = {("1000BASE-T", "FD"): 0x08, ("1000BASE-T", "HD"): 0x10}
DUPLEX = {"FD": "full", "HD": "half", "": "half"}


def offers():
    for bits in range(2**7):
        yield (bits & 0x1F) << 5 | 0x8001, (bits >> 5) << 3


def named(word, page):
    return {key for key, mask in BASE_MASK.items() if word & mask} | {
        key for key, mask in PAGE_MASK.items() if page & mask
    }


def test_every_pair_of_offers_settles_on_the_printed_priority():
    offered = [
        (named(word, page), seen(ability_word=word, next_pages=[0xA008, 0x0800 | page]).port)
        for word, page in offers()
    ]
    wrong, nothing = [], seen()
    for (first, port), (second, partner) in product(offered, repeat=2):
        best = min(first & second, key=PRINTED_RANK.__getitem__, default=None)
        expected = None if best is None else f"{best[0]}/{DUPLEX[best[1]]}"
        if settle(replace(nothing, port=port, partner=partner), FACTS).agreed != expected:
            wrong.append((first, second))

    assert len(offered) == 128
    assert wrong == []


abilities = st.lists(st.sampled_from(ABILITIES), unique=True)


def test_the_document_knows_every_ability_that_has_a_priority():
    assert set(ABILITIES) == set(FACTS.priority)


@given(abilities, abilities)
def test_settling_does_not_depend_on_which_port_is_asked(first, second):
    one = settled(advertised=first, partner={"advertised": second})
    other = settled(advertised=second, partner={"advertised": first})

    assert one.agreed == other.agreed
    assert one.fails == other.fails == (not set(first) & set(second))


@given(abilities, abilities, st.sampled_from(ABILITIES))
def test_offering_more_never_settles_on_less(first, second, more):
    before = settled(advertised=first, partner={"advertised": second}).agreed
    after = settled(advertised=[*first, more], partner={"advertised": second}).agreed

    if before is not None:
        assert after is not None
        assert FACTS.priority.index(after) <= FACTS.priority.index(before)


def test_one_port_alone_offers_its_highest_ability():
    result = settled(advertised=GIGABIT)

    assert (result.how, result.agreed) == (How.NOT_KNOWN, None)
    assert result.candidates[0] == "1000BASE-T/full"


def test_nothing_observed_says_so():
    assert settled().text == "What the port can do was not observed."


# TI AM64x guide on PHY link configuration: half duplex where no bursts are seen.
@pytest.mark.parametrize(
    ("signals", "agreed"),
    [
        ({"fast_link_pulses": False, "normal_link_pulses": True}, "10BASE-T/half"),
        ({"fast_link_pulses": False, "idle_100base_tx": True}, "100BASE-TX/half"),
    ],
)
def test_without_bursts_the_speed_is_detected_and_the_duplex_is_half(signals, agreed):
    result = settled(signals=signals, partner={"advertised": GIGABIT})

    assert (result.how, result.agreed) == (How.PARALLEL_DETECTION, agreed)
    assert result.mismatch is Mismatch.POSSIBLE


def test_nothing_at_all_on_the_wires_gives_no_conclusion():
    result = settled(signals={"fast_link_pulses": False, "normal_link_pulses": False})

    assert result.agreed is None
    assert not result.fails
    assert "says nothing about its abilities" in result.text


def test_bursts_mean_a_port_that_negotiates():
    result = settled(signals={"fast_link_pulses": True}, advertised=GIGABIT, partner={"advertised": GIGABIT})

    assert result.how is How.NEGOTIATED


@pytest.mark.parametrize(("duplex", "mismatch"), [("full", Mismatch.FOUND), ("half", Mismatch.NONE)])
def test_a_port_fixed_to_full_duplex_mismatches_one_that_negotiates(duplex, mismatch):
    # docs.trellix.com, valid auto-negotiation and speed configurations
    result = settled(
        negotiates=False, advertised=["100BASE-TX/full"], duplex=duplex, partner={"advertised": GIGABIT}
    )

    assert result.agreed == "100BASE-TX/half"
    assert result.mismatch is mismatch


def test_a_fixed_partner_is_detected_too():
    result = settled(
        advertised=GIGABIT, partner={"negotiates": False, "advertised": ["10BASE-T/full"], "duplex": "full"}
    )

    assert result.agreed == "10BASE-T/half"
    assert result.mismatch is Mismatch.FOUND
    assert result.text.startswith("The other end sends no bursts")


def test_a_detected_speed_that_the_other_end_lacks_brings_no_link():
    result = settled(
        negotiates=False, advertised=["10BASE-T/half"], partner={"advertised": ["1000BASE-T/full"]}
    )

    assert result.fails
    assert result.mismatch is Mismatch.NOT_KNOWN


def test_a_fixed_port_of_unknown_speed_is_not_guessed():
    result = settled(negotiates=False, partner={"advertised": GIGABIT})

    assert result.agreed is None
    assert "its speed was not observed" in result.text


@pytest.mark.parametrize(
    ("own", "other", "agreed", "fails"),
    [
        (["100BASE-TX/full"], ["100BASE-TX/full"], "100BASE-TX/half", False),
        (["100BASE-TX/full"], ["10BASE-T/full"], None, True),
        (["100BASE-TX/full"], [], None, False),
    ],
)
def test_two_fixed_ports_need_the_same_speed(own, other, agreed, fails):
    result = settled(negotiates=False, advertised=own, partner={"negotiates": False, "advertised": other})

    assert (result.how, result.agreed, result.fails) == (How.FORCED, agreed, fails)


def test_gigabit_without_negotiation_brings_no_link():
    # IEEE 802.3 40.5.1, memory
    fixed = {"negotiates": False, "advertised": ["1000BASE-T/full"]}

    assert settled(**fixed, partner={"advertised": GIGABIT}).fails
    assert settled(**fixed, partner=fixed).fails


def test_two_ports_fixed_alike_run_full_duplex():
    full = {"negotiates": False, "advertised": ["100BASE-TX/full"], "duplex": "full"}

    assert settled(**full, partner=full).agreed == "100BASE-TX/full"


@pytest.mark.parametrize(
    ("own", "other", "mismatch"),
    [("half", "full", Mismatch.FOUND), ("full", "half", Mismatch.FOUND), ("full", "full", Mismatch.NONE)],
)
def test_observed_duplexes_are_compared(own, other, mismatch):
    assert settled(duplex=own, partner={"duplex": other}).mismatch is mismatch


# IEEE 802.3 table 28B-3, memory: typed in for this test from the two devices' point of view.
@pytest.mark.parametrize(
    ("own", "other", "result"),
    [
        ("pa", "pa", "symmetric"),
        ("p-", "p-", "symmetric"),
        ("p-", "pa", "symmetric"),
        ("-a", "pa", "transmit"),
        ("pa", "-a", "receive"),
        ("-a", "-a", "none"),
        ("-a", "p-", "none"),
        ("p-", "-a", "none"),
        ("--", "pa", "none"),
        ("pa", "--", "none"),
    ],
)
def test_flow_control_follows_both_words(own, other, result):
    def word(bits):
        return 0x0101 | ("p" in bits) << 10 | ("a" in bits) << 11

    assert settled(ability_word=word(own), partner={"ability_word": word(other)}).pause == result


@given(st.integers(0, 3), st.integers(0, 3))
def test_flow_control_of_one_port_mirrors_that_of_the_other(own, other):
    def word(bits):
        return 0x0101 | bits << 10

    mirror = {"none": "none", "symmetric": "symmetric", "transmit": "receive", "receive": "transmit"}
    here = settled(ability_word=word(own), partner={"ability_word": word(other)}).pause

    assert settled(ability_word=word(other), partner={"ability_word": word(own)}).pause == mirror[here]


def test_flow_control_needs_full_duplex_and_both_words():
    assert settled(ability_word=0x0421, partner={"ability_word": 0x0421}).pause is None
    assert settled(ability_word=0x0501, partner={"advertised": ["100BASE-TX/full"]}).pause is None
