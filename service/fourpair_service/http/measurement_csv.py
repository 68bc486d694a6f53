"""The sweeps of a measurement as CSV: one row for each point."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, Final

from fourpair_service.http.schemas.axis import read_axis
from fourpair_service.records.curves import Document
from fourpair_service.reports.spreadsheet import csv_text

HEADER: Final = ("parameter", "end", "pairs", "frequency_mhz", "value_db", "re", "im")
ENDS: Final = frozenset({"near", "far"})


def _curves(sweeps: Mapping[str, Any]) -> Iterator[tuple[str, str, str, Any]]:
    for parameter, own in sweeps.items():
        by_end = own if own and set(own) <= ENDS else {"": own}
        for end, curves in by_end.items():
            for pairs, curve in curves.items():
                yield parameter, end, pairs, curve


def _values(curve: Any) -> Iterator[tuple[Any, Any, Any]]:
    if isinstance(curve, list):
        yield from ((value, "", "") for value in curve)
    elif "db" in curve:
        yield from ((value, "", "") for value in curve["db"])
    else:
        yield from (("", re, im) for re, im in zip(curve["re"], curve["im"], strict=True))


def _rows(document: Document) -> Iterator[tuple[object, ...]]:
    common = document.get("frequency_mhz")
    for parameter, end, pairs, curve in _curves(document.get("sweeps", {})):
        own = curve.get("frequency_mhz", common) if isinstance(curve, dict) else common
        axis = read_axis(own).frequency_mhz.tolist()
        for frequency, values in zip(axis, _values(curve), strict=True):
            yield parameter, end, pairs, frequency, *values


def measurement_csv(document: Document) -> str:
    """Return the sweeps of a measurement document; a value is in dB, or linear as re and im."""
    return csv_text(HEADER, _rows(document))
