"""How a link stands to every category or class of its standard.

A link meets limits, and components have a category, so nothing here is ever
"attained": a category is met, not met, or not evaluated for want of something.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TypeAlias

import numpy as np

from fourpair_service.domain.grading.margins import TableMargins, WorstPoints
from fourpair_service.domain.grading.readings import reading_results, what_judges
from fourpair_service.domain.grading.rows import ENDS
from fourpair_service.domain.grading.swept import Question
from fourpair_service.domain.limits import Category, RuleSet, Status
from fourpair_service.domain.link import Configuration, End
from fourpair_service.domain.measurement import LinkMeasurement
from fourpair_service.domain.parameters import TRAITS, Parameter
from fourpair_service.domain.verdict import (
    FAILED,
    CategoryResult,
    CategoryState,
    Outcome,
    ParameterResult,
    WireMapResult,
)

JUDGED = (Status.REQUIRED, Status.JUDGED_IF_PRESENT)


def described(parameter: Parameter, end: End | None) -> str:
    """Return a parameter and its end for a sentence.

    >>> described(Parameter.NEXT, End.FAR)
    'NEXT at the far end'
    """
    title = TRAITS[parameter].title
    return f"{title} at the {end} end" if end else title


@dataclass(frozen=True, slots=True, eq=False)
class _Worst:
    """The worst point of one parameter and end of a link: which group of which table, and where."""

    table: TableMargins
    link: int
    number: int
    at: int
    margin_db: float
    category: Category

    @property
    def parameter(self) -> Parameter:
        return self.table.table.groups[self.number].parameter

    @property
    def end(self) -> End | None:
        return self.table.table.groups[self.number].end

    @property
    def frequency_mhz(self) -> float:
        return float(self.table.table.frequency_mhz[self.at])

    @property
    def pairs(self) -> str:
        """The pairs, looked up only where they are named, since that costs."""
        return self.table.worst_key(self.link, self.number, self.at, self.category)

    def sentence(self) -> str:
        pairs = self.pairs
        where = f" on {pairs}" if pairs else ""
        return (
            f"{described(self.parameter, self.end)} is {-self.margin_db:.1f} dB outside "
            f"at {self.frequency_mhz:.4g} MHz{where}"
        )


class CategoryTable:
    """Worst margins of a batch of links under every category of a rule set.

    Args:
        margins: the tables of the links, all of one signature.
        rule_set: whose categories are asked for.
        configuration: of the links.
    """

    def __init__(
        self, margins: Sequence[TableMargins], rule_set: RuleSet, configuration: Configuration
    ) -> None:
        self._margins = margins
        self._rule_set, self._configuration = rule_set, configuration
        layout = tuple((g.parameter, g.end, g.keys) for t in margins for g in t.table.groups)
        self._absent = _absent_curves(rule_set, configuration, layout)
        found = [table.worst(rule_set, configuration) for table in margins]
        self._worst: dict[str, list[WorstPoints]] = {
            name: [points[name] for points in found]
            for name, category in rule_set.categories.items()
            if category.missing is None
        }

    @property
    def margins(self) -> Sequence[TableMargins]:
        """The tables, in the order of ``worst_points``."""
        return self._margins

    def worst_points(self, category: str) -> list[WorstPoints]:
        """Return the kernel's result for one category, one entry a table."""
        return self._worst[category]

    def results(
        self,
        link: int,
        measurement: LinkMeasurement,
        wire_map: WireMapResult,
        *,
        advisory_for: str | None = None,
        known: tuple[Question, Sequence[ParameterResult]],
    ) -> tuple[CategoryResult, ...]:
        """Return how one link stands to each category, lowest first.

        Args:
            link: its number in the batch.
            measurement: the link.
            wire_map: its wire map, as judged.
            advisory_for: the category whose gaps in the frequency axis are excused. Every
                other one stays strict: nobody asked about a range that was not swept.
            known: results of single values under a question, to be used again.
        """
        shared = {what_judges(measurement, known[0]): _judged(known[1])}
        results = []
        for category in self._rule_set.categories.values():
            if category.missing is not None:
                state = CategoryState.NOT_EVALUATED
                results.append(
                    CategoryResult(category.name, category.title, state, missing=(category.missing,))
                )
                continue
            advisory = category.name == advisory_for
            question = Question(self._rule_set, category, self._configuration, {}, advisory)
            key = what_judges(measurement, question)
            if key not in shared:
                shared[key] = _judged(reading_results(measurement, question))
            results.append(self._result(link, category, shared[key], wire_map, advisory))
        return tuple(results)

    def _result(
        self,
        link: int,
        category: Category,
        readings: list[ParameterResult],
        wire_map: WireMapResult,
        advisory: bool,
    ) -> CategoryResult:
        missing, nearest, failing = self._swept(link, category, advisory)
        stopped = [finding.text for finding in wire_map.findings]
        stopped += [worst.sentence() for worst in failing]
        stopped += [_reading_sentence(r) for r in readings if r.outcome in FAILED]
        missing += [text for r in readings for text in r.incomplete_because if r.outcome not in FAILED]
        if wire_map.outcome is Outcome.INCOMPLETE:
            missing.insert(0, wire_map.note or "the wire map was not measured")
        state = (
            CategoryState.NOT_MET
            if stopped
            else CategoryState.NOT_EVALUATED
            if missing
            else CategoryState.MET
        )
        if wire_map.outcome is Outcome.FAIL or any(r.outcome in FAILED for r in readings):
            nearest = None
        return CategoryResult(
            category.name,
            category.title,
            state,
            headroom_db=nearest.margin_db if nearest else None,
            parameter=nearest.parameter if nearest else None,
            end=nearest.end if nearest else None,
            frequency_mhz=nearest.frequency_mhz if nearest else None,
            pairs=(nearest.pairs or None) if nearest else None,
            stopped_by=tuple(stopped),
            missing=tuple(dict.fromkeys(missing)),
        )

    def _swept(
        self, link: int, category: Category, advisory: bool
    ) -> tuple[list[str], _Worst | None, list[_Worst]]:
        missing: list[str] = []
        nearest: _Worst | None = None
        failing: list[_Worst] = []
        for table, points in zip(self._margins, self._worst[category.name], strict=True):
            groups = table.table.groups
            judged = [n for n, group in enumerate(groups) if category.statuses.get(group.parameter) in JUDGED]
            missing += _unjudged(table, points, judged, advisory=advisory)
            margins = points.margin_db[link].tolist()
            for number in judged:
                is_nearest = margins[number] < (nearest.margin_db if nearest else np.inf)
                if not is_nearest and margins[number] >= 0:
                    continue
                at = int(points.index[link, number])
                found = _Worst(table, link, number, at, margins[number], category)
                nearest = found if is_nearest else nearest
                if found.margin_db < 0:
                    failing.append(found)
        return [*missing, *self._absent[category.name]], nearest, failing


