"""Many measurements, one a line, each answered in its place."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from itertools import islice
from typing import Any

from fourpair._errors import TransportError
from fourpair._measurement import checked
from fourpair._transport import NDJSON, Send, encoded

# How many measurements go into one request of many.
SENT_TOGETHER = 12


def answered_lines(
    send: Send, path: str, query: Mapping[str, Any], measurements: Iterable[Mapping[str, Any]]
) -> Iterator[dict[str, Any]]:
    """Yield the answer of a stream of the service to each measurement, sent by the dozen as they are needed.

    Sending a dozen again has no second effect, so no request carries a key.

    Raises:
        TransportError: no answer arrived, or it was cut.
    """
    rest = iter(measurements)
    while lines := [encoded(checked(each)) for each in islice(rest, SENT_TOGETHER)]:
        answer = send(
            "POST",
            path,
            params=query,
            content=b"\n".join(lines),
            content_type=NDJSON,
            is_write=False,
        )
        yield from _whole(answer.content, len(lines))


def _whole(content: bytes, count: int) -> list[dict[str, Any]]:
    """Return the lines of a stream's answer, without its end.

    Raises:
        TransportError: it was cut: not every measurement has a line, or the end is missing.
    """
    found = [json.loads(line) for line in content.splitlines()]
    end = found.pop() if found and "end" in found[-1] else {}
    if len(found) != count or not end.get("end", {}).get("complete"):
        why = end.get("problem", {}).get("detail", "the answer was cut")
        raise TransportError(f"Only {len(found)} of {count} measurements were answered: {why}")
    return found
