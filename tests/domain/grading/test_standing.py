"""What is said to stand does stand, whatever was changed: the full grading and comparing is the measure."""

from __future__ import annotations

import copy
import json
from dataclasses import fields, replace
from functools import cache
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fourpair_service.domain.grading.link import grade, grade_batch
from fourpair_service.domain.grading.standing import standing
from fourpair_service.domain.limits import Basis, CurveLimit
from fourpair_service.domain.link import Configuration
from fourpair_service.domain.parameters import Parameter
from fourpair_service.domain.verdict import Requirement
from fourpair_service.domain.verdict_document import verdict_document
from fourpair_service.http.schemas.measurement import read_measurement
from fourpair_service.records.runs.comparing import difference, results
from fourpair_service.rulesets.catalogue import Catalogue

LINKS = Path(__file__).resolve().parents[3] / "samples" / "links"
NAMES = sorted(path.stem for path in LINKS.glob("*.json"))
# Whole sweeps on one axis, over the range that category 6 asks for, and nothing that stands aside.
USUAL = "0A-01-clean-pass"
# Swept to 500 MHz, as class EA asks.
TO_500 = "1A-08-screened-class-ea"
TIA, SIX = "tia-568.2-d-2018", Requirement("6")


@cache
def catalogue():
    return Catalogue.load(None)


def rules(name=TIA):
    return catalogue().get(name)


@cache
def link(name):
    return read_measurement(json.loads((LINKS / f"{name}.json").read_bytes())).measurement


def kept(measurement, requirement=SIX, rule_set=None):
    """Return a verdict as a store gives it back."""
    return json.loads(json.dumps(verdict_document(grade(measurement, rule_set or rules(), requirement))))


def stands(measurement, verdict, requirement=SIX, rule_set=None):
    (found,) = standing([measurement], rule_set or rules(), requirement, [verdict])
    return found


def test_a_usual_verdict_stands_under_its_own_rules():
    assert stands(link(USUAL), kept(link(USUAL)))


@pytest.mark.parametrize("category", ["5e", "6", "6A"])
@pytest.mark.parametrize("name", NAMES)
def test_no_sample_is_said_to_stand_that_does_not(name, category):
    requirement = Requirement(category)
    verdict = kept(link(name), requirement)
    for rule_set in (rules(), stricter(Parameter.NEXT, 0.3)):
        after = json.loads(json.dumps(verdict_document(grade(link(name), rule_set, requirement))))
        if stands(link(name), verdict, requirement, rule_set):
            assert difference(verdict, after) is None


def test_most_samples_that_are_swept_are_found_to_stand():
    swept = [name for name in NAMES if link(name).curves and link(name).summary is None]
    found = [name for name in swept if stands(link(name), kept(link(name)))]
    assert len(found) >= 0.6 * len(swept), sorted(set(swept) - set(found))


def _leaves(value, path=()):
    if isinstance(value, dict):
        for name, inner in value.items():
            yield from _leaves(inner, (*path, name))
    elif isinstance(value, list):
        for index, inner in enumerate(value):
            yield from _leaves(inner, (*path, index))
        yield path, [*value, copy.deepcopy(value[-1]) if value else "more"]
        if value:
            yield path, value[:-1]
    elif isinstance(value, bool) or value is None:
        yield path, not value
    elif isinstance(value, (int, float)):
        yield path, round(value + 0.001, 3)
        yield path, None
    else:
        yield path, f"{value}x"


@pytest.mark.parametrize("name", [USUAL, "1A-01-bad-far-connector"])
def test_a_verdict_that_says_anything_else_does_not_stand(name):
    verdict = kept(link(name))
    assert stands(link(name), verdict)
    told = results(verdict)
    altered = []
    for path, other in _leaves(told):
        changed = copy.deepcopy(verdict)
        place = changed
        for step in path[:-1]:
            place = place[step]
        place[path[-1]] = other
        # What is no result may be worded anew.
        if results(changed) != told:
            altered.append((path, changed))

    assert len(altered) > 500
    measurements = [link(name)] * len(altered)
    found = standing(measurements, rules(), SIX, [changed for _, changed in altered])
    assert [path for (path, _), is_so in zip(altered, found, strict=True) if is_so] == []


def stricter(parameter, by_db, category=None, **more):
    """Return the edition with a limit moved."""

    class Moved(CurveLimit):
        def at(self, frequency_mhz):
            return CurveLimit.at(self, frequency_mhz) + by_db

    own = rules()
    limits = dict(own.curve_limits)
    for key, curve in own.curve_limits.items():
        if key[2] is parameter and category in (None, key[0]):
            limits[key] = Moved(**{f.name: getattr(curve, f.name) for f in fields(CurveLimit)})
    return replace(own, id="moved", curve_limits=limits, **more)


