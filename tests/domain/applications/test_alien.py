"""Noise from other cables: by measurement, by what is declared, never by what the sweeps meet."""

from dataclasses import replace

import pytest

from domain.applications.links import (
    DATA,
    FACTS,
    ISO,
    STRAIGHT,
    TIA,
    answers,
    link_inside,
    verdict_of,
    with_alien,
)
from fourpair_service.domain.applications.alien import AlienState, declared, judge_alien
from fourpair_service.domain.applications.support import end_to_end
from fourpair_service.domain.link import SHIELD, Configuration, End
from fourpair_service.domain.measurement import Cable, PairReadings, WireMap
from fourpair_service.domain.parameters import Parameter
from fourpair_service.domain.support import Support

FAST = ("2.5GBASE-T", "5GBASE-T", "10GBASE-T")
WITH_SHIELD = WireMap((*STRAIGHT.contacts, (SHIELD, SHIELD)), shield_tested=True)
WITHOUT_SHIELD = WireMap(STRAIGHT.contacts, shield_tested=True)


def fast(link, category="6A", **options):
    found = answers(link, category, **options)
    return {name: found[name].state.value for name in FAST}


@pytest.mark.parametrize("declared", ["6A", "Cat 6a", "class EA", "7A", "FA"])
def test_cable_declared_6a_or_above_needs_no_alien_measurement(declared):
    assert fast(link_inside("6A", cable=Cable(category=declared))) == dict.fromkeys(FAST, "supported")


@pytest.mark.parametrize("cable", [Cable(), Cable(category="6"), Cable(category="5e", screening="U/UTP")])
def test_curves_that_meet_6a_do_not_replace_a_declaration(cable):
    found = answers(link_inside("6A", cable=cable), "6A")

    assert {found[name].state for name in FAST} == {Support.CONDITIONAL}
    assert found["1000BASE-T"].state is Support.SUPPORTED


def test_an_undeclared_cable_is_said_to_count_as_the_lowest():
    conditions = answers(link_inside("6A"), "6A")["10GBASE-T"].conditions

    assert "The cable is not declared, so it counts as unscreened and below category 6A." in conditions


def test_connectors_declared_below_the_cable_take_its_exemption_away():
    link = link_inside("6A", cable=Cable(category="6A"))

    assert set(fast(link, connectors="6").values()) == {"conditional"}
    assert set(fast(link, connectors="6A").values()) == {"supported"}
    assert any("connectors are not declared" in note for note in answers(link, "6A")["10GBASE-T"].notes)


def test_a_screen_keeps_other_cables_away_where_it_reaches_the_far_end():
    cable = Cable(category="6", screening="F/UTP")
    whole = replace(link_inside("6A", cable=cable), wire_map=WITH_SHIELD)
    broken = replace(whole, wire_map=WITHOUT_SHIELD)

    assert set(fast(whole).values()) == {"supported"}
    found = answers(broken, "6A")["10GBASE-T"]
    assert found.state is Support.CONDITIONAL
    assert "The screen does not reach the far end, so it does not count." in found.conditions


@pytest.mark.parametrize(
    ("length_m", "words"), [(30, "should work"), (37, "should work"), (50, "depends"), (70, "needs measures")]
)
def test_10gbase_t_over_category_6_says_what_its_length_means(length_m, words):
    conditions = " ".join(answers(link_inside("6", length_m=length_m), "6")["10GBASE-T"].conditions)

    assert words in conditions
    assert "From end to end it is" in conditions
    assert "From end to end" not in " ".join(answers(link_inside("6"), "6")["5GBASE-T"].conditions)


def test_the_length_counts_with_its_cords():
    link = link_inside("6", length_m=50.0, configuration=Configuration.PERMANENT_LINK)

    assert any("it is 60 m" in c for c in answers(link, "6")["10GBASE-T"].conditions)


