"""Rule 8 of the verdict: how wide and fine a sweep must be, and what a gap means."""

from dataclasses import replace

import numpy as np
import pytest

from domain.grading.flat import (
    ASKED,
    AXIS,
    LINK,
    SOUND,
    category,
    codes,
    curve,
    edition,
    link,
    result,
    rules,
    segment,
    verdict_of,
)
from fourpair_service.domain.grading.coverage import coverage_gap
from fourpair_service.domain.grading.rows import resampled
from fourpair_service.domain.grading.wording import ADVISORY_NOTICE
from fourpair_service.domain.limits import CoverageStep
from fourpair_service.domain.link import End
from fourpair_service.domain.measurement import CurveGroup
from fourpair_service.domain.parameters import Parameter
from fourpair_service.domain.verdict import CategoryState, Outcome
from fourpair_service.rulesets.catalogue import Catalogue

TIA, ISO = "tia-568.2-d-2018", "iso-11801-1-2017"
ADVISORY = replace(ASKED, coverage_is_advisory=True)
# Largest steps, memory (TIA-1152, IEC 61935-1).
STEPS = [(1.0, 31.25, 0.15), (31.25, 100.0, 0.25), (100.0, 250.0, 0.5), (250.0, 500.0, 1.0)]


def stepped(top_mhz, stretch_mhz=None, factor=1.0):
    """An axis of the coarsest accepted steps, one stretch of it coarser by a factor."""
    parts = []
    for start, stop, step in STEPS:
        if start < top_mhz:
            taken = step * factor if start == stretch_mhz else step
            parts.append(np.arange(start, min(stop, top_mhz) - 1e-9, taken))
    return np.append(np.concatenate(parts), top_mhz)


CATEGORIES = [
    (r.id, c.name) for r in Catalogue.load() if r.gradable for c in r.categories.values() if not c.missing
]


@pytest.mark.parametrize("place", CATEGORIES, ids="/".join)
def test_rule_8_the_coarsest_accepted_axis_covers_every_built_in_category(place):
    category = Catalogue.load().get(place[0]).category(place[1])
    top = np.array([*stepped(min(category.to_mhz, 500.0)), *np.arange(501.0, category.to_mhz + 1)])

    assert coverage_gap(top, category) is None


@pytest.mark.parametrize("start_mhz", [1.0, 31.25, 100.0, 250.0])
@pytest.mark.parametrize(("factor", "accepted"), [(1.009, True), (1.02, False)])
def test_rule_8_each_stretch_has_its_largest_step_with_one_percent_of_tolerance(start_mhz, factor, accepted):
    gap = coverage_gap(stepped(500.0, start_mhz, factor), Catalogue.load().get(TIA).category("6A"))

    assert (gap is None) is accepted
    if gap:
        stop_mhz, step = next((stop, step) for start, stop, step in STEPS if start == start_mhz)
        assert f"the sweep steps from {start_mhz:g} to" in gap
        # The last stretch of the table holds to 2000 MHz.
        assert (
            f"up to {2000 if stop_mhz == 500 else stop_mhz:g} MHz the step must not exceed {step:g} MHz"
            in gap
        )


@pytest.mark.parametrize(
    ("axis", "gap"),
    [
        (AXIS[1:], "the sweep starts at 10 MHz and must start at 1 MHz or below"),
        (AXIS[:-1], "the sweep ends at 90 MHz and must reach 100 MHz"),
        (np.array([0.3, *AXIS[2:]]), "the sweep steps from 0.3 to 20 MHz"),
        (np.array([*AXIS[:-2], 150.0]), "the sweep steps from 80 to 150 MHz"),
        (np.delete(AXIS, 5), "the sweep steps from 40 to 60 MHz"),
    ],
)
def test_rule_8_a_gap_leaves_a_parameter_incomplete_and_says_where(axis, gap):
    verdict = verdict_of(link(axis=axis))

    found = result(verdict, Parameter.RETURN_LOSS, End.NEAR)
    assert (verdict.outcome, found.outcome) == (Outcome.INCOMPLETE, Outcome.INCOMPLETE)
    assert found.incomplete_because[0].startswith(gap)
    assert f"Return loss at the near end: {gap}" in " ".join(verdict.not_evaluated)
    (category,) = verdict.categories
    assert category.state is CategoryState.NOT_EVALUATED


