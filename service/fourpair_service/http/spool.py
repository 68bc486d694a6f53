"""What a client is not yet ready to take, kept on disk, so that it can go on sending.

Many clients send all before they read any: a server that answers as it reads and
waits for them would wait for ever.
"""

from __future__ import annotations

import select
import socket
import tempfile
from collections.abc import Iterable, Iterator
from typing import Any, Final

IN_MEMORY_BYTES: Final = 1_048_576
MOST_BYTES: Final = 1 << 30
PIECE_BYTES: Final = 16_384


def _can_take(connection: socket.socket | None) -> bool:
    if connection is None:
        return True
    return bool(select.select([], [connection], [], 0)[1])


def unhurried(answers: Iterable[bytes], connection: socket.socket | None) -> Iterator[bytes]:
    """Yield answers in order, each as soon as the other side takes it; what it does not take waits on disk.

    Args:
        answers: taken as they come, whether or not the last one was sent.
        connection: to the client; ``None`` where it takes everything at once.
    """
    with tempfile.SpooledTemporaryFile(max_size=IN_MEMORY_BYTES) as waiting:
        written = read = 0
        for answer in answers:
            if read == written and _can_take(connection):
                yield answer
                continue
            _append(waiting, written, answer)
            written += len(answer)
            while read < written and (_can_take(connection) or written - read > MOST_BYTES):
                piece = _piece(waiting, read)
                read += len(piece)
                yield piece
            if read == written:
                waiting.truncate(0)
                read = written = 0
        while read < written:
            piece = _piece(waiting, read)
            read += len(piece)
            yield piece


def _append(file: Any, at: int, content: bytes) -> None:
    file.seek(at)
    file.write(content)


def _piece(file: Any, at: int) -> bytes:
    file.seek(at)
    return bytes(file.read(PIECE_BYTES))
