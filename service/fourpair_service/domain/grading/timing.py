"""Length, propagation delay and delay skew of a link.

A delay belongs to a frequency. An edition with one frequency for it (TIA, 10 MHz)
is answered by the delay stated there, or by the sweep's point there; an edition
with a formula over frequency (ISO/IEC 11801-1) by the stated delay at its own
frequency and, where transmission was swept as complex values, by the phase delay
at every point of the range.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Final

import numpy as np

from fourpair_service.domain.delay import SMALLEST_SHARE, DelayAt, phase_delay_ns, skew_ns
from fourpair_service.domain.errors import InvalidMeasurementError
from fourpair_service.domain.grading.single_values import (
    NO_LIMIT,
    Reading,
    Readings,
    intact_pairs,
    limit_of,
    limited_by,
)
from fourpair_service.domain.grading.swept import Question
from fourpair_service.domain.limits import CurveLimit, ReadingLimit
from fourpair_service.domain.link import PAIRS, SPEED_OF_LIGHT_M_PER_NS
from fourpair_service.domain.measurement import CurveGroup, FloatArray, LinkMeasurement, PairReadings
from fourpair_service.domain.parameters import Parameter

# A delay stated at a frequency this close to the one asked for is that delay.
FREQUENCY_TOLERANCE: Final = 0.01
# The NVP of a cable is that at 10 MHz (memory: TIA-1152).
LENGTH_AT_MHZ: Final = 10.0


@dataclass(frozen=True, slots=True, eq=False)
class SweptDelay:
    """Phase delay of a pair, (n,) over (n,) frequencies. [ns], [MHz]."""

    frequency_mhz: FloatArray
    delay_ns: FloatArray

    def on(self, frequency_mhz: FloatArray) -> FloatArray:
        """Return the delay at the frequencies of another axis, NaN outside its range. [ns].

        Straight over 1/sqrt(f), as the delay of a cable runs.
        """
        at, known = -1 / np.sqrt(frequency_mhz), -1 / np.sqrt(self.frequency_mhz)
        return np.asarray(np.interp(at, known, self.delay_ns, np.nan, np.nan), dtype=np.float64)

    def near(self, frequency_mhz: float) -> DelayAt | None:
        """Return the delay at the measured frequency that is the one asked for, if there is one."""
        nearest = int(np.argmin(np.abs(self.frequency_mhz - frequency_mhz)))
        found = DelayAt(float(self.delay_ns[nearest]), float(self.frequency_mhz[nearest]))
        return found if is_at(found.frequency_mhz, frequency_mhz) else None


def is_at(stated_mhz: float, asked_mhz: float) -> bool:
    """Return whether a value stated at one frequency answers for another.

    >>> is_at(10.05, 10.0), is_at(10.2, 10.0)
    (True, False)
    """
    return abs(stated_mhz - asked_mhz) <= FREQUENCY_TOLERANCE * asked_mhz


@lru_cache(maxsize=16)
def _delays_of(group: CurveGroup) -> tuple[SweptDelay | str, ...]:
    """Return the delay of every row, or why it has none."""
    return tuple(_delay_or_reason(group, row) for row in range(len(group.keys)))


def _delay_or_reason(group: CurveGroup, row: int) -> SweptDelay | str:
    assert group.value_complex is not None
    transmission, f = group.value_complex[row], group.frequency_mhz
    try:
        delay = phase_delay_ns(f, transmission)
    except InvalidMeasurementError as error:
        return error.detail
    # Where next to nothing comes through the phase is noise and says nothing.
    heard = np.abs(transmission) >= SMALLEST_SHARE * np.abs(transmission).max()
    return SweptDelay(f[heard], delay[heard])


def swept_delay(measurement: LinkMeasurement, pair: str) -> SweptDelay | str | None:
    """Return the phase delay of a pair from its complex transmission.

    Returns:
        The delay; a text that says why the sweep gives none; or ``None`` where
        transmission was not swept as complex values.
    """
    for group in measurement.curves.get((Parameter.INSERTION_LOSS, None), ()):
        if group.value_complex is not None and pair in group.keys:
            return _delays_of(group)[group.keys.index(pair)]
    return None


def has_swept_delay(measurement: LinkMeasurement) -> bool:
    """Return whether any transmission was swept as complex values."""
    groups = measurement.curves.get((Parameter.INSERTION_LOSS, None), ())
    return any(group.value_complex is not None for group in groups)


def delay_near(measurement: LinkMeasurement, pair: str, frequency_mhz: float) -> DelayAt | None:
    """Return the delay of a pair at one frequency: as stated there, or from its sweep."""
    stated = measurement.readings.get(pair, PairReadings())
    if stated.delay_ns is not None and is_at(stated.delay_frequency_mhz, frequency_mhz):
        return DelayAt(stated.delay_ns, stated.delay_frequency_mhz)
    swept = swept_delay(measurement, pair)
    return swept.near(frequency_mhz) if isinstance(swept, SweptDelay) else None


def length_m(measurement: LinkMeasurement, pair: str, nvp: float | None = None) -> float | None:
    """Return the length of a pair: as stated, or its delay at 10 MHz times NVP times c. [m].

    Args:
        measurement: the link.
        pair: one of its pairs.
        nvp: to assume; the declared one where not given.
    """
    stated = measurement.readings.get(pair, PairReadings()).length_m
    velocity = measurement.cable.nvp if nvp is None else nvp
    if stated is not None or velocity is None:
        return stated
    delay = delay_near(measurement, pair, LENGTH_AT_MHZ)
    return None if delay is None else delay.delay_ns * velocity * SPEED_OF_LIGHT_M_PER_NS


def length_readings(measurement: LinkMeasurement, question: Question) -> Readings:
    """Return the shortest pair: twist makes every pair longer than the cable."""
    limit = limit_of(question, Parameter.LENGTH)
    lengths = {pair: length_m(measurement, pair) for pair in intact_pairs(measurement)}
    known = {pair: value for pair, value in lengths.items() if value is not None}
    if not known:
        return limited_by(limit, missing=("length not measured",)) if limit else NO_LIMIT
    shortest = min(known, key=lambda pair: (known[pair], PAIRS.index(pair)))
    if limit is None:
        return Readings(
            (Reading(shortest, known[shortest], None),), note="the shortest pair; for information"
        )
    note = f"the shortest pair, against {limit.value:g} m"
    if limit.allowance_percent:
        note += f" and {limit.allowance_percent:g} % for the uncertainty of the NVP"
    values = (Reading(shortest, known[shortest], limit.judged_value),)
    return limited_by(limit, values, note=note)


@lru_cache(maxsize=4096)
def limit_at(curve: CurveLimit, frequency_mhz: float) -> float:
    """Return a limit at one frequency, NaN where there is none."""
    return float(curve.at(np.array([frequency_mhz]))[0])


def delay_readings(measurement: LinkMeasurement, question: Question) -> Readings:
    """Return the delay of each intact pair, at the edition's frequency or over its range."""
    curve = question.rule_set.curve(
        question.category.name, question.configuration, Parameter.PROPAGATION_DELAY
    )
    if curve is None:
        return NO_LIMIT
    fixed_mhz = question.category.rules.delay_at_mhz.value
    if fixed_mhz is not None and np.isnan(limit_at(curve, fixed_mhz)):
        return NO_LIMIT
    values: list[Reading] = []
    missing: list[str] = []
    for pair in intact_pairs(measurement):
        found = (
            _over_range(measurement, question, curve, pair)
            if fixed_mhz is None
            else _at_fixed(measurement, curve, pair, fixed_mhz)
        )
        if isinstance(found, str):
            missing.append(found)
        else:
            values.append(found)
    first = curve.segments[0]
    return Readings(tuple(values), curve.basis, first.source, first.clause, tuple(missing))


