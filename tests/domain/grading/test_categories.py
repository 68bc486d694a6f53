"""Rule 9 of the verdict: how a link stands to every category of its standard."""

import numpy as np
import pytest

from domain.grading.flat import (
    ASKED,
    AXIS,
    READINGS,
    REQUIRED,
    category,
    curve,
    edition,
    link,
    rules,
    segment,
    verdict_of,
)
from fourpair_service.domain.errors import InvalidRequirementError
from fourpair_service.domain.grading.categories import described
from fourpair_service.domain.link import PAIRS, Configuration, End
from fourpair_service.domain.measurement import PairReadings, Summary, SummaryReading, WireMap
from fourpair_service.domain.parameters import Parameter
from fourpair_service.domain.verdict import CategoryState, Outcome, Requirement
from fourpair_service.domain.verdict_document import verdict_document
from fourpair_service.rulesets.catalogue import Catalogue

MET, NOT_MET, OPEN = CategoryState.MET, CategoryState.NOT_MET, CategoryState.NOT_EVALUATED
# X asks for 30 dB of NEXT to 100 MHz, Y for 45 dB, Z to 200 MHz, W is known by name only.
LADDER = edition(
    category("X"),
    category("Y"),
    category("Z", top_mhz=200.0),
    category("W", required=(), missing="No limits for W are built in."),
    curves=[curve(Parameter.NEXT, segment(45.0), category="Y")],
)


def states(verdict):
    return {found.category: found.state for found in verdict.categories}


def of(verdict, name):
    return next(found for found in verdict.categories if found.category == name)


def test_rule_9_each_category_is_met_not_met_or_not_evaluated():
    verdict = verdict_of(link({(Parameter.NEXT, End.FAR, "36-78"): 44.0}), LADDER)

    assert states(verdict) == {"X": MET, "Y": NOT_MET, "Z": OPEN, "W": OPEN}
    assert verdict.outcome is Outcome.PASS


def test_rule_9_the_words_are_met_and_never_attained_and_there_is_no_score():
    assert {state.value for state in CategoryState} == {"met", "not_met", "not_evaluated"}
    for found in verdict_document(verdict_of(rule_set=LADDER))["categories"]:
        assert not {"score", "percent", "rating"} & set(found)


def test_rule_9_what_stops_a_category_is_said_with_place_and_size():
    (text,) = of(verdict_of(link({(Parameter.NEXT, End.FAR, "36-78"): 44.0}), LADDER), "Y").stopped_by

    assert text == "NEXT at the far end is 1.0 dB outside at 1 MHz on 36-78"


def test_rule_9_the_margin_to_the_next_category_up_has_its_parameter_and_frequency():
    changes = {(Parameter.NEXT, End.NEAR, "12-78"): np.where(AXIS == 40.0, 41.5, 60.0)}

    found = of(verdict_of(link(changes), LADDER), "Y")

    assert (found.headroom_db, found.parameter, found.end) == (-3.5, Parameter.NEXT, End.NEAR)
    assert (found.frequency_mhz, found.pairs) == (40.0, "12-78")


def test_rule_9_a_met_category_names_the_pairs_of_its_smallest_margin():
    found = of(verdict_of(link({(Parameter.INSERTION_LOSS, None, "45"): 19.0}), LADDER), "X")

    assert (found.headroom_db, found.parameter, found.pairs) == (1.0, Parameter.INSERTION_LOSS, "45")


def test_rule_9_what_is_missing_for_a_category_is_said():
    assert of(verdict_of(rule_set=LADDER), "Z").missing == (
        "the sweep ends at 100 MHz and must reach 200 MHz",
    )
    assert of(verdict_of(rule_set=LADDER), "W").missing == ("No limits for W are built in.",)


@pytest.mark.parametrize(
    ("fields", "missing"),
    [
        ({"without": [(Parameter.NEXT, End.FAR)]}, "NEXT at the far end not measured"),
        (
            {"without": [(Parameter.RETURN_LOSS, End.NEAR, "45")]},
            "return loss at the near end not measured on 45",
        ),
        ({"wire_map": None}, "the wire map was not measured"),
        ({"readings": {}}, "propagation delay not measured on 12"),
    ],
)
def test_rule_9_a_category_with_something_missing_is_not_evaluated(fields, missing):
    found = of(verdict_of(link(**fields), LADDER), "X")

    assert found.state is OPEN
    assert missing in found.missing


def test_rule_9_a_required_parameter_without_a_limit_is_missing():
    rule_set = edition(required=(*REQUIRED, Parameter.TCL))

    assert "TCL: no limit is built in" in of(verdict_of(rule_set=rule_set), "X").missing


def test_rule_9_a_failure_is_not_met_even_where_something_is_missing():
    measured = link({(Parameter.NEXT, End.NEAR, "12-36"): 20.0}, without=[(Parameter.RETURN_LOSS, End.FAR)])

    found = of(verdict_of(measured, LADDER), "X")

    assert found.state is NOT_MET
    assert found.missing


