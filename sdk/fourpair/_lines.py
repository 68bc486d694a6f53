"""Many measurements, one a line, each answered in its place."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from itertools import islice
from typing import Any

from fourpair._errors import FourpairError, InvalidMeasurementError, TransportError
from fourpair._kept import BatchItem
from fourpair._measurement import checked
from fourpair._transport import NDJSON, Send, encoded

# How many measurements go into one request of many.
SENT_TOGETHER = 12


def line_of(measurement: Mapping[str, Any]) -> bytes:
    """Return a measurement as a line of JSON.

    Raises:
        InvalidMeasurementError: it cannot be right, or cannot be written as JSON.
    """
    document = checked(measurement)
    try:
        return encoded(document)
    except FourpairError as error:
        raise InvalidMeasurementError([{"pointer": "", "detail": str(error)}]) from error


def refused_here(index: int, document: Any, error: InvalidMeasurementError) -> BatchItem:
    """Return what became of a measurement that was not sent."""
    label = document.get("label") if isinstance(document, Mapping) else None
    problem = {"code": "invalid-measurement", "title": str(error), "errors": list(error.errors)}
    return BatchItem(index=index, result="refused", label=label, problem=problem, raw={"problem": problem})


def answered_lines(
    send: Send, path: str, query: Mapping[str, Any], measurements: Iterable[Mapping[str, Any]]
) -> Iterator[tuple[Mapping[str, Any], dict[str, Any] | InvalidMeasurementError]]:
    """Yield each measurement with the answer of a stream of the service to it, sent by the dozen as needed.

    One that cannot be right is not sent: its error stands in its place. Sending a dozen
    again has no second effect, so no request carries a key.

    Raises:
        TransportError: no answer arrived, or it was cut.
    """
    rest = iter(measurements)
    while dozen := list(islice(rest, SENT_TOGETHER)):
        lines = [_line_or_error(each) for each in dozen]
        answers = iter(_answers(send, path, query, [line for line in lines if isinstance(line, bytes)]))
        for each, line in zip(dozen, lines, strict=True):
            yield each, next(answers) if isinstance(line, bytes) else line


def _line_or_error(measurement: Mapping[str, Any]) -> bytes | InvalidMeasurementError:
    try:
        return line_of(measurement)
    except InvalidMeasurementError as error:
        return error


def _answers(send: Send, path: str, query: Mapping[str, Any], lines: list[bytes]) -> list[dict[str, Any]]:
    if not lines:
        return []
    content = b"\n".join(lines)
    answer = send("POST", path, params=query, content=content, content_type=NDJSON, is_write=False)
    return _whole(answer.content, len(lines))


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
