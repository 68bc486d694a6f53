"""Frequency axes: a list of frequencies, or stretches of even steps."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from math import floor
from typing import Any, Final, NamedTuple

import numpy as np
from marshmallow import ValidationError, fields

from fourpair_service.domain.measurement import FloatArray
from fourpair_service.http.schemas.advice import name_advice, what_it_is
from fourpair_service.http.schemas.bulk import Bounds, pack
from fourpair_service.http.schemas.document_limits import DEFAULT_LIMITS, current_limits

# 1 Hz to 10 GHz; the highest limit line of any edition ends at 2000 MHz.
LOWEST_MHZ: Final = 1e-6
LOWEST: Final = "1 Hz (0.000001 MHz)"
HIGHEST_MHZ: Final = 10_000.0
_ANY: Final = Bounds(0.0, 1e13, "MHz")

# Axes kept: an office full of links is measured on the same few.
_KEPT: Final = 32
_STRETCH: Final = ("start", "step", "stop")
_TOLERANCE_STEPS: Final = 1e-9


class Axis(NamedTuple):
    """A frequency axis.

    Attributes:
        content: its bytes, by which equal axes are found.
        frequency_mhz: (n,) strictly increasing, not writable. [MHz]
    """

    content: bytes
    frequency_mhz: FloatArray


def read_axis(value: Any) -> Axis:
    """Return the axis that a document describes.

    Args:
        value: a list or an array of frequencies, or a list of ``{start, step, stop}``,
            each with its stop included. [MHz]

    Raises:
        ValidationError: with messages nested by position.
    """
    if type(value) is not list and type(value) is not np.ndarray:
        raise ValidationError(f"Expected a list of frequencies in MHz, got {what_it_is(value)}.")
    if len(value) == 0:
        raise ValidationError("An axis needs at least one frequency.")
    points = current_limits().points_per_curve
    if len(value) > points:
        raise ValidationError(f"Expected at most {points} frequencies, got {len(value)}.")
    if type(value[0]) is dict:
        return _from_stretches(tuple(_stretch(i, each) for i, each in enumerate(value)), points)
    array, problems = pack([value], len(value), _ANY)
    if problems:
        first = problems[0]
        raise ValidationError(first.detail if first.index is None else {first.index: [first.detail]})
    return _checked(array.tobytes())


@lru_cache(maxsize=_KEPT)
def _checked(content: bytes) -> Axis:
    axis = np.frombuffer(content)
    _refuse_wrong_unit(float(axis[0]), float(axis[-1]))
    fall = np.flatnonzero(np.diff(axis) <= 0)
    if fall.size:
        i = int(fall[0]) + 1
        raise ValidationError(
            {
                i: [
                    f"Frequencies must increase: {axis[i]:.12g} follows {axis[i - 1]:.12g}. Sort them, each once."
                ]
            }
        )
    if axis[0] < LOWEST_MHZ:
        raise ValidationError(
            {0: [f"Frequencies lie above zero, {LOWEST} or higher; leave out what is below."]}
        )
    return Axis(content, axis)


def _refuse_wrong_unit(first: float, last: float) -> None:
    if last > HIGHEST_MHZ:
        # In kHz no copper cable is swept beyond 10 000 000, and no sweep begins at 100 000.
        unit, per_mhz = ("Hz", 1e6) if last >= 1e7 or first >= 1e5 else ("kHz", 1e3)
        raise ValidationError(_wrong_unit(unit, first, last, last / per_mhz))
    if first <= 0.002 and 0.05 <= last <= 2.1:
        raise ValidationError(_wrong_unit("GHz", first, last, last * 1e3))


def _wrong_unit(unit: str, first: float, last: float, last_mhz: float) -> str:
    return (
        f"This axis looks like {unit} ({first:.12g} to {last:.12g}): "
        f"send MHz, {last_mhz:.12g} in place of {last:.12g}."
    )


def _stretch(i: int, value: Any) -> tuple[float, float, float]:
    if type(value) is not dict:
        raise ValidationError(
            {i: [f"Expected an object with start, step and stop, got {what_it_is(value)}."]}
        )
    messages = {name: [name_advice(str(name), _STRETCH)] for name in value if name not in _STRETCH}
    for name in _STRETCH:
        number = value.get(name)
        if type(number) is not float and type(number) is not int:
            messages[name] = [f"Expected a number in MHz, got {what_it_is(number)}."]
        elif not LOWEST_MHZ <= number <= _ANY.high:
            messages[name] = [f"Expected {LOWEST} or more."]
    if not messages and value["stop"] < value["start"]:
        messages["stop"] = ["A stretch must increase, and this stop lies below its start; exchange the two."]
    if messages:
        raise ValidationError({i: messages})
    return float(value["start"]), float(value["step"]), float(value["stop"])


@lru_cache(maxsize=_KEPT)
def _from_stretches(stretches: tuple[tuple[float, float, float], ...], points: int) -> Axis:
    _refuse_wrong_unit(stretches[0][0], stretches[-1][2])
    counts: list[int] = []
    last = 0.0
    for i, (start, step, stop) in enumerate(stretches):
        if start <= last:
            raise ValidationError(
                {
                    i: {
                        "start": [
                            f"Stretches must increase: the one before reaches {last:g} MHz; start above."
                        ]
                    }
                }
            )
        steps = (stop - start) / step
        if steps + sum(counts) >= points:
            raise ValidationError({i: [f"This makes more than {points} frequencies; take a larger step."]})
        counts.append(floor(steps + _TOLERANCE_STEPS) + 1)
        last = start + step * (counts[-1] - 1)
    # Rounding to a millihertz gives each frequency as it would be written.
    parts = [start + step * np.arange(n) for (start, step, _), n in zip(stretches, counts, strict=True)]
    return _checked(np.round(np.concatenate(parts), 9).tobytes())


class AxisField(fields.Field[FloatArray]):
    """A frequency axis; (n,) once read. [MHz]."""

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any
    ) -> FloatArray:
        return read_axis(value).frequency_mhz

    def json_schema(self) -> dict[str, object]:
        """Return a reference to the described axis."""
        return {"$ref": "#/components/schemas/FrequencyAxis"}


_MHZ: Final = {"type": "number", "exclusiveMinimum": 0, "maximum": HIGHEST_MHZ}
AXIS_JSON_SCHEMA: Final[dict[str, object]] = {
    "description": "Frequencies in MHz, strictly increasing: each one, or stretches of even steps (stop included).",
    "anyOf": [
        {"type": "array", "minItems": 1, "maxItems": DEFAULT_LIMITS.points_per_curve, "items": _MHZ},
        {
            "type": "array",
            "minItems": 1,
            "items": {
                "type": "object",
                "properties": dict.fromkeys(_STRETCH, _MHZ),
                "required": list(_STRETCH),
                "additionalProperties": False,
            },
        },
    ],
}
