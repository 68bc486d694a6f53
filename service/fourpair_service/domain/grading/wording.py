"""The sentences of a verdict: what fails or is close, where, and by how much."""

from __future__ import annotations

from collections.abc import Iterable

from fourpair_service.domain.grading.categories import UNIT_WORDS
from fourpair_service.domain.link import End
from fourpair_service.domain.measurement import LinkMeasurement
from fourpair_service.domain.parameters import TRAITS
from fourpair_service.domain.verdict import FAILED, Headroom, Outcome, ParameterResult, Point, WireMapResult

PROVISIONAL_NOTICE = (
    "Provisional: judged against limits that have not yet been checked against the standard itself."
)
ADVISORY_NOTICE = (
    "Provisional: the sweep does not cover the range as the standard asks; "
    "it was judged where it was measured."
)


def decibels(value: float) -> str:
    """Return a size in dB as a person writes it, never rounding a small one to nothing.

    >>> decibels(3.14159), decibels(0.043)
    ('3.1 dB', '0.04 dB')
    """
    digits = 1 if abs(value) >= 0.1 else 2 if abs(value) >= 0.01 else 3
    return f"{value:.{digits}f} dB"


def _capitalised(text: str) -> str:
    return text[:1].upper() + text[1:]


def _amount(result: ParameterResult, size: float) -> str:
    unit = TRAITS[result.parameter].unit
    return decibels(size) if unit == "db" else f"{size:.3g} {UNIT_WORDS[unit or 'db']}"


def place_of(measurement: LinkMeasurement, end: End | None) -> str:
    """Return the name of an end after "at", nothing for a parameter without ends."""
    return f" at {measurement.place(end)}" if end else ""


def _on(point: Point) -> str:
    pairs = f" on {'pairs' if not point.pairs.isdigit() else 'pair'} {point.pairs}" if point.pairs else ""
    at = f" at {point.frequency_mhz:.4g} MHz" if point.frequency_mhz is not None else ""
    return pairs + at


def _failure(measurement: LinkMeasurement, result: ParameterResult) -> str:
    point = result.worst_margin
    title = _capitalised(TRAITS[result.parameter].title) + place_of(measurement, result.end)
    if point is None or point.margin is None:
        return f"{title} fails."
    text = f"{title} fails by {_amount(result, -point.margin)}{_on(point)}"
    others = sum(1 for p in result.by_pair if p.outcome in FAILED) - 1
    if others > 0:
        text += f", and on {others} more"
    if result.outcome is Outcome.MARGINAL_FAIL and result.accuracy is not None:
        text += f"; that is less than the measurement accuracy of {_amount(result, result.accuracy)} (fail*)"
    return text + "."


def _close(measurement: LinkMeasurement, result: ParameterResult) -> str:
    point = result.worst_margin
    title = _capitalised(TRAITS[result.parameter].title) + place_of(measurement, result.end)
    if point is None or point.margin is None:
        return f"{title} passes."
    text = f"{title} passes by only {_amount(result, point.margin)}{_on(point)}"
    if result.accuracy is not None:
        text += f", less than the measurement accuracy of {_amount(result, result.accuracy)} (pass*)"
    return text + "."


def missing_sentence(measurement: LinkMeasurement, result: ParameterResult) -> str:
    """Return what keeps one parameter from being judged."""
    title = _capitalised(TRAITS[result.parameter].title) + place_of(measurement, result.end)
    return f"{title}: {'; '.join(result.incomplete_because) or 'not measured'}."


def reasons(
    measurement: LinkMeasurement,
    outcome: Outcome,
    wire_map: WireMapResult,
    judged: Iterable[ParameterResult],
    headroom: Headroom | None,
) -> tuple[str, ...]:
    """Return why the outcome is what it is, most important first."""
    judged = list(judged)
    sentences = [finding.text for finding in wire_map.findings]
    for wanted in (Outcome.FAIL, Outcome.MARGINAL_FAIL):
        failing = [r for r in judged if r.outcome is wanted]
        failing.sort(key=lambda r: r.worst_margin.margin if r.worst_margin and r.worst_margin.margin else 0.0)
        sentences += [_failure(measurement, r) for r in failing]
    if outcome in FAILED:
        return tuple(sentences)
    if wire_map.outcome is Outcome.INCOMPLETE:
        sentences.append(_capitalised(wire_map.note or "the wire map was not measured") + ".")
    sentences += [missing_sentence(measurement, r) for r in judged if r.outcome is Outcome.INCOMPLETE]
    if outcome is Outcome.INCOMPLETE:
        return tuple(sentences)
    sentences += [_close(measurement, r) for r in judged if r.outcome is Outcome.MARGINAL_PASS]
    sentences.append("Everything required was measured and is inside its limits.")
    if headroom is not None:
        point = Point(headroom.margin_db, 0.0, None, headroom.frequency_mhz, headroom.pairs, headroom.end)
        sentences.append(
            f"The closest is {TRAITS[headroom.parameter].title}{place_of(measurement, headroom.end)}, "
            f"{decibels(headroom.margin_db)} inside its limit{_on(point)}."
        )
    return tuple(sentences)
