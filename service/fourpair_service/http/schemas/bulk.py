"""Lists of numbers turned into arrays at once, with the strictness of one by one.

``struct`` packs a list several times faster than ``numpy.array`` and refuses
text and null on the way. What it lets through, ``true`` as 1.0, can only stand
where the packed value is exactly 0 or 1, so that only those places are looked at.
"""

from __future__ import annotations

import struct
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from fourpair_service.domain.measurement import FloatArray
from fourpair_service.http.schemas.advice import what_it_is


@dataclass(frozen=True, slots=True)
class Bounds:
    """The range of plausible values, both ends included."""

    low: float
    high: float
    unit: str

    def message(self, value: float) -> str:
        """Return what to say of a value outside."""
        unit = f" {self.unit}".rstrip()
        return f"{value:g}{unit} cannot be right: expected {self.low:g} to {self.high:g}{unit}."


@dataclass(frozen=True, slots=True)
class ValueProblem:
    """What is wrong in one of several lists.

    Attributes:
        row: which list.
        index: which of its values; ``None`` for the list as a whole.
    """

    row: int
    index: int | None
    detail: str


@lru_cache(maxsize=64)
def _packer(size: int) -> struct.Struct:
    return struct.Struct(f"{size}d")


def pack(rows: Sequence[Any], size: int, bounds: Bounds) -> tuple[FloatArray, list[ValueProblem]]:
    """Return k lists of n numbers as one (k, n) array, and what is wrong with them.

    Args:
        rows: k values as parsed from JSON, which should be lists or arrays of numbers.
        size: the n that each must have.
        bounds: what every value must lie in.

    Returns:
        The array, meaningful where no problem is listed, and the first problem
        of each list.
    """
    array = np.empty((len(rows), size))
    problems: list[ValueProblem] = []
    packer, buffer = _packer(size), array.data
    for i, row in enumerate(rows):
        problem = _list_problem(i, row, size)
        if problem is None and type(row) is np.ndarray:
            array[i] = row
            continue
        if problem is None:
            try:
                packer.pack_into(buffer, i * packer.size, *row)
                continue
            except (struct.error, OverflowError, TypeError):
                problem = _first_no_number(i, row)
        problems.append(problem)
        array[i] = bounds.high
    return array, problems + (_value_problems(array, rows, bounds) if array.size else [])


def _value_problems(array: FloatArray, rows: Sequence[Any], bounds: Bounds) -> list[ValueProblem]:
    low, high = array.min(), array.max()
    problems = [] if low > 1.0 else _booleans(array, rows)
    # Comparisons with NaN are false, so that NaN counts as outside.
    return problems if low >= bounds.low and high <= bounds.high else problems + _outside(array, bounds)


def _list_problem(row: int, values: Any, size: int) -> ValueProblem | None:
    if type(values) is not list and type(values) is not np.ndarray:
        return ValueProblem(row, None, f"Expected a list of numbers, got {what_it_is(values)}.")
    if len(values) != size:
        return ValueProblem(
            row, None, f"Expected {size} values, one for each frequency of its axis; got {len(values)}."
        )
    return None


def _first_no_number(row: int, values: Sequence[Any]) -> ValueProblem:
    for i, value in enumerate(values):
        if type(value) is not float and type(value) is not int:
            return ValueProblem(row, i, f"Expected a number, got {what_it_is(value)}.")
        if abs(value) >= 2**1023:
            return ValueProblem(row, i, "This number is too large.")
    return ValueProblem(row, None, "Expected a list of numbers.")


def _booleans(array: FloatArray, rows: Sequence[Any]) -> list[ValueProblem]:
    found: dict[int, ValueProblem] = {}
    for flat in np.flatnonzero((array == 0.0) | (array == 1.0)).tolist():
        row, i = divmod(flat, array.shape[1])
        # A row that could not be packed holds a stand-in, and has its problem already.
        if row not in found and type(rows[row]) is list and i < len(rows[row]) and type(rows[row][i]) is bool:
            found[row] = ValueProblem(row, i, "Expected a number, got a boolean.")
    return list(found.values())


def _outside(array: FloatArray, bounds: Bounds) -> list[ValueProblem]:
    outside = ~((array >= bounds.low) & (array <= bounds.high))
    first = np.argmax(outside, axis=1)
    return [
        ValueProblem(row, int(first[row]), bounds.message(array[row, first[row]]))
        for row in np.flatnonzero(outside.any(axis=1)).tolist()
    ]
