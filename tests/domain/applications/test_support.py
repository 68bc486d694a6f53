"""Which applications a link carries, and why."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from domain.applications.links import (
    DATA,
    FACTS,
    ISO,
    TIA,
    answers,
    link_inside,
    states,
    verdict_of,
    with_curve,
)
from fourpair_service.domain.applications.contrast import contrast
from fourpair_service.domain.applications.result import Reasoning
from fourpair_service.domain.applications.segment import judge_segment
from fourpair_service.domain.applications.support import assess_applications, end_to_end, highest_supported
from fourpair_service.domain.applications.wording import sentences
from fourpair_service.domain.grading.link import grade
from fourpair_service.domain.limits import Basis
from fourpair_service.domain.link import PAIRS, PINS, Configuration, End
from fourpair_service.domain.measurement import (
    AccuracyCurve,
    Cable,
    Instrument,
    PairReadings,
    Summary,
    SummaryReading,
    WireMap,
)
from fourpair_service.domain.parameters import Parameter
from fourpair_service.domain.support import Support
from fourpair_service.domain.verdict import Outcome, Requirement

SLOWEST_FIRST = ("10BASE-T", "100BASE-TX", "1000BASE-T", "2.5GBASE-T", "5GBASE-T", "10GBASE-T")
FOUR_PAIR = SLOWEST_FIRST[2:]
BEST_FIRST = ("supported", "conditional", "not_evaluated", "not_supported")
PERMANENT = Configuration.PERMANENT_LINK
THOUSAND = DATA.applications["1000BASE-T"]


def without(*pins, **moved):
    contacts = [(pin, moved.get(f"p{pin}", pin)) for pin in PINS if pin not in pins]
    return WireMap(tuple(contacts))


def text_of(link, category, name, **options):
    return " ".join(sentences(answers(link, category, **options)[name], link))


# From end to end ------------------------------------------------------------------


def test_a_channel_of_category_6a_cable_carries_everything_by_measurement():
    link = link_inside("6A", cable=Cable(category="6A"))

    found = answers(link, "6A")

    assert {name: a.state.value for name, a in found.items()} == dict.fromkeys(SLOWEST_FIRST, "supported")
    assert {a.reasoning for a in found.values()} == {Reasoning.MEASURED}
    assert not any(a.is_predicted for a in found.values())


def test_a_channel_of_category_5e_carries_1000base_t_and_leaves_the_faster_ones_open():
    found = states(link_inside("5e", cable=Cable(category="5e")), "5e")

    assert found == {
        "10BASE-T": "supported",
        "100BASE-TX": "supported",
        "1000BASE-T": "supported",
        "2.5GBASE-T": "conditional",
        "5GBASE-T": "conditional",  # swept to 100 MHz: by its class, on a condition
        "10GBASE-T": "not_supported",  # it asks for more below 100 MHz already
    }


def test_headroom_is_the_smallest_margin_in_db_with_its_place():
    link = with_curve(
        link_inside("6A"),
        Parameter.RETURN_LOSS,
        End.FAR,
        "78",
        lambda f, v: np.where(np.abs(f - 60) < 0.13, 15 - 10 * np.log10(f / 20) + 0.25, v),
    )

    answer = answers(link, "6A")["1000BASE-T"]

    assert answer.state is Support.SUPPORTED
    assert answer.headroom_db == pytest.approx(0.25, abs=1e-9)
    assert (answer.limiting.parameter, answer.limiting.end) == (Parameter.RETURN_LOSS, End.FAR)
    assert (answer.limiting.pairs, answer.limiting.frequency_mhz) == ("78", 60.0)
    assert "Return loss at the far end on pair 78 at 60 MHz is 0.2 dB inside" in text_of(
        link, "6A", "1000BASE-T"
    )


def test_what_fails_decides_and_names_the_clause():
    link = link_inside("6A", loss_share=1.6)

    answer = answers(link, "6A")["1000BASE-T"]

    assert answer.state is Support.NOT_SUPPORTED
    assert answer.limiting.parameter is Parameter.INSERTION_LOSS
    assert answer.headroom_db < 0
    assert answer.limiting.clause == "40.7.2.1"
    assert answer.basis == "cross_checked"


def test_a_sweep_that_ends_early_leaves_an_application_unjudged_and_says_where():
    found = answers(link_inside("6"), "6")["10GBASE-T"]
    by_class = answers(replace(link_inside("6"), wire_map=None), "6")["10GBASE-T"]

    assert found.reasoning is Reasoning.INHERITED
    assert by_class.state is Support.NOT_EVALUATED
    assert "wire map: not measured" in by_class.missing
    assert any("the sweep ends at 250 MHz and must reach 500 MHz" in why for why in by_class.missing)
    assert by_class.headroom_db is None


def test_a_failure_inside_the_measured_range_is_a_failure_whatever_is_missing_above():
    link = link_inside("6", loss_share=1.5)

    assert answers(link, "6")["10GBASE-T"].state is Support.NOT_SUPPORTED


@pytest.mark.parametrize("end", list(End))
def test_an_end_that_was_not_measured_is_named(end):
    link = link_inside("5e")
    link = replace(link, curves={k: v for k, v in link.curves.items() if k != (Parameter.RETURN_LOSS, end)})

    answer = answers(link, "5e")["1000BASE-T"]

    assert answer.state is Support.NOT_EVALUATED
    assert answer.missing == (f"not measured (return loss at the {end} end)",)


def test_fext_of_one_end_serves_both():
    link = link_inside("5e")
    link = replace(link, curves={k: v for k, v in link.curves.items() if k != (Parameter.FEXT, End.FAR)})

    assert answers(link, "5e")["1000BASE-T"].state is Support.SUPPORTED


def test_a_pair_that_was_not_swept_is_named():
    link = link_inside("5e")
    (group,) = link.curves[(Parameter.RETURN_LOSS, End.NEAR)]
    three = replace(group, keys=group.keys[:3], value_db=group.value_db[:3])
    link = replace(link, curves={**link.curves, (Parameter.RETURN_LOSS, End.NEAR): (three,)})

    found = answers(link, "5e")

    assert found["1000BASE-T"].missing == ("not measured on 78 (return loss at the near end)",)
    assert found["100BASE-TX"].state is Support.SUPPORTED


def test_curves_that_do_not_cover_the_same_range_are_no_answer_above_it():
    link = link_inside("6A")
    (loss,) = link.curves[(Parameter.INSERTION_LOSS, None)]
    low = loss.frequency_mhz <= 50
    short = replace(loss, frequency_mhz=loss.frequency_mhz[low], value_db=loss.value_db[:, low])
    link = replace(link, curves={**link.curves, (Parameter.INSERTION_LOSS, None): (short,)})

    missing = answers(link, "6A")["1000BASE-T"].missing

    assert "the curves that it is computed from do not cover the same range (ACR-F, PS ACR-F)" in missing


def test_a_pair_group_without_any_used_pair_says_nothing_of_an_application():
    link = link_inside("5e")
    (group,) = link.curves[(Parameter.RETURN_LOSS, End.NEAR)]
    few = group.frequency_mhz[::300]
    parts = (
        replace(group, keys=("12", "36"), value_db=group.value_db[:2]),
        replace(group, keys=("45", "78"), frequency_mhz=few, value_db=group.value_db[2:, ::300]),
    )
    link = replace(link, curves={**link.curves, (Parameter.RETURN_LOSS, End.NEAR): parts})

    found = answers(link, "5e")

    assert found["100BASE-TX"].state is Support.SUPPORTED
    assert found["1000BASE-T"].state is Support.NOT_EVALUATED


def test_points_that_the_edition_leaves_out_are_left_out_here_too():
    # Far below the limit where the link loses next to nothing, sound where it loses something.
    link = with_curve(
        link_inside("5e"), Parameter.RETURN_LOSS, End.NEAR, "12", lambda f, v: np.where(f < 1.5, 3.0, v)
    )

    assert answers(link, "5e")["1000BASE-T"].state is Support.SUPPORTED


def test_a_link_that_loses_nothing_has_nothing_left_to_fail_near_its_ends():
    answer = answers(link_inside("5e", loss_share=0.01), "5e")["1000BASE-T"]

    assert answer.state is Support.SUPPORTED
    assert answer.limiting.parameter in (Parameter.ACR_F, Parameter.PS_ACR_F, Parameter.INSERTION_LOSS)


def test_a_sweep_above_the_range_says_nothing():
    link = link_inside("6A")
    curves = {
        key: tuple(
            replace(g, frequency_mhz=g.frequency_mhz[-50:], value_db=g.value_db[:, -50:]) for g in groups
        )
        for key, groups in link.curves.items()
    }

    found = answers(replace(link, curves=curves), "6A")

    assert found["10BASE-T"].state is Support.NOT_EVALUATED


def test_coarse_laboratory_steps_are_accepted_where_asked_and_a_short_range_is_not():
    link = link_inside("6")
    curves = {
        key: tuple(
            replace(g, frequency_mhz=g.frequency_mhz[::4], value_db=g.value_db[:, ::4]) for g in groups
        )
        for key, groups in link.curves.items()
    }
    link = replace(link, curves=curves)
    verdict = grade(link, TIA, Requirement("6", coverage_is_advisory=True))
    whole = end_to_end(link, verdict, TIA, DATA, FACTS)

    found = {a.application.name: a for a in assess_applications(link, verdict, whole, DATA)}

    assert answers(link, "6")["1000BASE-T"].state is Support.NOT_EVALUATED
    assert found["1000BASE-T"].state is Support.SUPPORTED
    assert found["10GBASE-T"].missing


def test_a_patch_cord_inherits_nothing():
    link = replace(link_inside("5e"), configuration=Configuration.PATCH_CORD, readings={})
    verdict = replace(verdict_of(link_inside("5e"), "5e"), configuration=Configuration.PATCH_CORD)
    whole = end_to_end(link, verdict, TIA, DATA, FACTS)

    found = {a.application.name: a for a in assess_applications(link, verdict, whole, DATA)}

    assert whole.cords is None
    assert found["1000BASE-T"].state is Support.NOT_EVALUATED


# Delay and skew -------------------------------------------------------------------


def test_delay_is_judged_in_ns_and_gives_no_headroom_in_db():
    answer = answers(link_inside("5e", delay_ns=571.0), "5e")["1000BASE-T"]

    assert answer.state is Support.NOT_SUPPORTED
    assert answer.limiting.parameter is Parameter.PROPAGATION_DELAY
    assert answer.headroom_db is None
    assert answer.basis == "cross_checked"


def test_skew_stops_four_pair_applications_alone():
    link = replace(link_inside("5e"), delay_skew_ns=60.0)
    found = states(link, "5e")

    assert (found["100BASE-TX"], found["1000BASE-T"]) == ("supported", "not_supported")
    assert "Delay skew is 10 ns outside" in text_of(link, "5e", "1000BASE-T")


def test_a_delay_that_was_not_measured_is_missing_where_its_pair_is_used():
    link = link_inside("5e")
    link = replace(link, readings={**link.readings, "78": PairReadings()})

    found = answers(link, "5e")

    assert found["100BASE-TX"].state is Support.SUPPORTED
    assert found["1000BASE-T"].missing == (
        "not measured on 78 (propagation delay)",
        "not measured, nor the delay of all four pairs (delay skew)",
    )


def test_no_delay_at_all_is_missing():
    assert answers(replace(link_inside("5e"), readings={}), "5e")["10BASE-T"].missing == (
        "not measured on 12 (propagation delay)",
        "not measured on 36 (propagation delay)",
    )


@pytest.mark.parametrize("configuration", [Configuration.CHANNEL, PERMANENT])
def test_a_delay_that_is_not_stated_is_taken_from_the_phase_of_the_sweep(configuration):
    link = link_inside("5e", configuration=configuration)
    (loss,) = link.curves[(Parameter.INSERTION_LOSS, None)]
    turns = np.exp(-2j * np.pi * loss.frequency_mhz * 1e-3 * 480.0)
    phased = replace(loss, value_complex=10 ** (-loss.value_db / 20) * turns)
    bare = {pair: PairReadings(length_m=80.0) for pair in PAIRS}
    link = replace(link, curves={**link.curves, (Parameter.INSERTION_LOSS, None): (phased,)}, readings=bare)

    result = judge_segment(end_to_end(link, verdict_of(link, "5e"), TIA, DATA, FACTS).tables, THOUSAND)

    (delay,) = (p for p in result.points if p.parameter is Parameter.PROPAGATION_DELAY)
    cords = 0.0 if configuration is Configuration.CHANNEL else 0.1 * (534 + 36 / 10**0.5)
    assert delay.measured == pytest.approx(480 + cords, abs=1.0)
    assert result.missing == ()


def test_delays_at_different_frequencies_give_no_skew():
    link = link_inside("5e")
    other = replace(link.readings["78"], delay_frequency_mhz=100.0)
    link = replace(link, readings={**link.readings, "78": other})

    assert answers(link, "5e")["1000BASE-T"].missing == (
        "not measured, nor the delay of all four pairs (delay skew)",
    )


# Pairs ----------------------------------------------------------------------------


@pytest.mark.parametrize("pair", ["45", "78"])
def test_a_break_on_a_spare_pair_leaves_10_and_100_and_stops_the_rest(pair):
    link = replace(link_inside("5e"), wire_map=without(*pair))
    found = answers(link, "5e")

    assert [found[name].state.value for name in SLOWEST_FIRST] == ["supported"] * 2 + ["not_supported"] * 4
    assert found["100BASE-TX"].application.pairs == ("12", "36")


def test_1000base_t_can_be_negotiated_over_a_broken_spare_pair_and_then_fails_to_train():
    link = replace(link_inside("5e"), wire_map=without("4", "5"))

    text = text_of(link, "5e", "1000BASE-T")

    assert "can agree on 1000BASE-T over this link and then fail to train" in text
    assert "The fault on 45 does not matter: 100BASE-TX uses 12 and 36 alone." in text_of(
        link, "5e", "100BASE-TX"
    )


@pytest.mark.parametrize("pair", ["12", "36"])
def test_a_break_on_12_or_36_stops_everything_and_nothing_is_negotiated(pair):
    link = replace(link_inside("5e"), wire_map=without(*pair))

    assert set(states(link, "5e").values()) == {"not_supported"}
    assert "Auto-negotiation" not in text_of(link, "5e", "1000BASE-T")


def test_crosstalk_between_spare_pairs_does_not_count_for_100base_tx():
    link = with_curve(link_inside("5e"), Parameter.NEXT, End.NEAR, "45-78", lambda f, v: v - 15)

    found = states(link, "5e")

    assert (found["100BASE-TX"], found["1000BASE-T"]) == ("supported", "not_supported")


@pytest.mark.parametrize(
    ("moved", "expected"),
    [
        ({"p1": "2", "p2": "1"}, ("conditional", "supported")),  # a reversed pair
        ({"p1": "3", "p2": "6", "p3": "1", "p6": "2"}, ("conditional", "conditional")),  # crossover
        (
            {"p1": "3", "p2": "6", "p3": "1", "p6": "2", "p4": "7", "p5": "8", "p7": "4", "p8": "5"},
            ("conditional", "supported"),
        ),
        ({"p4": "7", "p5": "8", "p7": "4", "p8": "5"}, ("supported", "not_supported")),  # 45 and 78 alone
        ({f"p{pin}": str(9 - int(pin)) for pin in PINS}, ("not_supported", "not_supported")),  # rollover
        ({"p1": "3", "p3": "1"}, ("not_supported", "not_supported")),  # one wire of each
    ],
)
def test_wires_that_arrive_elsewhere_are_put_right_by_the_devices_or_not(moved, expected):
    link = replace(link_inside("5e"), wire_map=without(**moved))

    found = states(link, "5e")

    assert (found["100BASE-TX"], found["1000BASE-T"]) == expected


def test_what_every_device_puts_right_is_said_and_what_most_do_is_a_condition():
    link = replace(link_inside("5e"), wire_map=without(p1="2", p2="1"))
    found = answers(link, "5e")

    assert "Most devices put that right, and they need not." in found["100BASE-TX"].conditions[0]
    assert "Every device for 1000BASE-T puts that right." in found["1000BASE-T"].notes[0]
    assert "its devices can put that wiring right" in found["1000BASE-T"].contrast


def test_a_split_pair_stops_every_application_that_uses_it():
    def split(f, v):
        return np.where(f <= 31.25, 15.0, v)

    link = link_inside("5e")
    for end in End:
        link = with_curve(link, Parameter.NEXT, end, "45-78", split)
        for pair in ("45", "78"):
            link = with_curve(link, Parameter.RETURN_LOSS, end, pair, split)

    found = states(link, "5e")

    assert (found["100BASE-TX"], found["1000BASE-T"]) == ("supported", "not_supported")


# By the class ---------------------------------------------------------------------


def test_a_permanent_link_that_meets_its_class_inherits_what_the_class_carries():
    link = link_inside("5e", configuration=PERMANENT)

    found = answers(link, "5e")["1000BASE-T"]

    assert (found.state, found.reasoning) == (Support.SUPPORTED, Reasoning.INHERITED)
    assert found.inherited_from == "category 5e"
    assert found.limit_basis is Basis.MEMORY
    assert found.is_provisional
    assert "the link meets category 5e, which is made to carry it" in text_of(link, "5e", "1000BASE-T")


def test_a_permanent_link_that_misses_its_class_is_measured_with_cords_and_marked_as_predicted():
    # 48 ns of skew are more than the 44 ns of the link and less than the 50 ns of the application.
    link = replace(link_inside("5e", configuration=PERMANENT), delay_skew_ns=48.0)

    found = answers(link, "5e")["1000BASE-T"]

    assert (found.state, found.reasoning) == (Support.SUPPORTED, Reasoning.MEASURED)
    assert found.is_predicted
    assert found.basis == "predicted"
    assert "with the cords added" in text_of(link, "5e", "1000BASE-T")


@pytest.mark.parametrize(("configuration", "metres"), [(PERMANENT, 10.0), (Configuration.MPTL, 5.0)])
def test_the_usual_cords_add_their_loss_by_the_stranded_factor_of_the_edition(configuration, metres):
    link = replace(link_inside("5e", configuration=configuration), delay_skew_ns=48.0)
    bare = replace(link, configuration=Configuration.CHANNEL)

    with_cords = answers(link, "5e")["10BASE-T"].limiting
    without_cords = answers(bare, "5e")["10BASE-T"].limiting

    # TIA-568.2-D: category 5e cable loses 1.967 sqrt(f) + 0.023 f + 0.05/sqrt(f) dB a 100 m, cords 1.2 times it.
    f = 10.0
    cable = 1.967 * f**0.5 + 0.023 * f + 0.05 / f**0.5
    assert with_cords.parameter is without_cords.parameter is Parameter.INSERTION_LOSS
    assert without_cords.margin - with_cords.margin == pytest.approx(1.2 * cable * metres / 100)


def test_the_cords_of_an_iso_link_lose_half_as_much_again_as_its_cable():
    link = link_inside("5e", configuration=PERMANENT)
    bare = replace(link, configuration=Configuration.CHANNEL)

    added = (
        answers(bare, "D", rule_set=ISO)["10BASE-T"].limiting.margin
        - answers(link, "D", rule_set=ISO)["10BASE-T"].limiting.margin
    )

    # ISO/IEC 11801-1, class D, memory: 1.9108 sqrt(f) + 0.0222 f + 0.2/sqrt(f) dB a 100 m.
    cable = 1.9108 * 10**0.5 + 0.222 + 0.2 / 10**0.5
    assert added == pytest.approx(1.5 * cable * 0.1)


def test_a_family_that_the_facts_do_not_know_takes_the_largest_stranded_factor():
    own = replace(TIA, id="own", standard="EN")
    link = replace(link_inside("5e", configuration=PERMANENT), delay_skew_ns=48.0)
    bare = replace(link, configuration=Configuration.CHANNEL)

    added = (
        answers(bare, "5e", rule_set=own)["10BASE-T"].limiting.margin
        - answers(link, "5e", rule_set=own)["10BASE-T"].limiting.margin
    )

    assert added == pytest.approx(1.5 * (1.967 * 10**0.5 + 0.23 + 0.05 / 10**0.5) * 0.1)


def test_cords_beyond_what_the_class_allows_for_are_judged_by_themselves():
    link = link_inside("5e", configuration=PERMANENT)

    by_class = answers(link, "5e", cords_m=8.0)["1000BASE-T"]
    by_length = answers(link, "5e", cords_m=40.0)["1000BASE-T"]

    assert by_class.reasoning is Reasoning.INHERITED
    assert by_length.reasoning is Reasoning.MEASURED
    assert by_length.state is Support.NOT_SUPPORTED


def test_a_prediction_that_misses_by_a_little_does_not_overrule_the_class():
    # No built-in limit misses so with the usual cords, so this application asks for more than any class gives.
    limits = DATA.applications["1000BASE-T"].limits
    link = link_inside("5e", configuration=PERMANENT)
    stricter = replace(
        limits[Parameter.RETURN_LOSS],
        segments=(
            replace(limits[Parameter.RETURN_LOSS].segments[0], to_mhz=100.0, coefficients={"value": 60.0}),
        ),
    )
    application = replace(DATA.applications["1000BASE-T"], limits={**limits, Parameter.RETURN_LOSS: stricter})
    data = replace(DATA, applications={"1000BASE-T": application})

    found = answers(link, "5e", data=data)["1000BASE-T"]

    assert found.state is Support.SUPPORTED
    assert found.headroom_db < 0
    assert "The class decides all the same" in text_of(link, "5e", "1000BASE-T", data=data)


def test_an_edition_that_does_not_say_how_its_cable_loses_leaves_the_cords_open():
    key = ("5e", PERMANENT.value, Parameter.INSERTION_LOSS.value)
    limit = TIA.curve_limits[key]
    other = replace(
        limit, segments=(replace(limit.segments[0], form="constant", coefficients={"value": 90.0}),)
    )
    own = replace(TIA, id="own", curve_limits={**TIA.curve_limits, key: other})
    link = replace(link_inside("5e", configuration=PERMANENT), delay_skew_ns=48.0)

    found = answers(link, "5e", rule_set=own)["1000BASE-T"]

    assert found.state is Support.NOT_EVALUATED
    assert "does not say how its cable loses" in found.missing[0]


def test_an_edition_without_a_delay_curve_leaves_the_delay_of_the_cords_open():
    key = ("5e", PERMANENT.value, Parameter.PROPAGATION_DELAY.value)
    curves = {k: v for k, v in TIA.curve_limits.items() if k != key}
    own = replace(TIA, id="own", curve_limits=curves)
    link = replace(link_inside("5e", configuration=PERMANENT), delay_skew_ns=48.0)

    found = answers(link, "5e", rule_set=own)["100BASE-TX"]

    assert found.missing == (
        "not measured on 12 (propagation delay)",
        "not measured on 36 (propagation delay)",
    )


def test_only_worst_margins_are_enough_for_what_the_class_carries():
    readings = tuple(
        SummaryReading(parameter, end, 2.0)
        for parameter in (
            Parameter.NEXT, Parameter.PS_NEXT, Parameter.ACR_F, Parameter.PS_ACR_F, Parameter.RETURN_LOSS
        )
        for end in End
    )  # fmt: skip
    summary = Summary(TIA.id, "6", (SummaryReading(Parameter.INSERTION_LOSS, None, 2.0), *readings))
    link = replace(link_inside("6"), curves={}, summary=summary)
    assert verdict_of(link, "6").outcome.value == "pass"

    found = answers(link, "6")

    assert found["1000BASE-T"].state is Support.SUPPORTED
    assert found["1000BASE-T"].inherited_from == "category 6"
    assert found["1000BASE-T"].headroom_db is None
    assert found["2.5GBASE-T"].state is Support.CONDITIONAL
    assert found["2.5GBASE-T"].missing


def test_a_limit_known_from_memory_alone_does_not_overrule_the_class_that_a_channel_meets():
    # A category 3 channel may have 22.7 dB of NEXT at 10 MHz (TSB-67); 10BASE-T asks for 26 dB by recall alone.
    def weak(f, v):
        return np.where(f <= 16.1, 24.5 - 16.6 * np.log10(f / 10), v)

    link = with_curve(link_inside("5e", loss_share=0.95), Parameter.NEXT, End.NEAR, "12-36", weak)

    found = answers(link, "3")["10BASE-T"]

    assert (found.state, found.reasoning) == (Support.SUPPORTED, Reasoning.INHERITED)
    assert found.headroom_db == pytest.approx(-1.5, abs=0.1)
    assert answers(link, "3")["100BASE-TX"].state is Support.NOT_SUPPORTED


# Words ----------------------------------------------------------------------------


def test_an_answer_that_differs_from_the_category_says_why():
    high = with_curve(
        link_inside("6"), Parameter.NEXT, End.FAR, "36-45", lambda f, v: np.where(f > 230, v - 4, v)
    )
    spare = with_curve(
        link_inside("5e"), Parameter.RETURN_LOSS, End.FAR, "78", lambda f, v: np.where(f > 80, v - 4, v)
    )
    sums = link_inside("5e")
    for key in ("12-36", "12-45", "12-78"):
        sums = with_curve(sums, Parameter.NEXT, End.NEAR, key, lambda f, v: v - 1.3)

    assert "fails at" in answers(high, "6")["1000BASE-T"].contrast
    assert "it is judged to 100 MHz" in answers(high, "6")["1000BASE-T"].contrast
    assert (
        "return loss fails on 78, and it uses 12 and 36 alone" in answers(spare, "5e")["100BASE-TX"].contrast
    )
    assert "it has no limit of PS NEXT" in answers(sums, "5e")["1000BASE-T"].contrast


def test_a_less_strict_limit_is_a_reason_too():
    # Category 5e asks for 1 dB more than 1000BASE-T at 20 MHz: 17 dB against 15 dB (TSB-95).
    link = with_curve(
        link_inside("5e"), Parameter.RETURN_LOSS, End.NEAR, "12", lambda f, v: np.where(f > 8, v - 2.0, v)
    )

    assert "its limit of return loss is less strict" in answers(link, "5e")["1000BASE-T"].contrast


def test_a_category_that_is_met_and_an_application_that_is_not_are_told_apart():
    found = answers(link_inside("6", loss_share=0.99), "6")
    short = answers(link_inside("5e", top_mhz=500.0, loss_share=0.99), "5e")

    depends = "The link meets category 6, whose limits leave open what 2.5GBASE-T depends on."
    assert found["2.5GBASE-T"].contrast == depends
    assert short["10GBASE-T"].state is Support.NOT_SUPPORTED
    assert (
        "asks for more: its link segment has limits of its own, from 1 to 500 MHz"
        in short["10GBASE-T"].contrast
    )
    assert found["1000BASE-T"].contrast is None


def test_a_category_that_fails_by_nothing_that_is_named_is_contrasted_by_range():
    link = link_inside("5e")
    verdict = verdict_of(link, "5e")
    answer = answers(link, "5e")["1000BASE-T"]
    text = contrast(answer, replace(verdict, outcome=Outcome.FAIL))

    assert "limits of its own, from 1 to 100 MHz" in text


@pytest.mark.parametrize("accuracy", [4.0, AccuracyCurve(np.array([1.0, 500.0]), np.array([4.0, 4.0]))])
def test_a_margin_within_the_accuracy_of_the_measurement_is_said_to_be(accuracy):
    link = link_inside("6A", loss_share=0.9, margin_db=0.5)
    stated = dict.fromkeys((Parameter.INSERTION_LOSS, Parameter.NEXT, Parameter.RETURN_LOSS), accuracy)
    link = replace(link, instrument=Instrument(accuracy=stated))

    assert "less than the measurement accuracy of 4.0 dB" in text_of(link, "6A", "10GBASE-T")


def test_an_answer_on_recalled_limits_is_provisional_and_says_so():
    answer = answers(link_inside("5e"), "5e")["1000BASE-T"]

    assert answer.is_provisional
    assert answer.basis == "memory"
    assert "known from memory alone" in text_of(link_inside("5e"), "5e", "1000BASE-T")


def test_the_fastest_supported_is_named():
    found = answers(link_inside("5e"), "5e")

    assert highest_supported(list(found.values())).application.name == "1000BASE-T"
    assert highest_supported([]) is None


def test_25_and_40_gigabit_are_known_by_name_alone():
    assert [entry.name for entry in DATA.unjudged] == ["25GBASE-T", "40GBASE-T"]
    assert all(entry.reason.text.startswith("Not judged") for entry in DATA.unjudged)


# Laws -----------------------------------------------------------------------------


@settings(max_examples=12)
@given(st.floats(0.3, 1.6), st.floats(0.5, 1.0))
def test_a_link_that_loses_less_is_never_worse_off(share, less):
    worse = states(link_inside("6A", loss_share=share), "6A")
    better = states(link_inside("6A", loss_share=share * less), "6A")

    for name in SLOWEST_FIRST:
        assert BEST_FIRST.index(better[name]) <= BEST_FIRST.index(worse[name])


@settings(max_examples=12)
@given(st.floats(-6, 6), st.floats(0, 5))
def test_less_crosstalk_and_reflection_never_make_it_worse(margin, more):
    worse = states(link_inside("6A", margin_db=margin), "6A")
    better = states(link_inside("6A", margin_db=margin + more), "6A")

    for name in SLOWEST_FIRST:
        assert BEST_FIRST.index(better[name]) <= BEST_FIRST.index(worse[name])


@settings(max_examples=12)
@given(st.floats(0.5, 60), st.floats(0.1, 40))
def test_shorter_cords_never_make_it_worse(metres, more):
    link = link_inside("5e", configuration=PERMANENT, loss_share=0.95)
    shorter, longer = states(link, "5e", cords_m=metres), states(link, "5e", cords_m=metres + more)

    for name in SLOWEST_FIRST:
        assert BEST_FIRST.index(shorter[name]) <= BEST_FIRST.index(longer[name])


@settings(max_examples=12)
@given(st.floats(0.3, 1.6), st.floats(-3, 5))
def test_whoever_carries_1000base_t_carries_100base_tx(share, margin):
    found = states(link_inside("5e", loss_share=share, margin_db=margin), "5e")

    assert BEST_FIRST.index(found["100BASE-TX"]) <= BEST_FIRST.index(found["1000BASE-T"])
