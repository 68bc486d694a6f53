"""Reading of a measurement document, its lists of numbers straight into arrays.

A parser that keeps numbers as they lie in the text writes a sweep into an array
without an object for each value. It is used where all is as it should be;
whatever it will not take, and whatever it might take too easily, goes to
``read_json``, which is slower and says what is wrong.
"""

from __future__ import annotations

from collections.abc import Iterator
from threading import local
from typing import Any, Final

import numpy as np
import orjson

from fourpair_service.http.json_body import DEEPEST, by_number, colons, read_json, refuse_empty

try:
    import simdjson
except ImportError:  # no wheel for this Python: the other reader does it all
    simdjson = None  # type: ignore[assignment]

SWEEPS: Final = "sweeps"
# Shorter lists are no sweeps worth an array, and keep whole numbers whole.
SHORTEST_ARRAY: Final = 16
# An object is searched for each of its keys, so many keys would take long.
MOST_KEYS: Final = 64
# The parser looks for a key up to its first NUL, and so may find another one.
_CUTS_A_KEY: Final = "\0"
# parameter, end, pair and form stand below ``sweeps``
DEEPEST_SWEEP: Final = 5
_COLON, _BRACKET, _POINT = b":[."

_kept = local()


class _UnfitError(Exception):
    """Something that this reader leaves to the other one."""


def read_document(raw: bytes, *, as_written: bool = False) -> Any:
    """Return the value of a JSON text, long lists of numbers in ``sweeps`` as float64 arrays.

    Everything else is as ``read_json`` gives it.

    Args:
        raw: the text.
        as_written: whether a number that was written without a fraction must stay a
            whole number; a text with such a number in ``sweeps`` is read by ``read_json``.

    Raises:
        UnreadableBodyError: as ``read_json``.
    """
    refuse_empty(raw)
    if simdjson is None:
        return read_json(raw)
    reader = _Reader()
    try:
        value = reader.document(_parsed(raw))
    except (_UnfitError, TypeError, ValueError, RuntimeError, RecursionError):
        return read_json(raw)
    # Outside strings a colon stands only behind a key and a bracket only before a list:
    # a count that is off may be a key given twice, or a list within a list of numbers.
    text = np.frombuffer(raw, np.uint8)
    if np.count_nonzero(text == _COLON) + by_number(raw, b"3a") != reader.colons:
        return read_json(raw)
    if np.count_nonzero(text == _BRACKET) + by_number(raw, b"5b") != reader.brackets:
        return read_json(raw)
    # Each number with a fraction has one point; what is left for the sweeps must do for all of them.
    if as_written and np.count_nonzero(text == _POINT) - _points_at_most(value) < reader.numbers:
        return read_json(raw)
    return value


def _points_at_most(value: Any) -> int:
    """Return how many points a text of what is no array can have."""
    kind = type(value)
    if kind is float:
        return 1
    if kind is str:
        return int(value.count("."))
    if kind is dict:
        return sum(key.count(".") + _points_at_most(inner) for key, inner in value.items())
    return sum(map(_points_at_most, value)) if kind is list else 0


def _parsed(raw: bytes) -> Any:
    """Return the text parsed, by a parser that keeps its memory from one text to the next."""
    try:
        parser = _kept.parser
    except AttributeError:
        parser = _kept.parser = simdjson.Parser()
    return parser.parse(raw)


class _Reader:
    """Turns a parsed text into a document.

    Attributes:
        colons: how many colons a text of the document has, at the least.
        brackets: how many opening brackets it has, at the least.
        numbers: how many numbers became parts of arrays.
    """

    def __init__(self) -> None:
        self.colons = self.brackets = self.numbers = 0

    def document(self, root: Any) -> dict[str, Any]:
        """Return the whole of it."""
        if type(root) is not simdjson.Object:
            raise _UnfitError
        return {
            key: self._sweeps(value, 1) if key == SWEEPS else self._plain(value, 1)
            for key, value in self._parts(root)
        }

    def _parts(self, value: Any) -> Iterator[tuple[str, Any]]:
        keys = list(value.keys())
        is_odd = len(keys) > MOST_KEYS or len(set(keys)) < len(keys)
        if is_odd or any(_CUTS_A_KEY in key for key in keys):
            raise _UnfitError
        for key in keys:
            self.colons += 1 + key.count(":")
            self.brackets += key.count("[")
            yield key, value[key]

    def _sweeps(self, value: Any, depth: int) -> Any:
        """Return what stands in ``sweeps``: objects of objects of lists."""
        if type(value) is simdjson.Array:
            return self._numbers(value, depth)
        if type(value) is not simdjson.Object or depth > DEEPEST_SWEEP:
            return self._plain(value, depth)
        return {key: self._sweeps(inner, depth + 1) for key, inner in self._parts(value)}

    def _numbers(self, value: Any, depth: int) -> Any:
        if len(value) < SHORTEST_ARRAY:
            return self._plain(value, depth)
        try:
            numbers = np.frombuffer(value.as_buffer(of_type="d"))
        except TypeError:  # not numbers alone: as a list, for a message that says which
            return self._plain(value, depth)
        self.brackets += 1
        self.numbers += len(numbers)
        return numbers

    def _plain(self, value: Any, depth: int) -> Any:
        """Return a part as Python has it, its colons and brackets counted in its shortest text."""
        if type(value) is simdjson.Object:
            value = value.as_dict()
        elif type(value) is simdjson.Array:
            value = value.as_list()
        elif type(value) is not str:
            return value
        text = orjson.dumps(value)
        brackets = text.count(b"[")
        # As few openings as levels are allowed need no look at how deep they go.
        if depth + brackets + text.count(b"{") > DEEPEST and colons(value, depth) < 0:
            raise _UnfitError
        self.colons += text.count(b":")
        self.brackets += brackets
        return value
