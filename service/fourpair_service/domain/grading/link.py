"""The verdict of a link: every parameter, every category, and what decides.

Pure functions of a measurement, a rule set and a requirement. One link and a
batch go through the same tables, so they get the same verdict.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import datetime
from functools import lru_cache
from itertools import groupby

from fourpair_service.domain.errors import InvalidRequirementError
from fourpair_service.domain.grading import cautions as caution
from fourpair_service.domain.grading.categories import JUDGED, CategoryTable
from fourpair_service.domain.grading.continuity import wire_map_result
from fourpair_service.domain.grading.margins import TableMargins
from fourpair_service.domain.grading.merging import keys_of, merged
from fourpair_service.domain.grading.readings import reading_results
from fourpair_service.domain.grading.rows import ENDS, TableBuilder, fext_at, signature
from fourpair_service.domain.grading.summary import reported_categories, summary_results
from fourpair_service.domain.grading.swept import LinkCurves, Question
from fourpair_service.domain.grading.table import RowTable
from fourpair_service.domain.grading.wording import (
    ADVISORY_NOTICE,
    PROVISIONAL_NOTICE,
    missing_sentence,
    reasons,
)
from fourpair_service.domain.limits import (
    BASIS_ORDER,
    Basis,
    Category,
    RuleSet,
    Status,
    strongest,
    weakest,
)
from fourpair_service.domain.link import Configuration
from fourpair_service.domain.measurement import LinkMeasurement
from fourpair_service.domain.parameters import DERIVED, TRAITS, Parameter
from fourpair_service.domain.verdict import (
    FAILED,
    Caution,
    Headroom,
    Outcome,
    ParameterResult,
    Requirement,
    Verdict,
    WireMapResult,
    worst,
)

# More links than this in one table fall out of the processor's cache.
CHUNK = 16


def grade(
    measurement: LinkMeasurement, rule_set: RuleSet, requirement: Requirement, *, now: datetime | None = None
) -> Verdict:
    """Return the verdict for one link.

    Args:
        measurement: the link.
        rule_set: the edition to judge by.
        requirement: the category and how strict to be.
        now: to notice a test dated in the future; not asked where ``None``.

    Raises:
        InvalidRequirementError: the edition has no such category, is kept for
            reference only, or has no limits for the configuration.
        InvalidMeasurementError: a supplied derived curve contradicts the
            measured ones by more than 1 dB.
    """
    return grade_batch([measurement], rule_set, requirement, now=now)[0]


def grade_batch(
    measurements: Sequence[LinkMeasurement],
    rule_set: RuleSet,
    requirement: Requirement,
    *,
    now: datetime | None = None,
) -> list[Verdict]:
    """Return the verdicts of several links in their order; the same as one at a time.

    Neighbours that were measured alike (axis, curves, configuration) share their
    arithmetic, so sorting by type of test makes a batch faster.

    Raises:
        InvalidRequirementError, InvalidMeasurementError: as ``grade``.
    """
    category = rule_set.category(requirement.category)
    verdicts: list[Verdict] = []
    for links in alike_links(measurements):
        check_requirement(rule_set, category, links[0].configuration)
        for start in range(0, len(links), CHUNK):
            chunk = links[start : start + CHUNK]
            verdicts += _LinkBatch(chunk, rule_set, category, requirement, now).verdicts()
    return verdicts


def category_table(
    links: Sequence[LinkMeasurement], rule_set: RuleSet, loss_of: str = "disturbed"
) -> CategoryTable:
    """Return the worst margins of links under every category, without their verdicts.

    Args:
        links: measured alike: the same axis, curves and configuration.
        rule_set: whose categories are asked for.
        loss_of: whose insertion loss ACR-F refers to.
    """
    idle = _never_judged(rule_set)
    tables = TableBuilder(links, loss_of=loss_of).tables()
    return CategoryTable([TableMargins(table, idle) for table in tables], rule_set, links[0].configuration)


def alike_links(measurements: Sequence[LinkMeasurement]) -> Iterator[Sequence[LinkMeasurement]]:
    """Yield neighbours that were measured alike and can share their tables."""
    if len(measurements) == 1:
        yield measurements
        return
    for _, links in groupby(measurements, key=lambda m: (m.configuration, signature(m))):
        yield list(links)


def check_requirement(rule_set: RuleSet, category: Category, configuration: Configuration) -> None:
    """Refuse what the rule set cannot judge.

    Raises:
        InvalidRequirementError: with the reason and what to do.
    """
    if not rule_set.gradable:
        raise InvalidRequirementError(
            "/requirement/rule_set",
            f"{rule_set.title} is kept for reference and judges nothing; choose a current edition.",
            rule_set.id,
        )
    if category.missing is not None:
        raise InvalidRequirementError("/requirement/category", category.missing, category.name)
    known = _configurations(rule_set, category)
    if configuration.value not in known:
        raise InvalidRequirementError(
            "/configuration",
            f"{rule_set.title} has no {configuration.value.replace('_', ' ')} limits for {category.title}; "
            f"it has {', '.join(sorted(c.replace('_', ' ') for c in known))}.",
            configuration.value,
        )


@lru_cache(maxsize=256)
def _configurations(rule_set: RuleSet, category: Category) -> frozenset[str]:
    return frozenset(c for (name, c, _) in rule_set.curve_limits if name == category.name)


class _LinkBatch:
    """Links of one signature on their way to verdicts."""

    def __init__(
        self,
        links: Sequence[LinkMeasurement],
        rule_set: RuleSet,
        category: Category,
        requirement: Requirement,
        now: datetime | None,
    ) -> None:
        self._links, self._rule_set, self._category = links, rule_set, category
        self._requirement, self._now = requirement, now
        self._configuration = links[0].configuration
        self._by_category = category_table(links, rule_set, category.rules.acr_f_loss_of)
        self._margins = self._by_category.margins
        self._tables = [margins.table for margins in self._margins]
        self._keys = keys_of(self._tables)

    def _built(self, loss_of: str) -> tuple[RowTable, ...]:
        return TableBuilder(self._links, loss_of=loss_of).tables()

    def verdicts(self) -> list[Verdict]:
        """Return one verdict a link, in order."""
        return [self._verdict(number, link) for number, link in enumerate(self._links)]

    def _question(self, link: LinkMeasurement) -> Question:
        return Question(
            self._rule_set,
            self._category,
            self._configuration,
            dict(link.instrument.accuracy),
            self._requirement.coverage_is_advisory,
        )

    def _results(
        self, number: int, link: LinkMeasurement, question: Question, readings: Sequence[ParameterResult]
    ) -> list[ParameterResult]:
        results = list(readings)
        for margins in self._margins:
            results += LinkCurves(margins, number, question, self._keys).results()
        if link.summary is not None:
            have = {(r.parameter, r.end) for r in results}
            results += [
                r for r in summary_results(link.summary, question) if (r.parameter, r.end) not in have
            ]
        results += _not_measured(results, question)
        return [_by_reciprocity(r, link) for r in merged(results)]

    def _verdict(self, number: int, link: LinkMeasurement) -> Verdict:
        question = self._question(link)
        requirement = self._requirement
        readings = reading_results(link, question)
        results = self._results(number, link, question, readings)
        judged = [r for r in results if r.status in JUDGED]
        wire_map = wire_map_result(link, self._category, shield_required=requirement.shield_required)
        outcome = worst([wire_map.outcome, *(r.outcome for r in judged if r.outcome is not None)])
        headroom = headroom_of(judged, wire_map)
        why = reasons(link, outcome, wire_map, judged, headroom)
        advisory_for = self._category.name if requirement.coverage_is_advisory else None
        categories = self._by_category.results(
            number, link, wire_map, advisory_for=advisory_for, known=(question, readings)
        )
        if link.summary is not None:
            categories = reported_categories(categories, self._category.name, outcome, headroom, why)
        required = limit_bases(question)
        basis = basis_of(outcome, judged, required)
        if is_too_weak(basis, requirement.minimum_basis):
            why = (_weak_sentence(basis, requirement.minimum_basis, outcome), *why)
            outcome = Outcome.INCOMPLETE
        gaps = self._advisory_gaps(question)
        return Verdict(
            outcome=outcome,
            label=link.label,
            requirement=requirement,
            configuration=self._configuration,
            rule_set_id=self._rule_set.id,
            rule_set_digest=self._rule_set.digest,
            rule_set_title=self._rule_set.title,
            category_title=self._category.title,
            basis=basis,
            notices=_notices(required, gaps),
            from_summary=link.summary is not None,
            reasons=why,
            headroom=headroom,
            wire_map=wire_map,
            parameters=tuple(results),
            categories=categories,
            not_evaluated=tuple(missing_sentence(link, r) for r in results if r.incomplete_because),
            cautions=(*gaps, *self._cautions(number, link, judged)),
        )

    def _advisory_gaps(self, question: Question) -> list[Caution]:
        if not question.coverage_is_advisory:
            return []
        gaps = [
            points.limits.gap
            for points in self._by_category.worst_points(self._category.name)
            if points.limits.gap is not None
        ]
        return [Caution("coverage", f"Coverage: {gap}.") for gap in dict.fromkeys(gaps)]

    def _cautions(
        self, number: int, link: LinkMeasurement, judged: Sequence[ParameterResult]
    ) -> tuple[Caution, ...]:
        measured = [r.parameter for r in judged if r.judged_points]
        found = [
            *caution.length_cautions(link),
            *caution.calibration_cautions(link),
            *caution.adapter_cautions(link),
            *caution.future_cautions(link, self._now),
            *caution.accuracy_cautions(link, measured),
            *caution.reciprocity_cautions(link),
        ]
        if any(parameter in DERIVED for parameter, _ in link.curves):
            other = "disturbing" if self._category.rules.acr_f_loss_of == "disturbed" else "disturbed"
            found += caution.derived_cautions(link, self._tables, self._built(other), number, other)
        return tuple(found)


@lru_cache(maxsize=64)
def _never_judged(rule_set: RuleSet) -> frozenset[Parameter]:
    judged = {p for c in rule_set.categories.values() for p, status in c.statuses.items() if status in JUDGED}
    return frozenset(set(Parameter) - judged)


def limit_bases(question: Question) -> list[Basis]:
    """Return how well each required limit of the question is known."""
    return list(_limit_bases(question.rule_set, question.category, question.configuration))


@lru_cache(maxsize=256)
def _limit_bases(rule_set: RuleSet, category: Category, configuration: Configuration) -> tuple[Basis, ...]:
    bases = []
    for parameter in category.required():
        curve = rule_set.curve(category.name, configuration, parameter)
        reading = rule_set.reading(category.name, configuration, parameter)
        bases += [limit.basis for limit in (curve, reading) if limit is not None]
    return tuple(bases)


def _notices(required: list[Basis], gaps: list[Caution]) -> tuple[str, ...]:
    memory = (PROVISIONAL_NOTICE,) if Basis.MEMORY in required else ()
    return memory + ((ADVISORY_NOTICE,) if gaps else ())


def basis_of(outcome: Outcome, judged: Sequence[ParameterResult], required: list[Basis]) -> Basis | None:
    """Return how well the limits that decide are known, see ``Verdict.basis``."""
    if outcome in FAILED:
        return strongest([r.basis for r in judged if r.outcome in FAILED and r.basis is not None])
    return weakest(required)


def is_too_weak(basis: Basis | None, minimum: Basis | None) -> bool:
    """Return whether a basis lies below the one that is demanded."""
    if basis is None or minimum is None:
        return False
    return BASIS_ORDER.index(basis) < BASIS_ORDER.index(minimum)


def _weak_sentence(basis: Basis | None, minimum: Basis | None, outcome: Outcome) -> str:
    return (
        f"The limits that decide are known by {_words(basis)} and the requirement asks for "
        f"{_words(minimum)}; by them the outcome would be {outcome.value.replace('_', ' ')}."
    )


def _words(basis: Basis | None) -> str:
    return str(basis or "").replace("_", " ")


def headroom_of(judged: Sequence[ParameterResult], wire_map: WireMapResult) -> Headroom | None:
    """Return the smallest margin of judged results, see ``Verdict.headroom``."""
    if wire_map.outcome is Outcome.FAIL:
        return None
    nearest: Headroom | None = None
    for result in judged:
        in_db = TRAITS[result.parameter].unit == "db"
        if not in_db and result.outcome in FAILED:
            return None
        point = result.worst_margin
        if not in_db or point is None or point.margin is None:
            continue
        if nearest is None or point.margin < nearest.margin_db:
            nearest = Headroom(point.margin, result.parameter, result.end, point.pairs, point.frequency_mhz)
    return nearest


def _not_measured(results: Sequence[ParameterResult], question: Question) -> list[ParameterResult]:
    """Return a result for every required parameter and end of which there is none."""
    have = {(r.parameter, r.end) for r in results}
    missing = []
    for parameter in question.category.required():
        traits = TRAITS[parameter]
        if parameter is Parameter.WIRE_MAP:
            continue
        for end in ENDS if traits.has_ends else (None,):
            if (parameter, end) not in have:
                curve = question.rule_set.curve(question.category.name, question.configuration, parameter)
                reading = question.rule_set.reading(question.category.name, question.configuration, parameter)
                why = "not measured" if curve or reading else "no limit is built in"
                missing.append(
                    ParameterResult(
                        parameter, end, Status.REQUIRED, Outcome.INCOMPLETE, incomplete_because=(why,)
                    )
                )
    return missing


def _by_reciprocity(result: ParameterResult, link: LinkMeasurement) -> ParameterResult:
    if result.parameter not in (Parameter.ACR_F, Parameter.PS_ACR_F) or result.end is None:
        return result
    if not result.by_pair or fext_at(link, result.end)[1]:
        return result
    return replace(
        result, note=f"by reciprocity, from the FEXT that was injected at the {result.end.other} end"
    )
