"""Frequencies of a sweep, listed or in stretches of even steps; and lists of finite numbers."""

from __future__ import annotations

import math
from array import array
from collections.abc import Mapping
from itertools import pairwise
from typing import Any

STRETCH = ("start", "step", "stop")
_TOLERANCE_STEPS = 1e-9


def axis_of(value: Any) -> tuple[float, ...]:
    """Return the frequencies of an axis, whether it lists them or stretches of even steps. [MHz].

    Raises:
        ValueError: it is neither.

    >>> axis_of([{"start": 1, "step": 0.5, "stop": 2}, {"start": 3, "step": 1, "stop": 4}])
    (1.0, 1.5, 2.0, 3.0, 4.0)
    """
    if not isinstance(value, (list, tuple)) or not value:
        raise ValueError("Expected a list of frequencies in MHz, or of stretches with start, step and stop.")
    if isinstance(value[0], Mapping):
        return tuple(point for stretch in value for point in _stretch(stretch))
    numbers = finite_numbers(value)
    if any(after <= before for before, after in pairwise(numbers)):
        raise ValueError("Frequencies must increase. Sort them, each once.")
    return tuple(numbers)


def _stretch(stretch: Any) -> list[float]:
    start, step, count = _stretch_terms(stretch)
    return [round(start + step * i, 9) for i in range(count)]


def _stretch_terms(stretch: Any) -> tuple[float, float, int]:
    """Return start, step and number of points of a stretch."""
    if not isinstance(stretch, Mapping) or set(stretch) != set(STRETCH):
        raise ValueError("A stretch has start, step and stop.")
    start, step, stop = (float(stretch[name]) for name in STRETCH)
    if not (0 < start <= stop < math.inf and 0 < step < math.inf):
        raise ValueError("A stretch must increase, above zero.")
    return start, step, math.floor((stop - start) / step + _TOLERANCE_STEPS) + 1


def axis_points(value: Any) -> int:
    """Return how many frequencies an axis has, without making them all.

    Raises:
        ValueError: it is no axis.
    """
    if isinstance(value, (list, tuple)) and value and isinstance(value[0], Mapping):
        return sum(_stretch_terms(stretch)[2] for stretch in value)
    return len(axis_of(value))


def finite_numbers(values: Any) -> array[float]:
    """Return finite numbers as they were, in one pass of compiled code where all is well.

    Raises:
        ValueError: one is none, or not finite; the message says which.
    """
    if isinstance(values, (str, bytes, Mapping)):
        raise ValueError("Expected a list of numbers.")
    try:
        numbers = array("d", values)
    except (TypeError, OverflowError):
        place = next((i for i, value in enumerate(values) if not isinstance(value, (int, float))), 0)
        raise ValueError(f"Entry {place} is no number.") from None
    if not math.isfinite(sum(numbers)):
        bad = next((i for i, value in enumerate(numbers) if not math.isfinite(value)), None)
        if bad is not None:
            raise ValueError(
                f"Entry {bad} is {numbers[bad]}: leave out points that were not measured, on their own axis."
            )
    return numbers