def _at_fixed(measurement: LinkMeasurement, curve: CurveLimit, pair: str, fixed_mhz: float) -> Reading | str:
    delay = delay_near(measurement, pair, fixed_mhz)
    if delay is not None:
        return Reading(pair, delay.delay_ns, limit_at(curve, fixed_mhz), delay.frequency_mhz)
    stated = measurement.readings.get(pair, PairReadings())
    if stated.delay_ns is not None:
        at_mhz = stated.delay_frequency_mhz
        return f"the delay of {pair} is stated at {at_mhz:g} MHz and is judged at {fixed_mhz:g} MHz"
    swept = swept_delay(measurement, pair)
    if isinstance(swept, SweptDelay):
        return f"the sweep of {pair} has no point at {fixed_mhz:g} MHz, where delay is judged"
    return _no_delay(pair, swept)


def _no_delay(pair: str, reason: str | None) -> str:
    because = f": {reason}" if reason else ""
    return f"propagation delay not measured on {pair}{because}"


def _over_range(
    measurement: LinkMeasurement, question: Question, curve: CurveLimit, pair: str
) -> Reading | str:
    stated, swept = measurement.readings.get(pair, PairReadings()), swept_delay(measurement, pair)
    found: list[Reading] = []
    if isinstance(swept, SweptDelay):
        found += _nearest(pair, swept, curve.at(swept.frequency_mhz), question)
    at_mhz = stated.delay_frequency_mhz
    if stated.delay_ns is not None and not np.isnan(limit_at(curve, at_mhz)):
        found.append(Reading(pair, stated.delay_ns, limit_at(curve, at_mhz), at_mhz))
    if found:
        return min(found, key=lambda reading: reading.margin or 0.0)
    if stated.delay_ns is not None:
        return f"the delay of {pair} is stated at {at_mhz:g} MHz, where there is no limit"
    return _no_delay(pair, swept if isinstance(swept, str) else None)