@pytest.mark.parametrize(
    ("fields", "text"),
    [
        (
            {"wire_map": WireMap((("1", "2"), ("2", "1"), *((p, p) for p in "345678")))},
            "The two wires of pair 12 are exchanged (reversed pair).",
        ),
        ({"delay_skew_ns": 50.0}, "delay skew is 50 ns, the limit 44 ns"),
        (
            {"readings": {**dict.fromkeys(PAIRS, READINGS), "45": PairReadings(50.0, 250.0, 10.0, 22.0)}},
            "DC loop resistance is 22 ohm on 45, the limit 21 ohm",
        ),
    ],
)
def test_rule_9_where_something_else_than_decibels_fails_no_margin_in_decibels_is_named(fields, text):
    found = of(verdict_of(link(**fields), LADDER), "X")

    assert (found.state, found.headroom_db, found.parameter) == (NOT_MET, None, None)
    assert (found.frequency_mhz, found.pairs, found.end) == (None, None, None)
    assert text in found.stopped_by


def test_rule_9_single_values_are_held_against_each_category_by_its_own_limits():
    iso = Catalogue.load().get("iso-11801-1-2017")
    # 40 ns of skew: class E allows 44, class F 26 (permanent link, see the data file).
    verdict = verdict_of(link(delay_skew_ns=40.0), iso, Requirement("E"))

    stopped = {found.category: " ".join(found.stopped_by) for found in verdict.categories}
    assert "delay skew" not in stopped["E"]
    assert "delay skew is 40 ns" in stopped["F"]


def test_rule_9_editions_are_compared_only_with_themselves():
    for rule_set in (r for r in Catalogue.load() if r.gradable):
        name = next(c.name for c in rule_set.categories.values() if not c.missing)
        verdict = verdict_of(link(), rule_set, Requirement(name))
        assert [found.category for found in verdict.categories] == list(rule_set.categories)


@pytest.mark.parametrize(
    ("margin", "fields", "state"),
    [
        (3.0, {}, MET),
        (-3.0, {}, NOT_MET),
        (3.0, {"wire_map": None}, OPEN),
        (3.0, {"delay_skew_ns": 50.0}, NOT_MET),
    ],
)
def test_rule_9_a_reported_margin_answers_for_the_category_asked_for_and_leaves_the_others_open(
    margin, fields, state
):
    readings = [SummaryReading(Parameter.NEXT, end, margin, None, 40.0, "12-36") for end in End]
    summary = Summary("made-up-2020", "X", tuple(readings))
    required = (Parameter.WIRE_MAP, Parameter.NEXT, Parameter.DELAY_SKEW)
    ladder = edition(category("X", required), category("Y", (*required, Parameter.ACR_N)))

    verdict = verdict_of(link(curves={}, summary=summary, **fields), ladder)

    assert of(verdict, "X").state is state
    assert of(verdict, "X").missing == (verdict.reasons if state is OPEN else ())
    assert of(verdict, "X").stopped_by == (verdict.reasons if state is NOT_MET else ())
    assert of(verdict, "X").headroom_db == (None if fields.get("delay_skew_ns") else margin)
    if not fields:
        assert of(verdict, "Y").state is OPEN
        assert of(verdict, "Y").missing == (
            "only worst margins were reported; other categories need the curves",
        )


def test_a_category_of_slower_points_than_the_sweep_uses_those_in_its_range():
    slow = edition(category("X"), category("S", top_mhz=50.0, switches=rules()))
    changes = {(Parameter.RETURN_LOSS, End.NEAR, "12"): np.where(AXIS > 55, 5.0, 20.0)}

    assert states(verdict_of(link(changes), slow)) == {"X": NOT_MET, "S": MET}


@pytest.mark.parametrize(
    ("rule_set", "requirement", "configuration", "pointer"),
    [
        (edition(gradable=False), ASKED, Configuration.PERMANENT_LINK, "/requirement/rule_set"),
        (LADDER, Requirement("W"), Configuration.PERMANENT_LINK, "/requirement/category"),
        (LADDER, Requirement("V"), Configuration.PERMANENT_LINK, "/requirement/category"),
        (LADDER, ASKED, Configuration.CHANNEL, "/configuration"),
    ],
)
def test_what_an_edition_cannot_judge_is_refused(rule_set, requirement, configuration, pointer):
    with pytest.raises(InvalidRequirementError) as refused:
        verdict_of(link(configuration=configuration), rule_set, requirement)

    assert refused.value.pointer == pointer


def test_a_category_is_found_in_any_case():
    assert verdict_of(rule_set=LADDER, requirement=Requirement("x")).category_title == "category X"


def test_a_parameter_without_ends_is_described_by_its_name_alone():
    assert described(Parameter.INSERTION_LOSS, None) == "insertion loss"
