"""Sweeps as CSV: one row for each point, or one row for each frequency; the header has the units.

* ``parameter,end,pairs,frequency_mhz,value_db,re,im``: the form in which the service
  gives measurements; ``value_db``, or ``re`` and ``im``, linear; ``end`` is empty where
  a parameter has none.
* ``frequency_mhz,next near 12-36 db,insertion_loss 12 db,…``: a column for each sweep,
  named by parameter, end, pairs and unit; ``re`` and ``im`` stand in two columns. A cell
  that is empty is a point that was not measured.

The frequency may stand in ``frequency_khz`` or ``frequency_hz``. With semicolons between
the columns a number may have a decimal comma.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

from fourpair_service.domain.parameters import TRAITS
from fourpair_service.http.json_body import UnreadableBodyError
from fourpair_service.http.schemas.curves import SWEPT
from fourpair_service.reports.spreadsheet import plain_text

FREQUENCIES: Final = {"frequency_mhz": 1.0, "frequency_khz": 1e3, "frequency_hz": 1e6}
LONG_NAMES: Final = ("parameter", "end", "pairs")
VALUES: Final = {"value_db": "db", "re": "re", "im": "im"}
UNITS: Final = ("db", "re", "im")
ENDS: Final = ("near", "far")
NUMBER: Final = re.compile(r"[+-]?\d{1,30}(\.\d{1,30})?([eE][+-]?\d{1,3})?", re.ASCII)
LONGEST_CELL: Final = 100

# (parameter, end, pairs), end empty where there is none.
Place = tuple[str, str, str]


class _Table:
    """The rows of a file, with where they stand for messages."""

    def __init__(self, name: str, content: bytes) -> None:
        self.name = name
        try:
            text = content.decode("utf-8-sig")
        except UnicodeDecodeError as error:
            raise UnreadableBodyError(
                f"{name} is no UTF-8 text (byte {error.start}); save it as UTF-8."
            ) from None
        first = text.partition("\n")[0]
        self._has_semicolons = ";" in first and "," not in first
        self._rows = csv.reader(io.StringIO(text, newline=""), delimiter=";" if self._has_semicolons else ",")
        header = next(self._read(), None)
        if not header or not any(header):
            raise UnreadableBodyError(f"{name} is empty; its first line names the columns.")
        self.header = [cell.strip().casefold() for cell in header]
        twice = next((cell for i, cell in enumerate(self.header) if cell in self.header[:i]), None)
        if twice is not None:
            raise self.refuse(f"the column {twice!r} stands there twice")

    def refuse(self, detail: str, column: str | None = None) -> UnreadableBodyError:
        """Return the error for something wrong in the row that was read last."""
        place = "" if column is None else f", column {column!r}"
        return UnreadableBodyError(f"{self.name}, line {self._rows.line_num}{place}: {detail}.")

    def _read(self) -> Iterator[list[str]]:
        try:
            yield from self._rows
        except csv.Error as error:
            raise UnreadableBodyError(
                f"{self.name}, line {self._rows.line_num}: it is no CSV ({error})."
            ) from None

    def rows(self) -> Iterator[dict[str, str]]:
        """Yield the rows by column, empty ones left out."""
        for row in self._read():
            if not any(row):
                continue
            if len(row) != len(self.header):
                raise self.refuse(f"it has {len(row)} columns and the header {len(self.header)}")
            yield {name: cell.strip() for name, cell in zip(self.header, row, strict=True)}

    def number(self, row: Mapping[str, str], column: str) -> float:
        """Return the number of a cell."""
        text = row[column]
        plain = text.replace(",", ".") if self._has_semicolons else text
        if not NUMBER.fullmatch(plain):
            raise self.refuse(f"{text[:LONGEST_CELL]!r} is no number in plain digits", column)
        return float(plain)


def _place(table: _Table, parameter: str, end: str, pairs: str, column: str) -> Place:
    known = SWEPT.get(parameter)
    if known is None:
        raise table.refuse(f"{parameter[:LONGEST_CELL]!r} is none of {', '.join(SWEPT)}", column)
    has_ends = TRAITS[known].has_ends
    if has_ends != (end in ENDS) or (end and not has_ends):
        expected = "near or far" if has_ends else "no end"
        raise table.refuse(f"{parameter} has {expected}, not {end[:LONGEST_CELL]!r}", column)
    if pairs not in TRAITS[known].keys:
        detail = f"{pairs[:LONGEST_CELL]!r} is none of {', '.join(TRAITS[known].keys)}"
        raise table.refuse(detail, column)
    return parameter, end, pairs


class _Curves:
    """Points, gathered by sweep."""

    def __init__(self, table: _Table, most: int) -> None:
        self._table, self._most, self._left = table, most, most
        self.found: dict[Place, dict[str, list[float]]] = {}

    def put(self, place: Place, frequency_mhz: float, values: Mapping[str, float]) -> None:
        """Add a point."""
        self._left -= 1
        if self._left < 0:
            raise self._table.refuse(f"there are over {self._most} points, more than is read")
        curve = self.found.setdefault(place, {"frequency_mhz": [], **{unit: [] for unit in values}})
        if curve.keys() - {"frequency_mhz"} != values.keys():
            raise self._table.refuse(
                f"{' '.join(filter(None, place))} is in dB in one row and linear in another"
            )
        curve["frequency_mhz"].append(frequency_mhz)
        for unit, value in values.items():
            curve[unit].append(value)


def _units(table: _Table, given: Sequence[str], what: str) -> None:
    if sorted(given) not in (["db"], ["im", "re"]):
        raise table.refuse(f"{what} needs dB, or re and im together")


def _read_long(table: _Table, frequency: str, curves: _Curves) -> None:
    unknown = [c for c in table.header if c not in (*LONG_NAMES, frequency, *VALUES)]
    if unknown or not set(LONG_NAMES) <= set(table.header):
        told = f"{', '.join(LONG_NAMES)}, {frequency} and {', '.join(VALUES)}"
        raise table.refuse(f"the columns are {told}; {(unknown or ['one'])[0]!r} is not, or is missing")
    columns = [column for column in VALUES if column in table.header]
    for row in table.rows():
        parameter, end, pairs = (plain_text(row[name]) for name in LONG_NAMES)
        place = _place(table, parameter, end, pairs, "parameter")
        given = {VALUES[c]: table.number(row, c) for c in columns if row[c]}
        _units(table, list(given), "a point")
        curves.put(place, table.number(row, frequency) / FREQUENCIES[frequency], given)


def _named(table: _Table, column: str) -> tuple[Place, str]:
    *words, unit = column.split() or [""]
    if unit not in UNITS or len(words) not in (2, 3):
        detail = "a column is named as 'next near 12-36 db' or 'insertion_loss 12 db'; re and im stand in two"
        raise table.refuse(detail, column)
    parameter, end, pairs = (words[0], "", words[1]) if len(words) == 2 else words
    return _place(table, parameter, end, pairs, column), unit


def _read_wide(table: _Table, frequency: str, curves: _Curves) -> None:
    sweeps: dict[Place, dict[str, str]] = {}
    for column in table.header:
        if column != frequency:
            place, unit = _named(table, column)
            sweeps.setdefault(place, {})[unit] = column
    for place, units in sweeps.items():
        _units(table, list(units), " ".join(filter(None, place)))
    for row in table.rows():
        frequency_mhz = table.number(row, frequency) / FREQUENCIES[frequency]
        for place, units in sweeps.items():
            given = {unit: table.number(row, column) for unit, column in units.items() if row[column]}
            if given:
                _units(table, list(given), " ".join(filter(None, place)))
                curves.put(place, frequency_mhz, given)


def read_sweeps_csv(name: str, content: bytes, *, points: int) -> dict[str, Any]:
    """Return the sweeps of a file, as they stand in a measurement document, each with its own axis.

    Args:
        name: of the file, for messages.
        content: its bytes.
        points: most points in all.

    Raises:
        UnreadableBodyError: with the line and the column.
    """
    table = _Table(name, content)
    frequency = next((column for column in table.header if column in FREQUENCIES), None)
    if frequency is None:
        raise table.refuse(f"no column is {' or '.join(FREQUENCIES)}")
    curves = _Curves(table, points)
    (_read_long if LONG_NAMES[0] in table.header else _read_wide)(table, frequency, curves)
    if not curves.found:
        raise table.refuse("no sweep has a point")
    sweeps: dict[str, Any] = {}
    for (parameter, end, pairs), curve in curves.found.items():
        own = sweeps.setdefault(parameter, {})
        (own.setdefault(end, {}) if end else own)[pairs] = curve
    return sweeps
