"""Registers of a port's chip against the bits that Linux publishes."""

from __future__ import annotations

import re
from itertools import product
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from domain.port.ports import FACTS, cable, carries, read, read_only, seen, settled
from fourpair_service.domain.port.negotiation import How
from fourpair_service.domain.port.registers import decode_register
from fourpair_service.http.schemas.port import REGISTERS

# Masks of Linux include/uapi/linux/mdio.h and mii.h, typed in by their names there and not
# taken from the data file: register, mask, name in the header, and what is read of it.
LISTED = [
    ("9", 0x0100, "ADVERTISE_1000HALF", "1000BASE-T/half"),
    ("9", 0x0200, "ADVERTISE_1000FULL", "1000BASE-T/full"),
    ("9", 0x0400, "CTL1000_PREFER_MASTER", "prefers_master"),
    ("9", 0x0800, "CTL1000_AS_MASTER", "set_to_master"),
    ("9", 0x1000, "CTL1000_ENABLE_MASTER", "master_set_by_hand"),
    ("10", 0x0400, "LPA_1000HALF", "1000BASE-T/half"),
    ("10", 0x0800, "LPA_1000FULL", "1000BASE-T/full"),
    ("10", 0x1000, "LPA_1000REMRXOK", "remote_receiver_ok"),
    ("10", 0x2000, "LPA_1000LOCALRXOK", "local_receiver_ok"),
    ("10", 0x4000, "LPA_1000MSRES", "is_master"),
    ("10", 0x8000, "LPA_1000MSFAIL", "master_slave_fault"),
    ("7.32", 0x0020, "MDIO_AN_10GBT_CTRL_ADVFSRT2_5G", "fast_retrain_2_5g"),
    ("7.32", 0x0080, "MDIO_AN_10GBT_CTRL_ADV2_5G", "2.5GBASE-T/full"),
    ("7.32", 0x0100, "MDIO_AN_10GBT_CTRL_ADV5G", "5GBASE-T/full"),
    ("7.32", 0x1000, "MDIO_AN_10GBT_CTRL_ADV10G", "10GBASE-T/full"),
    ("7.33", 0x0020, "MDIO_AN_10GBT_STAT_LP2_5G", "2.5GBASE-T/full"),
    ("7.33", 0x0040, "MDIO_AN_10GBT_STAT_LP5G", "5GBASE-T/full"),
    ("7.33", 0x0200, "MDIO_AN_10GBT_STAT_LPTRR", "training_reset_requested"),
    ("7.33", 0x0400, "MDIO_AN_10GBT_STAT_LPLTABLE", "loop_timing"),
    ("7.33", 0x0800, "MDIO_AN_10GBT_STAT_LP10G", "10GBASE-T/full"),
    ("7.33", 0x1000, "MDIO_AN_10GBT_STAT_REMOK", "remote_receiver_ok"),
    ("7.33", 0x2000, "MDIO_AN_10GBT_STAT_LOCOK", "local_receiver_ok"),
    ("7.33", 0x4000, "MDIO_AN_10GBT_STAT_MS", "is_master"),
    ("7.33", 0x8000, "MDIO_AN_10GBT_STAT_MSFLT", "master_slave_fault"),
    *(
        (register, mask, name, what)
        for register in ("7.60", "7.61")
        for mask, name, what in [
            (0x0002, "MDIO_AN_EEE_ADV_100TX", "100BASE-TX"),
            (0x0004, "MDIO_AN_EEE_ADV_1000T", "1000BASE-T"),
            (0x0008, "MDIO_EEE_10GT", "10GBASE-T"),
            (0x0010, "MDIO_EEE_1000KX", "1000BASE-KX"),
            (0x0020, "MDIO_EEE_10GKX4", "10GBASE-KX4"),
            (0x0040, "MDIO_EEE_10GKR", "10GBASE-KR"),
        ]
    ),
    *(
        (register, mask, name, what)
        for register in ("7.62", "7.63")
        for mask, name, what in [
            (0x0001, "MDIO_EEE_2_5GT", "2.5GBASE-T"),
            (0x0002, "MDIO_EEE_5GT", "5GBASE-T"),
        ]
    ),
]
HEADERS = [Path("/usr/include/linux") / name for name in ("mdio.h", "mii.h")]


