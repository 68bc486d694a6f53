"""DC resistance of a link: loops, and the unbalance within and between pairs."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import combinations
from typing import Final

from fourpair_service.domain.grading.single_values import (
    NO_LIMIT,
    Reading,
    Readings,
    intact_pairs,
    limit_of,
    limited_by,
)
from fourpair_service.domain.grading.swept import Question
from fourpair_service.domain.limits import ReadingLimit
from fourpair_service.domain.measurement import LinkMeasurement, PairReadings
from fourpair_service.domain.parameters import Parameter

NOTHING_READ: Final = PairReadings()


def _absent(measurement: LinkMeasurement, have: set[str], what: str) -> tuple[str, ...]:
    missing = [pair for pair in intact_pairs(measurement) if pair not in have]
    return (f"{what} not measured on {', '.join(missing)}",) if missing else ()


def loop_ohm(measurement: LinkMeasurement, pair: str) -> float | None:
    """Return the DC loop resistance of a pair: stated, or both its conductors in series. [ohm]."""
    stated = measurement.readings.get(pair, NOTHING_READ).loop_resistance_ohm
    if stated is not None:
        return stated
    first, second = (measurement.conductor_resistance_ohm.get(pin) for pin in pair)
    return None if first is None or second is None else first + second


def loop_readings(measurement: LinkMeasurement, question: Question) -> Readings:
    """Return the DC loop resistance of each intact pair."""
    limit = limit_of(question, Parameter.DC_LOOP_RESISTANCE)
    if limit is None:
        return NO_LIMIT
    loops = {pair: loop_ohm(measurement, pair) for pair in intact_pairs(measurement)}
    known = {pair: value for pair, value in loops.items() if value is not None}
    values = tuple(Reading(pair, value, limit.judged_value) for pair, value in known.items())
    return limited_by(limit, values, missing=_absent(measurement, set(known), "DC loop resistance"))


def unbalance_within_ohm(measurement: LinkMeasurement, pair: str) -> float | None:
    """Return the difference of the two conductors of a pair. [ohm]."""
    wires = [measurement.conductor_resistance_ohm.get(pin) for pin in pair]
    if wires[0] is not None and wires[1] is not None:
        return abs(wires[0] - wires[1])
    return measurement.readings.get(pair, NOTHING_READ).resistance_unbalance_ohm


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


def within_readings(measurement: LinkMeasurement, question: Question) -> Readings:
    """Return the difference of the two conductors of each intact pair."""
    limit = limit_of(question, Parameter.RESISTANCE_UNBALANCE_WITHIN_PAIR)
    if limit is None:
        return NO_LIMIT
    differences = {pair: unbalance_within_ohm(measurement, pair) for pair in intact_pairs(measurement)}
    known = {pair: value for pair, value in differences.items() if value is not None}
    values = tuple(
        Reading(pair, value, _greater(limit, loop_ohm(measurement, pair))) for pair, value in known.items()
    )
    return limited_by(limit, values, missing=_absent(measurement, set(known), "resistance unbalance"))


def between_ohm(measurement: LinkMeasurement, first: str, second: str) -> tuple[float, float | None] | None:
    """Return the difference of two pairs and the sum it is a share of. [ohm]."""
    return _between(measurement, {p: pair_in_parallel_ohm(measurement, p) for p in (first, second)})


def _between(
    measurement: LinkMeasurement, parallel_ohm: Mapping[str, float | None]
) -> tuple[float, float | None] | None:
    """Return what ``between_ohm`` does, of two pairs in parallel."""
    (first, second), rp = parallel_ohm.keys(), tuple(parallel_ohm.values())
    total = rp[0] + rp[1] if rp[0] is not None and rp[1] is not None else None
    stated = measurement.unbalance_between_pairs_ohm.get(f"{first}-{second}")
    if stated is not None:
        return stated, total
    has_wires = all(pin in measurement.conductor_resistance_ohm for pin in first + second)
    if not has_wires or rp[0] is None or rp[1] is None:
        return None
    return abs(rp[0] - rp[1]), total


def between_readings(measurement: LinkMeasurement, question: Question) -> Readings:
    """Return the difference of every two intact pairs that is known."""
    limit = limit_of(question, Parameter.RESISTANCE_UNBALANCE_BETWEEN_PAIRS)
    if limit is None:
        return NO_LIMIT
    values = []
    parallel = {pair: pair_in_parallel_ohm(measurement, pair) for pair in intact_pairs(measurement)}
    for first, second in combinations(parallel, 2):
        found = _between(measurement, {first: parallel[first], second: parallel[second]})
        if found is not None:
            values.append(Reading(f"{first}-{second}", found[0], _greater(limit, found[1])))
    missing = () if values else ("resistance unbalance between pairs not measured",)
    return limited_by(limit, tuple(values), missing=missing)
