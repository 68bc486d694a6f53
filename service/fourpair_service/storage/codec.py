"""Curves as few bytes, and back to the last digit.

Values with few decimals become whole numbers of the last one; what does not
come back bit for bit that way stays floating point. Curves of
one parameter and equal decimals lie one behind the other in one compressed run,
so that reading is a few calls. ``n / 10**d`` is the double nearest to the decimal for every
``n`` below 2**53 and ``d`` up to 22, because both are exact and division rounds
correctly (IEEE 754-2019, 4.3 and 5.4.1).
"""

from __future__ import annotations

import zlib
from base64 import b64decode, b64encode
from collections.abc import Iterable, Iterator, Sequence
from functools import lru_cache
from typing import Any, Final, NamedTuple

import numpy as np
import numpy.typing as npt
import orjson
from pcodec import ChunkConfig, DeltaSpec, ModeSpec, standalone

from fourpair_service.records.curves import BoolArray, Curve, FloatArray, Path

# Written before every run, so that another form can follow one day.
FORM: Final = b"C1"
MOST_DECIMALS: Final = 9
FLOATING: Final = -1
LARGEST_EXACT: Final = 2.0**53
# Level 4 writes a thirtieth more. Searching for a better mode and order of differences saves a
# hundredth of the bytes (dB; complex: a ninth) and takes twice as long (measured).
CONFIG: Final = ChunkConfig(
    compression_level=5, mode_spec=ModeSpec.classic(), delta_spec=DeltaSpec.try_consecutive(1)
)

# ("sweeps", "next"): curves below one such path bend alike.
KIND_STEPS: Final = 2

# Path, where its values lie in their run, and which were integers.
Place = tuple[Path, slice, int | str]

NO_INTEGERS: Final = 0
WHOLE_VALUES: Final = 1


def _bits_equal(a: FloatArray, b: FloatArray) -> bool:
    return bool((a.view(np.int64) == b.view(np.int64)).all())


def _scaled(values: FloatArray, decimals: int) -> FloatArray | None:
    scale = 10.0**decimals
    if max(float(values.max()), -float(values.min())) * scale >= LARGEST_EXACT:
        return None
    whole: FloatArray = values * scale
    np.rint(whole, out=whole)
    # Adding zero makes a negative zero positive, which the comparison then notices.
    whole += 0.0
    return whole if _bits_equal(whole / scale, values) else None


def _exact(values: FloatArray, likely: int) -> tuple[int, FloatArray]:
    """Return decimals that hold every value and the whole numbers of the last one, else the values."""
    candidates: tuple[int, ...] = (max(likely, 0), *range(MOST_DECIMALS + 1))
    for decimals in candidates:
        # A few values tell most curves from those that need more decimals.
        if _scaled(values[:8], decimals) is None:
            continue
        whole = _scaled(values, decimals)
        if whole is not None:
            return decimals, whole
    return FLOATING, values


def decimals_of(values: FloatArray, likely: int = 0) -> int:
    """Return a number of decimals that holds every value exactly, or ``FLOATING``.

    Args:
        values: (n,) of any unit.
        likely: tried first; curves of one instrument have the same.

    >>> decimals_of(np.array([41.25, 3.0])), decimals_of(np.array([1 / 3]))
    (2, -1)
    """
    return _exact(values, likely)[0]


def _narrow(whole: FloatArray) -> npt.NDArray[Any]:
    low, high = whole.min(), whole.max()
    for kind in (np.int16, np.int32):
        if np.iinfo(kind).min <= low and high <= np.iinfo(kind).max:
            return whole.astype(kind)
    return whole.astype(np.int64)


def _integers(curve: Curve) -> int | str:
    if curve.integers is None:
        return NO_INTEGERS
    if bool((curve.integers == (curve.values == np.rint(curve.values))).all()):
        return WHOLE_VALUES
    return b64encode(np.packbits(curve.integers).tobytes()).decode()


def _integers_back(told: int | str, values: FloatArray) -> BoolArray | None:
    if told == NO_INTEGERS:
        return None
    if told == WHOLE_VALUES:
        whole: BoolArray = values == np.rint(values)
        return whole
    packed = np.frombuffer(b64decode(str(told)), dtype=np.uint8)
    return np.unpackbits(packed, count=len(values)).astype(np.bool_)


class _Run(NamedTuple):
    """Curves that are compressed together, and what is compressed of them."""

    decimals: int
    curves: Sequence[Curve]
    numbers: FloatArray


def _runs(curves: Sequence[Curve]) -> Iterator[_Run]:
    """Yield curves by parameter and decimals; those of one parameter most often have the same decimals."""
    kinds: dict[Path, list[Curve]] = {}
    for curve in curves:
        kinds.setdefault(curve.path[:KIND_STEPS], []).append(curve)
    decimals = 0
    for own in kinds.values():
        found, numbers = _exact(np.concatenate([curve.values for curve in own]), decimals)
        if found != FLOATING or len(own) == 1:
            decimals = found
            yield _Run(found, own, numbers)
            continue
        alike: dict[int, list[tuple[Curve, FloatArray]]] = {}
        for curve in own:
            decimals, numbers = _exact(curve.values, decimals)
            alike.setdefault(decimals, []).append((curve, numbers))
        for each, parts in alike.items():
            yield _Run(each, [curve for curve, _ in parts], np.concatenate([n for _, n in parts]))


def encode(curves: Sequence[Curve]) -> bytes:
    """Return curves as bytes; no curves, no bytes."""
    if not curves:
        return b""
    runs: list[bytes] = []
    told: list[list[Any]] = []
    for decimals, group, values in _runs(curves):
        numbers = values if decimals == FLOATING else _narrow(values)
        run = standalone.simple_compress(numbers, CONFIG)
        runs.append(run)
        rows = [[list(c.path), len(c.values), _integers(c)] for c in group]
        told.append([decimals, len(run), rows])
    header = zlib.compress(orjson.dumps(told), 1)
    return b"".join((FORM, len(header).to_bytes(4, "big"), header, *runs))


def decode(content: bytes) -> tuple[Curve, ...]:
    """Return the curves that :func:`encode` was given, a parameter's together."""
    if not content:
        return ()
    if content[:2] != FORM:
        raise ValueError(f"no curves of ours: they begin with {content[:2]!r}")
    start = 6 + int.from_bytes(content[2:6], "big")
    curves: list[Curve] = []
    for decimals, size, places in _layout(content[6:start]):
        flat = standalone.simple_decompress(content[start : start + size])
        start += size
        values = flat if decimals == FLOATING else flat / 10.0**decimals
        values.flags.writeable = False
        curves += [
            Curve(path, values[own], _integers_back(told, values[own]) if told else None)
            for path, own, told in places
        ]
    return tuple(curves)


# Links of one instrument have their curves in the same places.
@lru_cache(maxsize=64)
def _layout(header: bytes) -> list[tuple[int, int, list[Place]]]:
    """Return of each run its decimals, its bytes and what lies where in it."""
    return [
        (decimals, size, list(_places(rows)))
        for decimals, size, rows in orjson.loads(zlib.decompress(header))
    ]


def _places(rows: Iterable[tuple[list[str | int], int, int | str]]) -> Iterable[Place]:
    start = 0
    for path, size, told in rows:
        yield tuple(path), slice(start, start + size), told
        start += size
