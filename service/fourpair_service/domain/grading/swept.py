"""The parameters of the required category in full: every pair, excuses, outcome."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fourpair_service.domain.grading.margins import (
    BY_NEXT_LOSS,
    BY_OWN_LOSS,
    AxisLimits,
    BoolArray,
    TableMargins,
    axis_limits,
    relief_db,
    threshold_of,
)
from fourpair_service.domain.grading.rows import RowGroup
from fourpair_service.domain.limits import Basis, Category, CurveLimit, Rule, RuleSet, Status
from fourpair_service.domain.link import Configuration
from fourpair_service.domain.measurement import AccuracyCurve, FloatArray
from fourpair_service.domain.parameters import TRAITS, Parameter
from fourpair_service.domain.verdict import Excuse, Outcome, ParameterResult, Point, point_outcome


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


def _outcome(margin: FloatArray, accuracy: FloatArray | float) -> Outcome:
    # The worst point decides, and with an accuracy that varies over frequency it
    # need not be the one with the smallest margin.
    if isinstance(accuracy, float):
        return point_outcome(float(margin.min()), accuracy)
    if bool(((margin < 0) & (margin <= -accuracy)).any()):
        return Outcome.FAIL
    if bool((margin < 0).any()):
        return Outcome.MARGINAL_FAIL
    return Outcome.MARGINAL_PASS if bool((margin < accuracy).any()) else Outcome.PASS


@dataclass(frozen=True, slots=True, eq=False)
class _Judged:
    """One group of one link inside the category's range."""

    group: RowGroup
    frequency_mhz: FloatArray
    value: FloatArray
    limit: FloatArray
    relief: FloatArray | None
    margin: FloatArray
    accuracy: FloatArray | float

    def _row_outcome(self, row: int, margin: float) -> Outcome:
        if isinstance(self.accuracy, float):
            return point_outcome(margin, self.accuracy)
        return _outcome(self.margin[row], self.accuracy)

    def worst_of_each_pair(self) -> tuple[Point, ...]:
        """Return the smallest margin of each row that has a judged point."""
        if self.margin.shape[1] == 0:
            return ()
        at = self.margin.argmin(axis=1).tolist()
        points = (self.point(row, index, with_outcome=True) for row, index in enumerate(at))
        return tuple(point for point in points if _margin_of(point) != np.inf)

    def point(self, row: int, at: int, *, with_outcome: bool = False) -> Point:
        """Return one point of one row."""
        sign = self.group.sign
        relief = 0.0 if self.relief is None else float(self.relief[row, at])
        margin = float(self.margin[row, at])
        outcome = self._row_outcome(row, margin) if with_outcome else None
        return Point(
            margin=margin,
            measured=sign * (float(self.value[row, at]) - relief),
            limit=sign * (float(self.limit[at]) - relief),
            frequency_mhz=float(self.frequency_mhz[at]),
            pairs=self.group.keys[row] or None,
            end=self.group.end,
            outcome=outcome,
        )


def _margin_of(point: Point) -> float:
    return np.inf if point.margin is None else point.margin


