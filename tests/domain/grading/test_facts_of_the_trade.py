"""Verdicts against what is published or common practice about real cable."""

from dataclasses import replace

import numpy as np
import pytest

from domain.distance.line_model import Line
from domain.grading.flat import READINGS, STRAIGHT, link, result, verdict_of
from fourpair_service.domain.grading.link import grade
from fourpair_service.domain.grading.timing import length_m
from fourpair_service.domain.link import PAIRS, Configuration
from fourpair_service.domain.measurement import Cable, CurveGroup, LinkMeasurement, PairReadings
from fourpair_service.domain.parameters import Parameter
from fourpair_service.domain.verdict import Outcome, Requirement
from fourpair_service.rulesets.catalogue import Catalogue

TIA, ISO = "tia-568.2-d-2018", "iso-11801-1-2017"
PERMANENT_LINK, CHANNEL = Configuration.PERMANENT_LINK, Configuration.CHANNEL

# Largest attenuation of category 5e cable, dB/100 m: what-when-how.com, LAN wiring, Table 15.2.
MHZ = np.array([1, 4, 10, 16, 20, 31.25, 62.5, 100.0])
CABLE_5E_DB = np.array([2.0, 4.1, 6.5, 8.2, 9.3, 11.7, 17.0, 22.0])


def loss_result(rule_set, category, configuration, loss_db):
    """The result of insertion loss of four equal pairs, coverage left aside."""
    group = CurveGroup(MHZ, PAIRS, np.tile(loss_db, (4, 1)))
    measured = LinkMeasurement(configuration, curves={(Parameter.INSERTION_LOSS, None): (group,)})
    asked = Requirement(category, coverage_is_advisory=True)
    return result(grade(measured, Catalogue.load().get(rule_set), asked), Parameter.INSERTION_LOSS)


@pytest.mark.parametrize(("rule_set", "category"), [(TIA, "5e"), (ISO, "D")])
@pytest.mark.parametrize(("configuration", "metres"), [(PERMANENT_LINK, 90), (CHANNEL, 100)])
def test_cable_at_its_published_largest_attenuation_passes_at_the_longest_length(
    rule_set, category, configuration, metres
):
    assert loss_result(rule_set, category, configuration, CABLE_5E_DB * metres / 100).outcome is Outcome.PASS


@pytest.mark.parametrize(("configuration", "metres"), [(PERMANENT_LINK, 100), (CHANNEL, 113)])
def test_a_tenth_more_of_it_fails_at_100_mhz_where_the_limit_has_least_room(configuration, metres):
    found = loss_result(TIA, "5e", configuration, CABLE_5E_DB * metres / 100)

    assert found.outcome is Outcome.FAIL
    assert found.worst_margin.frequency_mhz == 100.0


def test_the_permanent_link_leaves_three_connectors_beside_90_m_of_published_cable():
    # A connector loses 0.04 sqrt(f) dB: 0.4 dB at 100 MHz (printed rows in tests/rulesets); the cable
    # table is rounded to 0.1 dB.
    connectors = 3 * 0.04 * np.sqrt(MHZ)

    limit = Catalogue.load().get(TIA).curve("5e", PERMANENT_LINK, Parameter.INSERTION_LOSS)

    np.testing.assert_allclose(limit.at(MHZ) - 0.9 * CABLE_5E_DB, connectors, atol=0.05)


@pytest.mark.parametrize(
    ("metres", "outcome"), [(90.0, Outcome.PASS), (101.0, Outcome.PASS), (103.0, Outcome.FAIL)]
)
def test_the_published_wire_type_reaches_the_delay_limit_of_a_permanent_link_just_beyond_its_length(
    metres, outcome
):
    # Wire type CAT5 of the G.fast draft 2013-07-Q4-R20: 490.0 ns for 100 m at 10 MHz; 498 ns is the
    # limit of a permanent link in TIA-568.2-D, so 101.6 m.
    f = np.arange(1.0, 100.5, 0.5)
    through = np.exp(-Line(f).gamma() * metres)
    group = CurveGroup.from_complex(f, PAIRS, np.tile(through, (4, 1)))
    measured = LinkMeasurement(PERMANENT_LINK, curves={(Parameter.INSERTION_LOSS, None): (group,)})

    found = result(grade(measured, Catalogue.load().get(TIA), Requirement("5e")), Parameter.PROPAGATION_DELAY)

    assert found.outcome is outcome
    assert found.worst_margin.measured == pytest.approx(4.900 * metres, abs=0.05)


def test_fifty_feet_of_cable_delay_by_about_76_ns():
    # Common practice, no published source: 50 ft shows 76 ns at an NVP near 0.67.
    measured = link(readings=dict.fromkeys(PAIRS, PairReadings(delay_ns=76.0)), cable=Cable(nvp=0.67))

    assert length_m(measured, "12") == pytest.approx(50 * 0.3048, rel=0.005)


@pytest.mark.parametrize("rule_set", [TIA, ISO])
def test_a_skew_of_five_nanoseconds_is_a_good_one(rule_set):
    # Common practice, no published source: it takes a fifth of any built-in limit at most.
    edition = Catalogue.load().get(rule_set)
    for category in (c for c in edition.categories.values() if not c.missing):
        verdict = grade(
            LinkMeasurement(PERMANENT_LINK, wire_map=STRAIGHT, delay_skew_ns=5.0),
            edition,
            Requirement(category.name),
        )
        point = result(verdict, Parameter.DELAY_SKEW).worst_margin
        assert point.measured <= point.limit / 5


def test_four_hundred_and_fifty_nanoseconds_and_an_nvp_of_0_69_are_a_full_permanent_link():
    # Common practice, no published source: some 5 ns for each metre.
    readings = dict.fromkeys(PAIRS, replace(READINGS, length_m=None, delay_ns=450.0))

    found = result(verdict_of(link(readings=readings, cable=Cable(nvp=0.69))), Parameter.LENGTH)

    assert found.worst_margin.measured == pytest.approx(93, abs=0.5)
