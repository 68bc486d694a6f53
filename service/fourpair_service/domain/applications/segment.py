"""A link held against the link segment of an application: the worst point of each parameter.

Only the pairs that the application uses count. A point where the link loses
very little is left out, as the editions do it for their classes.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from typing import Final

import numpy as np

from fourpair_service.domain.applications.data import Application, Excuses
from fourpair_service.domain.applications.design import timed_readings
from fourpair_service.domain.grading.coverage import coverage_gap
from fourpair_service.domain.grading.excuses import excused
from fourpair_service.domain.grading.rows import ENDS, TableBuilder
from fourpair_service.domain.grading.table import BoolArray, RowGroup, RowTable
from fourpair_service.domain.grading.timing import link_skew_ns
from fourpair_service.domain.limits import Basis, Category, CurveLimit
from fourpair_service.domain.link import End
from fourpair_service.domain.measurement import AccuracyCurve, FloatArray, LinkMeasurement
from fourpair_service.domain.parameters import TRAITS, Parameter

ALIEN: Final = (Parameter.PS_ANEXT, Parameter.PS_AACR_F)


@dataclass(frozen=True, slots=True)
class LimitPoint:
    """The worst point of one parameter and end against the limit of an application.

    Attributes:
        margin: positive inside the limit, in the unit of the parameter.
        accuracy: as the measurement states it there; 0 where it states none.
    """

    parameter: Parameter
    end: End | None
    pairs: str | None
    frequency_mhz: float | None
    margin: float
    measured: float
    limit: float
    basis: Basis
    source: str
    clause: str | None
    accuracy: float = 0.0

    @property
    def is_in_db(self) -> bool:
        """Whether its margin counts as headroom."""
        return TRAITS[self.parameter].unit == "db"


@dataclass(frozen=True, slots=True)
class Lacking:
    """A parameter that could not be judged at an end, and why."""

    parameter: Parameter
    end: End | None
    why: str


@dataclass(frozen=True, slots=True)
class SegmentResult:
    """What the comparison gives.

    Attributes:
        points: one for each parameter and end that was judged.
        missing: what could not be judged, as clauses of a sentence.
    """

    points: tuple[LimitPoint, ...]
    missing: tuple[str, ...] = ()

    @property
    def failing(self) -> tuple[LimitPoint, ...]:
        """The points outside their limit, the worst first."""
        return tuple(
            sorted((p for p in self.points if p.margin < 0), key=lambda p: (not p.is_in_db, p.margin))
        )

    @property
    def nearest(self) -> LimitPoint | None:
        """The point with the smallest margin in dB."""
        return min((p for p in self.points if p.is_in_db), key=lambda p: p.margin, default=None)


class LinkTables:
    """The curves of one link, tabulated at most once for all applications.

    Attributes:
        measured: the link as it was measured.
        category: whose frequency steps hold.
        rules: its switches, with the excuses of the applications.
    """

    def __init__(
        self,
        measured: LinkMeasurement,
        category: Category,
        excuses: Excuses,
        completed: Callable[[LinkMeasurement], LinkMeasurement] | None = None,
    ) -> None:
        self.measured, self.category = measured, category
        self._completed = completed
        self.rules = excuses.applied_to(category.rules)
        self._left_out: dict[tuple[int, int], BoolArray | None] = {}
        self._axis_gaps: dict[tuple[int, str], str | None] = {}

    @cached_property
    def measurement(self) -> LinkMeasurement:
        """The link, with its cords where they are to be added."""
        return self.measured if self._completed is None else self._completed(self.measured)

    @cached_property
    def tables(self) -> tuple[RowTable, ...]:
        """The curves; made when first asked for, since what a class says often needs none of them."""
        return TableBuilder([self.measurement], loss_of=self.category.rules.acr_f_loss_of).tables()

    def groups(self) -> Iterator[tuple[RowTable, int, RowGroup]]:
        """Yield every group with its table and its number there."""
        for table in self.tables:
            for number, group in enumerate(table.groups):
                yield table, number, group

    def left_out(self, table: RowTable, number: int) -> BoolArray | None:
        """Return (rows, n) which points of a group are left out, ``None``: none."""
        key = (id(table), number)
        if key not in self._left_out:
            mask = excused(table, number, self.rules)
            self._left_out[key] = None if mask is None else mask[0]
        return self._left_out[key]

    def axis_gap(self, table: RowTable, application: Application) -> str | None:
        """Return what the axis of a table lacks for an application."""
        key = (id(table), application.name)
        if key not in self._axis_gaps:
            asked = replace(self.category, from_mhz=application.from_mhz, to_mhz=application.to_mhz)
            self._axis_gaps[key] = coverage_gap(table.frequency_mhz, asked)
        return self._axis_gaps[key]


@lru_cache(maxsize=256)
def rows_used(keys: tuple[str, ...], pairs: tuple[str, ...]) -> list[int]:
    """Return the rows that concern these pairs alone.

    >>> rows_used(("12-36", "12-45"), ("12", "36"))
    [0]
    """
    return [row for row, key in enumerate(keys) if set(key.replace(">", "-").split("-")) <= set(pairs)]


def judge_segment(link: LinkTables, application: Application) -> SegmentResult:
    """Return how a link stands to the limits of an application, alien crosstalk apart.

    Args:
        link: end to end, with its cords.
        application: whose limits to take.
    """
    points: list[LimitPoint] = []
    missing: list[Lacking] = []
    for parameter, curve in application.limits.items():
        if parameter in ALIEN:
            continue
        if TRAITS[parameter].is_swept:
            for end in ENDS if TRAITS[parameter].has_ends else (None,):
                found, lacking = _judge_curve(link, application, curve, end)
                points += found
                missing += lacking
        else:
            _judge_delay(link.measurement, application, curve, points, missing)
    _judge_skew(link.measurement, application, points, missing)
    return SegmentResult(tuple(points), _together(missing))


def _together(missing: list[Lacking]) -> tuple[str, ...]:
    """Return what is missing in clauses, one for each reason."""
    by_reason: dict[str, list[Lacking]] = {}
    for lacking in missing:
        by_reason.setdefault(lacking.why, []).append(lacking)
    return tuple(f"{why} ({', '.join(_titles(found))})" for why, found in by_reason.items())


def _titles(found: list[Lacking]) -> list[str]:
    """Return what lacks, the end named only where the other one does not lack as well."""
    ends: dict[Parameter, list[End | None]] = {}
    for lacking in found:
        ends.setdefault(lacking.parameter, []).append(lacking.end)
    return [
        TRAITS[parameter].title + (f" at the {of[0]} end" if len(of) == 1 and of[0] else "")
        for parameter, of in ends.items()
    ]


@lru_cache(maxsize=512)
def _limit_on(curve: CurveLimit, axis: bytes) -> FloatArray:
    value = curve.at(np.frombuffer(axis))
    value.flags.writeable = False
    return value


def _judge_curve(
    link: LinkTables, application: Application, curve: CurveLimit, end: End | None
) -> tuple[list[LimitPoint], list[Lacking]]:
    wanted = rows_used(TRAITS[curve.parameter].keys, application.pairs)
    missing = [TRAITS[curve.parameter].keys[row] for row in wanted]
    points: list[LimitPoint] = []
    lacking: list[Lacking] = []
    for table, number, group in link.groups():
        if group.parameter is not curve.parameter or group.end is not end:
            continue
        rows = rows_used(group.keys, application.pairs)
        missing = [key for key in missing if key not in group.keys]
        gap = _gap(link, table, number, rows, application)
        lacking += [Lacking(curve.parameter, end, gap)] if gap and rows else []
        point = _worst(link, table, number, rows, application, curve)
        points += [point] if point else []
    if missing:
        where = "" if len(missing) == len(wanted) else f" on {', '.join(missing)}"
        lacking.append(Lacking(curve.parameter, end, f"not measured{where}"))
    return points, lacking


def _gap(
    link: LinkTables, table: RowTable, number: int, rows: list[int], application: Application
) -> str | None:
    gap, holes = link.axis_gap(table, application), table.gaps[number]
    if gap is None and holes is not None and bool(holes[0][rows][:, _inside(table, application)].any()):
        return "the curves that it is computed from do not cover the same range"
    return gap


def _inside(table: RowTable, application: Application) -> slice:
    start = int(np.searchsorted(table.frequency_mhz, application.from_mhz, side="left"))
    stop = int(np.searchsorted(table.frequency_mhz, application.to_mhz, side="right"))
    return slice(start, stop)


def _worst(
    link: LinkTables,
    table: RowTable,
    number: int,
    rows: list[int],
    application: Application,
    curve: CurveLimit,
    drop_db: float = 0.0,
) -> LimitPoint | None:
    group, inside = table.groups[number], _inside(table, application)
    margin = group.signed_db[0][rows][:, inside]
    if margin.size == 0:
        return None
    limit = _limit_on(curve, table.frequency_mhz.tobytes())[inside] - drop_db
    margin = margin - group.sign * limit
    mask = link.left_out(table, number)
    if mask is not None:
        margin[mask[rows][:, inside]] = np.inf
    row, column = divmod(int(margin.argmin()), margin.shape[1])
    worst = float(margin[row, column])
    if worst == np.inf:
        return None
    frequency = float(table.frequency_mhz[inside][column])
    return _point(
        link.measurement,
        curve,
        group.end,
        group.keys[rows[row]],
        frequency,
        worst,
        float(limit[column]) + group.sign * worst,
        float(limit[column]),
    )


def worst_of_group(
    link: LinkTables, application: Application, curve: CurveLimit, end: End | None, *, drop_db: float = 0.0
) -> LimitPoint | None:
    """Return the worst point of a parameter and end that was measured on all pairs over the whole range.

    Args:
        link: the link.
        application: its range and pairs.
        curve: the limit.
        end: of the link.
        drop_db: taken off the limit. [dB]

    Returns:
        ``None`` where a pair or a part of the range is missing.
    """
    for table, number, group in link.groups():
        if group.parameter is not curve.parameter or group.end is not end:
            continue
        rows = rows_used(group.keys, application.pairs)
        axis = table.frequency_mhz
        whole = axis[0] <= application.from_mhz and axis[-1] >= application.to_mhz
        if whole and len(rows) == len(application.pairs):
            return _worst(link, table, number, rows, application, curve, drop_db)
    return None


def _point(
    measurement: LinkMeasurement,
    curve: CurveLimit,
    end: End | None,
    pairs: str,
    frequency_mhz: float,
    margin: float,
    measured: float,
    limit: float,
) -> LimitPoint:
    segment = curve.segment_at(frequency_mhz) or curve.segments[-1]
    return LimitPoint(
        curve.parameter, end, pairs, frequency_mhz, margin, measured, limit,
        segment.basis, segment.source, segment.clause,
        _accuracy(measurement, curve.parameter, frequency_mhz),
    )  # fmt: skip


def _accuracy(measurement: LinkMeasurement, parameter: Parameter, frequency_mhz: float) -> float:
    stated: Mapping[Parameter, float | AccuracyCurve] = measurement.instrument.accuracy
    accuracy = stated.get(parameter, 0.0)
    if isinstance(accuracy, AccuracyCurve):
        return float(accuracy.at(np.array([frequency_mhz]))[0])
    return accuracy


def _judge_delay(
    measurement: LinkMeasurement,
    application: Application,
    curve: CurveLimit,
    points: list[LimitPoint],
    missing: list[Lacking],
) -> None:
    found = []
    timed = timed_readings(measurement)
    for pair in application.pairs:
        readings = timed[pair]
        if readings.delay_ns is None:
            missing.append(Lacking(curve.parameter, None, f"not measured on {pair}"))
            continue
        # These limits are the same at every frequency, so one stated outside their range holds too.
        at = float(np.clip(readings.delay_frequency_mhz, curve.from_mhz, curve.to_mhz))
        limit = float(curve.at(np.array([at]))[0])
        value = readings.delay_ns
        found.append(_point(measurement, curve, None, pair, at, limit - value, value, limit))
    points += [min(found, key=lambda point: point.margin)] if found else []


def _judge_skew(
    measurement: LinkMeasurement, application: Application, points: list[LimitPoint], missing: list[Lacking]
) -> None:
    limit = application.skew
    if limit is None:
        return
    value = link_skew_ns(measurement)
    if value is None:
        missing.append(Lacking(limit.parameter, None, "not measured, nor the delay of all four pairs"))
        return
    points.append(
        LimitPoint(
            Parameter.DELAY_SKEW, None, None, None, limit.value - value, value, limit.value,
            limit.basis, limit.source, limit.clause,
        )
    )  # fmt: skip
