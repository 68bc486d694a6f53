"""Rule 7 of the verdict: a delay carries its frequency; length is delay times NVP times c."""

from dataclasses import replace

import numpy as np
import pytest

from domain.distance.line_model import Line
from domain.grading.flat import (
    NONE,
    READINGS,
    codes,
    curve,
    edition,
    link,
    result,
    rules,
    segment,
    verdict_of,
)
from fourpair_service.domain.grading.link import grade
from fourpair_service.domain.grading.timing import length_m
from fourpair_service.domain.limits import Basis, ReadingLimit
from fourpair_service.domain.link import PAIRS, Configuration
from fourpair_service.domain.measurement import Cable, CurveGroup, LinkMeasurement, PairReadings, WireMap
from fourpair_service.domain.parameters import Parameter
from fourpair_service.domain.verdict import Outcome, Requirement
from fourpair_service.rulesets.catalogue import Catalogue

TIA, ISO = "tia-568.2-d-2018", "iso-11801-1-2017"
DELAY, SKEW = Parameter.PROPAGATION_DELAY, Parameter.DELAY_SKEW
AXIS = np.arange(1.0, 250.5, 0.5)


def swept(length_m=90.0, axis=AXIS, pairs=PAIRS, slower=None, **fields):
    """A link of matched line, its transmission as complex values; ``slower`` scales the delay of pairs."""
    gamma = Line(axis).gamma()
    rows = [
        np.exp(-(gamma.real + 1j * gamma.imag * (slower or {}).get(pair, 1.0)) * length_m) for pair in pairs
    ]
    curves = {
        (Parameter.INSERTION_LOSS, None): (CurveGroup.from_complex(axis, tuple(pairs), np.stack(rows)),)
    }
    return LinkMeasurement(Configuration.PERMANENT_LINK, curves=curves, **fields)


def true_delay_ns(frequency_mhz, length_m=90.0):
    line = Line(np.array([float(frequency_mhz)]))
    return float(line.gamma().imag[0] * length_m / (2 * np.pi * frequency_mhz) * 1e3)


def judged(measurement, rule_set, category, parameter):
    verdict = grade(measurement, Catalogue.load().get(rule_set), Requirement(category))
    return result(verdict, parameter)


def stated(delay_ns, frequency_mhz=10.0, **more):
    readings = PairReadings(delay_ns=delay_ns, delay_frequency_mhz=frequency_mhz, **more)
    return LinkMeasurement(Configuration.PERMANENT_LINK, readings=dict.fromkeys(PAIRS, readings))


# 498 ns at 10 MHz: TIA permanent link, tests/rulesets/printed_limits.csv.
@pytest.mark.parametrize(("delay_ns", "outcome"), [(498.0, Outcome.PASS), (499.0, Outcome.FAIL)])
def test_rule_7_tia_judges_the_delay_at_10_mhz(delay_ns, outcome):
    found = judged(stated(delay_ns), TIA, "6A", DELAY)

    assert found.outcome is outcome
    assert found.worst_margin.frequency_mhz == 10.0
    assert found.worst_margin.limit == pytest.approx(498, abs=0.6)


@pytest.mark.parametrize("frequency_mhz", [9.89, 10.11, 100.0])
def test_rule_7_tia_does_not_judge_a_delay_stated_elsewhere(frequency_mhz):
    found = judged(stated(600.0, frequency_mhz), TIA, "6A", DELAY)

    assert found.outcome is Outcome.INCOMPLETE
    assert found.incomplete_because[0] == (
        f"the delay of 12 is stated at {frequency_mhz:g} MHz and is judged at 10 MHz"
    )


def test_rule_7_a_delay_stated_within_a_percent_of_10_mhz_is_judged_and_keeps_its_frequency():
    found = judged(stated(499.0, 10.05), TIA, "6A", DELAY)

    assert (found.outcome, found.worst_margin.frequency_mhz) == (Outcome.FAIL, 10.05)


@pytest.mark.parametrize("frequency_mhz", [1.0, 10.0, 100.0, 250.0])
def test_rule_7_iso_judges_a_delay_at_its_own_frequency_by_the_formula(frequency_mhz):
    # Class E permanent link: 0.9 (534 + 36/sqrt(f)) + 3 * 2.5 (see the data file for its source).
    formula = Catalogue.load().get(ISO).curve("E", Configuration.PERMANENT_LINK, DELAY)
    limit = float(formula.at(np.array([frequency_mhz]))[0])

    inside, outside = (judged(stated(limit + x, frequency_mhz), ISO, "E", DELAY) for x in (-0.1, 0.1))

    assert (inside.outcome, outside.outcome) == (Outcome.PASS, Outcome.FAIL)
    assert outside.worst_margin.margin == pytest.approx(-0.1)
    assert outside.worst_margin.frequency_mhz == frequency_mhz


