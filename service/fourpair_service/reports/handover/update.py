"""New objects behind a PDF that is on disk: an update (ISO 32000-1, 7.5.6).

A library that holds a PDF's objects takes about a kilobyte for each of them. Here they are written as they
come, packed, and only where they went is remembered.
"""

from __future__ import annotations

import zlib
from array import array
from collections.abc import Sequence
from hashlib import sha256
from pathlib import Path
from types import TracebackType
from typing import Final, NamedTuple, Self

import pikepdf

# An object: its number and what is written of it.
Written = tuple[int, bytes]

# Objects that are packed together.
PACKED_TOGETHER: Final = 200
# Bytes of an entry: what it is, where it stands (or in which stream), and its place there.
WIDTHS: Final = (1, 5, 2)
IN_THE_FILE: Final = 1
PACKED: Final = 2
# How far from the end the place of the last table of entries is told. [bytes]
TAIL_BYTES: Final = 1024


def references(numbers: Sequence[int]) -> bytes:
    """Return a list of objects.

    >>> references([4, 7])
    b'[4 0 R 7 0 R]'
    """
    return b"[" + b" ".join(b"%d 0 R" % number for number in numbers) + b"]"


class _Before(NamedTuple):
    """What the update goes on from.

    Attributes:
        size: the number that the next new object gets.
        repeated: what the new table of entries says as the last one did, as written in a PDF.
        seal: the first part of the identity of the file.
        table: where its last table of entries stands. [bytes]
    """

    size: int
    repeated: bytes
    seal: bytes
    table: int


def _before(path: Path) -> _Before:
    with pikepdf.open(path) as whole:
        trailer = whole.trailer
        names = [name for name in ("/Root", "/Info") if name in trailer]
        repeated = b"".join(b"%b %d 0 R" % (name.encode(), trailer[name].objgen[0]) for name in names)
        size, seal = int(trailer.Size), bytes(trailer.ID.as_list()[0])
    with path.open("rb") as file:
        file.seek(-min(TAIL_BYTES, file.seek(0, 2)), 2)
        table = int(file.read().rpartition(b"startxref")[2].split()[0])
    return _Before(size, repeated, seal, table)


class Update:
    """Objects that are written behind a PDF; the PDF is whole again when the update is left."""

    def __init__(self, path: Path) -> None:
        self._before = _before(path)
        self._file = path.open("ab")
        self._at = self._file.tell()
        self._seal = sha256()
        self._kinds, self._places, self._within = array("B"), array("Q"), array("H")
        # Of objects that take the place of one that there was.
        self._changed: dict[int, bytes] = {}

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        with self._file:
            if error is None:
                self._end()

    def number(self) -> int:
        """Return the number of a new object."""
        self._kinds.append(0)
        self._places.append(0)
        self._within.append(0)
        return self._before.size + len(self._kinds) - 1

    def pack(self, objects: Sequence[Written]) -> None:
        """Write objects, packed together (7.5.7); the number of one that there was replaces it."""
        for start in range(0, len(objects), PACKED_TOGETHER):
            self._pack(objects[start : start + PACKED_TOGETHER])

    def _pack(self, objects: Sequence[Written]) -> None:
        stream, at, offsets = self.number(), 0, []
        for place, (number, written) in enumerate(objects):
            offsets.append(b"%d %d" % (number, at))
            at += len(written) + 1
            self._note(number, PACKED, stream, place)
        begin = b" ".join(offsets) + b"\n"
        self._note(stream, IN_THE_FILE, self._at, 0)
        head = b"/Type/ObjStm/N %d/First %d" % (len(objects), len(begin))
        self._stream(stream, head, begin + b"\n".join(written for _, written in objects))

    def _note(self, number: int, kind: int, place: int, within: int) -> None:
        at = number - self._before.size
        if at < 0:
            self._changed[number] = _entry(kind, place, within)
        else:
            self._kinds[at], self._places[at], self._within[at] = kind, place, within

    def _end(self) -> None:
        """Write the table of entries (7.5.8)."""
        table, at = self.number(), self._at
        self._note(table, IN_THE_FILE, at, 0)
        before, count = self._before, len(self._kinds)
        ranges = [(number, 1) for number in sorted(self._changed)] + [(before.size, count)]
        index = b" ".join(b"%d %d" % each for each in ranges)
        seals = before.seal, self._seal.digest()[: len(before.seal)]
        identity = b"".join(b"<%b>" % seal.hex().encode() for seal in seals)
        said = before.size + count, *WIDTHS, index, before.table, before.repeated, identity
        entries = bytearray(b"".join(self._changed[number] for number in sorted(self._changed)))
        for each in zip(self._kinds, self._places, self._within, strict=True):
            entries += _entry(*each)
        self._stream(table, b"/Type/XRef/Size %d/W[%d %d %d]/Index[%b]/Prev %d%b/ID[%b]" % said, entries)
        self._write(b"startxref\n%d\n%%%%EOF\n" % at)

    def _stream(self, number: int, head: bytes, content: bytes | bytearray) -> None:
        packed = zlib.compress(content)
        self._write(b"%d 0 obj\n<<%b/Filter/FlateDecode/Length %d>>stream\n" % (number, head, len(packed)))
        self._write(packed)
        self._write(b"\nendstream\nendobj\n")

    def _write(self, content: bytes) -> None:
        self._file.write(content)
        self._seal.update(content)
        self._at += len(content)


def _entry(kind: int, place: int, within: int) -> bytes:
    parts = zip((kind, place, within), WIDTHS, strict=True)
    return b"".join(value.to_bytes(width, "big") for value, width in parts)