@pytest.mark.register_headers
def test_the_masks_typed_in_here_are_those_of_the_header_itself():
    text = "\n".join(header.read_text() for header in HEADERS)
    defined = dict(re.findall(r"^#define\s+(\w+)\s+(0x[0-9a-fA-F]+)", text, re.MULTILINE))

    assert {name: int(defined[name], 16) for _, _, name, _ in LISTED} == {n: m for _, m, n, _ in LISTED}


@pytest.mark.register_headers
def test_the_registers_have_the_numbers_of_the_header():
    text = "\n".join(header.read_text() for header in HEADERS)
    numbers = {
        "9": "MII_CTRL1000",
        "10": "MII_STAT1000",
        "7.32": "MDIO_AN_10GBT_CTRL",
        "7.33": "MDIO_AN_10GBT_STAT",
        "7.60": "MDIO_AN_EEE_ADV",
        "7.61": "MDIO_AN_EEE_LPABLE",
        "7.62": "MDIO_AN_EEE_ADV2",
        "7.63": "MDIO_AN_EEE_LPABLE2",
    }
    defined = dict(re.findall(r"^#define\s+(\w+)\s+(0x[0-9a-f]+|\d+)\b", text, re.MULTILINE))

    assert set(numbers) == set(FACTS.registers) == set(REGISTERS)
    assert {n: int(defined[name], 0) for n, name in numbers.items()} == {
        n: int(n.rpartition(".")[2]) for n in numbers
    }


@given(st.sampled_from(REGISTERS), st.integers(0, 0xFFFF))
def test_any_register_reads_as_its_listed_bits_and_the_rest_by_number(number, word):
    reading = decode_register(number, word, FACTS)
    listed = {mask: what for register, mask, _, what in LISTED if register == number}

    assert reading.abilities | reading.energy_efficient | reading.flags == {
        what for mask, what in listed.items() if word & mask
    }
    assert sum(1 << bit for bit in reading.unnamed_bits) == word & ~sum(listed)


# Rank as Linux drivers/net/phy/phy-core.c lists its settings, the fastest first.
RANK = ["10GBASE-T/full", "5GBASE-T/full", "2.5GBASE-T/full", "1000BASE-T/full", "1000BASE-T/half"]
OFFER = {"10GBASE-T/full": 0x1000, "5GBASE-T/full": 0x0100, "2.5GBASE-T/full": 0x0080}
HEARD = {"10GBASE-T/full": 0x0800, "5GBASE-T/full": 0x0040, "2.5GBASE-T/full": 0x0020}
GIGABIT_OFFER = {"1000BASE-T/full": 0x0200, "1000BASE-T/half": 0x0100}
GIGABIT_HEARD = {"1000BASE-T/full": 0x0800, "1000BASE-T/half": 0x0400}


def words(*masks):
    return [
        sum(mask for bit, mask in enumerate(masks) if chosen >> bit & 1) for chosen in range(2 ** len(masks))
    ]


def test_every_pair_of_register_words_settles_on_the_highest_that_both_have():
    for own, heard, gigabit, gigabit_heard in product(
        words(*OFFER.values()),
        words(*HEARD.values()),
        words(*GIGABIT_OFFER.values()),
        words(*GIGABIT_HEARD.values()),
    ):
        offered = {n for n, m in OFFER.items() if own & m} | {
            n for n, m in GIGABIT_OFFER.items() if gigabit & m
        }
        met = {n for n, m in HEARD.items() if heard & m} | {
            n for n, m in GIGABIT_HEARD.items() if gigabit_heard & m
        }
        expected = next((name for name in RANK if name in offered & met), None)
        registers = {"7.32": own, "7.33": heard, "9": gigabit, "10": gigabit_heard}
        result = settled(registers=registers)

        assert result.agreed == expected, registers
        assert result.how is (How.NEGOTIATED if expected else How.NOT_KNOWN)
        assert not result.fails


def test_registers_of_both_ends_say_the_same_as_those_of_one():
    one = settled(registers={"7.32": 0x0180, "7.33": 0x0060})
    two = settled(registers={"7.32": 0x0180}, partner={"registers": {"7.32": 0x0180}})

    assert one.agreed == two.agreed == "5GBASE-T/full"


