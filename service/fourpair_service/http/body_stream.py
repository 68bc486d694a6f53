"""A body read as it comes: inflated and cut into lines in memory that does not grow with it."""

from __future__ import annotations

import zlib
from collections.abc import Callable, Iterator
from typing import IO, Final, Protocol, cast

import zstandard

from fourpair_service.http.json_body import BodyTooLargeError, UnreadableBodyError, UnsupportedBodyError

PIECE_BYTES: Final = 65_536
# Until so much has come out nobody asks how little went in. [bytes]
FREE_OUTPUT_BYTES: Final = 1_048_576
# RFC 8878, 3.1.1.1.2, recommends that decoders support windows of at least 8 MB; no more is given.
ZSTD_WINDOW_BYTES: Final = 8 * 1024 * 1024
CODINGS: Final = ("identity", "gzip", "zstd")


class Source(Protocol):
    """What a body is read from."""

    def read(self, size: int, /) -> bytes:
        """Return up to so many bytes; none at the end."""
        ...


def inflate_zstd(raw: bytes, *, most: int, ratio: int) -> bytes:
    """Return a zstd body inflated, reading no further than the limits.

    Raises:
        BodyTooLargeError: it inflates to more than ``most`` bytes or ``ratio`` times.
        UnreadableBodyError: it is not whole zstd data.
    """
    limit = min(most, max(1, len(raw)) * ratio)
    unpacker = zstandard.ZstdDecompressor(max_window_size=ZSTD_WINDOW_BYTES)
    try:
        content = unpacker.stream_reader(raw, read_across_frames=True).read(limit + 1)
        if len(content) > limit:
            raise BodyTooLargeError(
                f"The zstd body inflates to more than {limit} bytes; "
                f"at most {most} bytes and {ratio} times its own size are read."
            )
        # What is known to be small is unpacked once more, since only this tells a cut end.
        once = unpacker.decompressobj()
        once.decompress(raw)
    except zstandard.ZstdError as error:
        raise UnreadableBodyError(
            "The body is not valid zstd data (windows up to 8 MiB are read); compress it again, or send it plain "
            "without Content-Encoding."
        ) from error
    if not once.eof:
        raise UnreadableBodyError("The zstd body ends before its data does; send it again in full.")
    if once.unused_data:
        raise UnreadableBodyError("More stands behind the zstd data; send one piece of zstd data alone.")
    return content


class _Counted:
    """A source that knows how much was read of it."""

    def __init__(self, source: Source) -> None:
        self._source, self.count = source, 0

    def read(self, size: int = PIECE_BYTES, /) -> bytes:
        """Return up to so many bytes."""
        piece = self._source.read(min(size, PIECE_BYTES) if size > 0 else PIECE_BYTES)
        self.count += len(piece)
        return piece


def _plain(source: _Counted) -> Iterator[bytes]:
    while piece := source.read():
        yield piece


def _gzip(source: _Counted) -> Iterator[bytes]:
    unpacker = zlib.decompressobj(31)
    try:
        while piece := source.read():
            while piece:
                yield unpacker.decompress(piece, PIECE_BYTES)
                piece = unpacker.unconsumed_tail
            if unpacker.eof:
                if unpacker.unused_data or source.read(1):
                    raise UnreadableBodyError("More stands behind the gzip data; send one piece of it alone.")
                return
    except zlib.error as error:
        raise UnreadableBodyError("The body is not valid gzip data.") from error
    raise UnreadableBodyError("The gzip body ends before its data does; send it again in full.")


def _zstd(source: _Counted) -> Iterator[bytes]:
    unpacker = zstandard.ZstdDecompressor(max_window_size=ZSTD_WINDOW_BYTES)
    reader = unpacker.stream_reader(cast(IO[bytes], source), read_size=PIECE_BYTES, read_across_frames=True)
    try:
        while piece := reader.read(PIECE_BYTES):
            yield piece
    except zstandard.ZstdError as error:
        raise UnreadableBodyError(
            "The body is not valid zstd data (windows up to 8 MiB are read)."
        ) from error


UNPACKERS: Final[dict[str, Callable[[_Counted], Iterator[bytes]]]] = {
    "identity": _plain,
    "gzip": _gzip,
    "zstd": _zstd,
}


def check_coding(coding: str) -> str:
    """Return the content coding in small letters.

    Raises:
        UnsupportedBodyError: it is none that is read.
    """
    told = coding.strip().lower()
    if told not in CODINGS:
        raise UnsupportedBodyError(f"The content coding {told!r} is not supported; send gzip, zstd or none.")
    return told


def pieces(source: Source, coding: str, *, ratio: int) -> Iterator[bytes]:
    """Yield what a body holds, inflated, piece by piece.

    Raises:
        UnreadableBodyError: it is not what its coding says.
        BodyTooLargeError: it inflates to more than ``ratio`` times what was read.
    """
    counted, out = _Counted(source), 0
    for piece in UNPACKERS[coding](counted):
        out += len(piece)
        if coding != "identity" and out > FREE_OUTPUT_BYTES + ratio * counted.count:
            raise BodyTooLargeError(
                f"The body inflates to more than {ratio} times its own size; no more is read."
            )
        yield piece


def lines(parts: Iterator[bytes], *, most: int) -> Iterator[bytes | None]:
    """Yield the lines of a body without their ends; ``None`` for one that has over ``most`` bytes."""
    kept: list[bytes] = []
    size, is_over = 0, False
    for part in parts:
        *ended, rest = part.split(b"\n")
        for piece in ended:
            whole = size + len(piece)
            yield None if is_over or whole > most else b"".join((*kept, piece))
            kept, size, is_over = [], 0, False
        size += len(rest)
        is_over = is_over or size > most
        kept = [] if is_over else [*kept, rest]
    if size:
        yield None if is_over else b"".join(kept)
