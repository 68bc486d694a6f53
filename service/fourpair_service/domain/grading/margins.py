"""The kernel: worst margins of whole tables under every category at once.

At one frequency all pairs of a parameter share a limit. So the worst pair is
found first, for all categories together (an envelope, with excused points left
out), and only the envelopes are held against each category's limits.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import accumulate

import numpy as np
from numpy.typing import NDArray

from fourpair_service.domain import crosstalk
from fourpair_service.domain.grading.coverage import coverage_gap
from fourpair_service.domain.grading.excuses import Excuses, Thresholds, thresholds
from fourpair_service.domain.grading.table import BoolArray, IndexArray, RowGroup, RowTable
from fourpair_service.domain.limits import Category, EvaluationRules, RuleSet, ShortLinkRelief
from fourpair_service.domain.link import Configuration
from fourpair_service.domain.measurement import FloatArray
from fourpair_service.domain.parameters import TRAITS, Parameter, Sense


@dataclass(frozen=True, slots=True, eq=False)
class AxisLimits:
    """The limits of one category at the frequencies of one axis.

    Attributes:
        window: the part of the axis that lies in the category's range.
        limit: by parameter (n_window,) signed limits, -inf where there is none.
        holes: parameters with a limit for part of the range, and the sentence.
        gap: what the axis lacks, see ``coverage_gap``.
    """

    window: slice
    limit: Mapping[Parameter, FloatArray]
    holes: Mapping[Parameter, str]
    gap: str | None


@lru_cache(maxsize=512)
def _axis_limits(rule_set: RuleSet, name: str, configuration: Configuration, axis: bytes) -> AxisLimits:
    frequency_mhz = np.frombuffer(axis)
    category = rule_set.categories[name]
    start = int(np.searchsorted(frequency_mhz, category.from_mhz, side="left"))
    stop = int(np.searchsorted(frequency_mhz, category.to_mhz, side="right"))
    window = slice(start, stop)
    inside = frequency_mhz[window]
    limits: dict[Parameter, FloatArray] = {}
    holes: dict[Parameter, str] = {}
    for parameter, traits in TRAITS.items():
        curve = rule_set.curve(name, configuration, parameter) if traits.is_swept else None
        if curve is None:
            continue
        value = curve.at(inside)
        limits[parameter] = np.where(
            np.isnan(value), -np.inf, -value if traits.sense is Sense.AT_MOST else value
        )
        if curve.from_mhz > category.from_mhz or curve.to_mhz < category.to_mhz:
            holes[parameter] = f"no limit is built in outside {curve.from_mhz:g} to {curve.to_mhz:g} MHz"
    return AxisLimits(window, limits, holes, coverage_gap(frequency_mhz, category))


def axis_limits(
    rule_set: RuleSet, category: Category, configuration: Configuration, frequency_mhz: FloatArray
) -> AxisLimits:
    """Return the limits of a category at (n,) frequencies, remembered by axis."""
    return _axis_limits(rule_set, category.name, configuration, frequency_mhz.tobytes())


def relief_db(table: RowTable, group: RowGroup, relief: ShortLinkRelief | None) -> FloatArray | None:
    """Return by how much NEXT limits drop for links of little loss, (K, rows, n). [dB].

    Both pairs of a combination must have the little loss that the rule asks for.
    """
    if relief is None or group.parameter not in (Parameter.NEXT, Parameter.PS_NEXT):
        return None
    at = int(np.argmin(np.abs(table.frequency_mhz - relief.loss_at_mhz)))
    low = table.loss_db[:, :, at] < relief.loss_below_db
    eligible: BoolArray = np.logical_and.reduce(low[:, group.loss_rows], axis=2)
    if not bool(eligible.any()) or table.frequency_mhz[-1] <= relief.from_mhz:
        return None
    drop = relief.slope_db * np.maximum(table.frequency_mhz - relief.from_mhz, 0) / relief.per_mhz
    return np.asarray(eligible[:, :, None] * drop)


@lru_cache(maxsize=1024)
def limit_rows(limits: AxisLimits, parameters: tuple[Parameter, ...]) -> FloatArray:
    """Return (rows, n_window) signed limits, -inf for a parameter without one."""
    size = limits.window.stop - limits.window.start
    none = np.full(size, -np.inf)
    return np.stack([limits.limit.get(parameter, none) for parameter in parameters])


@lru_cache(maxsize=1024)
def limit_gains(limits: AxisLimits, parameters: tuple[Parameter, ...]) -> FloatArray:
    """Return (rows, n_window) what powers are multiplied by to have them in terms of their limits.

    The product is 10**(-margin/10): it is greatest where the margin is smallest, and
    zero where there is no limit.
    """
    return crosstalk.power(-limit_rows(limits, parameters))


@lru_cache(maxsize=64)
def alike(rule_set: RuleSet) -> tuple[tuple[str, ...], ...]:
    """Return the categories that have limits, those together that share their excuses."""
    kinds: dict[Thresholds, list[str]] = {}
    for name, category in rule_set.categories.items():
        if category.missing is None:
            kinds.setdefault(thresholds(category.rules), []).append(name)
    return tuple(tuple(names) for names in kinds.values())


@dataclass(frozen=True, slots=True, eq=False)
class CategoryRows:
    """The limits of several categories on a whole axis.

    Attributes:
        limit: (categories, groups, n) signed, -inf where there is none and outside the range. [dB]
        gain: the same for powers, see ``limit_gains``.
    """

    limit: FloatArray
    gain: FloatArray


@lru_cache(maxsize=128)
def category_rows(
    rule_set: RuleSet,
    names: tuple[str, ...],
    configuration: Configuration,
    axis: bytes,
    parameters: tuple[Parameter, ...],
) -> CategoryRows:
    """Return the limits of several categories for the groups of a share, remembered by axis."""
    limit = np.full((len(names), len(parameters), len(axis) // 8), -np.inf)
    for number, name in enumerate(names):
        limits = _axis_limits(rule_set, name, configuration, axis)
        if limits.window.stop > limits.window.start:
            limit[number, :, limits.window] = limit_rows(limits, parameters)
    return CategoryRows(limit, crosstalk.power(-limit))


@dataclass(frozen=True, slots=True, eq=False)
class WorstPoints:
    """The worst judged point of each group of a table under one category.

    Attributes:
        margin_db: (K, G) +inf where nothing was judged. [dB]
        index: (K, G) where on the axis of the table.
        limits: the limits used.
    """

    margin_db: FloatArray
    index: NDArray[np.intp]
    limits: AxisLimits


@dataclass(frozen=True, slots=True, eq=False)
class Share:
    """Groups of a table that are kept and treated alike, their rows in one block.

    Attributes:
        is_power: kept as powers, where a larger one is worse; else signed dB.
        is_judged: counts in some category.
        numbers: which groups of the table.
        rows: where the rows of each group stand in the block.
        parameters: of the groups.
        owners: (height,) for each row of the block which of the share's groups it is of.
    """

    is_power: bool
    is_judged: bool
    numbers: tuple[int, ...]
    rows: tuple[slice, ...]
    parameters: tuple[Parameter, ...]
    owners: IndexArray

    @property
    def height(self) -> int:
        """How many rows the block has."""
        return len(self.owners)


def shares(table: RowTable, shown_only: frozenset[Parameter]) -> tuple[Share, ...]:
    """Return the shares of a table, none of them empty."""
    layout = tuple((group.is_power, group.parameter, len(group.keys)) for group in table.groups)
    return _shares(layout, shown_only)


@lru_cache(maxsize=64)
def _shares(
    layout: tuple[tuple[bool, Parameter, int], ...], shown_only: frozenset[Parameter]
) -> tuple[Share, ...]:
    kinds: dict[tuple[bool, bool], list[int]] = {}
    for number, (is_power, parameter, _) in enumerate(layout):
        kinds.setdefault((is_power, parameter not in shown_only), []).append(number)
    found = []
    for (is_power, is_judged), numbers in kinds.items():
        heights = [layout[number][2] for number in numbers]
        stops = list(accumulate(heights))
        rows = tuple(map(slice, [0, *stops], stops))
        parameters = tuple(layout[number][1] for number in numbers)
        owners = np.repeat(np.arange(len(numbers), dtype=np.intp), heights)
        found.append(Share(is_power, is_judged, tuple(numbers), rows, parameters, owners))
    return tuple(found)


class TableMargins:
    """Worst margins of one table, computed once for each distinct set of rules.

    Args:
        table: the rows.
        shown_only: parameters that no category judges; they have no worst point.
    """

    def __init__(self, table: RowTable, shown_only: frozenset[Parameter] = frozenset()) -> None:
        self.table = table
        self.shares = shares(table, shown_only)
        self._place = {
            number: (share, rows)
            for share in self.shares
            for number, rows in zip(share.numbers, share.rows, strict=True)
        }
        self._excuses = Excuses(table)
        self._blocks: dict[tuple[Share, Thresholds], FloatArray] = {}

    def mask(self, number: int, rules: EvaluationRules) -> BoolArray | None:
        """Return (K, rows, n) what a group leaves out, ``None`` where all is judged."""
        return self._excuses.mask(number, rules)

    def block(self, share: Share, rules: EvaluationRules) -> FloatArray:
        """Return (K, height, n) the rows of a share, with what is not judged at its best.

        That is +inf dB, or a power of zero.
        """
        key = (share, thresholds(rules))
        block = self._blocks.get(key)
        if block is None:
            links, size = self.table.loss_db.shape[0], self.table.frequency_mhz.size
            block = self._blocks[key] = np.empty((links, share.height, size))
            for number, rows in zip(share.numbers, share.rows, strict=True):
                block[:, rows] = self.table.groups[number].level
                mask = self.mask(number, rules)
                if mask is not None:
                    np.copyto(block[:, rows], 0.0 if share.is_power else np.inf, where=mask)
        return block

    def kept(self, number: int, rules: EvaluationRules) -> FloatArray:
        """Return (K, rows, n) one group of a block."""
        share, rows = self._place[number]
        return self.block(share, rules)[:, rows]

    def _envelope(self, share: Share, rules: EvaluationRules) -> FloatArray:
        """Return (K, groups, n) the worst row of each group of a share."""
        block = self.block(share, rules)
        envelope = np.empty((len(block), len(share.numbers), block.shape[2]))
        reduce = np.maximum.reduce if share.is_power else np.minimum.reduce
        for into, rows in enumerate(share.rows):
            reduce(block[:, rows], axis=1, out=envelope[:, into])
        return envelope

    def worst(self, rule_set: RuleSet, configuration: Configuration) -> dict[str, WorstPoints]:
        """Return the worst points of every group under every category that has limits."""
        axis = self.table.frequency_mhz.tobytes()
        shape = (self.table.loss_db.shape[0], len(self.table.groups))
        found: dict[str, WorstPoints] = {}
        for names in alike(rule_set):
            rules = rule_set.categories[names[0]].rules
            for name in names:
                limits = _axis_limits(rule_set, name, configuration, axis)
                start = np.full(shape, limits.window.start, dtype=np.intp)
                found[name] = WorstPoints(np.full(shape, np.inf), start, limits)
            for share in self.shares:
                if share.is_judged:
                    rows = category_rows(rule_set, names, configuration, axis, share.parameters)
                    self._find(share, rules, rows, [found[name] for name in names])
        for name, points in found.items():
            self._relieve(rule_set.categories[name], points)
        return found

    def _find(
        self, share: Share, rules: EvaluationRules, rows: CategoryRows, into: Sequence[WorstPoints]
    ) -> None:
        envelope = self._envelope(share, rules)
        links, groups, numbers = len(envelope), len(share.numbers), list(share.numbers)
        if share.is_power:
            index = (envelope[:, None] * rows.gain).argmax(axis=3)
        else:
            index = (envelope[:, None] - rows.limit).argmin(axis=3)
        worst = envelope[np.arange(links)[:, None, None], np.arange(groups), index]
        if share.is_power:
            worst = crosstalk.decibels(worst)
        categories = np.arange(len(into))[:, None]
        margin = worst - rows.limit[categories, np.arange(groups), index]
        for number, points in enumerate(into):
            points.margin_db[:, numbers] = margin[:, number]
            points.index[:, numbers] = index[:, number]

    def _relieve(self, category: Category, into: WorstPoints) -> None:
        relief = category.rules.short_link_relief
        if relief is None or into.limits.window.stop == into.limits.window.start:
            return
        for number, group in enumerate(self.table.groups):
            if relief_db(self.table, group, relief) is not None:
                self._find_relieved(number, category, into)

    def _find_relieved(self, number: int, category: Category, into: WorstPoints) -> None:
        window = into.limits.window
        limit = limit_rows(into.limits, (self.table.groups[number].parameter,))[0]
        margin = self.judged(number, category)[:, :, window].min(axis=1) - limit
        into.index[:, number] = margin.argmin(axis=1) + window.start
        into.margin_db[:, number] = margin.min(axis=1)

    def judged(self, number: int, category: Category, link: slice = slice(None)) -> FloatArray:
        """Return (K, rows, n) signed values of one group, +inf where not judged. [dB].

        A relief of the limit is added to the value, which gives the same margin.
        """
        group = self.table.groups[number]
        kept = self.kept(number, category.rules)[link]
        value = crosstalk.decibels(kept) if group.is_power else kept
        relief = relief_db(self.table, group, category.rules.short_link_relief)
        return value if relief is None else value + relief[link]

    def worst_key(self, link: int, number: int, index: int, category: Category) -> str:
        """Return the pair or combination that sets a worst point."""
        group = self.table.groups[number]
        column = self.kept(number, category.rules)[link, :, index]
        relief = relief_db(self.table, group, category.rules.short_link_relief)
        if relief is not None:
            value = crosstalk.decibels(column) if group.is_power else column
            return group.keys[int((value + relief[link, :, index]).argmin())]
        return group.keys[int(column.argmax() if group.is_power else column.argmin())]
