"""Whether verdicts on links stand under a rule set, found out without making the new ones.

Most records that are graded again have nothing to tell: the same outcomes and margins
as before. Making a verdict of each only to find it equal costs several times what the
margins do. So the margins of many links are computed together, as for any verdict, and
held against the numbers of the verdict that there is, to the last digit that it shows.
What is not one of the usual cases, or differs in anything, is not said to stand: it is
graded in full then, and that grading alone decides.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import chain
from typing import Any, Final

import numpy as np

from fourpair_service.domain.grading.categories import JUDGED
from fourpair_service.domain.grading.continuity import wire_map_result
from fourpair_service.domain.grading.link import (
    CHUNK,
    alike_links,
    basis_of,
    category_table,
    check_requirement,
    headroom_of,
    is_too_weak,
    limit_bases,
)
from fourpair_service.domain.grading.merging import Place, keys_of, merged
from fourpair_service.domain.grading.readings import reading_results
from fourpair_service.domain.grading.rows import ENDS
from fourpair_service.domain.grading.standing_row import NUMBERS, shown_result
from fourpair_service.domain.grading.standing_rows import GroupPoints, usual_points
from fourpair_service.domain.grading.swept import Question
from fourpair_service.domain.limits import Basis, Category, RuleSet, Status
from fourpair_service.domain.measurement import AccuracyCurve, LinkMeasurement
from fourpair_service.domain.parameters import DERIVED, TRAITS, Parameter
from fourpair_service.domain.verdict import (
    Outcome,
    ParameterResult,
    Requirement,
    WireMapResult,
    worst,
)
from fourpair_service.domain.verdict_document import (
    DECIMALS,
    WORDS,
    category_document,
    headroom_document,
    parameter_document,
    rounded,
    wire_map_document,
)

VerdictDocument = Mapping[str, Any]

# A number nearer than this to one that was rounded would be rounded to it too. What is
# not, as half a thousandth of a limit at 100 MHz, is rounded itself.
SAME: Final = 0.5 * 10**-DECIMALS - 1e-9


def standing(
    measurements: Sequence[LinkMeasurement],
    rule_set: RuleSet,
    requirement: Requirement,
    verdicts: Sequence[VerdictDocument],
) -> list[bool]:
    """Return of which links it is certain that grading would find what their verdicts say.

    Args:
        measurements: the links; neighbours that were measured alike share their arithmetic.
        rule_set: the edition to judge by.
        requirement: what they are held against.
        verdicts: the verdict document of each link, by whichever rule set.

    Returns:
        ``True`` where all results are the same, whatever words there are for them;
        ``False`` where something differs, or may.

    Raises:
        InvalidRequirementError: as ``grade``.
    """
    category = rule_set.category(requirement.category)
    found: list[bool] = []
    for links in alike_links(measurements):
        check_requirement(rule_set, category, links[0].configuration)
        for start in range(0, len(links), CHUNK):
            some = links[start : start + CHUNK]
            batch = _Batch(some, rule_set, category, requirement)
            own = verdicts[len(found) : len(found) + len(some)]
            found += [batch.stands(number, verdict) for number, verdict in enumerate(own)]
    return found


class _Batch:
    """Links measured alike, and what is asked of them."""

    def __init__(
        self,
        links: Sequence[LinkMeasurement],
        rule_set: RuleSet,
        category: Category,
        requirement: Requirement,
    ) -> None:
        self._links, self._requirement, self._category = links, requirement, category
        self._by_category = category_table(links, rule_set, category.rules.acr_f_loss_of)
        tables = self._by_category.margins
        self._question = Question(rule_set, category, links[0].configuration, {})
        points = None
        if not requirement.coverage_is_advisory:
            points = usual_points(tables, self._question, keys_of([each.table for each in tables]))
        self._points = None if points is None else {_place(each): each for each in points}
        self._bases = limit_bases(self._question)
        self._orders: dict[tuple[Place, ...], list[Place] | None] = {}

    def stands(self, number: int, verdict: VerdictDocument) -> bool:
        """Return whether the verdict on one link certainly stands."""
        link = self._links[number]
        if self._points is None or not _is_usual(link):
            return False
        try:
            return self._agrees(number, link, verdict)
        except (AttributeError, KeyError, TypeError, ValueError):
            return False  # a document of another form than ours of today

    def _agrees(self, number: int, link: LinkMeasurement, verdict: VerdictDocument) -> bool:
        question = Question(
            self._question.rule_set,
            self._category,
            self._question.configuration,
            dict(link.instrument.accuracy),
        )
        readings = reading_results(link, question)
        results = self._results(number, question, readings, verdict["parameters"])
        if results is None or verdict["not_evaluated"]:
            return False
        required = self._requirement.shield_required
        wire_map = wire_map_result(link, self._category, shield_required=required)
        if not _same(wire_map_document(wire_map), verdict["wire_map"]):
            return False
        return self._told(results, wire_map) == _told_by(verdict) and self._categories_agree(
            number, link, wire_map, (question, readings), verdict["categories"]
        )

    def _order(self, readings: Sequence[ParameterResult]) -> list[Place] | None:
        """Return which rows a verdict has, in order; ``None`` where a required one is missing."""
        assert self._points is not None
        own = tuple((result.parameter, result.end) for result in readings)
        if own not in self._orders:
            places = [*own, *self._points]
            asked = [p for p in self._category.required() if p is not Parameter.WIRE_MAP]
            needed = {(p, end) for p in asked for end in (ENDS if TRAITS[p].has_ends else (None,))}
            rows = merged([ParameterResult(*place, Status.INFORMATION, None) for place in places])
            is_whole = needed <= set(places) and len(rows) == len(places)
            self._orders[own] = [(row.parameter, row.end) for row in rows] if is_whole else None
        return self._orders[own]

    def _results(
        self,
        number: int,
        question: Question,
        readings: Sequence[ParameterResult],
        rows: Sequence[VerdictDocument],
    ) -> list[ParameterResult] | None:
        """Return the results as far as the verdict is made of them; ``None`` where a row differs."""
        assert self._points is not None
        order = self._order(readings)
        if order is None or len(order) != len(rows):
            return None
        single = {(result.parameter, result.end): result for result in readings}
        results = []
        for place, row in zip(order, rows, strict=True):
            if place in single:
                result: ParameterResult | None = single[place]
                assert result is not None
                if result.incomplete_because or not _same(parameter_document(result), row):
                    return None
            else:
                result = shown_result(self._points[place], number, question, row)
            if result is None:
                return None
            results.append(result)
        return results if self._numbers_agree(number, order, rows) else None

    def _numbers_agree(self, number: int, order: Sequence[Place], rows: Sequence[VerdictDocument]) -> bool:
        assert self._points is not None
        shown: list[float] = []
        computed = []
        for place, row in zip(order, rows, strict=True):
            own = self._points.get(place)
            if own is not None:
                shown += chain.from_iterable(map(NUMBERS, (*row["by_pair"], row["worst_value"])))
                computed += [own.points[number].ravel(), own.largest[number]]
        made, told = np.concatenate(computed), np.array(shown, dtype=np.float64)
        far = ~(np.abs(made - told) < SAME)
        return all(rounded(a) == b for a, b in zip(made[far].tolist(), told[far].tolist(), strict=True))

    def _told(self, results: Sequence[ParameterResult], wire_map: WireMapResult) -> dict[str, Any]:
        judged = [result for result in results if result.status in JUDGED]
        outcome = worst([wire_map.outcome, *(r.outcome for r in judged if r.outcome is not None)])
        basis = basis_of(outcome, judged, self._bases)
        headroom = headroom_of(judged, wire_map)
        if is_too_weak(basis, self._requirement.minimum_basis):
            outcome = Outcome.INCOMPLETE
        shown = headroom_document(headroom)
        return {
            "outcome": outcome,
            "basis": basis,
            "provisional": Basis.MEMORY in self._bases,
            "headroom": shown,
            "headroom_db": None if shown is None else shown["margin_db"],
        }

    def _categories_agree(
        self,
        number: int,
        link: LinkMeasurement,
        wire_map: WireMapResult,
        known: tuple[Question, Sequence[ParameterResult]],
        rows: Sequence[VerdictDocument],
    ) -> bool:
        found = self._by_category.results(number, link, wire_map, known=known)
        return len(found) == len(rows) and all(
            _same(category_document(result), row) for result, row in zip(found, rows, strict=True)
        )


def _place(points: GroupPoints) -> Place:
    return points.group.parameter, points.group.end


def _is_usual(link: LinkMeasurement) -> bool:
    if link.summary is not None or any(parameter in DERIVED for parameter, _ in link.curves):
        return False
    return not any(isinstance(stated, AccuracyCurve) for stated in link.instrument.accuracy.values())


def _same(made: VerdictDocument, shown: VerdictDocument) -> bool:
    """Return whether two rows say the same, whatever the words for it."""
    return {**shown, **{name: made[name] for name in WORDS & made.keys()}} == made


def _told_by(verdict: VerdictDocument) -> dict[str, Any]:
    return {name: verdict[name] for name in ("outcome", "basis", "provisional", "headroom", "headroom_db")}