def _nearest(key: str | None, swept: SweptDelay, limit: FloatArray, question: Question) -> Iterator[Reading]:
    """Yield the point of a delay over frequency that is nearest to its limit, if any is judged."""
    f, category = swept.frequency_mhz, question.category
    judged = np.flatnonzero((f >= category.from_mhz) & (f <= category.to_mhz) & ~np.isnan(limit))
    if judged.size == 0:
        return
    at = judged[int((limit - swept.delay_ns)[judged].argmin())]
    top = judged[int(swept.delay_ns[judged].argmax())]
    nearest, largest = (
        Reading(key, float(swept.delay_ns[i]), float(limit[i]), float(f[i])) for i in (at, top)
    )
    yield replace(nearest, points=int(judged.size), largest=largest)


def skew_readings(measurement: LinkMeasurement, question: Question) -> Readings:
    """Return the delay skew: stated, from delays at one frequency, and over the range if swept."""
    limit = limit_of(question, Parameter.DELAY_SKEW)
    if limit is None:
        return NO_LIMIT
    found = [*_skew_over_range(measurement, question, limit), *_one_skew(measurement, question, limit)]
    if not found:
        missing = ("delay skew not measured, nor the delay of all four pairs at one frequency",)
        return limited_by(limit, missing=missing)
    # All share one limit, so the largest is the nearest to it.
    return limited_by(limit, (max(found, key=lambda reading: reading.measured),))


def link_skew_ns(measurement: LinkMeasurement, at_mhz: float | None = None) -> float | None:
    """Return the delay skew as stated, else that of the delays of all four pairs at one frequency. [ns].

    Args:
        measurement: the link.
        at_mhz: of the delays; the frequency of the first stated delay where not given.
    """
    if measurement.delay_skew_ns is not None:
        return measurement.delay_skew_ns
    first = measurement.readings.get(PAIRS[0], PairReadings())
    frequency_mhz = first.delay_frequency_mhz if at_mhz is None else at_mhz
    delays = [delay_near(measurement, pair, frequency_mhz) for pair in intact_pairs(measurement)]
    known = [delay.delay_ns for delay in delays if delay is not None]
    return skew_ns(known) if len(known) == len(PAIRS) else None


def _one_skew(measurement: LinkMeasurement, question: Question, limit: ReadingLimit) -> Iterator[Reading]:
    """Yield the skew as stated, else that of four delays at one frequency."""
    first = measurement.readings.get(PAIRS[0], PairReadings())
    at_mhz = question.category.rules.delay_at_mhz.value or first.delay_frequency_mhz
    skew = link_skew_ns(measurement, at_mhz)
    if skew is not None:
        stated = measurement.delay_skew_ns is not None
        yield Reading(None, skew, limit.judged_value, None if stated else at_mhz)


def _skew_over_range(
    measurement: LinkMeasurement, question: Question, limit: ReadingLimit
) -> Iterator[Reading]:
    """Yield the largest skew where all four pairs were swept and the edition judges a range."""
    if question.category.rules.delay_at_mhz.value is not None:
        return
    swept = [swept_delay(measurement, pair) for pair in intact_pairs(measurement)]
    delays = [delay for delay in swept if isinstance(delay, SweptDelay)]
    if len(delays) < len(PAIRS):
        return
    axis = delays[0].frequency_mhz
    every = np.stack([delay.on(axis) for delay in delays])
    common = ~np.isnan(every).any(axis=0)
    spread = SweptDelay(axis[common], every[:, common].max(axis=0) - every[:, common].min(axis=0))
    yield from _nearest(None, spread, np.full_like(spread.delay_ns, limit.judged_value), question)