def _judged(results: Sequence[ParameterResult]) -> list[ParameterResult]:
    return [result for result in results if result.status in JUDGED]


def _unjudged(
    table: TableMargins, points: WorstPoints, judged: Sequence[int], *, advisory: bool
) -> list[str]:
    """Return where the limits have holes and what the axis lacks, for the judged groups of a table."""
    limits = points.limits
    gap = [limits.gap] if limits.gap and not advisory else []
    if not limits.holes:
        return gap if judged else []
    missing = []
    for number in judged:
        parameter = table.table.groups[number].parameter
        if parameter in limits.holes:
            missing.append(f"{TRAITS[parameter].title}: {limits.holes[parameter]}")
        missing += gap
    return missing


Layout: TypeAlias = tuple[tuple[Parameter, End | None, tuple[str, ...]], ...]


@lru_cache(maxsize=64)
def _absent_curves(
    rule_set: RuleSet, configuration: Configuration, layout: Layout
) -> Mapping[str, Sequence[str]]:
    """Return by category which required curves links of this layout lack, as sentences."""
    seen: dict[tuple[Parameter, End | None], tuple[str, ...]] = {}
    for parameter, end, keys in layout:
        seen[(parameter, end)] = (*seen.get((parameter, end), ()), *keys)
    return {
        category.name: [
            sentence
            for parameter in category.required()
            if TRAITS[parameter].is_swept and parameter is not Parameter.PROPAGATION_DELAY
            for sentence in _absent_of(rule_set, category, configuration, parameter, seen)
        ]
        for category in rule_set.categories.values()
    }


def _absent_of(
    rule_set: RuleSet,
    category: Category,
    configuration: Configuration,
    parameter: Parameter,
    seen: Mapping[tuple[Parameter, End | None], tuple[str, ...]],
) -> Iterator[str]:
    traits = TRAITS[parameter]
    if rule_set.curve(category.name, configuration, parameter) is None:
        yield f"{traits.title}: no limit is built in"
        return
    for end in ENDS if traits.has_ends else (None,):
        keys = seen.get((parameter, end))
        if keys is None:
            yield f"{described(parameter, end)} not measured"
        elif len(keys) < len(traits.keys):
            absent = [key for key in traits.keys if key not in keys]
            yield f"{described(parameter, end)} not measured on {', '.join(absent)}"


UNIT_WORDS = {"ns": "ns", "m": "m", "ohm": "ohm", "db": "dB"}


def _reading_sentence(result: ParameterResult) -> str:
    point, traits = result.worst_margin, TRAITS[result.parameter]
    assert point is not None
    unit = UNIT_WORDS[traits.unit or "db"]
    on = f" on {point.pairs}" if point.pairs else ""
    return f"{traits.title} is {point.measured:.4g} {unit}{on}, the limit {point.limit:.4g} {unit}"
