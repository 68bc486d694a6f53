"""Words of auto-negotiation against their published layout."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from domain.port.ports import FACTS, seen
from fourpair_service.domain.port.words import decode_base_page, decode_next_pages

TEN_TO_HUNDRED = {"10BASE-T/half", "10BASE-T/full", "100BASE-TX/half", "100BASE-TX/full"}


@pytest.mark.parametrize(
    ("word", "abilities", "flags"),
    # by the bits of Linux include/uapi/linux/mii.h, commit 30c09233
    [
        (0x45E1, TEN_TO_HUNDRED, {"pause", "acknowledge"}),
        (0xC1E1, TEN_TO_HUNDRED, {"acknowledge", "next_page"}),
        (0x0021, {"10BASE-T/half"}, set()),
        (0x4DE1, TEN_TO_HUNDRED, {"pause", "asymmetric_pause", "acknowledge"}),
    ],
)
def test_known_words_decode(word, abilities, flags):
    page = decode_base_page(word, FACTS)

    assert page.selector == 1
    assert page.abilities == abilities
    assert page.flags == flags


# LPA_* and ADVERTISE_* of mii.h, copied bit by bit and not from the data file.
MII_BITS = {
    0x0020: "10BASE-T/half",
    0x0040: "10BASE-T/full",
    0x0080: "100BASE-TX/half",
    0x0100: "100BASE-TX/full",
    0x0200: "100BASE-T4/half",
}


@given(st.integers(0, 0xFFFF))
def test_any_word_has_the_abilities_of_its_bits_and_none_with_another_selector(word):
    expected = {name for mask, name in MII_BITS.items() if word & mask} if word & 0x1F == 1 else set()

    assert decode_base_page(word, FACTS).abilities == expected


@given(st.lists(st.integers(0, 0xFFFF), max_size=16))
def test_any_next_pages_decode_to_as_many_pages(words):
    pages = decode_next_pages(words, FACTS)

    assert [page.word for page in pages.pages] == words
    assert pages.abilities <= {"1000BASE-T/full", "1000BASE-T/half"}


def test_the_message_of_1000base_t_is_followed_by_its_abilities():
    # message 8, then U3 and U4 (IEEE 802.3 annex 28C and table 40-4, memory)
    pages = decode_next_pages([0xA008, 0x8818, 0x0123], FACTS)

    assert pages.abilities == {"1000BASE-T/full", "1000BASE-T/half"}
    assert pages.pages[0].title == "1000BASE-T"
    assert pages.pages[1].title is None
    assert pages.notes == ()


def test_an_extended_page_is_given_back_and_told_as_not_decoded():
    port = seen(extended_next_pages=[0x123456782009]).port

    (page,) = port.extended_pages
    assert (page.word, page.page.code, page.page.is_message) == (0x123456782009, 9, True)
    assert "0x123456782009 given; not decoded: no published layout here" in port.notes[0]
    assert port.abilities is None


def test_the_message_of_energy_efficient_ethernet_is_followed_by_its_applications():
    # the page carries bits of register 7.60 (memory)
    assert decode_next_pages([0xA00A, 0x0806], FACTS).energy_efficient == {"100BASE-TX", "1000BASE-T"}
    assert decode_next_pages([0x200A], FACTS).energy_efficient is None


def test_a_null_message_adds_nothing():
    assert decode_next_pages([0x2001], FACTS).abilities == frozenset()


@pytest.mark.parametrize(
    ("words", "note"),
    [
        ([0x2008], "without the page with its abilities"),
        ([0xA008, 0x2801], "without the page with its abilities"),
        ([0x2009], "extended next page"),
        ([0x23FF], "Message code 1023 of 0x23FF is not known"),
        ([0x0008], "is no message"),
        ([0xA008, 0x8018], "the same toggle bit"),
    ],
)
def test_odd_pages_are_told(words, note):
    assert any(note in text for text in decode_next_pages(words, FACTS).notes)


@pytest.mark.parametrize(
    ("document", "note"),
    [
        ({"ability_word": 0x0022}, "The selector of 0x0022 is 2"),
        ({"ability_word": 0x2021}, "remote fault"),
        ({"ability_word": 0x0021, "next_pages": [0x2001]}, "announces no next page"),
        ({"ability_word": 0x0021, "extended_next_pages": [0x2009]}, "announces no next page"),
        ({"ability_word": 0x8021}, "abilities from 1000BASE-T up may be missing"),
        (
            {"ability_word": 0x0021, "advertised": ["100BASE-TX/full", "1000BASE-T/full"]},
            "differ on 100BASE-TX/full, 10BASE-T/half.",
        ),
    ],
)
def test_odd_words_are_told(document, note):
    assert any(note in text for text in seen(**document).port.notes)


def test_word_and_list_that_agree_are_joined_without_a_note():
    port = seen(ability_word=0x0021, advertised=["10BASE-T/half", "1000BASE-T/full"]).port

    assert port.abilities == {"10BASE-T/half", "1000BASE-T/full"}
    assert port.notes == ()


def test_a_port_that_told_nothing_has_no_abilities_rather_than_none_at_all():
    assert seen().port.abilities is None
    assert seen(advertised=[]).port.abilities == frozenset()
    assert seen(next_pages=[0xA008, 0x0808]).port.abilities == {"1000BASE-T/full"}
