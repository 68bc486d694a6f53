"""The sweeps of a measurement, read into one array for each parameter and end."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final, NamedTuple

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

_ENDS: Final = tuple(str(end) for end in End)
_DB_NAMES: Final = ("db",)
_COMPLEX_NAMES: Final = ("re", "im")
_FORM_NAMES: Final = ("db", "re", "im", "frequency_mhz")


class _Curve(NamedTuple):
    key: str
    path: tuple[str, ...]
    axis: Axis
    is_complex: bool
    has_own_axis: bool
    # Under which names its lists stand; (None,) for a bare list.
    names: tuple[str | None, ...]
    lists: tuple[Any, ...]


class SweepsReader:
    """Reads ``sweeps``, collecting what is wrong by path.

    Args:
        common: the axis of sweeps that do not bring their own, if there is one.
    """

    def __init__(self, common: Axis | None) -> None:
        self._common = common
        self.messages: dict[object, object] = {}

    def read(self, sweeps: Mapping[str, Any]) -> dict[SweepKey, tuple[CurveGroup, ...]]:
        """Return the groups of each parameter and end."""
        curves: dict[SweepKey, tuple[CurveGroup, ...]] = {}
        count = 0
        for parameter, end, path, content in self._parts(sweeps):
            count += len(content)
            read = [curve for curve in self._curves(parameter, path, content) if curve]
            if groups := self._groups(parameter, path, read):
                curves[parameter, end] = groups
        most = current_limits().curves
        if count > most:
            raise ValidationError(f"Expected at most {most} sweeps in all, got {count}.")
        return curves

    def _put(self, path: Sequence[object], message: str) -> None:
        put(self.messages, path, message)

    def _parts(
        self, sweeps: Mapping[str, Any]
    ) -> Iterator[tuple[Parameter, End | None, tuple[str, ...], dict[str, Any]]]:
        for name, content in sweeps.items():
            parameter = SWEPT.get(name)
            if parameter is None:
                self._put((name,), name_advice(name, SWEPT))
            elif type(content) is not dict:
                self._put((name,), f"Expected an object, got {what_it_is(content)}.")
            elif TRAITS[parameter].has_ends:
                yield from self._ends(parameter, name, content)
            elif set(content) & set(_ENDS):
                self._put((name,), f"{TRAITS[parameter].title} has no ends: put the pairs here.")
            else:
                yield parameter, None, (name,), content

    def _ends(
        self, parameter: Parameter, name: str, content: dict[str, Any]
    ) -> Iterator[tuple[Parameter, End | None, tuple[str, ...], dict[str, Any]]]:
        for end, curves in content.items():
            if end not in _ENDS:
                self._put((name, end), "Expected near or far, and the pairs inside it.")
            elif type(curves) is not dict:
                self._put((name, end), f"Expected an object, got {what_it_is(curves)}.")
            else:
                yield parameter, End(end), (name, end), curves

    def _curves(
        self, parameter: Parameter, path: tuple[str, ...], content: dict[str, Any]
    ) -> Iterator[_Curve | None]:
        keys = TRAITS[parameter].keys
        for key, sweep in content.items():
            if key not in keys:
                self._put((*path, key), key_advice(key, keys))
            elif type(sweep) is list:
                yield self._on_common_axis(key, (*path, key), (None,), (sweep,))
            elif type(sweep) is dict:
                yield self._form(key, (*path, key), sweep)
            else:
                self._put((*path, key), f"Expected a list of dB or an object, got {what_it_is(sweep)}.")

    def _on_common_axis(
        self, key: str, path: tuple[str, ...], names: tuple[str | None, ...], lists: tuple[Any, ...]
    ) -> _Curve | None:
        if self._common is None:
            self._put(path, "This sweep has no axis: give the document or the sweep a frequency_mhz.")
            return None
        return _Curve(key, path, self._common, len(lists) == 2, False, names, lists)

    def _form(self, key: str, path: tuple[str, ...], sweep: dict[str, Any]) -> _Curve | None:
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
            return self._on_common_axis(key, path, names, lists)
        try:
            axis = read_axis(sweep["frequency_mhz"])
        except ValidationError as error:
            self._merge((*path, "frequency_mhz"), error.messages)
            return None
        return _Curve(key, path, axis, len(lists) == 2, True, names, lists)

    def _merge(self, path: tuple[object, ...], messages: Any) -> None:
        if isinstance(messages, dict):
            for part, inner in messages.items():
                self._merge((*path, part), inner)
        else:
            self._put(path, messages[0])

    def _groups(
        self, parameter: Parameter, path: tuple[str, ...], curves: list[_Curve]
    ) -> tuple[CurveGroup, ...]:
        if len({curve.has_own_axis for curve in curves}) > 1:
            self._put(
                path, "Some sweeps here have their own frequency_mhz and some do not: give it to all or none."
            )
            return ()
        order = TRAITS[parameter].keys.index
        groups: dict[tuple[bytes, bool], list[_Curve]] = {}
        for curve in sorted(curves, key=lambda each: order(each.key)):
            groups.setdefault((curve.axis.content, curve.is_complex), []).append(curve)
        return tuple(self._group(parameter, members) for members in groups.values())

    def _group(self, parameter: Parameter, curves: list[_Curve]) -> CurveGroup:
        frequency_mhz = curves[0].axis.frequency_mhz
        keys = tuple(curve.key for curve in curves)
        is_complex = curves[0].is_complex
        rows = [values for curve in curves for values in curve.lists]
        owners = [(*curve.path, name) if name else curve.path for curve in curves for name in curve.names]
        array, problems = pack(rows, len(frequency_mhz), LINEAR_BOUNDS if is_complex else DB_BOUNDS)
        for problem in problems:
            at = owners[problem.row]
            self._put(at if problem.index is None else (*at, problem.index), problem.detail)
        if is_complex:
            return CurveGroup.from_complex(frequency_mhz, keys, array[0::2] + 1j * array[1::2])
        if parameter not in _RATIOS and not problems:
            self._refuse_negative_losses(array, owners)
        return CurveGroup(frequency_mhz, keys, array)

    def _refuse_negative_losses(self, losses: FloatArray, owners: list[tuple[str, ...]]) -> None:
        """Refuse lists with the sign turned; single small negative losses are noise."""
        if losses.min() >= 0:
            return
        for row in np.flatnonzero(np.median(losses, axis=1) < 0).tolist():
            sample = float(np.median(losses[row]))
            self._put(owners[row], f"Losses are positive numbers: send {-sample:g}, not {sample:g}.")


class SweepsField(fields.Field[dict[SweepKey, tuple[CurveGroup, ...]]]):
    """All sweeps; the common axis is the ``frequency_mhz`` beside it."""

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any
    ) -> dict[SweepKey, tuple[CurveGroup, ...]]:
        if type(value) is not dict:
            raise ValidationError(f"Expected an object, got {what_it_is(value)}.")
        axis = (data or {}).get("frequency_mhz")
        try:
            reader = SweepsReader(None if axis is None else read_axis(axis))
        except ValidationError:
            return {}  # the field of the axis says so; lengths mean nothing without it
        curves = reader.read(value)
        if reader.messages:
            raise ValidationError(reader.messages)  # type: ignore[arg-type]
        return curves

    def json_schema(self) -> dict[str, object]:
        """Return a reference to the described sweeps."""
        return {"$ref": "#/components/schemas/Sweeps"}
