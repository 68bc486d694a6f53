"""What a sheet says of a live port: what it runs at, what holds it back, levels, power; in every language."""

from __future__ import annotations

import json

import pytest

from fourpair_service.domain.port.levels import LevelFinding
from fourpair_service.domain.port.observation import Poe
from fourpair_service.domain.port.poe import judge_poe
from fourpair_service.domain.port.together import Holds
from fourpair_service.domain.powering.heating import CAUTIONS
from fourpair_service.domain.support import Support
from fourpair_service.reports.language import Tongue, catalogue, language
from fourpair_service.reports.sheet.port import port_lines
from fourpair_service.rulesets.powering_reader import read_powering_facts
from reports.sheets import LINKS, answer_of, sheet_of

CLEAN = next(path for path in LINKS if path.stem == "0A-01-clean-pass")
OTHERS = [tongue for tongue in Tongue if tongue is not Tongue.ENGLISH]
SLOW = {"advertised": ["100BASE-TX/full", "100BASE-TX/half", "10BASE-T/full", "10BASE-T/half"]}
FAST = {"advertised": [*SLOW["advertised"], "1000BASE-T/full"]}


def level(peak_v, at="port", pair="12", **more):
    return {"pair": pair, "signal": "link_pulse", "peak_v": peak_v, "termination_ohm": 100, "at": at} | more


def found(port, *, without_cable=False, label=None):
    document = json.loads(CLEAN.read_bytes()) | {"port": port}
    if without_cable:
        for part in ("sweeps", "frequency_mhz", "pairs", "wire_map"):
            del document[part]
    return answer_of(document)


def said(port, tongue=Tongue.ENGLISH, **more):
    return port_lines(found(port, **more).answer["assessment"], language(tongue))


def carried(port, **more):
    (answer,) = (a for a in sheet_of(found(port, **more)).answers if a.name == "carries")
    return answer


# port, its first sentences, and what the answer at the top of the sheet says of it
SPEEDS = [
    (
        FAST | {"partner": SLOW},
        "Port and cable together run at 100BASE-TX full duplex. "
        "The device at the other end holds it back, not the cable.",
        "With the devices now at its ends it runs at 100 Mbit/s. "
        "The device at the other end holds it back, not the cable.",
    ),
    (
        SLOW | {"partner": FAST},
        "Port and cable together run at 100BASE-TX full duplex. "
        "A device at one of the ends holds it back, not the cable.",
        "With the devices now at its ends it runs at 100 Mbit/s. "
        "A device at one of the ends holds it back, not the cable.",
    ),
    (
        FAST | {"partner": FAST},
        "Port and cable together run at 1000BASE-T full duplex. Neither the cable nor a device holds it back.",
        "With the devices now at its ends it runs at 1 Gbit/s. Neither the cable nor a device holds it back.",
    ),
    (
        {"advertised": ["10GBASE-T/full"], "partner": {"advertised": ["10GBASE-T/full"]}},
        "Port and cable together may run at 10GBASE-T full duplex. The cable holds it back.",
        "With the devices now at its ends it may run at 10 Gbit/s. The cable holds it back.",
    ),
    (
        {"advertised": ["1000BASE-T/full"], "partner": {"advertised": ["10BASE-T/half"]}},
        "No link comes up. A device at one of the ends holds it back, not the cable.",
        "With the devices now at its ends no link comes up.",
    ),
]


@pytest.mark.parametrize(("port", "first", "top"), SPEEDS, ids=[first[:60] for _, first, _ in SPEEDS])
def test_the_speed_and_what_holds_it_back_come_first_and_stand_at_the_top(port, first, top):
    assert said(port)[0] == first
    assert carried(port).more[1] == top


def test_a_port_without_a_tested_cable_tells_no_more_than_it_knows():
    lines = said(FAST | {"partner": FAST}, without_cable=True)

    assert (
        lines[0]
        == "Port and cable together may run at 1000BASE-T full duplex. What holds it back is not known."
    )
    assert not any("Alone the cable" in line for line in lines)


def test_nothing_is_said_of_a_port_that_was_not_observed():
    document = json.loads(CLEAN.read_bytes())
    answer = answer_of(document)

    assert port_lines(answer.answer["assessment"], language("en")) == []
    assert port_lines(None, language("en")) == []
    assert "devices now" not in "".join(next(a for a in sheet_of(answer).answers if a.name == "carries").more)


