"""A table of curves: rows of one parameter and end, for links measured alike on one axis."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property, partial
from itertools import repeat
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from fourpair_service.domain import crosstalk
from fourpair_service.domain.link import End
from fourpair_service.domain.measurement import FloatArray
from fourpair_service.domain.parameters import TRAITS, Parameter, Sense
from fourpair_service.domain.verdict import Outcome, Point

IndexArray: TypeAlias = NDArray[np.intp]
BoolArray: TypeAlias = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class RowPoints:
    """One signed point of every row, in dB over MHz."""

    margin: list[float]
    value: list[float]
    limit: list[float]
    frequency_mhz: list[float]


# Rows, or what makes them when one of them is first looked at.
Rows: TypeAlias = FloatArray | Callable[[], FloatArray]


# A point of a tuple, several times faster than by its own name.
_point: Final = partial(tuple.__new__, Point)


def _made(rows: Rows) -> FloatArray:
    return rows() if callable(rows) else rows


def _of_rows(array: FloatArray | None, rows: list[int]) -> FloatArray | None:
    return None if array is None else array[:, rows]


class RowGroup:
    """The rows of one parameter at one end, for K links.

    Power sums are kept as powers and turned into dB where a point is looked at:
    the worst of all is found before the logarithm, which is what costs. Derived
    rows are made when they are first asked for.

    Attributes:
        parameter, end: what the rows are.
        keys: the pairs or combinations, one a row.
        names: the same for a point, ``None`` where the row is that of the link.
        loss_rows: for each row the pairs, as indices into ``PAIRS``, whose
            insertion loss can excuse it; (rows, 0 to 2).
        far_loss: for ACR-F the FEXT whose loss can excuse a point. [dB]
        far_power: for PS ACR-F the power sum of FEXT that can excuse a point.
        is_power: whether the rows are kept as powers.
    """

    def __init__(
        self,
        parameter: Parameter,
        end: End | None,
        keys: tuple[str, ...],
        loss_rows: IndexArray,
        *,
        value_db: Rows | None = None,
        power: Rows | None = None,
        far_loss: FloatArray | None = None,
        far_power: FloatArray | None = None,
    ) -> None:
        self.parameter, self.end, self.keys, self.loss_rows = parameter, end, keys, loss_rows
        self.names = tuple(key or None for key in keys)
        self.sign = -1.0 if TRAITS[parameter].sense is Sense.AT_MOST else 1.0
        self.far_loss, self.far_power = far_loss, far_power
        self.is_power = power is not None
        self._rows: Rows | None = value_db if power is None else power

    @cached_property
    def level(self) -> FloatArray:
        """(K, rows, n) as the rows are kept: powers, or signed values in dB."""
        assert self._rows is not None
        rows, self._rows = _made(self._rows), None
        return rows if self.is_power or self.sign > 0 else -rows

    @cached_property
    def signed_db(self) -> FloatArray:
        """(K, rows, n) signed values, NaN where a combined curve has no value. [dB]."""
        return crosstalk.decibels(self.level) if self.is_power else self.level

    def point(self, points: RowPoints, row: int, key: str, outcome: Outcome | None = None) -> Point:
        """Return one of the points, in the parameter's own sense."""
        return _point(
            (
                points.margin[row],
                self.sign * points.value[row],
                self.sign * points.limit[row],
                points.frequency_mhz[row],
                key or None,
                self.end,
                outcome,
            )
        )

    def points(self, points: RowPoints, first: int, outcomes: Sequence[Outcome]) -> list[Point]:
        """Return the points of all its rows, in the parameter's own sense.

        Args:
            points: of a block that the group is part of.
            first: the row of the block where the group begins.
            outcomes: one for each row.
        """
        rows = slice(first, first + len(self.names))
        measured, limit = points.value[rows], points.limit[rows]
        if self.sign < 0:
            measured, limit = [-value for value in measured], [-value for value in limit]
        frequency_mhz = points.frequency_mhz[rows]
        columns = (
            points.margin[rows],
            measured,
            limit,
            frequency_mhz,
            self.names,
            repeat(self.end),
            outcomes,
        )
        return list(map(_point, zip(*columns, strict=False)))

    def of_rows(self, rows: list[int]) -> RowGroup:
        """Return the group with some of its rows only."""
        kept = self.level[:, rows]
        return RowGroup(
            self.parameter,
            self.end,
            tuple(self.keys[row] for row in rows),
            self.loss_rows[rows],
            value_db=None if self.is_power else kept * self.sign,
            power=kept if self.is_power else None,
            far_loss=_of_rows(self.far_loss, rows),
            far_power=_of_rows(self.far_power, rows),
        )


@dataclass(frozen=True, slots=True, eq=False)
class RowTable:
    """Curves of K links on one axis.

    Attributes:
        frequency_mhz: (n,) the axis. [MHz]
        groups: parameters and ends, in order.
        loss_db: (K, 4, n) insertion loss on this axis, NaN where not known. [dB]
        gaps: for each group (K, rows, n) where it has no value, or ``None``.
    """

    frequency_mhz: FloatArray
    groups: tuple[RowGroup, ...]
    loss_db: FloatArray
    gaps: tuple[BoolArray | None, ...]
