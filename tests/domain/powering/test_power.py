"""Power on whole links: cords, estimates, broken pairs, classes and types."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from domain.powering.links import CABLE, FACTS, link, powered, straight
from fourpair_service.domain.applications.design import designed
from fourpair_service.domain.cords import StatedCords
from fourpair_service.domain.link import PINS, Configuration
from fourpair_service.domain.measurement import Cable, LinkMeasurement, PairReadings
from fourpair_service.domain.powering.document import powering_document
from fourpair_service.domain.powering.power import power_on
from fourpair_service.domain.support import Support
from fourpair_service.rulesets.catalogue import Catalogue


def test_a_channel_of_25_ohm_loops_carries_every_class():
    # 25 ohm is the largest loop of a class D channel (memory); class 6 then gets 51 W
    result = powered(link(25.0))

    assert result.highest_class == 8
    assert result.classes[6].worst.available_w == pytest.approx(51.0)
    assert result.classes[6].worst.cable_loss_w == pytest.approx(9.0)


def test_more_than_the_largest_loop_leaves_less_than_the_class_promises():
    result = powered(link(26.0)).classes[8]

    assert result.state is Support.NOT_SUPPORTED
    assert result.worst.available_w < 71.3
    assert "6.50 ohm are more than the 6.25 ohm" in result.reason


def test_two_pairs_are_one_pairset_out_and_back():
    # (18 + 18) / 4 = 9 ohm; class 4 counts with 12.5
    feeds = {feed.name: feed for feed in powered(link(18.0)).classes[4].feeds}

    assert feeds["A"].loop_ohm == feeds["B"].loop_ohm == pytest.approx(9.0)
    assert feeds["A"].device_voltage_v == pytest.approx(50 - feeds["A"].current_a * 9.0)


def test_a_permanent_link_gets_its_cords_and_a_channel_none():
    # 10 m of 26 AWG at 0.2678 ohm/m (stranded cords, common practice, no published source): 2.68 ohm
    with_cords = powered(link(10.0, configuration=Configuration.PERMANENT_LINK))

    assert 4 * with_cords.resistance.pair_ohm["12"] == pytest.approx(10 + 10 * 0.2678)
    assert 4 * powered(link(10.0)).resistance.pair_ohm["12"] == pytest.approx(10.0)
    assert "10 m of stranded cords were added, 2.68 ohm to the loop of each pair." in with_cords.notes
    assert not any("assumed" in note for note in with_cords.notes)


def test_stated_cords_are_used_and_resist_alike_under_every_edition():
    mptl = link(10.0, configuration=Configuration.MPTL, cable=Cable(awg=23))

    for standard in ("TIA", "ISO", "other"):
        assert powered(mptl, standard=standard).resistance.cords_ohm == pytest.approx(5 * 0.2678)
    assert powered(mptl, cords_m=2).resistance.cords_ohm == pytest.approx(2 * 0.2678)
    assert not any("assumed" in note for note in powered(mptl).notes)


def test_solid_cords_resist_as_the_cable_of_the_link():
    solid = StatedCords(2.0, is_solid=True)
    permanent = link(10.0, configuration=Configuration.PERMANENT_LINK, cable=Cable(awg=23))
    unknown = link(10.0, configuration=Configuration.PERMANENT_LINK)

    known = power_on(permanent, FACTS, CABLE, standard="TIA", stated=solid)
    assumed = power_on(unknown, FACTS, CABLE, standard="TIA", stated=solid)

    assert known.resistance.cords_ohm == pytest.approx(2 * 0.1336)
    assert "2 m of solid cords were added, 0.27 ohm to the loop of each pair." in known.notes
    assert assumed.resistance.cords_ohm == pytest.approx(2 * 0.1684)
    assert "The gauge is not stated or not known; 24 AWG was assumed." in assumed.notes


def test_cords_resist_alike_for_power_and_for_what_the_link_carries():
    permanent = link(10.0, configuration=Configuration.PERMANENT_LINK, length_m=50.0)
    design = designed(StatedCords(10.0), Catalogue.load(None).get("TIA"), CABLE, is_stated=True)

    assert powered(permanent).resistance.cords_ohm == pytest.approx(10 * design.loop_ohm_per_m.value)


def test_a_length_gives_an_estimate_that_is_marked():
    # 100 m of 24 AWG: 16.84 ohm at 20 °C, and 0.393 % more a degree (memory)
    result = powered(link(length_m=100.0, cable=Cable(awg=24, temperature_c=40)))

    assert 4 * result.resistance.pair_ohm["45"] == pytest.approx(16.84 * 1.0786)
    assert all(feed.estimated for feed in result.classes[4].feeds)
    assert "ohm (estimated) leave the device" in result.classes[4].reason
    assert any("estimated from length at 24 AWG and 40 °C" in note for note in result.notes)


def test_an_estimate_without_temperature_says_which_one_it_takes():
    result = powered(link(length_m=100.0))

    assert any("at 24 AWG and 20 °C, as none is stated" in note for note in result.notes)
    assert "The gauge is not stated or not known; 24 AWG was assumed." in result.notes


def test_only_the_pair_that_was_not_measured_is_estimated_from_the_shortest_length_known():
    readings = {
        "12": PairReadings(loop_resistance_ohm=9.0),
        "36": PairReadings(loop_resistance_ohm=9.0, length_m=50.0),
        "45": PairReadings(loop_resistance_ohm=9.0, length_m=51.0),
    }
    result = powered(LinkMeasurement(Configuration.CHANNEL, readings=readings))

    assert result.resistance.estimated == ("78",)
    assert 4 * result.resistance.pair_ohm["78"] == pytest.approx(50 * 0.1684)
    assert [feed.estimated for feed in result.classes[3].feeds] == [False, True]
    assert result.classes[6].feeds[0].estimated


def test_without_resistance_and_length_nothing_is_evaluated():
    result = powered(LinkMeasurement(Configuration.CHANNEL))

    assert {r.state for r in result.classes.values()} == {Support.NOT_EVALUATED}
    assert {t.state for t in result.types.values()} == {Support.NOT_EVALUATED}
    assert result.highest_class is None
    assert result.guidance == ()
    assert result.types[4].available_w[8] is None


def test_one_pairset_known_is_not_enough_to_say_what_any_source_will_do():
    assert powered(link({"12": 9.0, "36": 9.0})).classes[3].state is Support.NOT_EVALUATED


def test_a_broken_pair_leaves_the_two_pair_classes_to_sources_that_feed_the_others():
    result = powered(link(9.0, wire_map=straight(without="7")))

    assert result.classes[4].state is Support.CONDITIONAL
    assert result.classes[4].reason == (
        "Pair 78 is open or shorted. Only a source that feeds the other two pairs comes into question. "
        "4.50 ohm leave the device its 25.5 W."
    )
    assert result.classes[5].state is Support.NOT_SUPPORTED
    assert result.classes[5].reason == "Pair 78 is open or shorted."
    assert result.classes[5].worst is None
    assert result.types[3].state is Support.NOT_SUPPORTED


def test_two_broken_pairs_of_different_pairsets_leave_nothing():
    result = powered(link(9.0, wire_map=straight(without="17"))).classes[3]

    assert result.state is Support.NOT_SUPPORTED
    assert result.reason == "Pairs 12 and 78 are open or shorted."


def test_a_poor_pairset_leaves_the_class_to_the_better_one():
    result = powered(link({"12": 9.0, "36": 9.0, "45": 30.0, "78": 30.0})).classes[4]

    assert result.state is Support.CONDITIONAL
    assert "left for the device where the source feeds the worse two pairs" in result.reason


def test_very_unequal_pairs_overload_the_better_one():
    # 4 against 12 ohm: three quarters of the current of class 8 in one pair
    result = powered(link({"12": 4.0, "36": 12.0, "45": 12.0, "78": 12.0})).classes[8]

    assert result.state is Support.CONDITIONAL
    assert "one pair carries" in result.reason


def test_so_much_resistance_that_no_current_gives_the_power_leaves_those_values_open():
    feed = powered(link(200.0)).classes[8].feeds[0]

    assert feed.current_a is None
    assert feed.device_voltage_v is None
    assert feed.available_w == pytest.approx(41.1 * (52 - 41.1) / 50)


def test_each_type_says_the_power_of_its_classes_at_its_own_voltage():
    types = powered(link(25.0)).types

    # type 1 at 44 V, type 2 at 50 V, 12.5 ohm: 15.4 - (15.4 / V)^2 12.5
    assert types[1].available_w[3] == pytest.approx(15.4 - (15.4 / 44) ** 2 * 12.5)
    assert types[2].available_w[3] == pytest.approx(15.4 - (15.4 / 50) ** 2 * 12.5)
    assert [t.highest_class for t in types.values()] == [3, 4, 6, 8]
    assert set(types[4].available_w) == set(range(9))


def test_the_notes_and_cautions_say_what_is_not_judged_and_what_is_dangerous():
    result = powered(link(9.0))

    assert any("two signatures" in note for note in result.notes)
    assert any("Do not unplug" in caution for caution in result.cautions)
    assert any("local electrical code" in caution for caution in result.cautions)


loops = st.floats(0, 60)


@given(loops, loops)
def test_a_link_with_more_resistance_never_carries_a_higher_class_or_more_power(first, second):
    low, high = (powered(link(ohm)) for ohm in sorted((first, second)))

    assert (high.highest_class if high.highest_class is not None else -1) <= (
        low.highest_class if low.highest_class is not None else -1
    )
    for number in FACTS.classes:
        assert high.classes[number].worst.available_w <= low.classes[number].worst.available_w + 1e-9


@given(st.lists(loops, min_size=4, max_size=4))
def test_the_current_of_four_pairs_is_never_shared_better_than_evenly(ohms):
    feed = powered(link(dict(zip(("12", "36", "45", "78"), ohms, strict=True)))).classes[6].feeds[0]

    if feed.current_a is not None:
        assert feed.pair_current_a >= feed.current_a / 2


@given(st.floats(1, 100), st.floats(-20, 60), st.floats(-20, 60))
def test_warmer_cable_is_estimated_with_more_resistance(length_m, first_c, second_c):
    low, high = (
        powered(link(length_m=length_m, cable=Cable(temperature_c=t))).resistance.pair_ohm["12"]
        for t in sorted((first_c, second_c))
    )

    assert low <= high


@pytest.mark.parametrize("measurement", [link(21.0), link(), link(200.0), link(9.0, wire_map=straight("12"))])
def test_the_document_is_plain_json_with_every_class_and_type(measurement):
    document = powering_document(powered(measurement), FACTS.heating)

    assert json.loads(json.dumps(document, allow_nan=False)) == document
    assert [item["class"] for item in document["classes"]] == list(range(9))
    assert [item["type"] for item in document["types"]] == [1, 2, 3, 4]


def test_the_document_carries_unbalance_and_guidance_with_its_source():
    wires = dict(zip(PINS, (8.0, 8.3, 8.1, 8.0, 8.0, 8.1, 9.0, 9.4), strict=True))
    measurement = LinkMeasurement(Configuration.CHANNEL, conductor_resistance_ohm=wires)
    document = powering_document(powered(measurement), FACTS.heating)

    assert document["unbalance"][0]["percent"] == 1.84
    assert all(item["source"] for item in document["heating"])
    assert CABLE.loop_resistance_ohm_per_m[24].value == 0.1684