def test_rule_7_iso_has_no_limit_for_a_delay_stated_outside_the_class():
    found = judged(stated(100.0, 500.0), ISO, "E", DELAY)

    assert found.outcome is Outcome.INCOMPLETE
    assert "stated at 500 MHz, where there is no limit" in found.incomplete_because[0]


def test_rule_7_iso_judges_a_complex_sweep_over_the_whole_range():
    found = judged(swept(), ISO, "E", DELAY)

    formula = Catalogue.load().get(ISO).curve("E", Configuration.PERMANENT_LINK, DELAY)
    margins = formula.at(AXIS) - np.array([true_delay_ns(f) for f in AXIS])
    assert found.outcome is Outcome.PASS
    assert found.worst_margin.margin == pytest.approx(margins.min(), abs=0.001)
    assert found.worst_margin.frequency_mhz == AXIS[margins.argmin()]
    assert found.judged_points == 4 * AXIS.size
    assert found.worst_value.measured == pytest.approx(true_delay_ns(1.0), abs=0.001)
    assert found.worst_value.frequency_mhz == 1.0


def test_rule_7_a_delay_that_is_too_long_at_one_end_of_the_range_fails_there():
    # A limit that the line meets at 10 MHz and not at 1 MHz.
    between = (true_delay_ns(1.0) + true_delay_ns(2.0)) / 2
    rule_set = edition(curves=[curve(DELAY, segment(between))], switches=rules(delay_at_mhz=NONE))

    found = result(verdict_of(swept(), rule_set), DELAY)

    assert found.outcome is Outcome.FAIL
    assert found.worst_margin.frequency_mhz == 1.0
    assert found.worst_margin.margin == pytest.approx(between - true_delay_ns(1.0), abs=0.001)


def test_rule_7_tia_takes_10_mhz_from_the_sweep_where_no_delay_was_stated():
    found = judged(swept(), TIA, "6", DELAY)

    assert found.worst_margin.measured == pytest.approx(true_delay_ns(10.0), abs=0.001)
    assert (found.worst_margin.frequency_mhz, found.judged_points) == (10.0, 4)


def test_rule_7_a_stated_delay_at_10_mhz_stands_before_the_sweep_in_tia_and_beside_it_in_iso():
    readings = dict.fromkeys(PAIRS, PairReadings(delay_ns=560.0))
    short = swept(20.0, readings=readings)

    for rule_set, category in ((TIA, "6"), (ISO, "E")):
        found = judged(short, rule_set, category, DELAY)
        assert (found.outcome, found.worst_margin.measured) == (Outcome.FAIL, 560.0)


def test_rule_7_a_sweep_without_a_point_at_10_mhz_gives_tia_no_delay():
    found = judged(
        swept(axis=np.array([1.0, 2.0, 4.0, 6.0, 8.0, 9.8, 10.2, 12.0, 14.0, 16.0])), TIA, "3", DELAY
    )

    assert found.outcome is Outcome.INCOMPLETE
    assert found.incomplete_because[0] == "the sweep of 12 has no point at 10 MHz, where delay is judged"


def test_rule_7_magnitudes_alone_give_no_delay():
    plain = swept()
    (group,) = plain.curves[(Parameter.INSERTION_LOSS, None)]
    plain = replace(
        plain,
        curves={
            (Parameter.INSERTION_LOSS, None): (CurveGroup(group.frequency_mhz, group.keys, group.value_db),)
        },
    )

    for rule_set, category in ((TIA, "6"), (ISO, "E")):
        for parameter in (DELAY, SKEW):
            assert judged(plain, rule_set, category, parameter).outcome is Outcome.INCOMPLETE


def test_rule_7_a_phase_that_is_noise_gives_no_delay_and_says_so():
    rng = np.random.default_rng(4)
    noise = np.exp(2j * np.pi * rng.random((4, AXIS.size)))
    curves = {(Parameter.INSERTION_LOSS, None): (CurveGroup.from_complex(AXIS, PAIRS, noise),)}

    found = judged(LinkMeasurement(Configuration.PERMANENT_LINK, curves=curves), ISO, "E", DELAY)

    assert found.outcome is Outcome.INCOMPLETE
    assert "propagation delay not measured on 12: no delay: the phase" in found.incomplete_because[0]


