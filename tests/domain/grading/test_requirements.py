"""Rule 1 of the verdict: what each edition requires, judges if present, or only shows."""

from dataclasses import replace

import pytest

from domain.grading.flat import READINGS, edition, link, result, verdict_of
from fourpair_service.domain.limits import Status
from fourpair_service.domain.link import PAIRS, End
from fourpair_service.domain.parameters import Parameter
from fourpair_service.domain.verdict import Outcome
from fourpair_service.rulesets.catalogue import Catalogue

TIA, ISO = "tia-568.2-d-2018", "iso-11801-1-2017"

# The tables are from memory of the standards (TIA-568.2-D, ISO/IEC 11801-1), as the data says too.
ALWAYS = "wire_map insertion_loss next return_loss propagation_delay delay_skew"
SUMS = "ps_next acr_f ps_acr_f"
DC = "dc_loop_resistance"
UNBALANCE = "resistance_unbalance_within_pair resistance_unbalance_between_pairs"
ALIEN = "ps_anext ps_anext_average ps_aacr_f ps_aacr_f_average"

TABLE = {
    (TIA, "3"): ("wire_map length insertion_loss next propagation_delay delay_skew", f"{DC} {UNBALANCE}"),
    **{(TIA, c): (f"{ALWAYS} length {SUMS}", f"{DC} {UNBALANCE} {ALIEN}") for c in ("5e", "6", "6A")},
    (ISO, "C"): (f"{ALWAYS} {DC}", ""),
    **{
        (ISO, c): (f"{ALWAYS} {SUMS} acr_n ps_acr_n {DC}", f"{UNBALANCE} {ALIEN}")
        for c in ("D", "E", "EA", "F", "FA")
    },
}


def _with(category, status):
    return {p.value for p, s in category.statuses.items() if s is status}


@pytest.mark.parametrize("place", TABLE, ids="/".join)
def test_rule_1_each_category_requires_and_judges_what_its_row_of_the_table_says(place):
    category = Catalogue.load().get(place[0]).category(place[1])
    required, judged = TABLE[place]

    assert _with(category, Status.REQUIRED) == set(required.split())
    assert _with(category, Status.JUDGED_IF_PRESENT) == set(judged.split())


def test_rule_1_no_built_in_category_requires_what_is_sampled_over_an_installation():
    for rule_set in Catalogue.load():
        for category in rule_set.categories.values():
            assert not _with(category, Status.REQUIRED) & set(ALIEN.split())


@pytest.mark.parametrize("end", End)
@pytest.mark.parametrize("parameter", [Parameter.NEXT, Parameter.RETURN_LOSS])
def test_rule_1_a_parameter_with_ends_is_required_from_both(parameter, end):
    verdict = verdict_of(link(without=[(parameter, end)]))

    assert verdict.outcome is Outcome.INCOMPLETE
    assert result(verdict, parameter, end).incomplete_because == ("not measured",)
    assert result(verdict, parameter, end.other).outcome is Outcome.PASS


@pytest.mark.parametrize("end", End)
def test_rule_1_fext_injected_at_one_end_is_enough_and_the_verdict_says_where_it_came_from(end):
    verdict = verdict_of(link(without=[(Parameter.FEXT, end)]))

    assert verdict.outcome is Outcome.PASS
    for parameter in (Parameter.ACR_F, Parameter.PS_ACR_F):
        assert result(verdict, parameter, end).note == (
            f"by reciprocity, from the FEXT that was injected at the {end.other} end"
        )
        assert result(verdict, parameter, end.other).note is None


def test_rule_1_without_fext_both_ends_of_acr_f_are_missing():
    verdict = verdict_of(link(without=[(Parameter.FEXT, end) for end in End]))

    assert verdict.outcome is Outcome.INCOMPLETE
    assert result(verdict, Parameter.PS_ACR_F, End.FAR).outcome is Outcome.INCOMPLETE


def test_rule_1_a_required_parameter_without_a_limit_is_incomplete():
    verdict = verdict_of(rule_set=edition(required=(Parameter.WIRE_MAP, Parameter.PS_ANEXT)))

    assert verdict.outcome is Outcome.INCOMPLETE
    assert result(verdict, Parameter.PS_ANEXT, End.NEAR).incomplete_because == ("no limit is built in",)


@pytest.mark.parametrize(
    ("measured", "outcome"), [(None, Outcome.PASS), (8.0, Outcome.PASS), (22.0, Outcome.FAIL)]
)
def test_rule_1_what_is_judged_if_present_counts_only_when_it_was_measured(measured, outcome):
    required = [p for p in edition().category("X").required() if p is not Parameter.DC_LOOP_RESISTANCE]
    rule_set = edition(required=required, judged=(Parameter.DC_LOOP_RESISTANCE,))
    readings = dict.fromkeys(PAIRS, replace(READINGS, loop_resistance_ohm=measured))

    verdict = verdict_of(link(readings=readings), rule_set)

    assert verdict.outcome is outcome
    assert any(r.parameter is Parameter.DC_LOOP_RESISTANCE for r in verdict.parameters) == bool(measured)


def test_rule_1_what_is_for_information_is_shown_with_its_margin_and_never_decides():
    required = [p for p in edition().category("X").required() if p is not Parameter.ACR_N]
    bad = link({(Parameter.NEXT, End.NEAR, "12-36"): 39.0})

    verdict = verdict_of(bad, edition(required=required))

    shown = result(verdict, Parameter.ACR_N, End.NEAR)
    assert (shown.status, shown.outcome) == (Status.INFORMATION, None)
    assert shown.worst_margin.margin == -1.0
    assert result(verdict, Parameter.PS_ACR_N, End.NEAR).outcome is Outcome.FAIL
    assert "ACR-N" not in " ".join(r for r in verdict.reasons if not r.startswith("PS ACR-N"))


def test_rule_1_length_decides_in_tia_and_is_for_information_in_iso():
    catalogue = Catalogue.load()

    assert catalogue.get(TIA).category("6A").statuses[Parameter.LENGTH] is Status.REQUIRED
    assert catalogue.get(ISO).category("EA").statuses[Parameter.LENGTH] is Status.INFORMATION