def test_registers_add_to_words_and_what_they_share_goes_above_1000base_t():
    port = {"ability_word": 0xC1E1, "next_pages": [0xA008, 0x0808], "registers": {"7.32": 0x1000}}
    result = settled(**port, partner={"advertised": ["10GBASE-T/full", "1000BASE-T/full"]})

    assert result.agreed == "10GBASE-T/full"
    assert result.candidates == ("10GBASE-T/full", "1000BASE-T/full")
    assert result.text == "Both ports share 10GBASE-T full duplex as their highest ability."


def test_registers_without_a_shared_ability_give_no_conclusion_about_the_lower_speeds():
    result = settled(registers={"7.32": 0x1000, "7.33": 0x0020})

    assert (result.agreed, result.fails) == (None, False)
    assert "below that was not observed" in result.text


def test_a_register_and_a_list_that_differ_are_told():
    port = seen(advertised=["1000BASE-T/full", "5GBASE-T/full"], registers={"7.32": 0x0080}).port

    assert port.notes == (
        "The list of abilities and register 7.32 (0x0080) differ on 5GBASE-T/full, 2.5GBASE-T/full.",
    )


def test_what_one_end_offers_and_the_other_hears_may_differ_and_is_told():
    partner = seen(registers={"7.33": 0x0020}, partner={"registers": {"7.32": 0}}).partner

    assert partner.notes == (
        "Register 7.32 (0x0000) and register 7.33 of the other end (0x0020) differ on 2.5GBASE-T/full.",
    )


@pytest.mark.parametrize("register", ["10", "7.33"])
def test_ports_that_cannot_agree_on_the_clock_are_told(register):
    (note,) = seen(registers={register: 0x8000}).port.notes

    assert note.startswith(f"Register {register} (0x8000) reports")


def energy(**port):
    return read_only(**port).energy


@pytest.mark.parametrize(
    ("registers", "shared", "used"),
    [
        (
            {"7.32": 0x80, "7.33": 0x20, "7.60": 6, "7.61": 6, "7.62": 1, "7.63": 1},
            ("2.5GBASE-T", "1000BASE-T", "100BASE-TX"),
            True,
        ),
        ({"7.32": 0x80, "7.33": 0x20, "7.60": 6, "7.61": 4, "7.62": 1, "7.63": 2}, ("1000BASE-T",), False),
        ({"7.32": 0x80, "7.33": 0x20, "7.60": 6, "7.61": 6}, ("1000BASE-T", "100BASE-TX"), None),
        ({"7.32": 0x1000, "7.33": 0x800, "7.60": 8, "7.61": 8}, ("10GBASE-T",), True),
        ({"7.60": 0, "7.61": 6}, (), None),
        ({"9": 0x100, "10": 0x400, "7.60": 4, "7.61": 4}, ("1000BASE-T",), False),
    ],
)
def test_both_ends_save_energy_only_for_what_both_offer(registers, shared, used):
    result = energy(registers=registers)

    assert (result.shared, result.used) == (shared, used)
    assert ("may pause" in result.text, "stays awake" in result.text) == (used is True, used is False)


def test_an_offer_of_one_end_alone_is_told_as_that():
    assert energy(registers={"7.60": 6}).text == (
        "Energy-efficient Ethernet is offered by this port for 1000BASE-T, 100BASE-TX; of the opposite end "
        "that is not known."
    )
    assert "offered by the other end for no speed" in energy(registers={"7.61": 0}).text
    assert energy(advertised=["1000BASE-T/full"]) is None


def test_the_page_of_energy_efficient_ethernet_counts_as_its_register_does():
    pages = [0xA008, 0x8808, 0xA00A, 0x0804]
    partner = {"ability_word": 0xC1E1, "next_pages": pages}

    assert energy(ability_word=0xC1E1, next_pages=pages, partner=partner).used is True


def test_cable_and_multi_gigabit_port_together_run_at_what_both_reach():
    port = {"registers": {"7.32": 0x1180, "7.33": 0x0860}}

    together = read(cable(port=port), carries("5GBASE-T")).together
    assert (together.port_reaches, together.held_back_by.value) == ("10GBASE-T", "cable")
    together = read(cable(port=port), carries("10GBASE-T")).together
    assert (together.runs_at, together.held_back_by.value) == ("10GBASE-T/full", "neither")
