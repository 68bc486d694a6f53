"""A measurement whose sweeps come as numbers and not as text.

Four bytes ``FPS1``; the length of the head as four bytes, the least first; the head,
a JSON object; then the numbers of all lists, one list behind the other, each the
least byte first. The head holds ``document``, a measurement document, and ``lists``:
for lists of one form behind each other their ``paths`` below ``sweeps``, as
``next/near/12-36``, the ``count`` of numbers of each and their ``type``. Whole numbers
may have ``decimals``: 4123 with 2 of them is 41.23, to the last bit the
number that JSON would have given (IEEE 754-2019, 4.3 and 5.4.1).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final, NamedTuple

import numpy as np

from fourpair_service.domain.measurement import FloatArray
from fourpair_service.http.json_body import UnreadableBodyError, read_json

MEDIA_TYPE: Final = "application/vnd.fourpair.sweeps"
MAGIC: Final = b"FPS1"
HEAD_AT: Final = 8
TYPES: Final = {"int16": "<i2", "int32": "<i4", "float32": "<f4", "float64": "<f8"}
WHOLE: Final = frozenset({"int16", "int32"})
MOST_DECIMALS: Final = 9
DEEPEST: Final = 4
SWEEPS: Final = "sweeps"
MEMBERS: Final = frozenset({"paths", "count", "type", "decimals"})


class _Lists(NamedTuple):
    paths: tuple[str, ...]
    size: int
    type: str
    decimals: int


def _refuse(detail: str, pointer: str = "", value: object = None) -> UnreadableBodyError:
    return UnreadableBodyError(detail, pointer, None if value is None else str(value)[:80])


def _head(raw: bytes) -> tuple[Mapping[str, Any], int]:
    if raw[: len(MAGIC)] != MAGIC or len(raw) < HEAD_AT:
        raise _refuse(f"The body does not begin with {MAGIC.decode()} and the length of its head.")
    size = int.from_bytes(raw[len(MAGIC) : HEAD_AT], "little")
    end = HEAD_AT + size
    if end > len(raw):
        raise _refuse(f"The head says {size} bytes and {len(raw) - HEAD_AT} follow; the body was cut.")
    head = read_json(raw[HEAD_AT:end])
    if not isinstance(head, dict) or set(head) != {"document", "lists"}:
        raise _refuse("The head is an object with document and lists, and nothing else.")
    if not isinstance(head["document"], dict):
        raise _refuse("Expected an object: one measurement document.", "/document")
    if not isinstance(head["lists"], list):
        raise _refuse("Expected a list with an entry for lists of one form.", "/lists")
    return head, end


def _is_whole(value: Any, low: int, high: int) -> bool:
    return type(value) is int and low <= value <= high


def _listed(entry: Any, pointer: str, points: int) -> _Lists:
    if not isinstance(entry, dict) or not {"paths", "count", "type"} <= set(entry) <= MEMBERS:
        raise _refuse("Expected an object with paths, count, type and perhaps decimals.", pointer)
    paths, kind, decimals = entry["paths"], entry["type"], entry.get("decimals", 0)
    if not isinstance(paths, list) or not paths or not all(isinstance(path, str) for path in paths):
        raise _refuse("Expected a list of places below sweeps, such as next/near/12-36.", f"{pointer}/paths")
    if not isinstance(kind, str) or kind not in TYPES:
        raise _refuse(f"Expected one of {', '.join(TYPES)}.", f"{pointer}/type", kind)
    if not _is_whole(entry["count"], 1, points):
        raise _refuse(f"Expected a whole number from 1 to {points}.", f"{pointer}/count", entry["count"])
    most = MOST_DECIMALS if kind in WHOLE else 0
    if not _is_whole(decimals, 0, most):
        raise _refuse(
            f"Expected a whole number from 0 to {most} with {kind}.", f"{pointer}/decimals", decimals
        )
    return _Lists(tuple(paths), entry["count"], kind, decimals)


def _put(sweeps: dict[str, Any], path: str, values: FloatArray, pointer: str) -> None:
    *steps, last = path.split("/")
    if len(steps) >= DEEPEST:
        raise _refuse(f"Expected at most {DEEPEST} keys.", pointer, path)
    place: Any = sweeps
    for step in steps:
        place = place.setdefault(step, {})
        if not isinstance(place, dict):
            raise _refuse(f"{step} holds numbers already.", pointer, path)
    if last in place:
        raise _refuse("Something stands there already; give each list once.", pointer, path)
    place[last] = values


def _numbers(raw: bytes, at: int, own: _Lists, pointer: str) -> FloatArray:
    """Return the numbers of some lists of one form, (lists, count)."""
    stored, total = np.dtype(TYPES[own.type]), len(own.paths) * own.size
    if at + total * stored.itemsize > len(raw):
        raise _refuse("The numbers of these lists are not all there; the body was cut.", f"{pointer}/count")
    values = np.frombuffer(raw, stored, total, at).astype(np.float64)
    if own.decimals:
        values /= 10.0**own.decimals
    if own.type not in WHOLE and not np.isfinite(values).all():
        first = int(np.flatnonzero(~np.isfinite(values))[0])
        place = f"{pointer}/paths/{first // own.size}"
        raise _refuse(f"Number {first % own.size} of this list is not finite.", place)
    return values.reshape(len(own.paths), own.size)


def read_binary(raw: bytes, *, curves: int, points: int) -> dict[str, Any]:
    """Return the measurement document of a body, its sweeps as arrays.

    Args:
        raw: the body.
        curves: most sweeps in a document; each may have two lists.
        points: most numbers in a list.

    Raises:
        UnreadableBodyError: naming the place in the head.
    """
    head, at = _head(raw)
    document: dict[str, Any] = head["document"]
    sweeps = document.setdefault(SWEEPS, {})
    if not isinstance(sweeps, dict):
        raise _refuse("Expected an object.", f"/document/{SWEEPS}")
    count = 0
    for index, entry in enumerate(head["lists"]):
        pointer = f"/lists/{index}"
        own = _listed(entry, pointer, points)
        count += len(own.paths)
        if count > 2 * curves:
            raise _refuse(f"Expected at most {2 * curves} lists in all.", f"{pointer}/paths", count)
        values = _numbers(raw, at, own, pointer)
        at += values.size * np.dtype(TYPES[own.type]).itemsize
        for place, (path, row) in enumerate(zip(own.paths, values, strict=True)):
            _put(sweeps, path, row, f"{pointer}/paths/{place}")
    if at != len(raw):
        raise _refuse(
            f"{len(raw) - at} bytes stand behind the last list; the head does not tell what they are."
        )
    return document
