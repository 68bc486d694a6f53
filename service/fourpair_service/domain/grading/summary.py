"""Grading of a measurement that carries worst margins instead of curves.

A reported worst margin answers for the limits that it was taken against, so it
decides in full only where those are the ones asked for. Against other limits a
reported point can still fail, and never pass: elsewhere on the curve may be
worse.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from fourpair_service.domain.grading.swept import Question
from fourpair_service.domain.limits import CurveLimit, Status
from fourpair_service.domain.measurement import Summary, SummaryReading
from fourpair_service.domain.parameters import TRAITS, Sense
from fourpair_service.domain.verdict import (
    FAILED,
    CategoryResult,
    CategoryState,
    Headroom,
    Outcome,
    ParameterResult,
    Point,
    point_outcome,
)

# A reported margin that its own measured value contradicts by more than this
# was taken against another limit.
AGREEMENT_DB = 0.2


def summary_results(summary: Summary, question: Question) -> list[ParameterResult]:
    """Return one result for each reported parameter and end that has a limit."""
    same = _same_limits(summary, question)
    results = []
    for reading in summary.readings:
        curve = question.rule_set.curve(question.category.name, question.configuration, reading.parameter)
        if curve is not None:
            results.append(_result(reading, curve, question, same_limits=same))
    return results


def _same_limits(summary: Summary, question: Question) -> bool:
    named = (summary.category or "").casefold() == question.category.name.casefold()
    return named and summary.rule_set == question.rule_set.id


def _own_margin(reading: SummaryReading, curve: CurveLimit) -> tuple[float, float] | None:
    """Return the margin and limit that our own curve gives at the reported point."""
    if reading.measured_db is None or reading.frequency_mhz is None:
        return None
    limit = float(curve.at(np.array([reading.frequency_mhz]))[0])
    if np.isnan(limit):
        return None
    at_most = TRAITS[reading.parameter].sense is Sense.AT_MOST
    return (limit - reading.measured_db if at_most else reading.measured_db - limit), limit


def _judge(
    reading: SummaryReading, own: tuple[float, float] | None, accuracy: float, *, same_limits: bool
) -> tuple[float | None, Outcome, tuple[str, ...]]:
    if own is not None and point_outcome(own[0], accuracy) in FAILED:
        return own[0], point_outcome(own[0], accuracy), ()
    if not same_limits:
        reason = "only a worst margin against other limits was reported; the curve is needed"
        return (own[0] if own else None), Outcome.INCOMPLETE, (reason,)
    if own is not None and abs(own[0] - reading.margin_db) > AGREEMENT_DB:
        reason = (
            f"the reported margin of {reading.margin_db:g} dB does not fit the reported value, "
            f"which gives {own[0]:.1f} dB"
        )
        return own[0], Outcome.INCOMPLETE, (reason,)
    margin = reading.margin_db if own is None else own[0]
    return margin, point_outcome(margin, accuracy), ()


def _result(
    reading: SummaryReading, curve: CurveLimit, question: Question, *, same_limits: bool
) -> ParameterResult:
    status = question.status(reading.parameter)
    stated = question.accuracy_at(reading.parameter, reading.frequency_mhz)
    accuracy = stated or 0.0
    own = _own_margin(reading, curve)
    margin, outcome, missing = _judge(reading, own, accuracy, same_limits=same_limits)
    measured = float("nan") if reading.measured_db is None else reading.measured_db
    point = Point(
        margin, measured, own[1] if own else None, reading.frequency_mhz, reading.pairs, reading.end, outcome
    )
    segment = curve.segment_at(reading.frequency_mhz) if reading.frequency_mhz is not None else None
    return ParameterResult(
        reading.parameter,
        reading.end,
        status,
        None if status is Status.INFORMATION else outcome,
        worst_margin=point,
        judged_points=1,
        incomplete_because=missing,
        basis=segment.basis if segment else curve.basis,
        source=(segment or curve.segments[0]).source,
        clause=(segment or curve.segments[0]).clause,
        accuracy=stated,
        note="from a reported worst margin, without its curve",
    )


ONLY_REPORTED = "only worst margins were reported; other categories need the curves"


def reported_categories(
    results: Sequence[CategoryResult],
    asked: str,
    outcome: Outcome,
    headroom: Headroom | None,
    why: tuple[str, ...],
) -> tuple[CategoryResult, ...]:
    """Return how a link with reported margins stands to each category.

    They answer for the category that was asked for, which stands as the verdict
    does; the others stay open.

    Args:
        results: as the curves have it.
        asked: name of the category that the verdict is about.
        outcome: of the verdict.
        headroom: of the verdict.
        why: its reasons.
    """
    return tuple(
        _as_judged(found, outcome, headroom, why) if found.category == asked else _left_open(found)
        for found in results
    )


def _left_open(found: CategoryResult) -> CategoryResult:
    is_open = found.state is CategoryState.NOT_EVALUATED
    return replace(found, missing=(ONLY_REPORTED,)) if is_open and found.missing else found


def _as_judged(
    found: CategoryResult, outcome: Outcome, headroom: Headroom | None, why: tuple[str, ...]
) -> CategoryResult:
    state = (
        CategoryState.NOT_MET
        if outcome in FAILED
        else CategoryState.NOT_EVALUATED
        if outcome is Outcome.INCOMPLETE
        else CategoryState.MET
    )
    return replace(
        found,
        state=state,
        headroom_db=headroom.margin_db if headroom else None,
        parameter=headroom.parameter if headroom else None,
        end=headroom.end if headroom else None,
        frequency_mhz=headroom.frequency_mhz if headroom else None,
        pairs=headroom.pairs if headroom else None,
        stopped_by=why if state is CategoryState.NOT_MET else (),
        missing=why if state is CategoryState.NOT_EVALUATED else (),
    )