def test_rule_8_a_sweep_that_begins_lower_and_reaches_further_is_complete():
    axis = np.array([0.1, *AXIS, 300.0])

    assert verdict_of(link(axis=axis)).outcome is Outcome.PASS


def test_rule_8_of_a_step_over_the_end_of_the_range_only_the_part_within_counts():
    axis = np.array([0.2, *range(6, 100, 10), 300.0])  # 5 MHz within at the bottom, 4 at the top

    assert verdict_of(link(axis=axis)).outcome is Outcome.PASS


def test_rule_8_a_failure_inside_what_was_measured_is_a_failure():
    verdict = verdict_of(link({(Parameter.NEXT, End.NEAR, "45-78"): 29.0}, axis=AXIS[2:]))

    assert verdict.outcome is result(verdict, Parameter.NEXT, End.NEAR).outcome is Outcome.FAIL
    assert verdict.categories[0].state is CategoryState.NOT_MET


def test_rule_8_a_setting_makes_coverage_advisory_which_cautions_and_makes_provisional():
    measured = link(axis=AXIS[2:])

    verdict = verdict_of(measured, requirement=ADVISORY)

    assert (verdict.outcome, verdict.provisional) == (Outcome.PASS, True)
    assert verdict.notices == (ADVISORY_NOTICE,)
    (text,) = [c.text for c in verdict.cautions if c.code == "coverage"]
    assert text == "Coverage: the sweep starts at 20 MHz and must start at 1 MHz or below."
    assert verdict.categories[0].state is CategoryState.MET


def test_rule_8_advice_holds_for_the_category_asked_for_and_for_no_other():
    both = edition(category(), category("Y", top_mhz=200.0))

    verdict = verdict_of(link(axis=AXIS[2:]), both, requirement=ADVISORY)

    asked, wider = verdict.categories
    assert (asked.category, asked.state) == ("X", CategoryState.MET)
    assert (wider.category, wider.state) == ("Y", CategoryState.NOT_EVALUATED)
    assert "the sweep starts at 20 MHz and must start at 1 MHz or below" in wider.missing


def test_rule_8_advice_about_coverage_is_silent_where_nothing_is_missing():
    verdict = verdict_of(requirement=ADVISORY)

    assert (verdict.notices, "coverage" in codes(verdict)) == ((), False)


def test_rule_8_even_then_a_sweep_outside_the_range_judges_nothing():
    verdict = verdict_of(link(axis=np.array([200.0, 210.0])), requirement=ADVISORY)

    found = result(verdict, Parameter.INSERTION_LOSS)
    assert (found.outcome, found.worst_margin) == (Outcome.INCOMPLETE, None)
    assert found.incomplete_because == ("no point lies in the range of the limit",)


def test_rule_8_a_limit_with_a_hole_is_incomplete_and_never_a_pass():
    half = curve(Parameter.NEXT, segment(30.0, stop=60.0))
    measured = link({(Parameter.NEXT, End.NEAR, "12-36"): np.where(AXIS > 60, 1.0, 60.0)})

    verdict = verdict_of(measured, edition(curves=[half], required=(Parameter.WIRE_MAP, Parameter.NEXT)))

    found = result(verdict, Parameter.NEXT, End.NEAR)
    assert found.outcome is Outcome.INCOMPLETE
    assert found.incomplete_because == ("no limit is built in outside 1 to 60 MHz",)
    assert (found.judged_points, found.worst_value.measured) == (6 * 7, 60.0)
    assert "NEXT: no limit is built in outside 1 to 60 MHz" in verdict.categories[0].missing


HOLES = [(ISO, "FA", "permanent_link", "next")]


@pytest.mark.parametrize("place", HOLES, ids="/".join)
def test_rule_8_the_built_in_holes_are_known(place):
    rule_set = Catalogue.load().get(place[0])

    limit = rule_set.curve_limits[place[1:]]

    # Class FA permanent link: no printed NEXT above 600 MHz was found.
    assert limit.to_mhz == 600.0 < rule_set.category(place[1]).to_mhz


