"""A measurement document taken apart: its long runs of numbers, and the rest.

Almost all of a measurement is curves. Held as arrays they are digested, stored
and graded without ever being text again; joined, the document is what was sent,
to the last digit and to the difference between ``12`` and ``12.0``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final, NamedTuple

import numpy as np
import numpy.typing as npt

Document = dict[str, Any]
Path = tuple[str | int, ...]
FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

SWEEPS: Final = "sweeps"
AXIS: Final = "frequency_mhz"
# Shorter lists stay in the document: an array of them would cost more than it saves.
SHORTEST_CURVE: Final = 8
LARGEST_EXACT_INTEGER: Final = 2**53


class Curve(NamedTuple):
    """One list of numbers of a document; equal to itself alone, since arrays are.

    A tuple, since thousands are made from what a store holds, and nothing frozen is made faster.

    Attributes:
        path: keys and indices that lead to it.
        values: (n,) the numbers, read-only, in the unit of their place.
        integers: (n,) which of them were written as integers; ``None``: none was.
    """

    path: Path
    values: FloatArray
    integers: BoolArray | None = None

    def __eq__(self, other: object) -> bool:
        return self is other

    def __ne__(self, other: object) -> bool:
        return self is not other

    def __hash__(self) -> int:
        return id(self)

    def numbers(self) -> list[float | int]:
        """Return the list as it was sent."""
        if self.integers is None:
            return list(self.values.tolist())
        return [int(v) if i else v for v, i in zip(self.values.tolist(), self.integers.tolist(), strict=True)]


@dataclass(frozen=True, slots=True, eq=False)
class Parted:
    """A document and its curves.

    Attributes:
        rest: the document with ``None`` in the place of every curve.
        curves: in the order of the document.
        packed: the curves as a store keeps them, where :meth:`~.ports.Store.packed` made that already.
    """

    rest: Document
    curves: tuple[Curve, ...]
    packed: bytes | None = None


def _curve(path: Path, numbers: list[Any]) -> Curve | None:
    kinds = set(map(type, numbers))
    if len(numbers) < SHORTEST_CURVE or not kinds <= {int, float}:
        return None
    integers = None
    if int in kinds:
        integers = np.fromiter((type(n) is int for n in numbers), np.bool_, len(numbers))
        if any(type(n) is int and abs(n) > LARGEST_EXACT_INTEGER for n in numbers):
            return None
    values = np.array(numbers, dtype=np.float64)
    values.flags.writeable = False
    return Curve(path, values, integers) if np.isfinite(values).all() else None


def _part(value: Any, path: Path, curves: list[Curve]) -> Any:
    if isinstance(value, np.ndarray):
        # Read from text whose every number has a fraction, so none of it was an integer.
        value.flags.writeable = False
        curves.append(Curve(path, value))
        return None
    if isinstance(value, dict):
        return {key: _part(item, (*path, key), curves) for key, item in value.items()}
    if not isinstance(value, list):
        return value
    curve = _curve(path, value)
    if curve is None:
        return [_part(item, (*path, index), curves) for index, item in enumerate(value)]
    curves.append(curve)
    return None


def part(document: Document) -> Parted:
    """Return a document taken apart; the document itself stays as it is.

    Args:
        document: as sent; a list of numbers may be an array already, of which then no
            number was written as an integer.

    >>> parted = part({"a": [1.0, 2, 3.5, 4.0, 5.0, 6.0, 7.0, 8.0], "b": [1, 2]})
    >>> parted.rest, parted.curves[0].path
    ({'a': None, 'b': [1, 2]}, ('a',))
    """
    curves: list[Curve] = []
    return Parted(_part(document, (), curves), tuple(curves))


def _copy(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _copy(item) for key, item in value.items()}
    return [_copy(item) for item in value] if isinstance(value, list) else value


def join(parted: Parted, *, as_arrays: bool = False) -> Document:
    """Return the document as it was before :func:`part`.

    Args:
        parted: as :func:`part` gave it.
        as_arrays: leave sweeps and their axes in their arrays, for whoever computes with them.

    >>> join(part({"a": [1, 2.0] * 4}))
    {'a': [1, 2.0, 1, 2.0, 1, 2.0, 1, 2.0]}
    """
    document: Document = _copy(parted.rest)
    for curve in parted.curves:
        place: Any = document
        for step in curve.path[:-1]:
            place = place[step]
        is_sweep = curve.path[0] in (SWEEPS, AXIS)
        place[curve.path[-1]] = curve.values if as_arrays and is_sweep else curve.numbers()
    return document