def test_rule_7_where_next_to_nothing_comes_through_the_phase_is_not_judged():
    quiet = swept()
    (group,) = quiet.curves[(Parameter.INSERTION_LOSS, None)]
    value = group.value_complex * np.where(AXIS > 200, 1e-3, 1.0)
    measured = replace(
        quiet, curves={(Parameter.INSERTION_LOSS, None): (CurveGroup.from_complex(AXIS, PAIRS, value),)}
    )

    assert judged(measured, ISO, "E", DELAY).judged_points == 4 * int((AXIS <= 200).sum())


def test_rule_7_a_sweep_outside_the_range_of_the_class_judges_nothing():
    found = judged(swept(axis=np.arange(300.0, 400.0, 0.2), length_m=5.0), ISO, "D", DELAY)

    assert found.outcome is Outcome.INCOMPLETE


def test_rule_7_skew_is_judged_over_the_range_in_iso_and_at_10_mhz_in_tia():
    measured = swept(slower={"45": 1.05})
    every = np.array([0.05 * true_delay_ns(f) for f in AXIS])

    iso, tia = judged(measured, ISO, "E", SKEW), judged(measured, TIA, "6", SKEW)

    assert iso.worst_margin.measured == pytest.approx(every.max(), abs=0.001)
    assert (iso.worst_margin.frequency_mhz, iso.judged_points) == (AXIS[every.argmax()], AXIS.size)
    assert tia.worst_margin.measured == pytest.approx(0.05 * true_delay_ns(10.0), abs=0.001)
    assert (tia.worst_margin.frequency_mhz, tia.judged_points) == (10.0, 1)


def test_rule_7_skew_needs_the_delay_of_all_four_pairs_at_one_frequency():
    readings = {
        pair: PairReadings(delay_ns=450.0, delay_frequency_mhz=f)
        for pair, f in zip(PAIRS, (10, 10, 10, 100), strict=True)
    }
    mixed = LinkMeasurement(Configuration.PERMANENT_LINK, readings=readings)

    for measured in (mixed, swept(pairs=PAIRS[:3])):
        for rule_set, category in ((ISO, "E"), (TIA, "6")):
            assert judged(measured, rule_set, category, SKEW).outcome is Outcome.INCOMPLETE


def test_rule_7_sweeps_on_axes_of_their_own_are_compared_where_they_meet():
    first = swept(pairs=PAIRS[:2])
    second = swept(pairs=PAIRS[2:], axis=np.arange(0.5, 300.0, 0.4), slower={"78": 1.02})
    key = (Parameter.INSERTION_LOSS, None)
    both = replace(first, curves={key: (*first.curves[key], *second.curves[key])})

    found = judged(both, ISO, "E", SKEW)

    assert found.worst_margin.measured == pytest.approx(0.02 * true_delay_ns(1.0), abs=0.01)


def test_rule_7_a_stated_skew_counts_beside_the_swept_one():
    worse, better = (judged(swept(slower={"45": 1.05}, delay_skew_ns=x), ISO, "E", SKEW) for x in (50.0, 1.0))

    assert (worse.worst_margin.measured, worse.outcome) == (50.0, Outcome.FAIL)
    assert better.worst_margin.measured > 20


def test_rule_7_stated_delays_give_the_skew():
    readings = {
        pair: PairReadings(delay_ns=x) for pair, x in zip(PAIRS, (450.0, 470.0, 495.0, 460.0), strict=True)
    }

    found = judged(LinkMeasurement(Configuration.PERMANENT_LINK, readings=readings), TIA, "6", SKEW)

    assert (found.worst_margin.measured, found.outcome) == (45.0, Outcome.FAIL)


# Length


def test_rule_7_length_is_the_delay_at_10_mhz_times_nvp_times_c():
    measured = link(readings=dict.fromkeys(PAIRS, PairReadings(delay_ns=400.0)), cable=Cable(nvp=0.7))

    point = result(verdict_of(measured), Parameter.LENGTH).worst_margin

    assert point.measured == pytest.approx(400.0 * 0.7 * 0.299792458)


def test_rule_7_length_comes_from_the_sweep_too():
    assert length_m(swept(cable=Cable(nvp=0.6)), "12") == pytest.approx(
        true_delay_ns(10.0) * 0.6 * 0.299792458, abs=1e-3
    )


