"""The parameters of the required category in full: every pair, excuses, outcome."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from itertools import accumulate
from typing import Final

import numpy as np

from fourpair_service.domain.grading.margins import (
    BY_NEXT_LOSS,
    BY_OWN_LOSS,
    TableMargins,
    axis_limits,
    limit_rows,
    relief_db,
    threshold_of,
)
from fourpair_service.domain.grading.rows import BoolArray, IndexArray, RowGroup
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


def _rule_of(group: RowGroup, category: Category) -> tuple[str, str, Rule]:
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
    return next(outcome for outcome, which in _DECIDING.items() if bool(which(margin, accuracy).any()))


def _margin_of(point: Point) -> float:
    return np.inf if point.margin is None else point.margin


class LinkCurves:
    """Results for the curves of one link of a table, all rows at once.

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
        self._margins, self._link, self._question = margins, link, question
        self._rules = question.category.rules
        self._limits = axis_limits(
            question.rule_set, question.category, question.configuration, margins.table.frequency_mhz
        )
        self._numbers = [n for n, p in enumerate(margins.parameters) if p in self._limits.limit]
        self._frequency_mhz = margins.table.frequency_mhz[self._limits.window]

    def results(self) -> list[ParameterResult]:
        """Return one result for each parameter and end that has a limit."""
        if not self._numbers or self._frequency_mhz.size == 0:
            return [self._nothing(number) for number in self._numbers]
        value, limit, heights = self._rows()
        margin = value - limit
        worst = margin.argmin(axis=1)
        # Where a curve has no limit its value must not count as the worst either.
        largest = (np.where(np.isfinite(margin), value, np.inf) if self._limits.holes else value).argmin(
            axis=1
        )
        rows = np.arange(len(margin))
        every = _EveryPoint(margin, value, limit, self._frequency_mhz)
        columns = _Columns(
            every, every.at(rows, worst), every.at(rows, largest), self._counts(margin, heights)
        )
        results, start = [], 0
        for number, height in zip(self._numbers, heights, strict=True):
            results.append(self._result(number, columns, start, start + height))
            start += height
        return results

    def _rows(self) -> tuple[FloatArray, FloatArray, list[int]]:
        window, link = self._limits.window, slice(self._link, self._link + 1)
        blocks = [self._margins.judged(n, self._question.category, link)[0, :, window] for n in self._numbers]
        heights = [len(block) for block in blocks]
        parameters = tuple(self._margins.parameters[n] for n in self._numbers)
        limit = np.repeat(limit_rows(self._limits, parameters), heights, axis=0)
        return np.concatenate(blocks), limit, heights

    def _counts(self, margin: FloatArray, heights: list[int]) -> list[int]:
        """Return how many points of each group are judged."""
        if self._limits.holes:
            of_rows = np.isfinite(margin).sum(axis=1)
            return [int(of_rows[stop - height : stop].sum()) for height, stop in _stops(heights)]
        size, window, masks = margin.shape[1], self._limits.window, self._margins.masks(self._rules)
        out = [_excused_points(masks[n], self._link, window) for n in self._numbers]
        return [height * size - left for height, left in zip(heights, out, strict=True)]

    def _point(self, group: RowGroup, rows: _Rows, row: int, of: int, outcome: Outcome | None) -> Point:
        return Point(
            rows.margin[row],
            group.sign * rows.value[row],
            group.sign * rows.limit[row],
            rows.frequency_mhz[row],
            group.keys[of] or None,
            group.end,
            outcome,
        )

    def _as_measured(self, number: int, points: tuple[Point, ...]) -> tuple[Point, ...]:
        """Return points with a relief taken off their limit, where it was added to the value."""
        table = self._margins.table
        group = table.groups[number]
        relief = relief_db(table, group, self._rules.short_link_relief)
        if relief is None:
            return points
        of_link = relief[self._link]
        return tuple(_less(point, of_link, group, table.frequency_mhz) for point in points)

    def _result(self, number: int, columns: _Columns, start: int, stop: int) -> ParameterResult:
        group = self._margins.table.groups[number]
        rows = [row for row in range(start, stop) if columns.worst.margin[row] != np.inf]
        if not rows:
            return self._nothing(number)
        accuracy = _accuracy_at(self._question.accuracy.get(group.parameter), self._frequency_mhz)
        by_pair = tuple(
            self._point(group, columns.worst, row, row - start, columns.outcome(row, accuracy))
            for row in rows
        )
        by_pair = self._as_measured(number, by_pair)
        worst = min(by_pair, key=_margin_of)
        outcome = worst_outcome([point.outcome for point in by_pair if point.outcome is not None])
        decisive = worst
        if isinstance(accuracy, np.ndarray):
            row, found = columns.decisive(start, stop, outcome, accuracy)
            point = self._point(group, found, 0, row, outcome)
            decisive = self._as_measured(number, (point,))[0]
        missing = self._missing(number)
        if missing and outcome not in FAILED:
            outcome = Outcome.INCOMPLETE
        status = self._question.status(group.parameter)
        basis, source, clause = _provenance(self._curve(group), worst.frequency_mhz)
        value_row = min(rows, key=lambda row: columns.largest.value[row])
        return ParameterResult(
            group.parameter,
            group.end,
            status,
            None if status is Status.INFORMATION else outcome,
            worst_margin=worst,
            worst_value=self._as_measured(
                number, (self._point(group, columns.largest, value_row, value_row - start, None),)
            )[0],
            decisive=decisive if decisive[:-1] != worst[:-1] else None,
            by_pair=by_pair,
            judged_points=columns.counts[self._numbers.index(number)],
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
            (question.category.name, question.configuration.value, group.parameter.value)
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
        basis, source, clause = _provenance(self._curve(group), None)
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
        absent = [key for key in TRAITS[group.parameter].keys if key not in have]
        if absent:
            missing.append(f"not measured on {', '.join(absent)}")
        if self._limits.gap and not self._question.coverage_is_advisory:
            missing.append(self._limits.gap)
        if group.parameter in self._limits.holes:
            missing.append(self._limits.holes[group.parameter])
        missing += self._not_combined(number)
        return tuple(missing)

    def _not_combined(self, number: int) -> list[str]:
        """Return where a combined curve has no value, for want of one of its parts."""
        gaps = self._margins.table.gaps[number]
        if gaps is None or self._question.coverage_is_advisory:
            return []
        at_mhz = self._frequency_mhz[gaps[self._link, :, self._limits.window].any(axis=0)]
        if at_mhz.size == 0:
            return []
        where = f"from {at_mhz[0]:g} to {at_mhz[-1]:g} MHz" if at_mhz.size > 1 else f"at {at_mhz[0]:g} MHz"
        return [f"it cannot be computed {where}, where one of its curves was not measured"]

    def _excuse(self, number: int) -> Excuse | None:
        group = self._margins.table.groups[number]
        mask = self._margins.masks(self._rules)[number]
        if mask is None or threshold_of(group, self._rules) is None:
            return None
        gaps = self._margins.table.gaps[number]
        points = _excused_points(mask if gaps is None else mask & ~gaps, self._link, self._limits.window)
        if points == 0:
            return None
        name, text, rule = _rule_of(group, self._question.category)
        return Excuse(name, text, points, rule.source)


def _less(point: Point, relief: FloatArray, group: RowGroup, axis: FloatArray) -> Point:
    at = int(np.searchsorted(axis, point.frequency_mhz or 0.0))
    drop = float(relief[group.keys.index(point.pairs or ""), at])
    return point._replace(measured=point.measured - drop, limit=(point.limit or 0.0) - drop)


def _stops(heights: list[int]) -> list[tuple[int, int]]:
    return list(zip(heights, accumulate(heights), strict=True))


def _excused_points(mask: BoolArray | None, link: int, window: slice) -> int:
    return 0 if mask is None else int(np.count_nonzero(mask[link, :, window]))


@dataclass(frozen=True, slots=True)
class _Rows:
    """One point of every row, as plain numbers."""

    margin: list[float]
    value: list[float]
    limit: list[float]
    frequency_mhz: list[float]


@dataclass(frozen=True, slots=True, eq=False)
class _EveryPoint:
    """All points of all rows, (rows, n) over (n,) frequencies."""

    margin: FloatArray
    value: FloatArray
    limit: FloatArray
    frequency_mhz: FloatArray

    def at(self, rows: IndexArray, columns: IndexArray) -> _Rows:
        return _Rows(
            self.margin[rows, columns].tolist(),
            self.value[rows, columns].tolist(),
            self.limit[rows, columns].tolist(),
            self.frequency_mhz[columns].tolist(),
        )


@dataclass(frozen=True, slots=True)
class _Columns:
    """What the reductions over all rows of a link give."""

    every: _EveryPoint
    worst: _Rows
    largest: _Rows
    counts: list[int]

    def outcome(self, row: int, accuracy: FloatArray | float) -> Outcome:
        """Return the outcome of one row: the worst of its points."""
        if isinstance(accuracy, np.ndarray):
            return _outcome(self.every.margin[row], accuracy)
        return point_outcome(self.worst.margin[row], accuracy)

    def decisive(self, start: int, stop: int, outcome: Outcome, accuracy: FloatArray) -> tuple[int, _Rows]:
        """Return the row of the point that gives several rows their outcome, and the point."""
        margin = self.every.margin[start:stop]
        deciding = np.where(_DECIDING[outcome](margin, accuracy), margin, np.inf)
        row, column = np.unravel_index(int(deciding.argmin()), deciding.shape)
        return int(row), self.every.at(np.array([start + row]), np.array([column]))


def _provenance(curve: CurveLimit, frequency_mhz: float | None) -> tuple[Basis, str, str | None]:
    segment = curve.segment_at(frequency_mhz) if frequency_mhz is not None else None
    if segment is None:
        return curve.basis, curve.segments[0].source, curve.segments[0].clause
    return segment.basis, segment.source, segment.clause
