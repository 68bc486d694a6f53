"""Digests made again from what the service shows, so that a shop need not take its word.

A measurement's digest covers the document without its long lists of numbers as
canonical JSON (sorted keys, no spaces, UTF-8), and those lists as IEEE 754 bytes.
"""

from __future__ import annotations

import json
import sys
from array import array
from collections.abc import Iterator, Mapping, Sequence
from hashlib import sha256
from typing import Any

from fourpair._kept import Record, Revision

# A shorter list is part of the document.
SHORTEST_CURVE = 8
LARGEST_EXACT_INTEGER = 2**53

Path = tuple[str | int, ...]


def canonical_json(value: Any) -> bytes:
    """Return the one byte string of a value.

    >>> canonical_json({"b": 1, "a": 2.0})
    b'{"a":2.0,"b":1}'
    """
    return json.dumps(
        value, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False
    ).encode()


def digest(content: bytes) -> str:
    """Return ``sha256:`` and the hexadecimal digest."""
    return f"sha256:{sha256(content).hexdigest()}"


def _is_curve(value: list[Any]) -> bool:
    if len(value) < SHORTEST_CURVE or not {type(n) for n in value} <= {int, float}:
        return False
    return all(type(n) is float or abs(n) <= LARGEST_EXACT_INTEGER for n in value)


def _parted(value: Any, path: Path, curves: list[tuple[Path, list[Any]]]) -> Any:
    if isinstance(value, Mapping):
        return {name: _parted(item, (*path, name), curves) for name, item in value.items()}
    if not isinstance(value, list):
        return value
    if _is_curve(value):
        curves.append((path, value))
        return None
    return [_parted(item, (*path, i), curves) for i, item in enumerate(value)]


def _packed_bits(flags: Sequence[bool]) -> bytes:
    padded = [*flags, *[False] * (-len(flags) % 8)]
    return bytes(
        sum(bit << (7 - place) for place, bit in enumerate(padded[i : i + 8]))
        for i in range(0, len(padded), 8)
    )


def measurement_digest(document: Mapping[str, Any], tester: str | None) -> str:
    """Return the digest of a measurement as it was sent.

    Args:
        document: the measurement.
        tester: id of the person who tested; it stands in the digest in place of the name.
    """
    curves: list[tuple[Path, list[Any]]] = []
    rest = _parted(document, (), curves)
    if tester is not None:
        rest = {**rest, "tested_by": tester}
    total = sha256(b"fourpair curves 1\n")
    for path, values in sorted((canonical_json(list(path)), values) for path, values in curves):
        numbers = array("d", values)
        if sys.byteorder == "big":
            numbers.byteswap()
        total.update(b"%b\n%d\n" % (path, len(values)))
        total.update(numbers.tobytes())
        integers = [type(value) is int for value in values]
        if any(integers):
            total.update(_packed_bits(integers))
    return digest(canonical_json([rest, f"sha256:{total.hexdigest()}"]))


def chain_breaks(record: Record, revisions: Sequence[Revision]) -> Iterator[str]:
    """Yield where the revisions of a record do not hang together."""
    numbers = [revision.number for revision in revisions]
    if numbers != list(range(1, record.revision + 1)):
        yield f"its revisions are numbered {numbers}, and the record is at {record.revision}"
    previous = None
    for revision in revisions:
        if revision.previous_digest != previous:
            yield f"revision {revision.number} follows on another revision than the one before it"
        previous = revision.digest
    if previous != record.digest:
        yield f"the record shows {record.digest}, its newest revision {previous}"


def content_breaks(
    revision: Revision, measurement: Mapping[str, Any], verdict: Mapping[str, Any]
) -> Iterator[str]:
    """Yield where measurement or verdict are not those that a revision was sealed with."""
    tester = revision.raw.get("tester")
    # A name that was erased is no longer in the document, and is not covered either.
    found = {
        "measurement": (revision.measurement_digest, measurement_digest(measurement, tester)),
        "verdict": (revision.verdict_digest, digest(canonical_json(verdict))),
    }
    for what, (sealed, again) in found.items():
        if sealed != again:
            yield f"revision {revision.number}: its {what} was sealed as {sealed}, what is shown gives {again}"
    if revision.outcome != verdict.get("outcome"):
        yield f"revision {revision.number}: it says {revision.outcome}, its verdict {verdict.get('outcome')}"