@pytest.mark.parametrize(
    ("reading", "nvp"),
    [
        (PairReadings(), 0.7),
        (PairReadings(delay_ns=400.0), None),
        (PairReadings(delay_ns=400.0, delay_frequency_mhz=100.0), 0.7),
    ],
)
def test_rule_7_without_nvp_or_delay_at_10_mhz_there_is_no_length(reading, nvp):
    measured = link(readings=dict.fromkeys(PAIRS, reading), cable=Cable(nvp=nvp))

    found = result(verdict_of(measured), Parameter.LENGTH)

    assert found.incomplete_because == ("length not measured",)


def test_rule_7_the_shortest_pair_is_the_length_of_the_link_with_ten_percent_for_the_nvp():
    # 90 m and 10 % of it: TIA permanent link (the 10 % from memory of TIA-1152).
    readings = {
        pair: PairReadings(length_m=x) for pair, x in zip(PAIRS, (101.0, 99.5, 98.9, 100.0), strict=True)
    }
    measured = LinkMeasurement(Configuration.PERMANENT_LINK, readings=readings)

    found = judged(measured, TIA, "6", Parameter.LENGTH)

    assert (found.worst_margin.pairs, found.worst_margin.limit) == ("45", pytest.approx(99.0))
    assert found.outcome is Outcome.PASS
    assert found.note == "the shortest pair, against 90 m and 10 % for the uncertainty of the NVP"


def test_rule_7_iso_shows_the_length_without_a_limit():
    found = judged(stated(400.0, length_m=150.0), ISO, "E", Parameter.LENGTH)

    assert (found.outcome, found.worst_margin.margin, found.worst_margin.measured) == (None, None, 150.0)


def test_rule_7_a_pair_that_does_not_reach_the_far_end_has_a_distance_and_no_length():
    cut = WireMap(tuple((pin, pin) for pin in "12367845" if pin not in "45"))
    readings = {**dict.fromkeys(PAIRS, READINGS), "45": PairReadings(length_m=23.0, delay_ns=999.0)}

    verdict = verdict_of(link(wire_map=cut, readings=readings))

    assert result(verdict, Parameter.LENGTH).worst_margin.measured == 50.0
    assert {point.pairs for point in result(verdict, DELAY).by_pair} == {"12", "36", "78"}


def test_where_no_pair_reaches_the_far_end_nothing_can_be_read():
    verdict = verdict_of(link(wire_map=WireMap(())))

    assert result(verdict, DELAY).incomplete_because == ("no pair reaches the far end",)


@pytest.mark.parametrize(("length", "cautioned"), [(50.4, False), (51.0, True), (49.0, True)])
def test_rule_7_length_delay_and_nvp_that_disagree_by_more_than_a_percent_are_a_caution(length, cautioned):
    readings = replace(READINGS, length_m=length, delay_ns=250.0)  # 50.0 m at 0.667
    verdict = verdict_of(link(readings=dict.fromkeys(PAIRS, readings)))

    assert ("length-delay-nvp" in codes(verdict)) is cautioned
    assert verdict.outcome is Outcome.PASS


@pytest.mark.parametrize(
    "readings",
    [PairReadings(length_m=70.0), PairReadings(delay_ns=250.0), PairReadings(70.0, 250.0, 100.0)],
)
def test_rule_7_there_is_nothing_to_compare_without_a_length_and_a_delay_at_10_mhz(readings):
    assert "length-delay-nvp" not in codes(verdict_of(link(readings=dict.fromkeys(PAIRS, readings))))
    assert "length-delay-nvp" not in codes(verdict_of(link(cable=Cable())))


def test_an_edition_whose_delay_has_no_limit_at_its_own_frequency_judges_none():
    high = edition(curves=[curve(DELAY, segment(500.0, start=50.0))])

    assert result(verdict_of(rule_set=high), DELAY).incomplete_because == ("no limit is built in",)


def test_a_length_without_an_allowance_is_held_against_the_plain_value():
    rule_set = edition(
        readings=[ReadingLimit(Parameter.LENGTH, "X", "permanent_link", 49.0, "made up", Basis.PUBLISHED)]
    )

    found = result(verdict_of(rule_set=rule_set), Parameter.LENGTH)

    assert (found.outcome, found.note) == (Outcome.FAIL, "the shortest pair, against 49 m")
