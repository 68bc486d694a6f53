"""The kernel: worst margins of whole tables under every category at once.

At one frequency all pairs of a parameter share a limit. So the worst pair is
found first, for all categories together (an envelope, with excused points left
out), and only the envelopes are held against each category's limits.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from fourpair_service.domain import crosstalk
from fourpair_service.domain.grading.coverage import coverage_gap
from fourpair_service.domain.grading.rows import BoolArray, RowGroup, RowTable, left_out
from fourpair_service.domain.limits import Category, EvaluationRules, RuleSet, ShortLinkRelief
from fourpair_service.domain.link import Configuration
from fourpair_service.domain.measurement import FloatArray
from fourpair_service.domain.parameters import TRAITS, Parameter, Sense

Thresholds: TypeAlias = tuple[float | None, float | None, float | None, float | None]

BY_OWN_LOSS = frozenset({Parameter.RETURN_LOSS})
BY_NEXT_LOSS = frozenset({Parameter.NEXT, Parameter.PS_NEXT, Parameter.ACR_N, Parameter.PS_ACR_N})


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


def threshold_of(group: RowGroup, rules: EvaluationRules) -> float | None:
    """Return the threshold by which points of a group are excused, in dB."""
    if group.parameter in BY_OWN_LOSS:
        return rules.return_loss_below_loss_db.value
    if group.parameter in BY_NEXT_LOSS:
        return rules.next_below_loss_db.value
    if group.parameter is Parameter.ACR_F:
        return rules.acr_f_above_fext_db.value
    if group.parameter is Parameter.PS_ACR_F:
        return rules.ps_acr_f_above_ps_fext_db.value
    return None


def thresholds(rules: EvaluationRules) -> Thresholds:
    """Return all thresholds of an edition: categories that share them share their excuses."""
    return (
        rules.return_loss_below_loss_db.value,
        rules.next_below_loss_db.value,
        rules.acr_f_above_fext_db.value,
        rules.ps_acr_f_above_ps_fext_db.value,
    )


def excused(table: RowTable, number: int, rules: EvaluationRules) -> BoolArray | None:
    """Return which points of a group are not judged, ``None`` where all are.

    Returns:
        (K, rows, n) true where the edition's own rule takes a point out, or
        where a combined curve has no value.
    """
    group = table.groups[number]
    threshold = threshold_of(group, rules)
    mask = None
    if threshold is not None:
        far = group.far_crosstalk
        mask = _all_below(table, group, threshold) if far is None else _above(far, threshold)
    gaps = table.gaps[number]
    if gaps is not None:
        mask = gaps if mask is None else mask | gaps
    return mask if mask is not None and bool(mask.any()) else None


def _above(far_crosstalk: FloatArray, threshold_db: float) -> BoolArray:
    # As powers: a loss above the threshold is a power below it.
    below: BoolArray = far_crosstalk < crosstalk.power(np.array([threshold_db]))[0]
    return below


def _all_below(table: RowTable, group: RowGroup, threshold: float) -> BoolArray:
    low: BoolArray = table.loss_db < threshold
    mask: BoolArray = low[:, group.loss_rows[:, 0]]
    for column in group.loss_rows.T[1:]:
        mask = mask & low[:, column]
    return mask


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


class TableMargins:
    """Worst margins of one table, computed once for each distinct set of rules.

    Args:
        table: the rows.
        shown_only: parameters that no category judges; they have no worst point.
    """

    def __init__(self, table: RowTable, shown_only: frozenset[Parameter] = frozenset()) -> None:
        self.table = table
        self._shown_only = shown_only
        self.parameters = tuple(group.parameter for group in table.groups)
        self._masks: dict[Thresholds, list[BoolArray | None]] = {}
        self._envelopes: dict[Thresholds, FloatArray] = {}

    def masks(self, rules: EvaluationRules) -> list[BoolArray | None]:
        """Return what each group leaves out, in the order of the groups."""
        key = thresholds(rules)
        if key not in self._masks:
            self._masks[key] = [excused(self.table, n, rules) for n in range(len(self.table.groups))]
        return self._masks[key]

    def _envelope(self, rules: EvaluationRules) -> FloatArray:
        key = thresholds(rules)
        if key not in self._envelopes:
            groups = self.table.groups
            envelope = np.empty((self.table.loss_db.shape[0], len(groups), self.table.frequency_mhz.size))
            for number, (group, mask) in enumerate(zip(groups, self.masks(rules), strict=True)):
                idle = group.parameter in self._shown_only
                envelope[:, number] = np.inf if idle else group.worst_of_rows(mask)
            self._envelopes[key] = envelope
        return self._envelopes[key]

    def worst(self, rule_set: RuleSet, category: Category, configuration: Configuration) -> WorstPoints:
        """Return the worst points of every group under one category."""
        limits = axis_limits(rule_set, category, configuration, self.table.frequency_mhz)
        window = limits.window
        if window.stop == window.start:
            shape = (self.table.loss_db.shape[0], len(self.table.groups))
            return WorstPoints(np.full(shape, np.inf), np.zeros(shape, dtype=np.intp), limits)
        limit = limit_rows(limits, self.parameters)
        margin = self._envelope(category.rules)[:, :, window] - limit
        for number, group in enumerate(self.table.groups):
            if relief_db(self.table, group, category.rules.short_link_relief) is not None:
                margin[:, number] = self.judged(number, category)[:, :, window].min(axis=1) - limit[number]
        index = margin.argmin(axis=2)
        worst = np.take_along_axis(margin, index[:, :, None], axis=2)[:, :, 0]
        return WorstPoints(worst, index + window.start, limits)

    def judged(self, number: int, category: Category, link: slice = slice(None)) -> FloatArray:
        """Return (K, rows, n) signed values of one group, +inf where not judged.

        A relief of the limit is added to the value, which gives the same margin.
        """
        group, mask = self.table.groups[number], self.masks(category.rules)[number]
        value = left_out(group.signed_db[link], None if mask is None else mask[link])
        relief = relief_db(self.table, group, category.rules.short_link_relief)
        return value if relief is None else value + relief[link]

    def worst_key(self, link: int, number: int, index: int, category: Category) -> str:
        """Return the pair or combination that sets a worst point."""
        column = self.judged(number, category, slice(link, link + 1))[0, :, index]
        return self.table.groups[number].keys[int(column.argmin())]
