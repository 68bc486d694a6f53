"""The sentences of an application's answer."""

from __future__ import annotations

from typing import Final

from fourpair_service.domain.applications.result import ApplicationResult, Reasoning
from fourpair_service.domain.applications.segment import LimitPoint
from fourpair_service.domain.grading.categories import UNIT_WORDS
from fourpair_service.domain.grading.wording import decibels
from fourpair_service.domain.measurement import LinkMeasurement
from fourpair_service.domain.parameters import TRAITS
from fourpair_service.domain.support import Support

MEMORY_SENTENCE: Final = "Provisional: a limit that decides is known from memory alone."


def sentences(result: ApplicationResult, measurement: LinkMeasurement) -> tuple[str, ...]:
    """Return the answer in plain sentences, most important first.

    Args:
        result: the answer.
        measurement: for the names of the ends.
    """
    said = [_first(result)]
    said += result.stopped_by
    point = result.limiting
    if point is not None and not result.stopped_by:
        said += _at_the_limit(result, point, measurement)
    if result.missing:
        said.append(f"What is missing: {'; '.join(result.missing)}.")
    said += result.conditions
    said += result.notes
    if point is not None and abs(point.margin) < point.accuracy:
        said.append(f"That is less than the measurement accuracy of {_amount(point, point.accuracy)}.")
    if result.contrast is not None:
        said.append(result.contrast)
    if result.is_provisional:
        said.append(MEMORY_SENTENCE)
    return tuple(said)


def _first(result: ApplicationResult) -> str:
    name, met = result.application.name, result.inherited_from
    cords = " with the cords added" if result.is_predicted else ""
    if result.reasoning is Reasoning.INHERITED:
        by_class = {
            Support.SUPPORTED: f"{name} is supported: the link meets {met}, which is made to carry it.",
            Support.CONDITIONAL: f"{name} is conditional: the link meets {met}, and that is not all.",
        }
        return by_class[result.state]
    if result.stopped_by:
        return f"{name} is not supported."
    against = {
        Support.SUPPORTED: f"{name} is supported: the link is inside the limits of its link segment{cords}.",
        Support.CONDITIONAL: f"{name} is conditional: the link is inside the limits of its link "
        f"segment{cords}, and that is not all.",
        Support.NOT_SUPPORTED: f"{name} is not supported: the link is outside the limits of its link "
        f"segment{cords}.",
        Support.NOT_EVALUATED: f"{name} cannot be judged against the limits of its link segment.",
    }
    return against[result.state]


def _at_the_limit(result: ApplicationResult, point: LimitPoint, measurement: LinkMeasurement) -> list[str]:
    is_by_class = result.reasoning is Reasoning.INHERITED
    said = [point_sentence(point, measurement)]
    if is_by_class and result.is_predicted:
        said = [f"By prediction, with the cords added: {said[0]}"]
    if is_by_class and point.margin < 0:
        said.append("The class decides all the same: it allows for such cords and such a link.")
    return said


def _amount(point: LimitPoint, size: float) -> str:
    unit = TRAITS[point.parameter].unit or "db"
    return decibels(size) if unit == "db" else f"{size:.3g} {UNIT_WORDS[unit]}"


def place(point: LimitPoint, measurement: LinkMeasurement) -> str:
    """Return parameter, end, pairs and frequency of a point for a sentence."""
    end = f" at {measurement.place(point.end)}" if point.end else ""
    pairs = f" on {'pair' if point.pairs.isdigit() else 'pairs'} {point.pairs}" if point.pairs else ""
    at = f" at {point.frequency_mhz:.4g} MHz" if point.frequency_mhz is not None else ""
    return f"{TRAITS[point.parameter].title}{end}{pairs}{at}"


def point_sentence(point: LimitPoint, measurement: LinkMeasurement) -> str:
    """Return where a point lies and how far from the limit of the application."""
    side = "inside" if point.margin >= 0 else "outside"
    where = place(point, measurement)
    return (
        f"{where[:1].upper()}{where[1:]} is {_amount(point, abs(point.margin))} {side} the limit of its "
        f"link segment."
    )