def test_rule_8_a_combined_curve_is_incomplete_where_one_of_its_parts_is_missing():
    measured = link()
    short = AXIS[AXIS >= 30]
    loss = CurveGroup(
        short, ("12", "36", "45", "78"), np.full((4, short.size), SOUND[Parameter.INSERTION_LOSS])
    )
    measured = replace(measured, curves={**measured.curves, (Parameter.INSERTION_LOSS, None): (loss,)})

    verdict = verdict_of(measured)

    for parameter in (Parameter.ACR_N, Parameter.PS_ACR_N, Parameter.ACR_F, Parameter.PS_ACR_F):
        found = result(verdict, parameter, End.NEAR)
        assert found.outcome is Outcome.INCOMPLETE
        assert found.incomplete_because == (
            "it cannot be computed from 1 to 20 MHz, where one of its curves was not measured",
        )
        assert (found.worst_margin.frequency_mhz, found.excuse) == (30.0, None)
    assert result(verdict, Parameter.NEXT, End.NEAR).outcome is Outcome.PASS
    advised = verdict_of(measured, requirement=ADVISORY)
    assert result(advised, Parameter.ACR_N, End.NEAR).outcome is Outcome.PASS


def test_rule_8_a_single_missing_point_is_named():
    measured = link()
    short = AXIS[1:]
    loss = CurveGroup(short, ("12", "36", "45", "78"), np.full((4, short.size), 2.0))
    measured = replace(measured, curves={**measured.curves, (Parameter.INSERTION_LOSS, None): (loss,)})

    found = result(verdict_of(measured, edition(switches=rules())), Parameter.ACR_F, End.FAR)

    assert found.incomplete_because[0].startswith("it cannot be computed at 1 MHz")


def test_rule_8_where_the_curves_to_combine_never_meet_nothing_is_computed():
    measured = link()
    far_off = np.array([500.0, 510.0])
    loss = CurveGroup(far_off, ("12", "36", "45", "78"), np.full((4, 2), 2.0))
    measured = replace(measured, curves={**measured.curves, (Parameter.INSERTION_LOSS, None): (loss,)})

    verdict = verdict_of(measured)

    assert result(verdict, Parameter.ACR_N, End.NEAR).incomplete_because == ("not measured",)


def test_measured_data_is_interpolated_only_to_combine_curves_of_different_axes():
    # Loss goes with sqrt(f), so straight over sqrt(f) is exact for it.
    coarse = np.array([1.0, 25.0, 100.0])
    loss = CurveGroup(coarse, ("12", "36", "45", "78"), np.tile(np.sqrt(coarse), (4, 1)))
    measured = link({(Parameter.NEXT, end): at for end, at in zip(End, (60.0, 60.0), strict=True)})
    measured = replace(measured, curves={**measured.curves, (Parameter.INSERTION_LOSS, None): (loss,)})
    rule_set = edition(switches=rules(coverage=(CoverageStep(2000.0, 100.0),)))

    acr = result(verdict_of(measured, rule_set), Parameter.ACR_N, End.NEAR)
    plain = result(verdict_of(measured, rule_set), Parameter.INSERTION_LOSS)

    assert acr.outcome is Outcome.PASS
    assert acr.worst_margin.measured == pytest.approx(50.0)
    assert (acr.judged_points, plain.judged_points) == (12 * AXIS.size, 4 * coarse.size)
    assert LINK.value == "permanent_link"


@pytest.mark.parametrize("step_mhz", [0.5, 1.0, 2.0])
def test_the_error_of_that_interpolation_stays_small_on_the_published_cable(step_mhz):
    # Category 6 cable, 1.808 sqrt(f) + 0.017 f + 0.2/sqrt(f) per 100 m (memory; see the data files).
    def loss_db(f):
        return 1.808 * np.sqrt(f) + 0.017 * f + 0.2 / np.sqrt(f)

    coarse, fine = np.arange(1.0, 250.1, step_mhz), stepped(250.0)
    group = CurveGroup(coarse, ("12",), loss_db(coarse)[None])
    fine = fine[fine <= coarse[-1]]

    assert np.abs(resampled(group, 0, fine) - loss_db(fine)).max() < 0.03
