"""Which applications a link carries: the answer for each, from what was measured or by its class.

A pure function of a measurement, its verdict and data. It never changes the
verdict, and it is no part of it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, partial
from typing import Final

from fourpair_service.domain.applications.alien import (
    AlienAnswer,
    AlienState,
    Declared,
    alien_state,
    declared,
    judge_alien,
)
from fourpair_service.domain.applications.contrast import contrast
from fourpair_service.domain.applications.data import Application, ApplicationData
from fourpair_service.domain.applications.design import CordDesign, cable_curves, cord_design, with_cords
from fourpair_service.domain.applications.inherit import Inheritance, inherited
from fourpair_service.domain.applications.result import ApplicationResult, Reasoning
from fourpair_service.domain.applications.segment import LimitPoint, LinkTables, SegmentResult, judge_segment
from fourpair_service.domain.applications.wiring import WiringAnswer, judge_wiring
from fourpair_service.domain.cords import StatedCords
from fourpair_service.domain.facts import CableFacts
from fourpair_service.domain.limits import Basis, Category, RuleSet, strongest, weakest
from fourpair_service.domain.link import Configuration
from fourpair_service.domain.measurement import LinkMeasurement
from fourpair_service.domain.support import Support
from fourpair_service.domain.verdict import Requirement, Verdict

STOPPING: Final = (AlienState.OUTSIDE, AlienState.OPEN)


@dataclass(frozen=True, slots=True, eq=False)
class EndToEnd:
    """A link from device to device.

    Attributes:
        tables: its curves, cords included.
        cords: what was added; ``None`` for a link that contains its cords.
        may_inherit: whether it is a link whose cords stay within what the class allows for.
        missing: why no cords could be added, as a clause of a sentence.
    """

    tables: LinkTables
    cords: CordDesign | None
    may_inherit: bool = True
    missing: tuple[str, ...] = ()


def end_to_end(
    measurement: LinkMeasurement,
    verdict: Verdict,
    rule_set: RuleSet,
    data: ApplicationData,
    facts: CableFacts,
    stated: StatedCords | None = None,
) -> EndToEnd:
    """Return a link with the cords that it needs to be one from device to device.

    Args:
        measurement: as it was measured.
        verdict: its verdict under ``rule_set``.
        rule_set: cable and stranded factor.
        data: usual cords.
        facts: wire and stranded factors.
        stated: what the job says of its cords.
    """
    category = _as_asked(rule_set.category(verdict.requirement.category), verdict.requirement)
    cords = cord_design(measurement.configuration, rule_set, facts, data, stated)
    if cords is None:
        tables = LinkTables(measurement, category, data.excuses)
        return EndToEnd(tables, None, may_inherit=_is_of_a_class(measurement, verdict))
    cable = cable_curves(rule_set, category.name)
    if cable is None:
        why = f"the loss of cords: {verdict.rule_set_title} does not say how its cable loses"
        return EndToEnd(LinkTables(measurement, category, data.excuses), None, missing=(why,))
    usual = data.cord_length[measurement.configuration].value
    added = partial(with_cords, cords=cords, cable=cable)
    tables = LinkTables(measurement, category, data.excuses, added)
    may_inherit = cords.length_m <= usual and _is_of_a_class(measurement, verdict)
    return EndToEnd(tables, cords, may_inherit=may_inherit)


def _is_of_a_class(measurement: LinkMeasurement, verdict: Verdict) -> bool:
    """Return whether the categories met speak for a link over their whole range.

    The limits that a cord meets by itself do not, and neither does a category
    whose range was made advisory: it may have been met over a part of it.
    """
    is_cord = measurement.configuration is Configuration.PATCH_CORD
    return not is_cord and not verdict.requirement.coverage_is_advisory


def _as_asked(category: Category, requirement: Requirement) -> Category:
    """Return a category that accepts any step where coverage is advisory; the range must be reached all the same."""
    if not requirement.coverage_is_advisory:
        return category
    return replace(category, rules=replace(category.rules, coverage=()))


def assess_applications(
    measurement: LinkMeasurement,
    verdict: Verdict,
    link: EndToEnd,
    data: ApplicationData,
    connectors: str | None = None,
) -> tuple[ApplicationResult, ...]:
    """Return the answer for every application, slowest first.

    Args:
        measurement: as it was measured.
        verdict: its verdict.
        link: the same link from device to device.
        data: the applications.
        connectors: category of the connectors, where declared.
    """
    return tuple(case.result() for case in _cases(measurement, verdict, link, data, connectors))


def supported_applications(
    measurement: LinkMeasurement,
    verdict: Verdict,
    link: EndToEnd,
    data: ApplicationData,
    connectors: str | None = None,
) -> tuple[Application, ...]:
    """Return the applications that :func:`assess_applications` calls supported, without saying why.

    Where the class decides no curve is looked at, which is a tenth of the work.
    """
    cases = _cases(measurement, verdict, link, data, connectors)
    return tuple(case.application for case in cases if case.is_supported())


def _cases(
    measurement: LinkMeasurement,
    verdict: Verdict,
    link: EndToEnd,
    data: ApplicationData,
    connectors: str | None,
) -> Iterator[_Case]:
    cabling = declared(measurement, verdict.wire_map, connectors)
    for application in data.applications.values():
        yield _Case(measurement, verdict, link, application, data, cabling)


class _Case:
    """One application over one link."""

    def __init__(
        self,
        measurement: LinkMeasurement,
        verdict: Verdict,
        link: EndToEnd,
        application: Application,
        data: ApplicationData,
        cabling: Declared,
    ) -> None:
        self.application = application
        self._measurement, self._verdict, self._link = measurement, verdict, link
        self._data, self._cabling = data, cabling
        self._wiring: WiringAnswer = judge_wiring(measurement, verdict.wire_map, application)
        self._inherited: Inheritance | None = (
            inherited(verdict, application, data) if link.may_inherit else None
        )
        self._contains_cords = measurement.configuration not in data.cord_length

    @cached_property
    def _segment(self) -> SegmentResult:
        # Asked of sound wiring alone: what is read on a broken or split pair says nothing of its own.
        return judge_segment(self._link.tables, self.application)

    @cached_property
    def _alien(self) -> AlienAnswer:
        return judge_alien(self._link.tables, self.application, self._data.alien, self._cabling)

    def result(self) -> ApplicationResult:
        """Return the answer, with the sentence on how it differs from the category."""
        found = self._capped(self._answer())
        return replace(found, contrast=contrast(found, self._verdict))

    def is_supported(self) -> bool:
        """Return whether :meth:`result` is a plain yes; the same decisions, the cheap ones first."""
        if self._wiring.stopped_by or self._wiring.conditions:
            return False
        if alien_state(self._link.tables, self.application, self._data.alien, self._cabling) in STOPPING:
            return False
        if self._inherits():
            return True
        lacking = self._wiring.missing or self._link.missing or self._segment.missing
        return not lacking and not self._segment.failing

    def _answer(self) -> ApplicationResult:
        if self._wiring.stopped_by:
            return self._plain(Support.NOT_SUPPORTED, None, stopped_by=self._wiring.stopped_by)
        if self._inherits():
            return self._by_class(Support.SUPPORTED)
        if self._segment.failing:
            basis = strongest([point.basis for point in self._segment.failing])
            return self._plain(Support.NOT_SUPPORTED, basis, limiting=self._segment.failing[0])
        missing = (*self._wiring.missing, *self._link.missing, *self._segment.missing)
        if missing:
            if self._inherited is not None:
                return replace(self._by_class(Support.CONDITIONAL), missing=missing)
            return self._plain(Support.NOT_EVALUATED, None, missing=missing)
        basis = weakest([point.basis for point in self._segment.points])
        return self._plain(Support.SUPPORTED, basis, limiting=self._segment.nearest)

    def _inherits(self) -> bool:
        """Return whether the class decides: for a link without cords always, else where the segment cannot."""
        if self._inherited is None or not self._inherited.is_full:
            return False
        if not self._contains_cords:
            return True
        failing = self._segment.failing
        # A limit of the application that is known from memory alone does not overrule the class.
        return all(p.basis is Basis.MEMORY for p in failing) if failing else bool(self._segment.missing)

    def _by_class(self, state: Support) -> ApplicationResult:
        answer = self._inherited
        assert answer is not None
        conditions = () if answer.condition is None else (_condition(answer),)
        limiting = None if self._segment.missing else self._segment.nearest
        return replace(
            self._plain(state, answer.basis, limiting=limiting),
            reasoning=Reasoning.INHERITED,
            inherited_from=answer.title,
            conditions=(*conditions, *self._wiring.conditions),
        )

    def _plain(
        self,
        state: Support,
        basis: Basis | None,
        *,
        limiting: LimitPoint | None = None,
        stopped_by: tuple[str, ...] = (),
        missing: tuple[str, ...] = (),
    ) -> ApplicationResult:
        return ApplicationResult(
            self.application,
            state,
            Reasoning.MEASURED,
            limiting=limiting,
            limit_basis=basis,
            is_predicted=self._link.cords is not None,
            stopped_by=stopped_by,
            conditions=() if stopped_by else self._wiring.conditions,
            missing=missing,
            notes=self._wiring.notes,
        )

    def _capped(self, found: ApplicationResult) -> ApplicationResult:
        """Return the answer with noise from other cables and open conditions taken into account."""
        if found.state not in (Support.SUPPORTED, Support.CONDITIONAL):
            return found
        alien = self._alien
        if alien.state is AlienState.OUTSIDE and alien.point is not None:
            return replace(
                found,
                state=Support.NOT_SUPPORTED,
                reasoning=Reasoning.MEASURED,
                inherited_from=None,
                limiting=alien.point,
                limit_basis=alien.point.basis,
                stopped_by=alien.sentences,
                conditions=(),
            )
        if alien.state is AlienState.OPEN:
            found = replace(found, conditions=(*found.conditions, *alien.sentences))
        else:
            found = replace(found, notes=(*found.notes, *alien.sentences))
        return replace(found, state=Support.CONDITIONAL) if found.conditions else found


def _condition(answer: Inheritance) -> str:
    text = "" if answer.condition is None else answer.condition.text
    return f"By {answer.title}: {text}."


def highest_supported(results: Sequence[ApplicationResult]) -> ApplicationResult | None:
    """Return the fastest application that is supported without a condition."""
    supported = [r for r in results if r.state is Support.SUPPORTED]
    return max(supported, key=lambda r: r.application.rate_mbps, default=None)