class LinkCurves:
    """Results for the curves of one link of a table."""

    def __init__(self, margins: TableMargins, link: int, question: Question) -> None:
        self._margins, self._link, self._question = margins, link, question
        self._limits = axis_limits(
            question.rule_set, question.category, question.configuration, margins.table.frequency_mhz
        )

    def results(self) -> list[ParameterResult]:
        """Return one result for each parameter and end that has a limit."""
        return [
            self._result(number, group)
            for number, group in enumerate(self._margins.table.groups)
            if group.parameter in self._limits.limit
        ]

    def _judged(self, number: int, group: RowGroup, limits: AxisLimits) -> _Judged:
        window, table = limits.window, self._margins.table
        value = self._margins.judged(number, self._question.category)[self._link, :, window]
        relief = relief_db(table, group, self._question.category.rules.short_link_relief)
        limit = limits.limit[group.parameter]
        frequency_mhz = table.frequency_mhz[window]
        accuracy = _accuracy_at(self._question.accuracy.get(group.parameter), frequency_mhz)
        return _Judged(
            group,
            frequency_mhz,
            value,
            limit,
            None if relief is None else relief[self._link, :, window],
            value - limit,
            accuracy,
        )

    def _result(self, number: int, group: RowGroup) -> ParameterResult:
        limits, question = self._limits, self._question
        status = question.status(group.parameter)
        curve = question.rule_set.curve_limits[
            (question.category.name, question.configuration.value, group.parameter.value)
        ]
        judged = self._judged(number, group, limits)
        missing = self._missing(group, limits)
        excuse = self._excuse(group, self._margins.masks(question.category.rules)[number], limits)
        by_pair = judged.worst_of_each_pair()
        if not by_pair:
            return self._nothing_judged(group, status, excuse, missing, curve)
        worst = min(by_pair, key=_margin_of)
        outcome = _outcome(judged.margin, judged.accuracy)
        if missing and outcome in (Outcome.PASS, Outcome.MARGINAL_PASS):
            outcome = Outcome.INCOMPLETE
        basis, source, clause = _provenance(curve, worst.frequency_mhz)
        return ParameterResult(
            group.parameter,
            group.end,
            status,
            None if status is Status.INFORMATION else outcome,
            worst_margin=worst,
            worst_value=self._worst_value(judged),
            by_pair=by_pair,
            judged_points=int(np.isfinite(judged.margin).sum()),
            excuse=excuse,
            incomplete_because=missing,
            basis=basis,
            source=source,
            clause=clause,
            accuracy=self._stated_accuracy(group.parameter, worst),
        )

    def _stated_accuracy(self, parameter: Parameter, worst: Point) -> float | None:
        stated = self._question.accuracy.get(parameter)
        if isinstance(stated, AccuracyCurve):
            return float(stated.at(np.array([worst.frequency_mhz], dtype=np.float64))[0])
        return stated

    @staticmethod
    def _nothing_judged(
        group: RowGroup, status: Status, excuse: Excuse | None, missing: tuple[str, ...], curve: CurveLimit
    ) -> ParameterResult:
        # Everything excused is a pass by the edition's own rule; nothing in the
        # range of the limit is not.
        if excuse is None and not missing:
            missing = ("no point lies in the range of the limit",)
        outcome = Outcome.INCOMPLETE if missing else Outcome.PASS
        basis, source, clause = _provenance(curve, None)
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

    @staticmethod
    def _worst_value(judged: _Judged) -> Point:
        value = np.where(np.isfinite(judged.margin), judged.value, np.inf)
        row, at = divmod(int(value.argmin()), value.shape[1])
        return judged.point(row, at)

    def _missing(self, group: RowGroup, limits: AxisLimits) -> tuple[str, ...]:
        missing = []
        absent = [key for key in TRAITS[group.parameter].keys if key not in group.keys]
        if absent:
            missing.append(f"not measured on {', '.join(absent)}")
        if limits.gap and not self._question.coverage_is_advisory:
            missing.append(limits.gap)
        if group.parameter in limits.holes:
            missing.append(limits.holes[group.parameter])
        return tuple(missing)

    def _excuse(self, group: RowGroup, mask: BoolArray | None, limits: AxisLimits) -> Excuse | None:
        if mask is None or threshold_of(group, self._question.category.rules) is None:
            return None
        points = int(mask[self._link, :, limits.window].sum())
        if points == 0:
            return None
        name, text, rule = _rule_of(group, self._question.category)
        return Excuse(name, text, points, rule.source)


def _provenance(curve: CurveLimit, frequency_mhz: float | None) -> tuple[Basis, str, str | None]:
    segment = curve.segment_at(frequency_mhz) if frequency_mhz is not None else None
    if segment is None:
        return curve.basis, curve.segments[0].source, curve.segments[0].clause
    return segment.basis, segment.source, segment.clause
