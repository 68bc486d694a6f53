"""The parameters of the required category in full: every pair, excuses, outcome."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from operator import itemgetter
from typing import Final

import numpy as np

from fourpair_service.domain.grading.columns import Columns, decibel_columns, power_columns
from fourpair_service.domain.grading.excuses import BY_NEXT_LOSS, BY_OWN_LOSS, threshold_of
from fourpair_service.domain.grading.margins import (
    Share,
    TableMargins,
    axis_limits,
    limit_gains,
    limit_rows,
    relief_db,
)
from fourpair_service.domain.grading.table import BoolArray, RowGroup
from fourpair_service.domain.limits import Basis, Category, CurveLimit, Rule, RuleSet, Status
from fourpair_service.domain.link import Configuration, End
from fourpair_service.domain.measurement import AccuracyCurve, FloatArray
from fourpair_service.domain.parameters import TRAITS, Parameter
from fourpair_service.domain.verdict import FAILED, Excuse, Outcome, ParameterResult, Point, point_outcome
from fourpair_service.domain.verdict import worst as worst_outcome


@dataclass(frozen=True, slots=True, eq=False)
class Question:
    """What is asked of a link's curves: the limits to hold them against, and how.

    Attributes:
        accuracy: as stated by the measurement, by parameter.
        coverage_is_advisory: a gap in the axis does not make a result incomplete.
    """

    rule_set: RuleSet
    category: Category
    configuration: Configuration
    accuracy: dict[Parameter, float | AccuracyCurve]
    coverage_is_advisory: bool = False

    def status(self, parameter: Parameter) -> Status:
        """Return what the edition does with a parameter."""
        return self.category.statuses.get(parameter, Status.INFORMATION)

    def accuracy_at(self, parameter: Parameter, frequency_mhz: float | None) -> float | None:
        """Return the stated accuracy at one frequency, ``None`` where none is stated."""
        stated = self.accuracy.get(parameter)
        if isinstance(stated, AccuracyCurve):
            return float(stated.at(np.array([frequency_mhz or 0.0]))[0])
        return stated


def rule_of(group: RowGroup, category: Category) -> tuple[str, str, Rule]:
    """Return the name, the words and the source of the rule that excuses points of a group."""
    rules = category.rules
    if group.parameter in BY_OWN_LOSS:
        rule = rules.return_loss_below_loss_db
        return "own_insertion_loss", f"the pair's insertion loss is below {rule.value:.1f} dB", rule
    if group.parameter in BY_NEXT_LOSS:
        rule = rules.next_below_loss_db
        whose = (
            "both pairs' insertion loss is"
            if group.parameter is Parameter.NEXT
            else "the pair's insertion loss is"
        )
        return "next_insertion_loss", f"{whose} below {rule.value:.1f} dB", rule
    if group.parameter is Parameter.ACR_F:
        rule = rules.acr_f_above_fext_db
        return "fext", f"the FEXT loss is above {rule.value:.1f} dB", rule
    rule = rules.ps_acr_f_above_ps_fext_db
    return "ps_fext", f"the power sum FEXT loss is above {rule.value:.1f} dB", rule


def _accuracy_at(accuracy: float | AccuracyCurve | None, frequency_mhz: FloatArray) -> FloatArray | float:
    if isinstance(accuracy, AccuracyCurve):
        return accuracy.at(frequency_mhz)
    return 0.0 if accuracy is None else accuracy


# Which points give a row its outcome, worst outcome first. With an accuracy that
# varies over frequency they need not include the smallest margin.
_DECIDING: Final[Mapping[Outcome, Callable[[FloatArray, FloatArray], BoolArray]]] = {
    Outcome.FAIL: lambda margin, accuracy: (margin < 0) & (margin <= -accuracy),
    Outcome.MARGINAL_FAIL: lambda margin, _: margin < 0,
    Outcome.MARGINAL_PASS: lambda margin, accuracy: margin < accuracy,
    Outcome.PASS: lambda margin, _: margin < np.inf,
}


def _outcome(margin: FloatArray, accuracy: FloatArray) -> Outcome:
    found = (outcome for outcome, which in _DECIDING.items() if bool(which(margin, accuracy).any()))
    return next(found, Outcome.PASS)  # every point is excused


class LinkCurves:
    """Results for the curves of one link of a table.

    Args:
        margins: of the table.
        link: which of its links.
        question: what is asked.
        keys: which pairs each parameter and end has in all tables of the link.
    """

    def __init__(
        self,
        margins: TableMargins,
        link: int,
        question: Question,
        keys: Mapping[tuple[Parameter, End | None], frozenset[str]],
    ) -> None:
        self._keys = keys
        self._left: dict[int, int] = {}
        self._margins, self._link, self._question = margins, link, question
        self._rules = question.category.rules
        self._limits = axis_limits(
            question.rule_set, question.category, question.configuration, margins.table.frequency_mhz
        )
        self._frequency_mhz = margins.table.frequency_mhz[self._limits.window]

    def results(self) -> list[ParameterResult]:
        """Return one result for each parameter and end that has a limit."""
        found: dict[int, ParameterResult] = {}
        for share in self._margins.shares:
            judged = [
                n for n, p in zip(share.numbers, share.parameters, strict=True) if p in self._limits.limit
            ]
            if judged and self._frequency_mhz.size:
                columns = self._columns(share)
                rows = dict(zip(share.numbers, share.rows, strict=True))
                found |= {n: self._result(n, columns, rows[n].start, rows[n].stop) for n in judged}
            else:
                found |= {number: self._nothing(number) for number in judged}
        return [found[number] for number in sorted(found)]

    def margins(self) -> Iterator[tuple[Parameter, End | None, FloatArray, FloatArray]]:
        """Yield (n,) frequencies and (rows, n) margins of each parameter and end that has a limit.

        A point that is not judged has a margin that is not finite. [MHz, dB]
        """
        for share in self._margins.shares:
            for number, rows in zip(share.numbers, share.rows, strict=True):
                group = self._margins.table.groups[number]
                if group.parameter not in self._limits.limit or not self._frequency_mhz.size:
                    continue
                columns, of = self._columns(share), slice(rows.start, rows.stop)
                if relief_db(self._margins.table, group, self._rules.short_link_relief) is not None:
                    columns, of = self._relieved(number), slice(0, rows.stop - rows.start)
                yield group.parameter, group.end, self._frequency_mhz, columns.margins_of(of)

    def _columns(self, share: Share) -> Columns:
        block = self._margins.block(share, self._rules)[self._link, :, self._limits.window]
        parameters, has_holes = share.parameters, not self._limits.holes.keys().isdisjoint(share.parameters)
        limit = limit_rows(self._limits, parameters)
        if share.is_power:
            gain = limit_gains(self._limits, parameters)
            return power_columns(block, limit, gain, share.owners, self._frequency_mhz, has_holes=has_holes)
        return decibel_columns(block, limit, share.owners, self._frequency_mhz, has_holes=has_holes)

    def _relieved(self, number: int) -> Columns:
        """Return the columns of a group whose limit is relieved for this link."""
        group = self._margins.table.groups[number]
        link = slice(self._link, self._link + 1)
        value = self._margins.judged(number, self._question.category, link)[0, :, self._limits.window]
        limit = limit_rows(self._limits, (group.parameter,))
        has_holes = group.parameter in self._limits.holes
        owners = np.zeros(len(value), dtype=np.intp)
        return decibel_columns(value, limit, owners, self._frequency_mhz, has_holes=has_holes)

    def _result(self, number: int, columns: Columns, start: int, stop: int) -> ParameterResult:
        table = self._margins.table
        group = table.groups[number]
        relief = relief_db(table, group, self._rules.short_link_relief)
        if relief is not None:
            columns, start, stop = self._relieved(number), 0, stop - start

        def as_measured(point: Point) -> Point:
            """Take a relief off the limit, where it was added to the value."""
            if relief is None:
                return point
            return _less(point, relief[self._link], group, table.frequency_mhz)

        accuracy = _accuracy_at(self._question.accuracy.get(group.parameter), self._frequency_mhz)
        outcomes = _outcomes(columns, slice(start, stop), accuracy)
        by_pair = [p for p in group.points(columns.worst, start, outcomes) if p.margin != np.inf]
        if not by_pair:
            return self._nothing(number)
        if relief is not None:
            by_pair = [as_measured(point) for point in by_pair]
        # Of equal margins the first counts: a point's margin is what it begins with.
        worst = min(by_pair, key=itemgetter(0))
        outcome = worst_outcome(outcomes)
        decisive = worst
        if isinstance(accuracy, np.ndarray):
            point = _decisive(group, columns, slice(start, stop), outcome, accuracy)
            decisive = as_measured(point)
        missing = self._missing(number)
        if missing and outcome not in FAILED:
            outcome = Outcome.INCOMPLETE
        status = self._question.status(group.parameter)
        basis, source, clause = provenance(self._curve(group), worst.frequency_mhz)
        judged = columns.judged_points(start, stop)
        largest = min(range(start, stop), key=columns.largest.value.__getitem__)
        return ParameterResult(
            group.parameter,
            group.end,
            status,
            None if status is Status.INFORMATION else outcome,
            worst_margin=worst,
            worst_value=as_measured(group.point(columns.largest, largest, group.keys[largest - start])),
            decisive=decisive if decisive[:-1] != worst[:-1] else None,
            by_pair=tuple(by_pair),
            judged_points=self._judged_points(number) if judged is None else judged,
            excuse=self._excuse(number),
            incomplete_because=missing,
            basis=basis,
            source=source,
            clause=clause,
            accuracy=self._question.accuracy_at(group.parameter, decisive.frequency_mhz),
        )

    def _curve(self, group: RowGroup) -> CurveLimit:
        question = self._question
        return question.rule_set.curve_limits[
            (question.category.name, question.configuration, group.parameter)
        ]

    def _nothing(self, number: int) -> ParameterResult:
        # Everything excused is a pass by the edition's own rule; nothing in the
        # range of the limit is not.
        group = self._margins.table.groups[number]
        missing, excuse = self._missing(number), self._excuse(number)
        if excuse is None and not missing:
            missing = ("no point lies in the range of the limit",)
        status = self._question.status(group.parameter)
        outcome = Outcome.INCOMPLETE if missing else Outcome.PASS
        basis, source, clause = provenance(self._curve(group), None)
        return ParameterResult(
            group.parameter,
            group.end,
            status,
            None if status is Status.INFORMATION else outcome,
            excuse=excuse,
            incomplete_because=missing,
            basis=basis,
            source=source,
            clause=clause,
        )

    def _missing(self, number: int) -> tuple[str, ...]:
        group, missing = self._margins.table.groups[number], []
        have = self._keys[(group.parameter, group.end)]
        every = TRAITS[group.parameter].keys
        if len(have) < len(every):
            absent = [key for key in every if key not in have]
            missing.append(f"not measured on {', '.join(absent)}")
        if self._limits.gap and not self._question.coverage_is_advisory:
            missing.append(self._limits.gap)
        if group.parameter in self._limits.holes:
            missing.append(self._limits.holes[group.parameter])
        if self._margins.table.gaps[number] is not None and not self._question.coverage_is_advisory:
            missing += self._not_combined(number)
        return tuple(missing)

    def _not_combined(self, number: int) -> list[str]:
        """Return where a combined curve has no value, for want of one of its parts."""
        gaps = self._margins.table.gaps[number]
        assert gaps is not None
        at_mhz = self._frequency_mhz[gaps[self._link, :, self._limits.window].any(axis=0)]
        if at_mhz.size == 0:
            return []
        where = f"from {at_mhz[0]:g} to {at_mhz[-1]:g} MHz" if at_mhz.size > 1 else f"at {at_mhz[0]:g} MHz"
        return [f"it cannot be computed {where}, where one of its curves was not measured"]

    def _judged_points(self, number: int) -> int:
        every = len(self._margins.table.groups[number].keys) * self._frequency_mhz.size
        return every - self._left_out(number, self._margins.mask(number, self._rules))

    def _left_out(self, number: int, mask: BoolArray | None) -> int:
        """Return how many points of a group are not judged, within the range."""
        if mask is None:
            return 0
        if number not in self._left:
            self._left[number] = self._count(mask)
        return self._left[number]

    def _count(self, mask: BoolArray) -> int:
        return int(np.count_nonzero(mask[self._link, :, self._limits.window]))

    def _excuse(self, number: int) -> Excuse | None:
        group = self._margins.table.groups[number]
        mask = self._margins.mask(number, self._rules)
        if mask is None or threshold_of(group, self._rules) is None:
            return None
        gaps = self._margins.table.gaps[number]
        points = self._left_out(number, mask) if gaps is None else self._count(mask & ~gaps)
        if points == 0:
            return None
        name, text, rule = rule_of(group, self._question.category)
        return Excuse(name, text, points, rule.source)


def _less(point: Point, relief: FloatArray, group: RowGroup, axis: FloatArray) -> Point:
    at = int(np.searchsorted(axis, point.frequency_mhz or 0.0))
    drop = float(relief[group.keys.index(point.pairs or ""), at])
    return point._replace(measured=point.measured - drop, limit=(point.limit or 0.0) - drop)


def _outcomes(columns: Columns, rows: slice, accuracy: FloatArray | float) -> list[Outcome]:
    """Return the outcome of each of several rows: the worst of its points."""
    if isinstance(accuracy, np.ndarray):
        return [_outcome(margin, accuracy) for margin in columns.margins_of(rows)]
    return [point_outcome(margin, accuracy) for margin in columns.worst.margin[rows]]


def _decisive(
    group: RowGroup, columns: Columns, rows: slice, outcome: Outcome, accuracy: FloatArray
) -> Point:
    """Return the point that gives several rows their outcome."""
    margin = columns.margins_of(rows)
    deciding = np.where(_DECIDING[outcome](margin, accuracy), margin, np.inf)
    row, column = divmod(int(deciding.argmin()), deciding.shape[1])
    return group.point(columns.at(rows.start + row, column), 0, group.keys[row], outcome)


def provenance(curve: CurveLimit, frequency_mhz: float | None) -> tuple[Basis, str, str | None]:
    """Return basis, source and clause of a limit at a frequency."""
    segment = curve.segment_at(frequency_mhz) if frequency_mhz is not None else None
    if segment is None:
        return curve.basis, curve.segments[0].source, curve.segments[0].clause
    return segment.basis, segment.source, segment.clause
