"""Rule 2 of the verdict: limits from memory are judged and say so; a job may ask for better."""

from dataclasses import replace

import pytest

from domain.grading.flat import ASKED, CURVE_LIMITS, curve, edition, link, segment, verdict_of
from fourpair_service.domain.grading.wording import PROVISIONAL_NOTICE
from fourpair_service.domain.limits import Basis, strongest, weakest
from fourpair_service.domain.link import End
from fourpair_service.domain.measurement import WireMap
from fourpair_service.domain.parameters import Parameter
from fourpair_service.domain.verdict import Outcome
from fourpair_service.domain.verdict_document import verdict_document
from fourpair_service.rulesets.catalogue import Catalogue

BAD_NEXT = {(Parameter.NEXT, End.NEAR, "12-36"): 29.0}
BAD_LOSS = {(Parameter.INSERTION_LOSS, None, "12"): 21.0}


def with_basis(parameter, basis, **fields):
    """An edition of published limits, one of them known less well."""
    return edition(curves=[curve(parameter, segment(CURVE_LIMITS[parameter], basis=basis))], **fields)


def test_rule_2_one_required_limit_from_memory_makes_the_verdict_provisional_and_it_says_so_first():
    verdict = verdict_of(rule_set=with_basis(Parameter.RETURN_LOSS, Basis.MEMORY))

    assert (verdict.outcome, verdict.provisional, verdict.basis) == (Outcome.PASS, True, Basis.MEMORY)
    assert verdict.notices[0] == PROVISIONAL_NOTICE
    assert next(iter(verdict_document(verdict))) == "notices"


@pytest.mark.parametrize("basis", [Basis.PUBLISHED, Basis.CROSS_CHECKED])
def test_rule_2_limits_that_were_checked_are_not_provisional(basis):
    verdict = verdict_of(rule_set=edition(basis=basis))

    assert (verdict.provisional, verdict.basis, verdict.notices) == (False, basis, ())


def test_rule_2_a_limit_from_memory_that_is_not_required_leaves_the_verdict_settled():
    required = [p for p in edition().category("X").required() if p is not Parameter.ACR_N]
    rule_set = with_basis(Parameter.ACR_N, Basis.MEMORY, required=required, judged=(Parameter.ACR_N,))

    assert not verdict_of(rule_set=rule_set).provisional


def test_rule_2_the_basis_of_a_pass_is_the_weakest_required_one_even_of_a_single_stretch_of_frequency():
    stretches = (segment(10.0, stop=50.0), segment(10.0, start=50.0, basis=Basis.CROSS_CHECKED))
    rule_set = edition(curves=[curve(Parameter.RETURN_LOSS, *stretches)])

    assert verdict_of(rule_set=rule_set).basis is Basis.CROSS_CHECKED


def test_rule_2_the_basis_of_a_fail_is_the_strongest_among_what_fails():
    rule_set = with_basis(Parameter.INSERTION_LOSS, Basis.MEMORY)

    assert verdict_of(link(BAD_LOSS), rule_set).basis is Basis.MEMORY
    assert verdict_of(link(BAD_LOSS | BAD_NEXT), rule_set).basis is Basis.PUBLISHED


@pytest.mark.parametrize(("minimum", "decides"), [(Basis.MEMORY, True), (Basis.CROSS_CHECKED, False)])
def test_rule_2_a_basis_below_the_one_that_the_job_demands_leaves_the_outcome_incomplete(minimum, decides):
    requirement = replace(ASKED, minimum_basis=minimum)
    rule_set = edition(basis=Basis.MEMORY)

    passing, failing = (verdict_of(link(x), rule_set, requirement) for x in ({}, BAD_NEXT))

    assert passing.outcome is (Outcome.PASS if decides else Outcome.INCOMPLETE)
    assert failing.outcome is (Outcome.FAIL if decides else Outcome.INCOMPLETE)
    said = failing.reasons[0].startswith("The limits that decide are known by memory")
    assert said is not decides


def test_rule_2_a_failure_against_a_published_limit_stands_although_another_limit_is_from_memory():
    rule_set = with_basis(Parameter.RETURN_LOSS, Basis.MEMORY)
    requirement = replace(ASKED, minimum_basis=Basis.PUBLISHED)

    assert verdict_of(link(BAD_NEXT), rule_set, requirement).outcome is Outcome.FAIL
    assert verdict_of(link(), rule_set, requirement).outcome is Outcome.INCOMPLETE


def test_rule_2_a_broken_wire_map_needs_no_limit_so_no_basis_weakens_it():
    broken = link(wire_map=WireMap((("1", "2"), ("2", "1"), *((p, p) for p in "345678"))))
    requirement = replace(ASKED, minimum_basis=Basis.PUBLISHED)

    verdict = verdict_of(broken, edition(basis=Basis.MEMORY), requirement)

    assert (verdict.outcome, verdict.basis) == (Outcome.FAIL, None)


def test_rule_2_an_owner_who_confirms_an_edition_takes_the_provision_away(tmp_path):
    (tmp_path / "own.toml").write_text(
        'id = "tia-568.2-d-2018-own"\nextends = "tia-568.2-d-2018"\nsupersedes = "tia-568.2-d-2018"\n'
        'standard = "TIA"\ntitle = "our checked copy"\n'
        'confirmed_by = "the owner"\nconfirmed_on = "2026-01-31"\n'
    )
    catalogue = Catalogue.load(tmp_path)

    for rule_set, provisional in ((catalogue.get("tia-568.2-d-2018"), True), (catalogue.get("TIA"), False)):
        verdict = verdict_of(link(), rule_set, replace(ASKED, category="6A"))
        assert verdict.provisional is provisional


def test_the_order_of_bases_is_memory_cross_checked_published():
    assert weakest(list(Basis)) is Basis.MEMORY
    assert strongest(list(Basis)) is Basis.PUBLISHED
    assert weakest([]) is strongest([]) is None