@settings(max_examples=40)
@given(
    name=st.sampled_from([USUAL, "1A-01-bad-far-connector", "0A-02-near-miss"]),
    parameter=st.sampled_from(
        [Parameter.NEXT, Parameter.RETURN_LOSS, Parameter.INSERTION_LOSS, Parameter.PS_ACR_F, Parameter.ACR_N]
    ),
    by_db=st.one_of(st.floats(-0.003, 0.003), st.floats(-4.0, 4.0)),
    category=st.sampled_from([None, "5e", "6", "6A"]),
)
def test_wherever_a_limit_moves_what_is_said_to_stand_is_found_unchanged(name, parameter, by_db, category):
    verdict, moved = kept(link(name)), stricter(parameter, by_db, category)
    after = json.loads(json.dumps(verdict_document(grade(link(name), moved, SIX))))

    if stands(link(name), verdict, rule_set=moved):
        assert difference(verdict, after) is None


def test_limits_that_are_confirmed_leave_no_verdict_that_was_provisional_standing():
    own = rules()
    known = {
        key: replace(curve, segments=tuple(replace(s, basis=Basis.PUBLISHED) for s in curve.segments))
        for key, curve in own.curve_limits.items()
    }
    confirmed = replace(own, id="confirmed", curve_limits=known)
    assert not stands(link(USUAL), kept(link(USUAL)), rule_set=confirmed)


@pytest.mark.parametrize(
    "requirement",
    [Requirement("6", minimum_basis=basis) for basis in Basis]
    + [Requirement("6", shield_required=True), Requirement("6", coverage_is_advisory=True)],
    ids=str,
)
def test_whatever_is_demanded_what_stands_is_unchanged(requirement):
    verdict = kept(link(USUAL), requirement)
    plain = kept(link(USUAL))
    assert stands(link(USUAL), verdict, requirement) != requirement.coverage_is_advisory
    assert stands(link(USUAL), plain, requirement) == (
        difference(plain, verdict) is None and not requirement.coverage_is_advisory
    )


def test_links_measured_otherwise_are_left_to_the_full_grading():
    own = link(USUAL)
    part = {key: groups for key, groups in own.curves.items() if key[0] is not Parameter.RETURN_LOSS}
    for odd in (replace(own, curves=part), replace(own, readings={}), replace(own, curves={})):
        assert not stands(odd, kept(odd))


def test_many_links_are_told_each_for_itself_in_their_order():
    names = [USUAL, "1A-01-bad-far-connector", "2A-03-summary-only", USUAL] * 9
    links = [link(name) for name in names]
    verdicts = [json.loads(json.dumps(verdict_document(v))) for v in grade_batch(links, rules(), SIX)]
    verdicts[3] = {**verdicts[3], "outcome": "fail"}

    assert standing(links, rules(), SIX, verdicts) == [
        name != "2A-03-summary-only" and number != 3 for number, name in enumerate(names)
    ]
    assert links[0].configuration is Configuration.PERMANENT_LINK


@pytest.mark.parametrize("odd", [{}, {"parameters": None}, {"parameters": [], "not_evaluated": []}])
def test_a_document_of_another_form_is_left_to_the_full_grading(odd):
    assert not stands(link(USUAL), odd)


@pytest.mark.parametrize(("name", "category"), [(TIA, "3"), (TIA, "5e"), ("iso-11801-1-2017", "E")])
def test_a_class_that_judges_less_than_was_measured_is_a_usual_case_too(name, category):
    own, requirement = rules(name), Requirement(category)
    verdict = kept(link(USUAL), requirement, own)

    found = stands(link(USUAL), verdict, requirement, own)

    assert found == (not verdict["not_evaluated"])
    assert not stands(link(USUAL), {**verdict, "headroom_db": 0.123}, requirement, own)


def changed_curves(measurement, change):
    curves = {
        key: tuple(change(key, group) for group in groups) for key, groups in measurement.curves.items()
    }
    return replace(measurement, curves=curves)


def test_a_relieved_limit_is_left_to_the_full_grading():
    def short(key, group):
        return replace(group, value_db=group.value_db * 0.2) if key[0] is Parameter.INSERTION_LOSS else group

    own, requirement = rules("iso-11801-1-2017"), Requirement("EA")
    near = changed_curves(link(TO_500), short)
    assert not stands(near, kept(near, requirement, own), requirement, own)


def test_a_pair_that_was_not_swept_is_left_to_the_full_grading():
    def without_last(key, group):
        if key[0] is not Parameter.RETURN_LOSS:
            return group
        return replace(group, keys=group.keys[:-1], value_db=group.value_db[:-1], value_complex=None)

    part = changed_curves(link(USUAL), without_last)
    assert not stands(part, kept(part))


def test_a_point_that_says_more_than_is_known_here_does_not_stand():
    for name in ("by_pair", "worst_value"):
        verdict = kept(link(USUAL))
        (row,) = [r for r in verdict["parameters"] if (r["parameter"], r["end"]) == ("next", "near")]
        for point in [*row[name], row["worst_margin"]] if name == "by_pair" else [row[name]]:
            point["more"] = 1
        assert not stands(link(USUAL), verdict)
