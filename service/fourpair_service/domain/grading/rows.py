"""The curves of a link, measured and derived, as rows of one table per frequency axis.

Grading then works on whole tables: one subtraction gives every margin of a
link, one reduction every worst point. Links measured on the same axis with the
same curves share a table (the first index), which is how a batch is graded.

Values are *signed*: a parameter whose limit is an upper one (insertion loss) is
stored negated, so that a larger stored value is always better and a margin is
always ``stored - signed limit``.

Measured data is never interpolated, with one exception: where two curves on
different axes must be combined (an excuse by insertion loss, ACR-N, ACR-F, a
power sum), the second is taken at the frequencies of the first, straight in dB
between its neighbours over the square root of frequency, and not at all outside
its own range.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from fourpair_service.domain import crosstalk
from fourpair_service.domain.link import FEXT_COMBINATIONS, NEXT_COMBINATIONS, PAIRS, End
from fourpair_service.domain.measurement import CurveGroup, FloatArray, LinkMeasurement, SweepKey
from fourpair_service.domain.parameters import DERIVED, TRAITS, Parameter, Sense

IndexArray: TypeAlias = NDArray[np.intp]

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


@dataclass(frozen=True, slots=True, eq=False)
class RowGroup:
    """The rows of one parameter at one end.

    Attributes:
        start, stop: its rows in the table.
        loss_rows: for each row the pairs, as indices into ``PAIRS``, whose
            insertion loss can excuse it; (rows, 1 or 2).
    """

    parameter: Parameter
    end: End | None
    keys: tuple[str, ...]
    start: int
    stop: int
    loss_rows: IndexArray

    @property
    def rows(self) -> slice:
        """Its rows in the table."""
        return slice(self.start, self.stop)

    @property
    def sign(self) -> float:
        """-1 where a smaller value is the better one."""
        return -1.0 if TRAITS[self.parameter].sense is Sense.AT_MOST else 1.0


@dataclass(frozen=True, slots=True, eq=False)
class RowTable:
    """Curves of K links on one axis.

    Attributes:
        frequency_mhz: (n,) the axis. [MHz]
        groups: parameters and ends, in order of their rows.
        value: (K, R, n) signed values, NaN where a combined curve has no value. [dB]
        loss_db: (K, 4, n) insertion loss on this axis, NaN where not known. [dB]
        fext_db: (K, rows, n) what excuses ACR-F and PS ACR-F, by group start. [dB]
        has_gaps: whether ``value`` holds any NaN.
    """

    frequency_mhz: FloatArray
    groups: tuple[RowGroup, ...]
    value: FloatArray
    loss_db: FloatArray
    fext_db: dict[int, FloatArray]
    has_gaps: bool


class _Losses:
    """Insertion loss of K links on whatever axis is asked for."""

    def __init__(self, measurements: Sequence[LinkMeasurement]) -> None:
        self._measurements = measurements
        self._known: list[tuple[FloatArray, FloatArray]] = []

    def on(self, axis: FloatArray) -> FloatArray:
        """Return (K, 4, n) losses at ``axis``, NaN where not measured. [dB]."""
        for known, value in self._known:
            if _same_axis(known, axis):
                return value
        value = np.stack(
            [_curves_on(m, (Parameter.INSERTION_LOSS, None), PAIRS, axis) for m in self._measurements]
        )
        self._known.append((axis, value))
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
            if name in keys:
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
    blocks: list[FloatArray]
    fext_db: dict[int, FloatArray]
    height: int = 0

    def add(
        self,
        parameter: Parameter,
        end: End | None,
        keys: tuple[str, ...],
        value_db: FloatArray,
        loss_rows: IndexArray,
    ) -> int:
        start, self.height = self.height, self.height + len(keys)
        group = RowGroup(parameter, end, keys, start, self.height, loss_rows)
        self.groups.append(group)
        self.blocks.append(-value_db if group.sign < 0 else value_db)
        return start

    def table(self) -> RowTable:
        value = np.concatenate(self.blocks, axis=1)
        has_gaps = bool(np.isnan(value.min()))
        return RowTable(self.axis, tuple(self.groups), value, self.loss_db, self.fext_db, has_gaps)


def _pair_rows(keys: tuple[str, ...]) -> IndexArray:
    return np.array([[PAIRS.index(pair) for pair in key.split("-")] for key in keys], dtype=np.intp)


_ALL_PAIRS_ROWS: Final = np.arange(4, dtype=np.intp)[:, None]
_NEXT_ROWS: Final = _pair_rows(NEXT_COMBINATIONS)
_DISTURBED_ROWS: Final = crosstalk.DISTURBED_ROWS.astype(np.intp)[:, None]
_NO_ROWS: Final = np.zeros((1, 0), dtype=np.intp)


def _known(value_db: FloatArray) -> list[int]:
    """Return the rows of (K, rows, n) that hold any number."""
    return [int(row) for row in np.flatnonzero(~np.isnan(value_db).all(axis=(0, 2)))]


def _add_known(
    builder: _Builder,
    parameter: Parameter,
    end: End,
    keys: tuple[str, ...],
    value_db: FloatArray,
    loss_rows: IndexArray,
    fext_db: FloatArray | None = None,
) -> None:
    if np.isnan(value_db[:, :, 0]).any():
        rows = _known(value_db)
        if not rows:
            return
        keys, value_db, loss_rows = tuple(keys[r] for r in rows), value_db[:, rows], loss_rows[rows]
        fext_db = None if fext_db is None else fext_db[:, rows]
    start = builder.add(parameter, end, keys, value_db, loss_rows)
    if fext_db is not None:
        builder.fext_db[start] = fext_db


class TableBuilder:
    """Builds the tables of K links that share a signature.

    Args:
        measurements: the links.
        loss_of: whose insertion loss ACR-F refers to.
        with_acr_n: compute ACR-N and its power sum too.
    """

    def __init__(
        self, measurements: Sequence[LinkMeasurement], *, loss_of: str, with_acr_n: bool = True
    ) -> None:
        self._links = measurements
        self._losses = _Losses(measurements)
        self._loss_of = loss_of
        self._with_acr_n = with_acr_n
        self._builders: list[_Builder] = []

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
        builder = _Builder(axis, self._losses.on(axis), [], [], {})
        self._builders.append(builder)
        return builder

    def _add_direct(self, parameter: Parameter, end: End | None, number: int) -> None:
        groups = [link.curves[(parameter, end)][number] for link in self._links]
        first = groups[0]
        value_db = first.value_db[None] if len(groups) == 1 else np.stack([g.value_db for g in groups])
        is_alien = parameter in (Parameter.PS_ANEXT, Parameter.PS_AACR_F)
        loss_rows = np.repeat(_NO_ROWS, len(first.keys), axis=0) if is_alien else _pair_rows(first.keys)
        self._builder(first.frequency_mhz).add(parameter, end, first.keys, value_db, loss_rows)

    def _stack(self, key: SweepKey, keys: tuple[str, ...], axis: FloatArray) -> FloatArray:
        if len(self._links) == 1:
            return _curves_on(self._links[0], key, keys, axis)[None]
        return np.stack([_curves_on(link, key, keys, axis) for link in self._links])

    def _add_next_derived(self, end: End, axis: FloatArray) -> None:
        builder = self._builder(axis)
        next_db = self._stack((Parameter.NEXT, end), NEXT_COMBINATIONS, axis)
        ps_next = crosstalk.power_sums(next_db, crosstalk.NEXT_DISTURBERS)
        _add_known(builder, Parameter.PS_NEXT, end, PAIRS, ps_next, _ALL_PAIRS_ROWS)
        if self._with_acr_n:
            acr_n = crosstalk.acr_n(next_db, builder.loss_db)
            _add_known(builder, Parameter.ACR_N, end, FEXT_COMBINATIONS, acr_n, _DISTURBED_ROWS)
            _add_known(builder, Parameter.PS_ACR_N, end, PAIRS, ps_next - builder.loss_db, _ALL_PAIRS_ROWS)

    def _fext(self, end: End, axis: FloatArray) -> FloatArray:
        if self._links[0].curves.get((Parameter.FEXT, end)):
            return self._stack((Parameter.FEXT, end), FEXT_COMBINATIONS, axis)
        other = self._stack((Parameter.FEXT, end.other), FEXT_COMBINATIONS, axis)
        return other[:, crosstalk.MIRRORED_ROWS]

    def _add_fext_derived(self, end: End, axis: FloatArray) -> None:
        builder = self._builder(axis)
        fext_db = self._fext(end, axis)
        ps_fext = crosstalk.power_sums(fext_db, crosstalk.FEXT_DISTURBERS)
        acr_f = crosstalk.acr_f(fext_db, builder.loss_db, loss_of=self._loss_of)
        # A power sum of ratios refers to one loss only when that of the disturbed
        # pair is taken; with the disturbing pairs' losses it is summed itself.
        if self._loss_of == "disturbed":
            ps_acr_f = ps_fext - builder.loss_db
        else:
            ps_acr_f = crosstalk.power_sums(acr_f, crosstalk.FEXT_DISTURBERS)
        none = np.repeat(_NO_ROWS, len(FEXT_COMBINATIONS), axis=0)
        _add_known(builder, Parameter.ACR_F, end, FEXT_COMBINATIONS, acr_f, none, fext_db)
        _add_known(builder, Parameter.PS_ACR_F, end, PAIRS, ps_acr_f, none[:4], ps_fext)

    def _add_averages(self) -> None:
        averages = {
            Parameter.PS_ANEXT: Parameter.PS_ANEXT_AVERAGE,
            Parameter.PS_AACR_F: Parameter.PS_AACR_F_AVERAGE,
        }
        for builder in self._builders:
            for group in list(builder.groups):
                average = averages.get(group.parameter)
                if average is not None and set(group.keys) == set(PAIRS):
                    value = builder.blocks[builder.groups.index(group)].mean(axis=1, keepdims=True)
                    builder.add(average, group.end, ("",), value, _NO_ROWS)
