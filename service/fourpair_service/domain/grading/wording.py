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

    >>> decibels(3.14159), decibels(0.043), decibels(0.0002), decibels(0.0)
    ('3.1 dB', '0.04 dB', 'less than 0.001 dB', '0.0 dB')
    """
    if 0 < value < 0.001:
        return "less than 0.001 dB"
    digits = 1 if value >= 0.1 or value == 0 else 2 if value >= 0.01 else 3
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


def _title(measurement: LinkMeasurement, result: ParameterResult) -> str:
    return _capitalised(TRAITS[result.parameter].title) + place_of(measurement, result.end)


def _deciding(result: ParameterResult) -> tuple[Point, float]:
    """Return the point that gives a failed or marginal result its outcome, and its margin."""
    point = result.decisive or result.worst_margin
    assert point is not None
    assert point.margin is not None
    return point, point.margin


def _accuracy(result: ParameterResult) -> str:
    return f"the measurement accuracy of {_amount(result, result.accuracy or 0.0)}"


def _failure(measurement: LinkMeasurement, result: ParameterResult) -> str:
    point, margin = _deciding(result)
    text = f"{_title(measurement, result)} fails by {_amount(result, -margin)}{_on(point)}"
    others = sum(1 for p in result.by_pair if p.outcome in FAILED) - 1
    if others > 0:
        text += f", and on {others} more"
    if result.outcome is Outcome.MARGINAL_FAIL:
        text += f"; that is less than {_accuracy(result)} (fail*)"
    return text + "."


def _close(measurement: LinkMeasurement, result: ParameterResult) -> str:
    point, margin = _deciding(result)
    text = f"{_title(measurement, result)} passes by only {_amount(result, margin)}{_on(point)}"
    return f"{text}, less than {_accuracy(result)} (pass*)."


def missing_sentence(measurement: LinkMeasurement, result: ParameterResult) -> str:
    """Return what keeps one parameter from being judged."""
    return f"{_title(measurement, result)}: {'; '.join(result.incomplete_because)}."


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
        failing.sort(key=lambda r: _deciding(r)[1])
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
