"""Strict reading of JSON: everything that two parsers could read differently is refused.

A fast parser reads the body. Duplicate keys, the one thing it lets through, are
found by counting: outside strings a colon stands in JSON only behind a key. When
the count is off, or the fast parser refuses, a slow reader finds what and where.
"""

from __future__ import annotations

import json
import zlib
from collections.abc import Iterator
from math import isinf
from typing import Any, Final

import orjson

from fourpair_service.errors import ServiceError

DEEPEST: Final = 32
LONGEST_NUMBER: Final = 64
SHOWN_CHARACTERS: Final = 24
BYTE_ORDER_MARK: Final = b"\xef\xbb\xbf"


TOO_DEEP: Final = (
    f"The body is nested deeper than {DEEPEST} levels; no document of this service needs that many."
)
HALF_A_PAIR: Final = "half of a surrogate pair, which is no character"


class UnreadableBodyError(ServiceError):
    """A body that is not JSON, or not JSON that means one thing only.

    Attributes:
        pointer: where, as far as that can be said.
        value: what stands there, where it can be shown.
    """

    code = "unreadable-body"

    def __init__(self, detail: str, pointer: str = "", value: str | None = None) -> None:
        super().__init__(f"{pointer}: {detail}" if pointer else detail)
        self.detail, self.pointer, self.value = detail, pointer, value


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
        raise UnreadableBodyError(
            "The body is not valid gzip data; compress it again, or send it plain without Content-Encoding."
        ) from error
    if len(content) > limit:
        raise BodyTooLargeError(
            f"The gzip body inflates to more than {limit} bytes; "
            f"at most {most} bytes and {ratio} times its own size are read."
        )
    if not reader.eof:
        raise UnreadableBodyError("The gzip body ends before its data does; send it again in full.")
    if reader.unused_data:
        raise UnreadableBodyError(
            f"{len(reader.unused_data)} bytes stand behind the gzip data; send one piece of gzip data alone."
        )
    return content


def read_json(raw: bytes) -> Any:
    """Return the value of a JSON text.

    Raises:
        UnreadableBodyError: with what is wrong and where.
    """
    refuse_empty(raw)
    try:
        value = orjson.loads(raw)
    except orjson.JSONDecodeError:
        return _slow(raw)
    if raw.count(b":") + by_number(raw, b"3a") != colons(value):
        return _slow(raw)
    return value


def refuse_empty(raw: bytes) -> None:
    """Refuse a text with nothing in it, or with a mark before it.

    Raises:
        UnreadableBodyError: with what to send.
    """
    if not raw or raw.isspace():
        raise UnreadableBodyError("The body is empty; send a JSON document.")
    if raw.startswith(BYTE_ORDER_MARK):
        raise UnreadableBodyError("The body begins with a byte order mark; send UTF-8 text without one.")


def by_number(raw: bytes, number: bytes) -> int:
    r"""Return how often a character of a text is written by its number; too often at most.

    Programs that write ASCII alone give every other character so.

    >>> by_number(rb'{"a": "\u003a \u003A : \\u003a"}', b"3a")
    3
    """
    # One byte is looked for many times faster than two.
    if b"\\" not in raw or b"\\u" not in raw:
        return 0
    return sum(raw.count(b"\\u00" + case) for case in {number.lower(), number.upper()})


def colons(value: Any, depth: int = 0) -> int:
    """Return how many colons a text of this value has, at the least; less than 0 where it is too deep.

    Args:
        value: as read.
        depth: how deep in the document it stands.
    """
    try:
        return _colons(value, depth)
    except RecursionError:
        return -1


def _colons(value: Any, depth: int) -> int:
    """Count colons.

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


class _Refused(float):
    """What stands where a number should, kept so that its place can be named."""

    text: str
    problem: str

    @classmethod
    def of(cls, text: str, problem: str) -> _Refused:
        """Return what stands for a text that is no readable number."""
        found = cls("nan")
        found.text = text if len(text) <= SHOWN_CHARACTERS else f"{text[:SHOWN_CHARACTERS]}…"
        found.problem = problem
        return found


def _number(text: str) -> float:
    if len(text) > LONGEST_NUMBER:
        return _Refused.of(
            text, f"This number has {len(text)} digits, and at most {LONGEST_NUMBER} are read; round it."
        )
    value = float(text)
    if isinf(value):
        return _Refused.of(text, f"The number {text} is too large to be read.")
    return value


def _whole(text: str) -> int | float:
    value = _number(text)
    return int(text) if abs(value) < 2**63 else value


def _no_number(text: str) -> float:
    return _Refused.of(
        text, f"{text} is no number in JSON; leave out what was not measured, or send a number."
    )


def _slow(raw: bytes) -> Any:
    try:
        text = raw.decode()
        value = json.loads(
            text, object_pairs_hook=_object, parse_constant=_no_number, parse_int=_whole, parse_float=_number
        )
    except UnicodeDecodeError as error:
        raise UnreadableBodyError(
            f"The body is not UTF-8 text: byte {error.start + 1} belongs to no character. Save it as UTF-8."
        ) from error
    except json.JSONDecodeError as error:
        raise UnreadableBodyError(
            f"The body is not JSON: {error.msg} at line {error.lineno}, column {error.colno}."
        ) from error
    except RecursionError as error:
        raise UnreadableBodyError(TOO_DEEP) from error
    for pointer, problem, shown in _problems(value, "", 0):
        raise UnreadableBodyError(problem, pointer, shown)
    # Read once more, into plain objects: whoever goes on with the value asks for those.
    return json.loads(text, parse_int=_whole, parse_float=_number)


def _problems(value: Any, pointer: str, depth: int) -> Iterator[tuple[str, str, str | None]]:
    """Yield pointer, problem and, where it can be shown, the value."""
    if depth > DEEPEST:
        yield pointer[:200], TOO_DEEP, None
    elif isinstance(value, _Refused):
        yield pointer, value.problem, value.text
    elif isinstance(value, str):
        if not _is_text(value):
            yield pointer, f"This text holds {HALF_A_PAIR}; leave it out.", None
    elif isinstance(value, list):
        for i, inner in enumerate(value):
            if type(inner) is not float and type(inner) is not int:
                yield from _problems(inner, f"{pointer}/{i}", depth + 1)
    elif isinstance(value, dict):
        twice = getattr(value, "twice", None)
        if twice is not None:
            place = f"{pointer}/{_escaped(twice)}"
            yield place, f"The key {twice!r} stands here more than once; keep one of them.", None
        for key, inner in value.items():
            if not _is_text(key):
                yield pointer, f"A key here holds {HALF_A_PAIR}; write it without.", None
            yield from _problems(inner, f"{pointer}/{_escaped(key)}", depth + 1)


def _is_text(value: str) -> bool:
    try:
        value.encode()
    except UnicodeEncodeError:
        return False
    return True


def _escaped(key: str) -> str:
    return key.encode("utf-8", "replace").decode()[:80].replace("~", "~0").replace("/", "~1")
