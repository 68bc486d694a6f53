"""Curves as few bytes, and back to the last digit.

Values with few decimals become whole numbers of the last one; what does not
come back bit for bit that way stays floating point. Curves of
one parameter and equal decimals lie one behind the other in one compressed run,
and all runs are read into one array, so that reading is a few calls. What lies where
stands apart from how long the runs are: it is the same for all links of an instrument,
and understood once. ``n / 10**d`` is the double nearest to the decimal for every
``n`` below 2**53 and ``d`` up to 22, because both are exact and division rounds
correctly (IEEE 754-2019, 4.3 and 5.4.1).
"""

from __future__ import annotations

import zlib
from base64 import b64decode, b64encode
from collections.abc import Iterable, Iterator, Sequence
from functools import lru_cache, partial
from itertools import repeat
from typing import Any, Final, NamedTuple

import numpy as np
import numpy.typing as npt
import orjson
from pcodec import ChunkConfig, DeltaSpec, ModeSpec, standalone

from fourpair_service.records.curves import BoolArray, Curve, FloatArray, Path

# Written before the rest, so that another form can follow one day. The first one told the sizes of
# runs among what lies where; it is read for ever, and written no more.
FORM: Final = b"C2"
FIRST_FORM: Final = b"C1"
# Of what lies where, and of each run: how many bytes.
SIZE: Final = np.dtype(">u4")
SIZE_BYTES: Final = SIZE.itemsize
MOST_DECIMALS: Final = 9
FLOATING: Final = -1
LARGEST_EXACT: Final = 2.0**53
# Whole numbers by what they hold, rounding up included.
KINDS: Final = ((np.int16, 2.0**15 - 1), (np.int32, 2.0**31 - 1), (np.int64, LARGEST_EXACT))
# Level 4 writes a thirtieth more. Searching for a better mode and order of differences saves a
# hundredth of the bytes (dB; complex: a ninth) and takes twice as long (measured).
CONFIG: Final = ChunkConfig(
    compression_level=5, mode_spec=ModeSpec.classic(), delta_spec=DeltaSpec.try_consecutive(1)
)

# ("sweeps", "next"): curves below one such path bend alike.
KIND_STEPS: Final = 2

NO_INTEGERS: Final = 0
WHOLE_VALUES: Final = 1


def _bits_equal(a: FloatArray, b: FloatArray) -> bool:
    return bool((a.view(np.int64) == b.view(np.int64)).all())


def _scaled(values: FloatArray, decimals: int) -> npt.NDArray[Any] | None:
    """Return whole numbers of the last decimal, as narrow as they may be; ``None`` where that is not exact."""
    scale = 10.0**decimals
    largest = max(float(values.max()), -float(values.min())) * scale
    if largest >= LARGEST_EXACT:
        return None
    whole = values * scale
    np.rint(whole, out=whole)
    narrow: npt.NDArray[np.signedinteger] = whole.astype(next(kind for kind, most in KINDS if largest < most))
    # A negative zero is no whole number: its sign is missed here.
    return narrow if _bits_equal(narrow / scale, values) else None


def _exact(values: FloatArray, likely: int) -> tuple[int, npt.NDArray[Any]]:
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
    numbers: npt.NDArray[Any]


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
        alike: dict[int, list[tuple[Curve, npt.NDArray[Any]]]] = {}
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
    for decimals, group, numbers in _runs(curves):
        runs.append(standalone.simple_compress(numbers, CONFIG))
        told.append([decimals, [[list(c.path), len(c.values), _integers(c)] for c in group]])
    layout = _packed_layout(orjson.dumps(told))
    sizes = (len(part).to_bytes(SIZE_BYTES, "big") for part in (layout, *runs))
    return b"".join((FORM, next(sizes), layout, *sizes, *runs))


def decode(content: bytes) -> tuple[Curve, ...]:
    """Return the curves that :func:`encode` was given, a parameter's together.

    Raises:
        ValueError: what is no store of curves, or not a whole one.
    """
    if not content:
        return ()
    form, start = content[:2], 2 + SIZE_BYTES
    if form not in (FORM, FIRST_FORM):
        raise ValueError(f"no curves of ours: they begin with {form!r}")
    size = int.from_bytes(content[2:start], "big")
    header, start = content[start : start + size], start + size
    if form == FIRST_FORM:
        layout, sizes = _first_layout(header)
    else:
        layout = _layout(header)
        sizes = np.frombuffer(content, SIZE, len(layout.runs), start).tolist()
        start += SIZE_BYTES * len(sizes)
    return _curves(layout, sizes, content, start)


class _Layout(NamedTuple):
    """What lies where once all runs are one array of numbers.

    Attributes:
        runs: the divisor of each run that makes values of its numbers, ``None`` where they are
            values already, and where they lie.
        paths: of the curves.
        places: where the values of each lie.
        integers: what is told of the integers of each; empty where no curve has any.
        total: how many numbers there are.
    """

    runs: tuple[tuple[float | None, slice], ...]
    paths: tuple[Path, ...]
    places: tuple[slice, ...]
    integers: tuple[int | str, ...]
    total: int


Rows = Sequence[tuple[list[str | int], int, int | str]]

_curve = partial(tuple.__new__, Curve)


def _curves(layout: _Layout, sizes: Iterable[int], content: bytes, start: int) -> tuple[Curve, ...]:
    values = np.empty(layout.total)
    for size, (divisor, own) in zip(sizes, layout.runs, strict=True):
        numbers = standalone.simple_decompress(content[start : start + size])
        start += size
        if numbers is None or len(numbers) != own.stop - own.start:
            raise ValueError(f"a run of curves is not the {own.stop - own.start} numbers that it should be")
        if divisor is None:
            values[own] = numbers
        else:
            np.divide(numbers, divisor, out=values[own])
    values.flags.writeable = False
    parts = [values[own] for own in layout.places]
    integers = map(_integers_back, layout.integers, parts) if layout.integers else repeat(None)
    # Past the initialiser, which would take as long as all of the above but decompressing.
    return tuple(map(_curve, zip(layout.paths, parts, integers, strict=False)))


def _placed(told: Iterable[tuple[int, Rows]]) -> _Layout:
    runs, paths, places, integers = [], [], [], []
    at = 0
    for decimals, rows in told:
        first = at
        for path, size, which in rows:
            paths.append(tuple(path))
            places.append(slice(at, at + size))
            integers.append(which)
            at += size
        runs.append((None if decimals == FLOATING else 10.0**decimals, slice(first, at)))
    known = integers if any(which != NO_INTEGERS for which in integers) else ()
    return _Layout(tuple(runs), tuple(paths), tuple(places), tuple(known), at)


# Links of one instrument have their curves in the same places.
@lru_cache(maxsize=64)
def _packed_layout(told: bytes) -> bytes:
    return zlib.compress(told, 1)


@lru_cache(maxsize=64)
def _layout(header: bytes) -> _Layout:
    return _placed(orjson.loads(zlib.decompress(header)))


def _first_layout(header: bytes) -> tuple[_Layout, Sequence[int]]:
    """Return what lies where and the sizes of the runs, as the first form tells both."""
    told = orjson.loads(zlib.decompress(header))
    layout = _placed([(decimals, rows) for decimals, _, rows in told])
    return layout, [size for _, size, _ in told]
