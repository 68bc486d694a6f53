"""The curves of a link, measured and derived, as rows of one table per frequency axis.

Grading then works on whole tables: one subtraction gives every margin of a
link, one reduction every worst point. Links measured on the same axis with the
same curves share a table (the first index), which is how a batch is graded.

Values are *signed*: a parameter whose limit is an upper one (insertion loss) is
taken negated, so that a larger value is always better and a margin is always
``signed value - signed limit``.

Measured data is never interpolated, with one exception: where two curves on
different axes must be combined (an excuse by insertion loss, ACR-N, ACR-F, a
power sum), the second is taken at the frequencies of the first, straight in dB
between its neighbours over the square root of frequency, and not at all outside
its own range.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np

from fourpair_service.domain import crosstalk
from fourpair_service.domain.grading.table import BoolArray, IndexArray, RowGroup, RowTable
from fourpair_service.domain.link import FEXT_COMBINATIONS, NEXT_COMBINATIONS, PAIRS, End
from fourpair_service.domain.measurement import CurveGroup, FloatArray, LinkMeasurement, SweepKey
from fourpair_service.domain.parameters import DERIVED, TRAITS, Parameter

ENDS: Final = (End.NEAR, End.FAR)

# What is judged as measured, in the order in which rows are kept.
DIRECT: Final = (
    Parameter.INSERTION_LOSS,
    Parameter.NEXT,
    Parameter.RETURN_LOSS,
    Parameter.TCL,
    Parameter.ELTCTL,
    Parameter.PS_ANEXT,
    Parameter.PS_AACR_F,
)


class _Losses:
    """Insertion loss of K links on whatever axis is asked for."""

    def __init__(self, measurements: Sequence[LinkMeasurement]) -> None:
        self._measurements = measurements
        self._known: list[tuple[FloatArray, FloatArray]] = []
        self._gains: list[tuple[FloatArray, FloatArray]] = []

    def on(self, axis: FloatArray) -> FloatArray:
        """Return (K, 4, n) losses at ``axis``, NaN where not measured. [dB]."""
        for known, value in self._known:
            if _same_axis(known, axis):
                return value
        key = (Parameter.INSERTION_LOSS, None)
        value = np.stack([_curves_on(link, key, PAIRS, axis) for link in self._measurements])
        self._known.append((axis, value))
        return value

    def is_complete_on(self, axis: FloatArray) -> bool:
        """Return whether every pair has a loss at every point of ``axis``."""
        return not bool(np.isnan(self.on(axis)).any())

    def gain_on(self, axis: FloatArray) -> FloatArray:
        """Return (K, 4, n) what takes the loss off a power ratio: 10**(IL/10)."""
        for known, value in self._gains:
            if _same_axis(known, axis):
                return value
        value = 1.0 / crosstalk.power(self.on(axis))
        self._gains.append((axis, value))
        return value


def _same_axis(first: FloatArray, second: FloatArray) -> bool:
    return first is second or (first.shape == second.shape and bool(np.array_equal(first, second)))


def resampled(group: CurveGroup, row: int, axis: FloatArray) -> FloatArray:
    """Return one curve at the frequencies of another axis, NaN outside its range. [dB]."""
    value: FloatArray = np.interp(
        np.sqrt(axis), np.sqrt(group.frequency_mhz), group.value_db[row], left=np.nan, right=np.nan
    )
    return value


def _curves_on(
    measurement: LinkMeasurement, key: SweepKey, keys: tuple[str, ...], axis: FloatArray
) -> FloatArray:
    groups = measurement.curves.get(key, ())
    if len(groups) == 1 and groups[0].keys == keys and _same_axis(groups[0].frequency_mhz, axis):
        return groups[0].value_db
    found = np.full((len(keys), axis.size), np.nan)
    for group in groups:
        for row, name in enumerate(group.keys):
            same = _same_axis(group.frequency_mhz, axis)
            found[keys.index(name)] = group.value_db[row] if same else resampled(group, row, axis)
    return found


def signature(measurement: LinkMeasurement) -> tuple[object, ...]:
    """Return what two links must share to be graded in one table."""
    return tuple(
        (parameter, end, tuple((group.keys, group.frequency_mhz.tobytes()) for group in groups))
        for (parameter, end), groups in sorted(
            measurement.curves.items(), key=lambda item: (item[0][0].value, str(item[0][1]))
        )
        if parameter not in DERIVED
    )


def fext_at(measurement: LinkMeasurement, end: End) -> tuple[tuple[CurveGroup, ...], bool]:
    """Return the FEXT injected at one end, and whether it was measured there.

    What is injected at the far end equals by reciprocity what is injected at the
    near end with disturbing and disturbed pair exchanged, so one end serves both.
    """
    own = measurement.curves.get((Parameter.FEXT, end))
    if own:
        return own, True
    mirrored = tuple(
        CurveGroup(g.frequency_mhz, tuple("{1}>{0}".format(*k.split(">")) for k in g.keys), g.value_db)
        for g in measurement.curves.get((Parameter.FEXT, end.other), ())
    )
    return mirrored, False


@dataclass(slots=True)
class _Builder:
    """Collects rows that lie on one axis."""

    axis: FloatArray
    loss_db: FloatArray
    groups: list[RowGroup]
    is_combined: bool = False

    def table(self) -> RowTable:
        gaps = tuple(_gaps(group) if self.is_combined else None for group in self.groups)
        return RowTable(self.axis, tuple(self.groups), self.loss_db, gaps)


def _gaps(group: RowGroup) -> BoolArray | None:
    gaps: BoolArray = np.isnan(group.level)
    return gaps if bool(gaps.any()) else None


@lru_cache(maxsize=64)
def _pair_rows(keys: tuple[str, ...]) -> IndexArray:
    return np.array([[PAIRS.index(pair) for pair in key.split("-")] for key in keys], dtype=np.intp)


_ALL_PAIRS_ROWS: Final = np.arange(4, dtype=np.intp)[:, None]
_NEXT_ROWS: Final = _pair_rows(NEXT_COMBINATIONS)
_DISTURBED_ROWS: Final = crosstalk.DISTURBED_ROWS.astype(np.intp)[:, None]
_NO_LOSSES: Final = np.zeros((12, 0), dtype=np.intp)


def _known(value_db: FloatArray) -> list[int]:
    """Return the rows of (K, rows, n) that hold any number."""
    return [int(row) for row in np.flatnonzero(~np.isnan(value_db).all(axis=(0, 2)))]


def _known_group(group: RowGroup) -> RowGroup | None:
    """Return a derived group without the rows that its curves do not suffice for."""
    if not bool(np.isnan(group.level[:, :, 0]).any()):
        return group
    rows = _known(group.level)
    return group.of_rows(rows) if rows else None


class TableBuilder:
    """Builds the tables of K links that share a signature.

    Args:
        measurements: the links.
        loss_of: whose insertion loss ACR-F refers to.
    """

    def __init__(self, measurements: Sequence[LinkMeasurement], *, loss_of: str) -> None:
        self._links = measurements
        self._losses = _Losses(measurements)
        self._loss_of = loss_of
        self._builders: list[_Builder] = []
        self._fexts: list[tuple[End, FloatArray, tuple[FloatArray, FloatArray]]] = []

    def tables(self) -> tuple[RowTable, ...]:
        """Return one table for each frequency axis."""
        first = self._links[0]
        for parameter in DIRECT:
            for end in ENDS if TRAITS[parameter].has_ends else (None,):
                for number in range(len(first.curves.get((parameter, end), ()))):
                    self._add_direct(parameter, end, number)
        for end in ENDS:
            for group in self._axes(first.curves.get((Parameter.NEXT, end), ())):
                self._add_next_derived(end, group)
            for group in self._axes(fext_at(first, end)[0]):
                self._add_fext_derived(end, group)
        self._add_averages()
        return tuple(builder.table() for builder in self._builders)

    @staticmethod
    def _axes(groups: tuple[CurveGroup, ...]) -> Iterator[FloatArray]:
        # Derived values stand on the axis of the first group; the others are
        # brought to it.
        if groups:
            yield groups[0].frequency_mhz

    def _builder(self, axis: FloatArray) -> _Builder:
        for builder in self._builders:
            if _same_axis(builder.axis, axis):
                return builder
        builder = _Builder(axis, self._losses.on(axis), [], is_combined=not self._losses.is_complete_on(axis))
        self._builders.append(builder)
        return builder

    def _add_direct(self, parameter: Parameter, end: End | None, number: int) -> None:
        groups = [link.curves[(parameter, end)][number] for link in self._links]
        first = groups[0]
        value_db = first.value_db[None] if len(groups) == 1 else np.stack([g.value_db for g in groups])
        is_alien = parameter in (Parameter.PS_ANEXT, Parameter.PS_AACR_F)
        loss_rows = _NO_LOSSES[: len(first.keys)] if is_alien else _pair_rows(first.keys)
        self._builder(first.frequency_mhz).groups.append(
            RowGroup(parameter, end, first.keys, loss_rows, value_db=value_db)
        )

    def _stack(self, key: SweepKey, keys: tuple[str, ...], axis: FloatArray) -> FloatArray:
        if len(self._links) == 1:
            return _curves_on(self._links[0], key, keys, axis)[None]
        return np.stack([_curves_on(link, key, keys, axis) for link in self._links])

    def _derived(self, builder: _Builder, measured: FloatArray, *groups: RowGroup) -> None:
        # With whole curves and a whole loss there is no gap to look for.
        is_whole = not builder.is_combined and not bool(np.isnan(measured[:, :, 0]).any())
        for group in groups:
            known = group if is_whole else _known_group(group)
            if known is not None:
                builder.groups.append(known)

    def _add_next_derived(self, end: End, axis: FloatArray) -> None:
        builder = self._builder(axis)
        next_db = self._stack((Parameter.NEXT, end), NEXT_COMBINATIONS, axis)
        builder.is_combined |= len(self._links[0].curves[(Parameter.NEXT, end)]) > 1
        together = crosstalk.summed_power(crosstalk.power(next_db), crosstalk.NEXT_DISTURBERS)
        loss_db = builder.loss_db
        self._derived(
            builder,
            next_db,
            RowGroup(Parameter.PS_NEXT, end, PAIRS, _ALL_PAIRS_ROWS, power=together),
            RowGroup(
                Parameter.ACR_N,
                end,
                FEXT_COMBINATIONS,
                _DISTURBED_ROWS,
                value_db=lambda: crosstalk.acr_n(next_db, loss_db),
            ),
            RowGroup(
                Parameter.PS_ACR_N,
                end,
                PAIRS,
                _ALL_PAIRS_ROWS,
                power=lambda: together * self._losses.gain_on(axis),
            ),
        )

    def _fext(self, end: End, axis: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return (K, 12, n) FEXT injected at one end, in dB and as power."""
        measured = end if self._links[0].curves.get((Parameter.FEXT, end)) else end.other
        for known_end, known_axis, known in self._fexts:
            if known_end is measured and _same_axis(known_axis, axis):
                fext_db, power = known
                break
        else:
            fext_db = self._stack((Parameter.FEXT, measured), FEXT_COMBINATIONS, axis)
            power = crosstalk.power(fext_db)
            self._fexts.append((measured, axis, (fext_db, power)))
        if measured is end:
            return fext_db, power
        mirrored = crosstalk.MIRRORED_ROWS
        return fext_db.take(mirrored, axis=1), power.take(mirrored, axis=1)

    def _add_fext_derived(self, end: End, axis: FloatArray) -> None:
        builder = self._builder(axis)
        fext_db, power = self._fext(end, axis)
        builder.is_combined |= len(fext_at(self._links[0], end)[0]) > 1
        together = crosstalk.summed_power(power, crosstalk.FEXT_DISTURBERS)
        acr_f = crosstalk.acr_f(fext_db, builder.loss_db, loss_of=self._loss_of)
        # A power sum of ratios refers to one loss only when that of the disturbed
        # pair is taken; with the disturbing pairs' losses it is summed itself.
        if self._loss_of == "disturbed":
            ratio = together * self._losses.gain_on(axis)
        else:
            ratio = crosstalk.summed_power(crosstalk.power(acr_f), crosstalk.FEXT_DISTURBERS)
        self._derived(
            builder,
            fext_db,
            RowGroup(
                Parameter.ACR_F, end, FEXT_COMBINATIONS, _NO_LOSSES[:12], value_db=acr_f, far_loss=fext_db
            ),
            RowGroup(Parameter.PS_ACR_F, end, PAIRS, _NO_LOSSES[:4], power=ratio, far_power=together),
        )

    def _add_averages(self) -> None:
        averages = {
            Parameter.PS_ANEXT: Parameter.PS_ANEXT_AVERAGE,
            Parameter.PS_AACR_F: Parameter.PS_AACR_F_AVERAGE,
        }
        for builder in self._builders:
            for group in list(builder.groups):
                average = averages.get(group.parameter)
                if average is not None and set(group.keys) == set(PAIRS):
                    value = group.signed_db.mean(axis=1, keepdims=True)
                    builder.groups.append(RowGroup(average, group.end, ("",), _NO_LOSSES[:1], value_db=value))
