"""Cable and port together, each alone, crossing, power on the port, the document."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from domain.port.ports import ALL_FROM_10, FACTS, GIGABIT, NAMES, cable, carries, read, read_only
from fourpair_service.domain.port.crossing import Crossing
from fourpair_service.domain.port.document import port_document
from fourpair_service.domain.port.together import Holds

AUTO = {"advertised": GIGABIT, "mdi": "auto"}


@pytest.mark.parametrize(
    ("applications", "runs_at", "holds", "certain"),
    [
        (carries("1000BASE-T"), "1000BASE-T/full", Holds.NEITHER, True),
        (carries("10GBASE-T"), "1000BASE-T/full", Holds.PORT, True),
        (carries("100BASE-TX"), "100BASE-TX/full", Holds.CABLE, True),
        (carries(None), None, Holds.CABLE, True),
        (carries("100BASE-TX", conditional="1000BASE-T"), "1000BASE-T/full", Holds.CABLE, False),
        (carries(None, conditional="1000BASE-T"), "1000BASE-T/full", Holds.CABLE, False),
        ({"100BASE-TX": "supported"}, "1000BASE-T/full", Holds.NOT_KNOWN, False),
        ({}, "1000BASE-T/full", Holds.NOT_KNOWN, False),
    ],
)
def test_who_holds_a_gigabit_port_back(applications, runs_at, holds, certain):
    result = read_only(applications, **AUTO).together

    assert (result.runs_at, result.held_back_by, result.is_certain) == (runs_at, holds, certain)


def test_a_break_on_45_leaves_100base_tx_and_says_that_the_ports_will_not_notice():
    # negotiation needs 12 and 36 alone; 1000BASE-T is agreed and then fails to train
    result = read_only(carries("100BASE-TX"), **AUTO, partner={"advertised": GIGABIT}).together

    assert result.runs_at == "100BASE-TX/full"
    assert "settle on 1000BASE-T, since negotiation needs pairs 12 and 36 alone" in result.text


def test_a_cable_for_10base_t_alone_lets_the_ports_settle_on_more():
    result = read_only(carries("10BASE-T"), advertised=ALL_FROM_10).together

    assert result.runs_at == "10BASE-T/full"
    assert "settle on 100BASE-TX and run with errors" in result.text


def test_a_slower_port_at_the_other_end_is_named():
    result = read_only(carries("10GBASE-T"), **AUTO, partner={"advertised": ALL_FROM_10}).together

    assert result.runs_at == "100BASE-TX/full"
    assert result.text.endswith("what holds it back is the port at the other end.")


def test_a_cable_that_carries_only_what_the_port_lacks_runs_nothing():
    result = read_only(carries("100BASE-TX"), advertised=["1000BASE-T/full"]).together

    assert (result.runs_at, result.held_back_by) == (None, Holds.CABLE)


@pytest.mark.parametrize(
    ("applications", "runs_at", "words"),
    [
        (carries("1000BASE-T"), "1000BASE-T", "carries up to 1000BASE-T; no port was seen."),
        (
            carries("1000BASE-T", conditional="2.5GBASE-T"),
            "1000BASE-T",
            "Under conditions it carries 2.5GBASE-T.",
        ),
        (carries(None), None, "surely carries none"),
        ({}, None, "Neither the cable was tested nor a port seen."),
    ],
)
def test_a_cable_without_a_port(applications, runs_at, words):
    reading = read(cable(), applications)

    assert reading.together.runs_at == runs_at
    assert words in reading.together.text
    assert reading.observation is None


@pytest.mark.parametrize(
    ("port", "words"),
    [
        (AUTO, "The port can run at up to 1000BASE-T full duplex; the cable was not tested."),
        (AUTO | {"partner": AUTO}, "The two ports will settle on 1000BASE-T full duplex"),
        (AUTO | {"link_up": "100BASE-TX/full"}, "The link runs at 100BASE-TX full duplex"),
        ({"link_up": "100BASE-TX/full"}, "The link runs at 100BASE-TX full duplex"),
        ({}, "What the port can do was not observed."),
    ],
)
def test_a_port_without_a_cable_test(port, words):
    assert words in read_only(**port).together.text


@pytest.mark.parametrize(
    ("applications", "words"),
    [(carries("1000BASE-T"), "carries up to 1000BASE-T."), (carries(None), "carries nothing for sure.")],
)
def test_an_unknown_port_on_a_tested_cable(applications, words):
    assert words in read_only(applications).together.text


def test_ports_without_a_common_ability_bring_no_link_whatever_the_cable():
    result = read_only(
        carries("10GBASE-T"), advertised=["10BASE-T/half"], partner={"advertised": ["1000BASE-T/full"]}
    ).together

    assert (result.runs_at, result.held_back_by) == (None, Holds.PORT)


def test_a_link_that_was_seen_below_what_both_can_do_takes_the_certainty_away():
    together = read_only(carries("1000BASE-T"), **AUTO, link_up="100BASE-TX/full").together

    assert (together.runs_at, together.is_certain, together.held_back_by) == (
        "1000BASE-T/full",
        False,
        Holds.NOT_KNOWN,
    )
    assert together.text.endswith(
        "It was seen at 100BASE-TX full duplex, though: look for a setting at either end."
    )


@pytest.mark.parametrize(
    ("link_up", "words"),
    [
        (None, "No link was up"),
        ("1000BASE-T/full", "The link was seen at 1000BASE-T full duplex."),
        ("100BASE-TX/full", "and not at 1000BASE-T full duplex"),
    ],
)
def test_what_the_link_was_seen_at_is_compared(link_up, words):
    because = read_only(carries("1000BASE-T"), **AUTO, link_up=link_up).together.because

    assert any(words in sentence for sentence in because)


def test_a_duplex_mismatch_is_among_the_reasons():
    because = read_only(
        **AUTO, duplex="full", partner={"advertised": GIGABIT, "duplex": "half"}
    ).together.because

    assert any("late collisions" in sentence for sentence in because)


def level(peak_v, at="far_end"):
    return {"pair": "12", "signal": "link_pulse", "peak_v": peak_v, "termination_ohm": 100.0, "at": at}


@pytest.mark.parametrize(
    ("peak_v", "loss_db", "applications", "holds"),
    [
        (0.4, 7.0, carries("1000BASE-T"), Holds.PORT),
        (0.5, 13.0, carries("1000BASE-T"), Holds.CABLE),
        (0.2, 13.0, carries("1000BASE-T"), Holds.BOTH),
        (0.5, 13.0, carries("10GBASE-T"), Holds.BOTH),
        (0.5, None, carries("1000BASE-T"), Holds.NEITHER),
        (1.0, 1.0, carries("1000BASE-T"), Holds.NEITHER),
    ],
)
def test_a_level_that_is_too_weak_makes_the_statement_doubtful(peak_v, loss_db, applications, holds):
    result = read(cable(loss_db, port=AUTO | {"levels": [level(peak_v)]}), applications).together

    assert result.held_back_by is holds
    assert result.is_certain == (peak_v >= 0.585)


@pytest.mark.parametrize(
    ("own", "other", "crossed", "state"),
    [
        ("mdi", "mdi_x", False, Crossing.FITS),
        ("mdi", "mdi", True, Crossing.FITS),
        ("mdi", "mdi", False, Crossing.DOES_NOT_FIT),
        ("mdi", "mdi_x", True, Crossing.DOES_NOT_FIT),
        ("auto", "mdi", False, Crossing.FITS),
        ("mdi", "auto", None, Crossing.FITS),
        ("mdi", None, False, Crossing.NOT_KNOWN),
        ("mdi", "mdi", None, Crossing.NOT_KNOWN),
    ],
)
def test_transmitters_meet_receivers_where_ports_and_cable_cross_once(own, other, crossed, state):
    partner = {} if other is None else {"mdi": other}
    reading = read(cable(crossed=crossed, port={"mdi": own, "partner": partner}))

    assert reading.crossing.state is state


def test_transmitter_against_transmitter_brings_no_link_unless_one_was_seen():
    port = {"advertised": ALL_FROM_10, "mdi": "mdi", "partner": {"mdi": "mdi", "advertised": ALL_FROM_10}}

    assert read(cable(crossed=False, port=port), carries("1000BASE-T")).together.runs_at is None
    seen = read(cable(crossed=False, port=port | {"link_up": "100BASE-TX/full"}), carries("1000BASE-T"))
    assert seen.together.runs_at == "100BASE-TX/full"


def test_the_pin_assignment_of_a_lone_port_is_no_crossing():
    assert read_only(mdi="mdi").crossing.state is Crossing.NOT_KNOWN


@pytest.mark.parametrize(
    ("poe", "words"),
    [
        ({"class": 4}, "the device may draw 25.5 W"),
        ({"class": 6, "type": 2}, "A source of type 2 goes up to class 4."),
        ({"type": 3, "voltage_v": 53.1, "at": "port"}, "within the 50 to 57 V of type 3 at the source"),
        ({"type": 3, "voltage_v": 45.0, "at": "port"}, "weak, overloaded or off"),
        ({"type": 3, "voltage_v": 45.0, "at": "far_end"}, "within the 39.9 to 57 V of type 3 at a device"),
        ({"type": 3, "voltage_v": 30.0}, "too much is lost"),
        ({"class": 3, "voltage_v": 60.0}, "disconnect it"),
        ({"type": 4, "signature": "dual"}, "two signatures"),
        ({"positive_pairs": ["12"], "negative_pairs": ["45"]}, "polarity on 12, 45 fits no pinout"),
    ],
)
def test_power_on_the_port_in_words(poe, words):
    assert words in " ".join(read_only(poe=poe).poe.texts)


# IEEE 802.3 table 145-3 as quoted in Linux pse-pi.rst
@pytest.mark.parametrize(
    ("positive", "negative", "names"),
    [
        (["12"], ["36"], ("A MDI",)),
        (["36"], ["12"], ("A MDI-X",)),
        (["45"], ["78"], ("B S",)),
        (["78"], ["45"], ("B X",)),
        (["36", "45"], ["12", "78"], ("A MDI-X", "B S")),
    ],
)
def test_polarity_names_the_pinout(positive, negative, names):
    assert read_only(poe={"positive_pairs": positive, "negative_pairs": negative}).poe.pinouts == names


def test_power_says_whether_this_cable_carries_the_class_and_never_for_two_signatures():
    port = {"poe": {"class": 6}}

    assert read(cable(port=port), power_classes={6: "supported"}).poe.on_this_cable == "supported"
    assert read(cable(port=port)).poe.on_this_cable is None
    dual = {"poe": {"class": 6, "signature": "dual"}}
    assert read(cable(port=dual), power_classes={6: "supported"}).poe.on_this_cable is None


def test_the_lowest_type_that_has_the_class_is_taken():
    assert [read_only(poe={"class": c}).poe.type for c in range(9)] == [1, 1, 1, 1, 2, 3, 3, 4, 4]
    assert read_only(poe={"voltage_v": 48.0}).poe.type is None


@pytest.mark.parametrize(
    ("signals", "note"),
    [
        ({"fast_link_pulses": True, "burst_period_ms": 40.0}, "Bursts of link pulses repeat every 40 ms"),
        ({"fast_link_pulses": True, "pulses_per_burst": 12}, "Pulses in a burst: 12, expected 17 to 33."),
        ({"fast_link_pulses": True, "burst_period_ms": 16.0, "clock_period_us": 125.0}, None),
    ],
)
def test_odd_times_of_pulses_are_told(signals, note):
    notes = read_only(signals=signals).notes

    assert notes == () if note is None else any(note in text for text in notes)


FULL = {
    "ability_word": 0xC1E1,
    "next_pages": [0xA008, 0x0808],
    "mdi": "auto",
    "signals": {"fast_link_pulses": True},
    "levels": [level(1.0), level(1.0, "port") | {"signal": "multi_level"}],
    "poe": {"class": 6},
    "link_up": "1000BASE-T/full",
}


@pytest.mark.parametrize("port", [None, {}, FULL, FULL | {"partner": {"ability_word": 0x45E1}}])
def test_the_document_is_plain_json(port):
    document = port_document(read(cable(7.0, port=port), carries("1000BASE-T")), FACTS)

    assert json.loads(json.dumps(document, allow_nan=False)) == document


def test_the_document_shows_decoded_words():
    document = port_document(read_only(**FULL), FACTS)

    assert document["port"]["base_page"]["word"] == "0xC1E1"
    assert document["port"]["abilities"][0] == "1000BASE-T/full"
    assert [page["kind"] for page in document["port"]["next_pages"]] == ["message", "unformatted"]


states = st.sampled_from(["supported", "conditional", "not_supported", "not_evaluated"])


@given(
    st.dictionaries(st.sampled_from(NAMES), states),
    st.lists(st.sampled_from(FACTS.priority), unique=True),
    st.none() | st.lists(st.sampled_from(FACTS.priority), unique=True),
)
def test_a_certain_statement_never_promises_what_the_cable_or_a_port_lacks(applications, own, other):
    partner = {} if other is None else {"partner": {"advertised": other}}
    result = read_only(applications, advertised=own, **partner).together

    if result.is_certain and result.runs_at is not None:
        assert applications[result.runs_at.partition("/")[0]] == "supported"
        assert result.runs_at in own
        assert other is None or result.runs_at in other
