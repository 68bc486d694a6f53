"""A measurement as it is sent: a document, or one with Touchstone files beside it."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import IO, Any

from fourpair._transport import JSON, encoded

TouchstoneSource = str | Path | bytes | IO[bytes]


def sent(
    document: Mapping[str, Any], touchstone: Mapping[str, TouchstoneSource] | None = None
) -> dict[str, Any]:
    """Return what a request carries.

    Args:
        document: the measurement; its ``touchstone`` object says which pairs and ports the files hold.
        touchstone: files by name, sent as they are and converted by the service.

    >>> sent({"configuration": "channel"})
    {'document': {'configuration': 'channel'}}
    """
    if touchstone is None:
        return {"document": document}
    parts = [("measurement", ("measurement.json", encoded(document), JSON))]
    parts += [("sweep", (name, _opened(source), "text/plain")) for name, source in touchstone.items()]
    return {"files": parts}


def _opened(source: TouchstoneSource) -> bytes:
    if isinstance(source, bytes):
        return source
    if isinstance(source, (str, Path)):
        return Path(source).read_bytes()
    return source.read()
