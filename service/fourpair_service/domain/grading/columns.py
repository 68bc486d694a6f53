"""The worst points of many rows of one link at once, as plain numbers."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from fourpair_service.domain.crosstalk import decibels
from fourpair_service.domain.grading.table import BoolArray, IndexArray, RowPoints
from fourpair_service.domain.measurement import FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Columns:
    """What the reductions over all rows of a block give.

    Attributes:
        worst: where each row has its smallest margin.
        largest: where each row has its worst value.
        margins_of: gives the (rows, n) margins of some rows. [dB]
        at: gives the point at a row and an index.
        has_limit: (rows, n) where there is one and the point is judged; ``None``
            where the limits have no holes.
    """

    worst: RowPoints
    largest: RowPoints
    margins_of: Callable[[slice], FloatArray]
    at: Callable[[int, int], RowPoints]
    has_limit: BoolArray | None

    def judged_points(self, start: int, stop: int) -> int | None:
        """Return how many points of some rows are judged, ``None`` where only excuses take any."""
        return None if self.has_limit is None else int(np.count_nonzero(self.has_limit[start:stop]))


def decibel_columns(
    value: FloatArray, limit: FloatArray, owners: IndexArray, frequency_mhz: FloatArray, *, has_holes: bool
) -> Columns:
    """Return the worst points of rows in dB.

    Args:
        value: (rows, n) signed values, +inf where not judged. [dB]
        limit: (groups, n) signed limits, -inf where there is none. [dB]
        owners: (rows,) which limit each row is held against.
        frequency_mhz: (n,) the axis. [MHz]
        has_holes: whether a limit is missing anywhere.
    """
    margin = value - limit.take(owners, axis=0)
    # Where a curve has no limit its value must not count as the worst either.
    has_limit = np.isfinite(margin) if has_holes else None
    largest = value if has_limit is None else np.where(has_limit, value, np.inf)
    reader = _Reader(value, limit, owners, frequency_mhz)
    found = reader.points(margin.argmin(axis=1)), reader.points(largest.argmin(axis=1))
    return Columns(*found, margin.__getitem__, reader.at, has_limit)


def power_columns(
    power: FloatArray,
    limit: FloatArray,
    gain: FloatArray,
    owners: IndexArray,
    frequency_mhz: FloatArray,
    *,
    has_holes: bool,
) -> Columns:
    """Return the worst points of rows kept as powers, as ``decibel_columns`` does of dB.

    Args:
        power: (rows, n) power ratios, zero where not judged.
        limit: (groups, n) signed limits, -inf where there is none. [dB]
        gain: (groups, n) what puts powers in terms of their limits, see ``limit_gains``.
        owners: (rows,) which limit each row is held against.
        frequency_mhz: (n,) the axis. [MHz]
        has_holes: whether a limit is missing anywhere.
    """
    scaled = power * gain.take(owners, axis=0)
    has_limit = scaled > 0 if has_holes else None
    largest = power if has_limit is None else np.where(has_limit, power, 0.0)
    reader = _Reader(power, limit, owners, frequency_mhz, decibels)
    found = reader.points(scaled.argmax(axis=1)), reader.points(largest.argmax(axis=1))
    return Columns(*found, reader.margins_of, reader.at, has_limit)


def _as_it_is(value: FloatArray) -> FloatArray:
    return value


@dataclass(frozen=True, slots=True, eq=False)
class _Reader:
    """Reads single points of a block: (rows, n) kept, (groups, n) limits, each row's group."""

    kept: FloatArray
    limit: FloatArray
    owners: IndexArray
    frequency_mhz: FloatArray
    to_db: Callable[[FloatArray], FloatArray] = _as_it_is

    def points(self, index: IndexArray) -> RowPoints:
        return self._read(np.arange(len(index)), self.owners, index)

    def at(self, row: int, index: int) -> RowPoints:
        return self._read(np.array([row]), self.owners[row : row + 1], np.array([index]))

    def margins_of(self, rows: slice) -> FloatArray:
        return self.to_db(self.kept[rows]) - self.limit[self.owners[rows]]

    def _read(self, rows: IndexArray, owners: IndexArray, index: IndexArray) -> RowPoints:
        value, limit = self.to_db(self.kept[rows, index]), self.limit[owners, index]
        return RowPoints(
            (value - limit).tolist(), value.tolist(), limit.tolist(), self.frequency_mhz[index].tolist()
        )
