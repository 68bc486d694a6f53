"""The points of all pairs of many links at once, as far as every link is one of the usual cases."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from fourpair_service.domain.crosstalk import decibels
from fourpair_service.domain.grading.excuses import threshold_of
from fourpair_service.domain.grading.margins import (
    AxisLimits,
    Share,
    TableMargins,
    axis_limits,
    limit_gains,
    limit_rows,
    relief_db,
)
from fourpair_service.domain.grading.merging import Place
from fourpair_service.domain.grading.swept import Question, rule_of
from fourpair_service.domain.grading.table import IndexArray, RowGroup
from fourpair_service.domain.measurement import FloatArray
from fourpair_service.domain.parameters import TRAITS


@dataclass(frozen=True, slots=True, eq=False)
class GroupPoints:
    """The points of one parameter and end of K links, as a verdict shows them but not rounded.

    Attributes:
        group: whose rows they are.
        points: (K, rows, 4) margin, measured, limit and frequency of each row's smallest margin.
            [dB, dB, dB, MHz]
        margins: (K, rows) the first of these four, as lists. [dB]
        names: (rows) pair or combination and end, as a verdict shows them.
        largest: (K, 4) the same of the worst value.
        largest_row: (K) whose that is.
        nearest_row: (K) whose margin is the smallest.
        judged: (K) how many points were held against the limit.
        excused: (K) how many were not.
        rule: name, words and source of the rule that excuses points; ``None`` where none can.
    """

    group: RowGroup
    points: FloatArray
    margins: Sequence[list[float]]
    names: Sequence[tuple[str | None, str | None]]
    largest: FloatArray
    largest_row: Sequence[int]
    nearest_row: Sequence[int]
    judged: Sequence[int]
    excused: Sequence[int]
    rule: tuple[str, str, str] | None


def usual_points(
    tables: Sequence[TableMargins], question: Question, keys: Mapping[Place, frozenset[str]]
) -> list[GroupPoints] | None:
    """Return the points of every parameter and end that has a limit; ``None`` where the case is not a usual one.

    It is one where every pair was swept over the whole range on one axis, and no limit
    has a hole or is relieved for links of little loss.
    """
    found: list[GroupPoints] = []
    for margins in tables:
        limits = axis_limits(
            question.rule_set, question.category, question.configuration, margins.table.frequency_mhz
        )
        if not _is_usual(margins, limits, question, keys):
            return None
        for share in margins.shares:
            if not limits.limit.keys().isdisjoint(share.parameters):
                found += _of_share(margins, share, limits, question)
    places = [(each.group.parameter, each.group.end) for each in found]
    return found if len(set(places)) == len(places) else None


def _is_usual(
    margins: TableMargins, limits: AxisLimits, question: Question, keys: Mapping[Place, frozenset[str]]
) -> bool:
    if limits.gap is not None or limits.window.stop <= limits.window.start:
        return False
    relief = question.category.rules.short_link_relief
    for group, gaps in zip(margins.table.groups, margins.table.gaps, strict=True):
        if group.parameter not in limits.limit:
            continue
        is_whole = len(keys[group.parameter, group.end]) == len(TRAITS[group.parameter].keys)
        if gaps is not None or group.parameter in limits.holes or not is_whole:
            return False
        if relief_db(margins.table, group, relief) is not None:
            return False
    return True


def _of_share(
    margins: TableMargins, share: Share, limits: AxisLimits, question: Question
) -> Iterator[GroupPoints]:
    rules, window = question.category.rules, limits.window
    block = margins.block(share, rules)[:, :, window]
    limit, owners = limit_rows(limits, share.parameters), share.owners
    if share.is_power:
        gain = limit_gains(limits, share.parameters).take(owners, axis=0)
        nearest, largest = (block * gain).argmax(axis=2), block.argmax(axis=2)
    else:
        nearest, largest = (block - limit.take(owners, axis=0)).argmin(axis=2), block.argmin(axis=2)
    axis = margins.table.frequency_mhz[window]
    signs = np.array([margins.table.groups[number].sign for number in share.numbers])[owners]
    reader = _Reader(block, limit, owners, axis, signs, share.is_power)
    smallest, worst = reader.points(nearest), reader.points(largest)
    links = np.arange(len(block))
    for number, rows in zip(share.numbers, share.rows, strict=True):
        group = margins.table.groups[number]
        if group.parameter not in limits.limit:
            continue
        points, values = smallest[:, rows], worst[:, rows]
        end = None if group.end is None else group.end.value
        row = (values[:, :, 1] * group.sign).argmin(axis=1)
        mask = margins.mask(number, rules)
        excused = [0] * len(block)
        if mask is not None:
            excused = np.count_nonzero(mask[:, :, window], axis=(1, 2)).tolist()
        every = len(group.keys) * axis.size
        can_excuse = mask is not None and threshold_of(group, rules) is not None
        name, words, rule = rule_of(group, question.category) if can_excuse else ("", "", None)
        yield GroupPoints(
            group,
            points,
            points[:, :, 0].tolist(),
            [(name, end) for name in group.names],
            values[links, row],
            row.tolist(),
            points[:, :, 0].argmin(axis=1).tolist(),
            [every - count for count in excused],
            excused,
            None if rule is None else (name, words, rule.source),
        )


@dataclass(frozen=True, slots=True, eq=False)
class _Reader:
    """Reads points of a block: (K, rows, n) kept, (groups, n) limits, each row's group and sign."""

    block: FloatArray
    limit: FloatArray
    owners: IndexArray
    axis: FloatArray
    signs: FloatArray
    is_power: bool

    def points(self, index: IndexArray) -> FloatArray:
        """Return (K, rows, 4) the points at (K, rows) indices."""
        kept = np.take_along_axis(self.block, index[:, :, None], axis=2)[:, :, 0]
        value = decibels(kept) if self.is_power else kept
        limit = self.limit[self.owners, index]
        return np.stack((value - limit, self.signs * value, self.signs * limit, self.axis[index]), axis=2)
