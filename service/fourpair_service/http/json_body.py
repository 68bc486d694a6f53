"""Strict reading of JSON: everything that two parsers could read differently is refused.

A fast parser reads the body. Duplicate keys, the one thing it lets through, are
found by counting: outside strings a colon stands in JSON only behind a key. When
the count is off, or the fast parser refuses, a slow reader finds what and where.
"""

from __future__ import annotations

import json
import zlib
from collections.abc import Iterator
from typing import Any, Final

import orjson

from fourpair_service.errors import ServiceError

DEEPEST: Final = 32
LONGEST_NUMBER: Final = 64


class UnreadableBodyError(ServiceError):
    """A body that is not JSON, or not JSON that means one thing only.

    Attributes:
        pointer: where, as far as that can be said.
    """

    code = "unreadable-body"

    def __init__(self, detail: str, pointer: str = "") -> None:
        super().__init__(detail)
        self.detail, self.pointer = detail, pointer


class BodyTooLargeError(ServiceError):
    """A body over a limit of the service."""

    code = "body-too-large"


class UnsupportedBodyError(ServiceError):
    """A body of a kind that the service does not read."""

    code = "unsupported-body"


def inflate(raw: bytes, *, most: int, ratio: int) -> bytes:
    """Return a gzip body inflated, reading no further than the limits.

    Raises:
        BodyTooLargeError: it inflates to more than ``most`` bytes or ``ratio`` times.
        UnreadableBodyError: it is not whole gzip data.
    """
    limit = min(most, max(1, len(raw)) * ratio)
    reader = zlib.decompressobj(31)
    try:
        content = reader.decompress(raw, limit + 1)
    except zlib.error as error:
        raise UnreadableBodyError(f"The body is not valid gzip data ({error}).") from error
    if len(content) > limit:
        raise BodyTooLargeError(
            f"The gzip body inflates to more than {limit} bytes; "
            f"at most {most} bytes and {ratio} times its own size are read."
        )
    if not reader.eof:
        raise UnreadableBodyError("The gzip body ends before its data does; send it again in full.")
    return content


def read_json(raw: bytes) -> Any:
    """Return the value of a JSON text.

    Raises:
        UnreadableBodyError: with what is wrong and where.
    """
    if not raw.strip():
        raise UnreadableBodyError("The body is empty; send a JSON document.")
    try:
        value = orjson.loads(raw)
    except orjson.JSONDecodeError:
        return _slow(raw)
    try:
        count = _colons(value, 0)
    except RecursionError:
        count = -1
    if b"\\u" in raw or raw.count(b":") != count:
        return _slow(raw)
    return value


def _colons(value: Any, depth: int) -> int:
    """Return how many colons a text of this value has, at the least.

    Lists of numbers are passed over: a text with a colon hidden in one makes the
    count too small, which only costs a second look.
    """
    if depth > DEEPEST:
        return -(10**9)
    if type(value) is dict:
        return sum(1 + key.count(":") + _colons(inner, depth + 1) for key, inner in value.items())
    if type(value) is str:
        return value.count(":")
    if type(value) is list and value and type(value[0]) is not float and type(value[0]) is not int:
        return sum(_colons(inner, depth + 1) for inner in value)
    return 0


class _Object(dict[str, Any]):
    """An object that remembers a key it had twice."""

    twice: str | None = None


def _object(pairs: list[tuple[str, Any]]) -> _Object:
    found = _Object(pairs)
    if len(found) < len(pairs):
        seen: set[str] = set()
        found.twice = next(key for key, _ in pairs if key in seen or seen.add(key))  # type: ignore[func-returns-value]
    return found


def _number(text: str) -> float:
    if len(text) > LONGEST_NUMBER:
        raise ValueError(f"a number of {len(text)} digits; at most {LONGEST_NUMBER} are read")
    value = float(text)
    if value in (float("inf"), float("-inf")):
        raise ValueError(f"the number {text} is out of range")
    return value


def _whole(text: str) -> int | float:
    value = _number(text)
    return int(text) if abs(value) < 2**63 else value


def _refused(text: str) -> float:
    raise ValueError(f"{text} is no JSON number")


def _slow(raw: bytes) -> Any:
    try:
        text = raw.decode()
        value = json.loads(
            text, object_pairs_hook=_object, parse_constant=_refused, parse_int=_whole, parse_float=_number
        )
    except UnicodeDecodeError as error:
        raise UnreadableBodyError(f"The body is not UTF-8 text (byte {error.start}).") from error
    except json.JSONDecodeError as error:
        raise UnreadableBodyError(
            f"The body is not JSON: {error.msg} at line {error.lineno}, column {error.colno}."
        ) from error
    except RecursionError as error:
        raise UnreadableBodyError(f"The body is nested deeper than {DEEPEST} levels.") from error
    except ValueError as error:
        raise UnreadableBodyError(f"The body cannot be read: {error}.") from error
    for pointer, problem in _problems(value, "", 0):
        raise UnreadableBodyError(problem, pointer)
    return value


def _problems(value: Any, pointer: str, depth: int) -> Iterator[tuple[str, str]]:
    if depth > DEEPEST:
        yield pointer[:200], f"The body is nested deeper than {DEEPEST} levels."
    elif isinstance(value, str):
        if not _is_text(value):
            yield pointer, "This text holds half of a surrogate pair, which is no character; leave it out."
    elif isinstance(value, list):
        for i, inner in enumerate(value):
            if not isinstance(inner, int | float):
                yield from _problems(inner, f"{pointer}/{i}", depth + 1)
    elif isinstance(value, dict):
        twice = getattr(value, "twice", None)
        if twice is not None:
            place = f"{pointer}/{_escaped(twice)}"
            yield place, f"The key {twice!r} stands here more than once; keep one of them."
        for key, inner in value.items():
            if not _is_text(key):
                yield pointer, "A key here holds half of a surrogate pair, which is no character."
            yield from _problems(inner, f"{pointer}/{_escaped(key)}", depth + 1)


def _is_text(value: str) -> bool:
    try:
        value.encode()
    except UnicodeEncodeError:
        return False
    return True


def _escaped(key: str) -> str:
    return key.encode("utf-8", "replace").decode()[:80].replace("~", "~0").replace("/", "~1")
