"""The results of the single values of a link: length, delay, skew, DC resistance."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import lru_cache
from typing import Final

from fourpair_service.domain.grading.resistance import between_readings, loop_readings, within_readings
from fourpair_service.domain.grading.single_values import Reading, Readings
from fourpair_service.domain.grading.swept import Question
from fourpair_service.domain.grading.timing import (
    delay_readings,
    has_swept_delay,
    length_readings,
    limit_at,
    skew_readings,
)
from fourpair_service.domain.limits import Category, RuleSet, Status
from fourpair_service.domain.link import Configuration
from fourpair_service.domain.measurement import LinkMeasurement
from fourpair_service.domain.parameters import Parameter
from fourpair_service.domain.verdict import Outcome, ParameterResult, Point, point_outcome, worst

READERS: Final[Mapping[Parameter, Callable[[LinkMeasurement, Question], Readings]]] = {
    Parameter.LENGTH: length_readings,
    Parameter.PROPAGATION_DELAY: delay_readings,
    Parameter.DELAY_SKEW: skew_readings,
    Parameter.DC_LOOP_RESISTANCE: loop_readings,
    Parameter.RESISTANCE_UNBALANCE_WITHIN_PAIR: within_readings,
    Parameter.RESISTANCE_UNBALANCE_BETWEEN_PAIRS: between_readings,
}


def _point(reading: Reading, accuracy: float) -> Point:
    margin = reading.margin
    return Point(
        margin,
        reading.measured,
        reading.limit,
        reading.frequency_mhz,
        reading.key,
        outcome=None if margin is None else point_outcome(margin, accuracy),
    )


def _largest(values: tuple[Reading, ...]) -> Point | None:
    """Return the worst value without its outcome, since its margin need not be the smallest."""
    every = [reading.largest or reading for reading in values]
    largest = max(every, key=lambda reading: reading.measured, default=None)
    return None if largest is None else _point(largest, 0.0)._replace(outcome=None)


def _result(
    parameter: Parameter, status: Status, readings: Readings, stated: float | None
) -> ParameterResult:
    accuracy = stated or 0.0
    points = tuple(_point(reading, accuracy) for reading in readings.values)
    outcome = worst([point.outcome for point in points if point.outcome is not None])
    missing = readings.missing if readings.missing or points else ("no pair reaches the far end",)
    if missing:
        outcome = worst([outcome, Outcome.INCOMPLETE])
    nearest = min(points, key=lambda p: p.margin if p.margin is not None else 0.0, default=None)
    return ParameterResult(
        parameter,
        None,
        status,
        None if status is Status.INFORMATION else outcome,
        worst_margin=nearest,
        worst_value=_largest(readings.values),
        by_pair=points,
        judged_points=sum(reading.points for reading in readings.values),
        incomplete_because=missing,
        basis=readings.basis,
        source=readings.source,
        clause=readings.clause,
        accuracy=stated,
        note=readings.note,
    )


def reading_results(measurement: LinkMeasurement, question: Question) -> list[ParameterResult]:
    """Return one result for each single-value parameter.

    A parameter that is not required and was not measured has none.
    """
    results = []
    for parameter, reader in READERS.items():
        status = question.status(parameter)
        readings = reader(measurement, question)
        if not readings.values and status is not Status.REQUIRED:
            continue
        results.append(_result(parameter, status, readings, question.accuracy_at(parameter, None)))
    return results


def what_judges(measurement: LinkMeasurement, question: Question) -> tuple[object, ...]:
    """Return all that the single values of a link are judged by.

    Categories that give the same answer here share their results.
    """
    place = (question.category.name, question.configuration)
    curve = question.rule_set.curve(*place, Parameter.PROPAGATION_DELAY)
    at_mhz = {readings.delay_frequency_mhz for readings in measurement.readings.values()}
    fixed = question.category.rules.delay_at_mhz.value
    asked = sorted(at_mhz if fixed is None else {fixed})
    delays = None if curve is None else tuple(limit_at(curve, frequency_mhz) for frequency_mhz in asked)
    # Over a range the range itself tells categories apart.
    swept = question.category.name if fixed is None and has_swept_delay(measurement) else None
    return _single_values(question.rule_set, question.category, question.configuration), fixed, delays, swept


@lru_cache(maxsize=256)
def _single_values(rule_set: RuleSet, category: Category, configuration: Configuration) -> tuple[object, ...]:
    limits = (rule_set.reading(category.name, configuration, parameter) for parameter in READERS)
    values = tuple(None if k is None else (k.value, k.percent, k.allowance_percent) for k in limits)
    return values, tuple(category.statuses.get(parameter) for parameter in READERS)