def test_each_speed_that_is_offered_stands_once_and_half_duplex_is_named_where_it_is_all():
    lines = said(
        {
            "advertised": ["1000BASE-T/half", "100BASE-TX/full", "100BASE-TX/half", "10BASE-T/half"],
            "partner": SLOW,
        }
    )

    assert "This port offers: 1000BASE-T half duplex, 100BASE-TX, 10BASE-T half duplex." in lines
    assert "The device at the other end offers: 100BASE-TX, 10BASE-T." in lines


# port, a sentence that must stand among the others
ODD = [
    (
        {"negotiates": False, "advertised": ["100BASE-TX/full"], "duplex": "full", "partner": FAST},
        "One end runs full duplex, the other half: slow under load. Let both negotiate, or set both alike.",
    ),
    (
        {"negotiates": False, "advertised": ["100BASE-TX/full"], "duplex": "full", "partner": FAST},
        "One end does not negotiate: the other finds out its speed and runs half duplex.",
    ),
    (
        SLOW | {"mdi": "mdi", "partner": SLOW | {"mdi": "mdi"}},
        "Transmitter meets transmitter: let a port choose its pairs by itself, or take the other kind of cord.",
    ),
    (
        FAST | {"link_up": "100BASE-TX/full", "partner": FAST},
        "The link was seen running at 100BASE-TX full duplex.",
    ),
    (FAST | {"link_up": None, "partner": FAST}, "No link was up when the port was looked at."),
]


@pytest.mark.parametrize(("port", "sentence"), ODD, ids=[sentence[:50] for _, sentence in ODD])
def test_what_is_out_of_the_ordinary_is_said(port, sentence):
    assert sentence in said(port)


def test_pairs_with_one_finding_are_told_together_with_their_voltages():
    levels = [
        level(2.4),
        level(2.5, pair="36"),
        level(0.9, pair="45"),
        level(1.5, pair="78", termination_ohm=75),
    ]
    lines = [line for line in said(FAST | {"levels": levels}) if line.startswith("Signal")]

    assert [line.split(": ")[1] for line in lines] == [
        "enough is sent, and enough arrives.",
        "the device sends too little.",
        "shown only, not judged.",
    ]
    assert "12 (2.40 V sent, " in lines[0] and "), 36 (2.50 V sent, " in lines[0]
    assert "45 (0.90 V sent, " in lines[1]
    assert "78 (1.50 V)" in lines[2]


@pytest.mark.parametrize("tongue", Tongue)
def test_every_finding_every_holder_and_every_state_of_power_has_its_words(tongue):
    texts = catalogue(tongue)

    assert set(texts["level"]) == {finding.value for finding in LevelFinding}
    assert {f"held_by_{who.value}" for who in Holds} <= set(texts["port"])
    assert {f"power_{state.value}" for state in Support} <= set(texts["port"])


POWERS = [
    Poe(type=2, power_class=4),
    Poe(type=1, power_class=4),
    Poe(type=2, power_class=4, voltage_v=53.6, at="port"),
    Poe(type=2, power_class=4, voltage_v=48.1, at="far_end"),
    Poe(type=2, power_class=4, voltage_v=60.5, at="port"),
    Poe(type=2, power_class=4, voltage_v=31.5, at="port"),
    Poe(type=2, power_class=4, voltage_v=31.5, at="far_end"),
    Poe(type=3, power_class=6, signature="dual", positive=("12",), negative=("45",)),
]


@pytest.mark.parametrize("tongue", OTHERS)
@pytest.mark.parametrize("poe", POWERS, ids=str)
def test_no_sentence_on_power_stays_english(poe, tongue):
    words = language(tongue)
    told = [*judge_poe(poe, read_powering_facts(), {}).texts, *CAUTIONS]

    assert [text for text in told if words.phrase(text) == text] == []


def test_numbers_within_sentences_have_the_decimal_mark_of_the_language():
    text = "53.6 V are within the 50 to 57 V of type 2 at the source."

    assert language("de").phrase(text) == "53,6 V liegen innerhalb der 50 bis 57 V einer Quelle vom Typ 2."


def test_power_that_the_cable_does_not_carry_is_warned_of():
    document = json.loads((CLEAN.parent / "2A-02-corroded-contact.json").read_bytes())
    answer = answer_of(document | {"port": {"poe": {"type": 3, "class": 6}}}).answer
    state = answer["assessment"]["port"]["poe"]["on_this_cable"]

    assert catalogue("en")["port"][f"power_{state}"] in port_lines(answer["assessment"], language("en"))
