"""Answers that go to a file as they come, never whole into memory."""

from __future__ import annotations

from pathlib import Path

import requests

from fourpair._errors import TransportError

PIECE_BYTES = 65_536


def save(answer: requests.Response, target: Path | str) -> Path:
    """Write the body of a streamed answer to a file, which appears only when it is whole.

    Raises:
        TransportError: the answer was cut off.
    """
    path = Path(target)
    beside = path.with_name(f".{path.name}.part")
    try:
        with answer, beside.open("wb") as file:
            for piece in answer.iter_content(PIECE_BYTES):
                file.write(piece)
        beside.replace(path)
    except requests.RequestException as error:
        cut = TransportError(f"The answer was cut off before {path} was whole: {error}")
        cut.retryable = True
        raise cut from error
    finally:
        beside.unlink(missing_ok=True)
    return path
