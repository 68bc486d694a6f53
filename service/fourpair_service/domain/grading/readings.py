"""The single values of a link: length, delay, skew, DC resistance and its unbalance."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import combinations
from typing import Final

import numpy as np

from fourpair_service.domain.grading.swept import Question
from fourpair_service.domain.limits import Basis, Category, CurveLimit, ReadingLimit, RuleSet, Status
from fourpair_service.domain.link import PAIRS, SPEED_OF_LIGHT_M_PER_NS, Configuration
from fourpair_service.domain.measurement import AccuracyCurve, LinkMeasurement, PairReadings
from fourpair_service.domain.parameters import Parameter
from fourpair_service.domain.verdict import Outcome, ParameterResult, Point, point_outcome, worst
from fourpair_service.domain.wiremap import broken_pairs

# A delay stated at a frequency this close to the one asked for is that delay.
FREQUENCY_TOLERANCE: Final = 0.01


@dataclass(frozen=True, slots=True)
class Reading:
    """A value of a pair, a combination or the link, and the limit it is held against."""

    key: str | None
    measured: float
    limit: float | None
    frequency_mhz: float | None = None


@dataclass(frozen=True, slots=True)
class Readings:
    """What one parameter has to judge.

    Attributes:
        missing: what is not there, as sentences.
        note: how the values came about.
    """

    values: tuple[Reading, ...]
    basis: Basis | None = None
    source: str | None = None
    clause: str | None = None
    missing: tuple[str, ...] = ()
    note: str | None = None


def intact_pairs(measurement: LinkMeasurement) -> tuple[str, ...]:
    """Return the pairs that reach the far end: on the others a length is that to the fault."""
    broken = broken_pairs(measurement.wire_map) if measurement.wire_map else frozenset()
    return tuple(pair for pair in PAIRS if pair not in broken)


def length_m(readings: PairReadings, nvp: float | None) -> float | None:
    """Return the length of a pair, from its delay and NVP where it was not stated. [m].

    50 ft of cable at an NVP of 0.67 delay by 76 ns (common practice, no published source):

    >>> round(length_m(PairReadings(delay_ns=76.0), 0.67), 1)
    15.3
    """
    if readings.length_m is not None:
        return readings.length_m
    if readings.delay_ns is None or nvp is None:
        return None
    return readings.delay_ns * nvp * SPEED_OF_LIGHT_M_PER_NS


def _absent(measurement: LinkMeasurement, have: set[str], what: str) -> tuple[str, ...]:
    missing = [pair for pair in intact_pairs(measurement) if pair not in have]
    return (f"{what} not measured on {', '.join(missing)}",) if missing else ()


def _no_limit() -> Readings:
    return Readings((), missing=("no limit is built in",))


def _length(measurement: LinkMeasurement, question: Question) -> Readings:
    limit = question.rule_set.reading(question.category.name, question.configuration, Parameter.LENGTH)
    lengths = {
        pair: length_m(readings, measurement.cable.nvp)
        for pair, readings in measurement.readings.items()
        if pair in intact_pairs(measurement)
    }
    known = {pair: value for pair, value in lengths.items() if value is not None}
    if not known:
        return replace(_from(limit), missing=("length not measured",)) if limit else _no_limit()
    # The shortest pair: twist makes every pair longer than the cable.
    shortest = min(known, key=lambda pair: (known[pair], PAIRS.index(pair)))
    if limit is None:
        return Readings(
            (Reading(shortest, known[shortest], None),), note="the shortest pair; for information"
        )
    note = f"the shortest pair, against {limit.value:g} m"
    if limit.allowance_percent:
        note += f" and {limit.allowance_percent:g} % for the uncertainty of the NVP"
    return replace(_from(limit), values=(Reading(shortest, known[shortest], limit.judged_value),), note=note)


def _from(limit: ReadingLimit) -> Readings:
    return Readings((), limit.basis, limit.source, limit.clause)


@lru_cache(maxsize=4096)
def _limit_at(curve: CurveLimit, frequency_mhz: float) -> float:
    return float(curve.at(np.array([frequency_mhz]))[0])


def _delay(measurement: LinkMeasurement, question: Question) -> Readings:
    curve = question.rule_set.curve(
        question.category.name, question.configuration, Parameter.PROPAGATION_DELAY
    )
    if curve is None:
        return _no_limit()
    fixed = question.category.rules.delay_at_mhz.value
    values, missing = [], []
    for pair in intact_pairs(measurement):
        readings = measurement.readings.get(pair, PairReadings())
        if readings.delay_ns is None:
            missing.append(f"propagation delay not measured on {pair}")
            continue
        at = readings.delay_frequency_mhz
        if fixed is not None and abs(at - fixed) > FREQUENCY_TOLERANCE * fixed:
            missing.append(f"the delay of {pair} is stated at {at:g} MHz and is judged at {fixed:g} MHz")
            continue
        limit = _limit_at(curve, at if fixed is None else fixed)
        if np.isnan(limit):
            missing.append(f"the delay of {pair} is stated at {at:g} MHz, where there is no limit")
            continue
        values.append(Reading(pair, readings.delay_ns, limit, at))
    first = curve.segments[0]
    return Readings(tuple(values), curve.basis, first.source, first.clause, tuple(missing))


def skew_ns(measurement: LinkMeasurement) -> float | None:
    """Return the delay skew, from the delays of all four pairs where not stated. [ns]."""
    if measurement.delay_skew_ns is not None:
        return measurement.delay_skew_ns
    delays = [r.delay_ns for p, r in measurement.readings.items() if p in intact_pairs(measurement)]
    known = [delay for delay in delays if delay is not None]
    return max(known) - min(known) if len(known) == len(PAIRS) else None


def _skew(measurement: LinkMeasurement, question: Question) -> Readings:
    limit = question.rule_set.reading(question.category.name, question.configuration, Parameter.DELAY_SKEW)
    if limit is None:
        return _no_limit()
    value = skew_ns(measurement)
    if value is None:
        return replace(_from(limit), missing=("delay skew not measured, nor the delay of all four pairs",))
    return replace(_from(limit), values=(Reading(None, value, limit.judged_value),))


def loop_ohm(measurement: LinkMeasurement, pair: str) -> float | None:
    """Return the DC loop resistance of a pair: stated, or both its conductors in series. [ohm]."""
    stated = measurement.readings.get(pair, PairReadings()).loop_resistance_ohm
    wires = [measurement.conductor_resistance_ohm.get(pin) for pin in pair]
    known = [wire for wire in wires if wire is not None]
    return stated if stated is not None else (sum(known) if len(known) == 2 else None)


def _loop(measurement: LinkMeasurement, question: Question) -> Readings:
    limit = question.rule_set.reading(
        question.category.name, question.configuration, Parameter.DC_LOOP_RESISTANCE
    )
    if limit is None:
        return _no_limit()
    loops = {pair: loop_ohm(measurement, pair) for pair in intact_pairs(measurement)}
    known = {pair: value for pair, value in loops.items() if value is not None}
    values = tuple(Reading(pair, value, limit.judged_value) for pair, value in known.items())
    return replace(
        _from(limit), values=values, missing=_absent(measurement, set(known), "DC loop resistance")
    )


def unbalance_within_ohm(measurement: LinkMeasurement, pair: str) -> float | None:
    """Return the difference of the two conductors of a pair. [ohm]."""
    wires = [measurement.conductor_resistance_ohm.get(pin) for pin in pair]
    if wires[0] is not None and wires[1] is not None:
        return abs(wires[0] - wires[1])
    return measurement.readings.get(pair, PairReadings()).resistance_unbalance_ohm


def pair_in_parallel_ohm(measurement: LinkMeasurement, pair: str) -> float | None:
    """Return both conductors of a pair in parallel, from the loop where that is all there is. [ohm]."""
    wires = [measurement.conductor_resistance_ohm.get(pin) for pin in pair]
    if wires[0] is not None and wires[1] is not None:
        return wires[0] * wires[1] / (wires[0] + wires[1]) if wires[0] + wires[1] > 0 else 0.0
    loop = loop_ohm(measurement, pair)
    return None if loop is None else loop / 4


def _greater(limit: ReadingLimit, total_ohm: float | None) -> float:
    share = 0.0 if limit.percent is None or total_ohm is None else limit.percent / 100 * total_ohm
    return max(limit.value, share)


def _within(measurement: LinkMeasurement, question: Question) -> Readings:
    parameter = Parameter.RESISTANCE_UNBALANCE_WITHIN_PAIR
    limit = question.rule_set.reading(question.category.name, question.configuration, parameter)
    if limit is None:
        return _no_limit()
    differences = {pair: unbalance_within_ohm(measurement, pair) for pair in intact_pairs(measurement)}
    known = {pair: value for pair, value in differences.items() if value is not None}
    values = tuple(
        Reading(pair, value, _greater(limit, loop_ohm(measurement, pair))) for pair, value in known.items()
    )
    return replace(
        _from(limit), values=values, missing=_absent(measurement, set(known), "resistance unbalance")
    )


def between_ohm(measurement: LinkMeasurement, first: str, second: str) -> tuple[float, float | None] | None:
    """Return the difference of two pairs and the sum it is a share of. [ohm]."""
    rp = pair_in_parallel_ohm(measurement, first), pair_in_parallel_ohm(measurement, second)
    total = rp[0] + rp[1] if rp[0] is not None and rp[1] is not None else None
    stated = measurement.unbalance_between_pairs_ohm.get(f"{first}-{second}")
    if stated is not None:
        return stated, total
    has_wires = all(pin in measurement.conductor_resistance_ohm for pin in first + second)
    if not has_wires or rp[0] is None or rp[1] is None:
        return None
    return abs(rp[0] - rp[1]), total


def _between(measurement: LinkMeasurement, question: Question) -> Readings:
    parameter = Parameter.RESISTANCE_UNBALANCE_BETWEEN_PAIRS
    limit = question.rule_set.reading(question.category.name, question.configuration, parameter)
    if limit is None:
        return _no_limit()
    values = []
    for first, second in combinations(intact_pairs(measurement), 2):
        found = between_ohm(measurement, first, second)
        if found is not None:
            values.append(Reading(f"{first}-{second}", found[0], _greater(limit, found[1])))
    missing = () if values else ("resistance unbalance between pairs not measured",)
    return replace(_from(limit), values=tuple(values), missing=missing)


READERS: Final[Mapping[Parameter, Callable[[LinkMeasurement, Question], Readings]]] = {
    Parameter.LENGTH: _length,
    Parameter.PROPAGATION_DELAY: _delay,
    Parameter.DELAY_SKEW: _skew,
    Parameter.DC_LOOP_RESISTANCE: _loop,
    Parameter.RESISTANCE_UNBALANCE_WITHIN_PAIR: _within,
    Parameter.RESISTANCE_UNBALANCE_BETWEEN_PAIRS: _between,
}


def _point(reading: Reading, accuracy: float) -> Point:
    if reading.limit is None:
        return Point(None, reading.measured, None, reading.frequency_mhz, reading.key)
    margin = reading.limit - reading.measured
    outcome = point_outcome(margin, accuracy)
    return Point(margin, reading.measured, reading.limit, reading.frequency_mhz, reading.key, outcome=outcome)


def _result(parameter: Parameter, status: Status, readings: Readings, accuracy: float) -> ParameterResult:
    points = tuple(_point(reading, accuracy) for reading in readings.values)
    outcome = worst([point.outcome for point in points if point.outcome is not None])
    if readings.missing or not points:
        outcome = worst([outcome, Outcome.INCOMPLETE])
    nearest = min(points, key=lambda p: p.margin if p.margin is not None else 0.0, default=None)
    return ParameterResult(
        parameter,
        None,
        status,
        None if status is Status.INFORMATION else outcome,
        worst_margin=nearest,
        worst_value=max(points, key=lambda p: p.measured, default=None),
        by_pair=points,
        judged_points=len(points),
        incomplete_because=readings.missing,
        basis=readings.basis,
        source=readings.source,
        clause=readings.clause,
        accuracy=accuracy or None,
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
        stated = question.accuracy.get(parameter, 0.0)
        accuracy = 0.0 if isinstance(stated, AccuracyCurve) else stated
        results.append(_result(parameter, status, readings, accuracy))
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
    delays = None if curve is None else tuple(_limit_at(curve, frequency_mhz) for frequency_mhz in asked)
    return _single_values(question.rule_set, question.category, question.configuration), fixed, delays


@lru_cache(maxsize=256)
def _single_values(rule_set: RuleSet, category: Category, configuration: Configuration) -> tuple[object, ...]:
    limits = (rule_set.reading(category.name, configuration, parameter) for parameter in READERS)
    values = tuple(None if k is None else (k.value, k.percent, k.allowance_percent) for k in limits)
    return values, tuple(category.statuses.get(parameter) for parameter in READERS)