def test_a_length_that_is_not_known_is_said_to_be_missing():
    link = link_inside("6", loss_share=0.8, margin_db=2.0)
    bare = {p: PairReadings(delay_ns=r.delay_ns, loop_resistance_ohm=14) for p, r in link.readings.items()}

    conditions = answers(replace(link, readings=bare), "E", rule_set=ISO)["10GBASE-T"].conditions

    assert "Its length is not known, on which the alien crosstalk depends." in conditions


def test_alien_crosstalk_inside_the_limits_lifts_the_condition():
    link = with_alien(link_inside("6A"), 62.5)

    assert set(fast(link).values()) == {"supported"}
    assert any("inside its limit" in note for note in answers(link, "6A")["10GBASE-T"].notes)


def test_alien_crosstalk_outside_the_limits_stops_10gbase_t_and_leaves_the_slower_ones_open():
    link = with_alien(link_inside("6A", cable=Cable(category="6A")), 45.0)
    found = answers(link, "6A")

    assert fast(link) == {
        "2.5GBASE-T": "conditional",
        "5GBASE-T": "conditional",
        "10GBASE-T": "not_supported",
    }
    assert found["10GBASE-T"].limiting.parameter is Parameter.PS_ANEXT
    assert found["10GBASE-T"].headroom_db < 0
    assert "which would be enough" in " ".join(found["5GBASE-T"].conditions)


def test_alien_crosstalk_at_the_far_end_of_the_line_counts_as_well():
    link = with_alien(link_inside("6A"), 70.0, far_level_db=30.0)

    answer = answers(link, "6A")["10GBASE-T"]

    assert answer.state is Support.NOT_SUPPORTED
    assert answer.limiting.parameter is Parameter.PS_AACR_F


@pytest.mark.parametrize("lacking", [(Parameter.PS_ANEXT, End.FAR), (Parameter.PS_AACR_F, End.NEAR)])
def test_half_an_alien_measurement_is_none(lacking):
    link = with_alien(link_inside("6A"), 70.0)
    link = replace(link, curves={k: v for k, v in link.curves.items() if k != lacking})

    assert set(fast(link).values()) == {"conditional"}


def test_an_alien_measurement_that_ends_early_answers_only_what_it_reaches():
    link = with_alien(link_inside("6A"), 70.0, top_mhz=250.0)

    assert fast(link) == {"2.5GBASE-T": "supported", "5GBASE-T": "supported", "10GBASE-T": "conditional"}


def test_a_link_that_loses_less_may_take_more_noise():
    # 47 dB at 55 m and 62 dB at 100 m of class E loss (IEEE 802.3an reflector msg00679, msg00681).
    short, long = link_inside("6A", loss_share=0.5), link_inside("6A", loss_share=1.0)

    assert fast(with_alien(short, 50.0))["10GBASE-T"] == "supported"
    assert fast(with_alien(long, 50.0))["10GBASE-T"] == "not_supported"


def test_a_loss_that_is_not_known_where_the_relief_looks_gives_none():
    link = with_alien(link_inside("6A", loss_share=0.5), 50.0)
    (loss,) = link.curves[(Parameter.INSERTION_LOSS, None)]
    low = loss.frequency_mhz <= 200
    short = replace(loss, frequency_mhz=loss.frequency_mhz[low], value_db=loss.value_db[:, low])
    cut = replace(link, curves={**link.curves, (Parameter.INSERTION_LOSS, None): (short,)})
    verdict = verdict_of(cut, "6A")
    tables = end_to_end(cut, verdict, TIA, DATA, FACTS).tables
    cabling = declared(cut, verdict.wire_map)

    answer = judge_alien(tables, DATA.applications["10GBASE-T"], DATA.alien, cabling)

    assert answer.state is AlienState.OUTSIDE


def test_alien_crosstalk_never_matters_below_2_5_gigabit():
    found = answers(with_alien(link_inside("6A"), 20.0), "6A")

    assert found["1000BASE-T"].state is Support.SUPPORTED
    assert found["1000BASE-T"].conditions == ()
