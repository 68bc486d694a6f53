"""Which points an edition's own rules take out of judgement."""

from __future__ import annotations

from functools import lru_cache
from typing import Final, TypeAlias

import numpy as np

from fourpair_service.domain import crosstalk
from fourpair_service.domain.grading.table import BoolArray, RowGroup, RowTable
from fourpair_service.domain.limits import EvaluationRules
from fourpair_service.domain.parameters import Parameter

Thresholds: TypeAlias = tuple[float | None, float | None, float | None, float | None]

BY_OWN_LOSS: Final = frozenset({Parameter.RETURN_LOSS})
BY_NEXT_LOSS: Final = frozenset({Parameter.NEXT, Parameter.PS_NEXT, Parameter.ACR_N, Parameter.PS_ACR_N})


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


class Excuses:
    """The points of one table that are not judged, found once for each threshold.

    Groups that are excused by the same losses at the same threshold share what is
    found: both ends of a parameter, and power sums of different ratios.

    Args:
        table: the rows.
    """

    def __init__(self, table: RowTable) -> None:
        self._table = table
        self._low: dict[float, BoolArray | None] = {}
        self._below: dict[tuple[float, int, bytes], BoolArray | None] = {}
        self._masks: dict[tuple[int, float | None], BoolArray | None] = {}

    def mask(self, number: int, rules: EvaluationRules) -> BoolArray | None:
        """Return which points of a group are not judged, ``None`` where all are.

        Returns:
            (K, rows, n) true where the edition's own rule takes a point out, or
            where a combined curve has no value. Not to be written to.
        """
        key = (number, threshold_of(self._table.groups[number], rules))
        if key not in self._masks:
            self._masks[key] = self._found(number, key[1])
        return self._masks[key]

    def _found(self, number: int, threshold: float | None) -> BoolArray | None:
        mask = None if threshold is None else self._excused(self._table.groups[number], threshold)
        gaps = self._table.gaps[number]
        if gaps is not None:
            mask = gaps if mask is None else mask | gaps
        return mask

    def _excused(self, group: RowGroup, threshold: float) -> BoolArray | None:
        if group.far_loss is not None:
            return _any(group.far_loss > threshold)
        if group.far_power is not None:
            # A loss above the threshold is a power below it.
            return _any(group.far_power < _power_of(threshold))
        key = (threshold, len(group.keys), group.loss_rows.tobytes())
        if key not in self._below:
            self._below[key] = self._all_below(group, threshold)
        return self._below[key]

    def _all_below(self, group: RowGroup, threshold: float) -> BoolArray | None:
        """Return where all losses that can excuse a row are below the threshold."""
        if threshold not in self._low:
            self._low[threshold] = _any(self._table.loss_db < threshold)
        low = self._low[threshold]
        if low is None:
            return None
        # Losses rise, so that what is low stands at the beginning, in few columns.
        last = int(np.flatnonzero(low.any(axis=(0, 1)))[-1]) + 1
        low = low[:, :, :last]
        few: BoolArray = low.take(group.loss_rows[:, 0], axis=1)
        for column in group.loss_rows.T[1:]:
            few &= low.take(column, axis=1)
        if not few.any():
            return None
        mask = np.zeros((*few.shape[:2], self._table.frequency_mhz.size), dtype=np.bool_)
        mask[:, :, :last] = few
        return mask


@lru_cache(maxsize=64)
def _power_of(loss_db: float) -> float:
    return float(crosstalk.power(np.array([loss_db]))[0])


def excused(table: RowTable, number: int, rules: EvaluationRules) -> BoolArray | None:
    """Return which points of one group are not judged, see ``Excuses.mask``."""
    return Excuses(table).mask(number, rules)


def _any(mask: BoolArray) -> BoolArray | None:
    return mask if bool(mask.any()) else None
