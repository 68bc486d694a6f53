"""The sweeps of a measurement, read into one array for each parameter and end."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import groupby
from operator import itemgetter
from typing import Any, Final, NamedTuple, TypeAlias

import numpy as np
from marshmallow import ValidationError, fields

from fourpair_service.domain.link import End
from fourpair_service.domain.measurement import CurveGroup, FloatArray, SweepKey
from fourpair_service.domain.parameters import TRAITS, Parameter
from fourpair_service.http.schemas.advice import key_advice, name_advice, what_it_is
from fourpair_service.http.schemas.axis import Axis, read_axis
from fourpair_service.http.schemas.bulk import Bounds, pack
from fourpair_service.http.schemas.document_errors import put
from fourpair_service.http.schemas.document_limits import current_limits

# Averages over the pairs are computed, never sent: they have no keys.
SWEPT: Final = {str(p): p for p, traits in TRAITS.items() if traits.is_swept and traits.keys}

# Differences of two losses, which may well be negative over a whole sweep.
_RATIOS: Final = frozenset(
    {Parameter.ACR_N, Parameter.PS_ACR_N, Parameter.ACR_F, Parameter.PS_ACR_F, Parameter.PS_AACR_F}
)

DB_BOUNDS: Final = Bounds(-30.0, 200.0, "dB")
LINEAR_BOUNDS: Final = Bounds(-10.0, 10.0, "")

_KEYS: Final = {p: frozenset(TRAITS[p].keys) for p in SWEPT.values()}
_ENDS: Final = tuple(str(end) for end in End)
_DB_NAMES: Final = ("db",)
_COMPLEX_NAMES: Final = ("re", "im")
_FORM_NAMES: Final = ("db", "re", "im", "frequency_mhz")


class _Curve(NamedTuple):
    group: SweepKey
    key: str
    path: tuple[str, ...]
    axis: Axis
    is_complex: bool
    has_own_axis: bool
    # Under which names its lists stand; (None,) for a bare list.
    names: tuple[str | None, ...]
    lists: tuple[Any, ...]


Curves: TypeAlias = dict[SweepKey, tuple[CurveGroup, ...]]


class SweepsReader:
    """Reads ``sweeps``, collecting what is wrong by path.

    Args:
        common: the axis of sweeps that do not bring their own, if there is one.
    """

    def __init__(self, common: Axis | None) -> None:
        self._common = common
        self.messages: dict[object, object] = {}

    def read(self, sweeps: Mapping[str, Any]) -> Curves:
        """Return the groups of each parameter and end, rows in the order of the standards.

        Raises:
            ValidationError: more sweeps than the limits allow.
        """
        parts = list(self._parts(sweeps))
        count, most = sum(len(content) for _, _, content in parts), current_limits().curves
        if count > most:
            raise ValidationError(f"Expected at most {most} sweeps in all, got {count}.")
        # What shares an axis and a form is packed and checked at once, whatever it measures.
        alike: dict[tuple[bytes, bool], list[_Curve]] = {}
        for group, path, content in parts:
            curves = [curve for curve in self._curves(group, path, content) if curve]
            if len({curve.has_own_axis for curve in curves}) > 1:
                self._put(path, "Some sweeps here have their own frequency_mhz: give it to all or to none.")
            for curve in curves:
                alike.setdefault((curve.axis.content, curve.is_complex), []).append(curve)
        groups: dict[SweepKey, list[CurveGroup]] = {}
        for members in alike.values():
            for group, curves_of_group in self._packed(members):
                groups.setdefault(group, []).append(curves_of_group)
        return {group: tuple(found) for group, found in groups.items()}

    def _put(self, path: Sequence[object], message: str) -> None:
        put(self.messages, path, message)

    def _parts(self, sweeps: Mapping[str, Any]) -> Iterator[tuple[SweepKey, tuple[str, ...], dict[str, Any]]]:
        for name, content in sweeps.items():
            parameter = SWEPT.get(name)
            if parameter is None:
                self._put((name,), name_advice(name, SWEPT))
            elif type(content) is not dict:
                self._put((name,), f"Expected an object, got {what_it_is(content)}.")
            elif TRAITS[parameter].has_ends:
                yield from self._ends(parameter, name, content)
            elif set(content) & set(_ENDS):
                self._put((name,), f"{TRAITS[parameter].title.capitalize()} has no ends: put the pairs here.")
            else:
                yield (parameter, None), (name,), content

    def _ends(
        self, parameter: Parameter, name: str, content: dict[str, Any]
    ) -> Iterator[tuple[SweepKey, tuple[str, ...], dict[str, Any]]]:
        for end, curves in content.items():
            if end not in _ENDS:
                self._put((name, end), "Expected near or far, and the pairs inside it.")
            elif type(curves) is not dict:
                self._put((name, end), f"Expected an object, got {what_it_is(curves)}.")
            else:
                yield (parameter, End(end)), (name, end), curves

    def _curves(
        self, group: SweepKey, path: tuple[str, ...], content: dict[str, Any]
    ) -> Iterator[_Curve | None]:
        keys = TRAITS[group[0]].keys
        if unknown := content.keys() - _KEYS[group[0]]:
            for key in content:
                if key in unknown:
                    self._put((*path, key), _key_message(key, keys, content))
        for key in keys:
            if key not in content:
                continue
            sweep = content[key]
            if type(sweep) is list or type(sweep) is np.ndarray:
                yield self._on_common_axis(group, key, (*path, key), (None,), (sweep,))
            elif type(sweep) is dict:
                yield self._form(group, key, (*path, key), sweep)
            else:
                self._put((*path, key), f"Expected a list of dB or an object, got {what_it_is(sweep)}.")

    def _on_common_axis(
        self,
        group: SweepKey,
        key: str,
        path: tuple[str, ...],
        names: tuple[str | None, ...],
        lists: tuple[Any, ...],
    ) -> _Curve | None:
        if self._common is None:
            self._put(path, "This sweep has no axis: give the document or the sweep a frequency_mhz.")
            return None
        return _Curve(group, key, path, self._common, len(lists) == 2, False, names, lists)

    def _form(self, group: SweepKey, key: str, path: tuple[str, ...], sweep: dict[str, Any]) -> _Curve | None:
        unknown = [name for name in sweep if name not in _FORM_NAMES]
        for name in unknown:
            self._put((*path, name), name_advice(name, _FORM_NAMES))
        given = {name for name in sweep if name != "frequency_mhz"}
        names = _DB_NAMES if given == {"db"} else _COMPLEX_NAMES
        if unknown:
            return None
        if given not in ({"db"}, {"re", "im"}):
            self._put(path, "Send either db, or re and im together.")
            return None
        lists = tuple(sweep[name] for name in names)
        if "frequency_mhz" not in sweep:
            return self._on_common_axis(group, key, path, names, lists)
        try:
            axis = read_axis(sweep["frequency_mhz"])
        except ValidationError as error:
            self._merge((*path, "frequency_mhz"), error.messages)
            return None
        return _Curve(group, key, path, axis, len(lists) == 2, True, names, lists)

    def _merge(self, path: tuple[object, ...], messages: Any) -> None:
        if isinstance(messages, dict):
            for part, inner in messages.items():
                self._merge((*path, part), inner)
        else:
            self._put(path, messages[0])

    def _packed(self, curves: list[_Curve]) -> Iterator[tuple[SweepKey, CurveGroup]]:
        """Yield the groups that curves of one axis and form make."""
        frequency_mhz, is_complex = curves[0].axis.frequency_mhz, curves[0].is_complex
        rows = [values for curve in curves for values in curve.lists]
        array, problems = pack(rows, len(frequency_mhz), LINEAR_BOUNDS if is_complex else DB_BOUNDS)
        if problems:
            owners = [(*c.path, name) if name else c.path for c in curves for name in c.names]
            for problem in problems:
                at = owners[problem.row]
                self._put(at if problem.index is None else (*at, problem.index), problem.detail)
            return
        if not is_complex and array.min() < 0:
            self._refuse_negative_losses(array, curves)
        value = array[0::2] + 1j * array[1::2] if is_complex else None
        start = 0
        for group, members in groupby(curves, key=itemgetter(0)):
            keys = tuple(curve.key for curve in members)
            part = slice(start, start + len(keys))
            start = part.stop
            if value is None:
                yield group, CurveGroup(frequency_mhz, keys, array[part])
            else:
                yield group, CurveGroup.from_complex(frequency_mhz, keys, value[part])

    def _refuse_negative_losses(self, losses: FloatArray, curves: list[_Curve]) -> None:
        """Refuse lists with the sign turned; single small negative losses are noise."""
        for row in np.flatnonzero((losses < 0).any(axis=1)).tolist():
            curve, median = curves[row], float(np.median(losses[row]))
            if median < 0 and curve.group[0] not in _RATIOS:
                at = (*curve.path, curve.names[0]) if curve.names[0] else curve.path
                self._put(
                    at,
                    f"Losses are positive numbers, and the median of this list is {median:g} dB: turn every sign.",
                )


def _key_message(key: str, known: Sequence[str], content: Mapping[str, Any]) -> str:
    """Return what to do about a key that is not known beside those that stand with it."""
    same = "-".join(reversed(key.split("-")))
    if same in known and same in content:
        return f"This is the same combination as {same}, which stands here too: keep one of them, as {same}."
    return key_advice(key, known)


class SweepsField(fields.Field[Curves]):
    """All sweeps; the common axis is the ``frequency_mhz`` beside it."""

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any
    ) -> Curves:
        if type(value) is not dict:
            raise ValidationError(f"Expected an object, got {what_it_is(value)}.")
        axis = (data or {}).get("frequency_mhz")
        try:
            reader = SweepsReader(None if axis is None else read_axis(axis))
        except ValidationError:
            return {}  # the field of the axis says so; lengths mean nothing without it
        curves = reader.read(value)
        if reader.messages:
            raise ValidationError(reader.messages)
        return curves

    def json_schema(self) -> dict[str, object]:
        """Return a reference to the described sweeps."""
        return {"$ref": "#/components/schemas/Sweeps"}
