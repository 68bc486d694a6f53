"""One table of a workbook: heads that stay, filters, marks by condition, and text that is only ever text."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from typing import Any, Final, NamedTuple

from xlsxwriter import Workbook
from xlsxwriter.format import Format
from xlsxwriter.worksheet import Worksheet

from fourpair_service.reports.inks import FAINT, INK, MUTED, OUTSIDE, OUTSIDE_FILL
from fourpair_service.reports.language import Language, printable
from fourpair_service.reports.sheet.saying import FAILING

# What a cell and a name of a sheet may hold (Excel specifications and limits, Microsoft).
MOST_CHARACTERS: Final = 32_767
MOST_NAME_UNITS: Final = 31
_NOT_IN_NAMES: Final = re.compile(r"[\[\]:*?/\\]")
# A name that Excel keeps for itself, in every language that it is translated to here.
RESERVED: Final = frozenset({"history", "verlauf", ""})
WIDEST: Final = 60.0
Cell = str | float | int | bool | datetime | None


def cell_text(text: str) -> str:
    """Return text as a cell can hold it; what cannot be seen is shown as replaced."""
    return printable(text, MOST_CHARACTERS)


def sheet_name(text: str, taken: set[str]) -> str:
    """Return a legal name for a sheet that no other has, and note it as taken.

    >>> taken = set()
    >>> sheet_name("A/1", taken), sheet_name("a:1", taken), sheet_name("'=1'", taken)
    ('A_1', 'a_1~2', '=1')
    """
    wanted = _NOT_IN_NAMES.sub("_", printable(text, MOST_CHARACTERS)).strip("' ")
    number, name = 1, _cut(wanted, MOST_NAME_UNITS)
    while name.casefold() in taken | RESERVED:
        number += 1
        name = _cut(wanted, MOST_NAME_UNITS - len(f"~{number}")) + f"~{number}"
    taken.add(name.casefold())
    return name


def _cut(text: str, units: int) -> str:
    """Return as much of a text as has so many units of UTF-16."""
    whole = text.encode("utf-16-le")[: 2 * units]
    return whole.decode("utf-16-le", "ignore").rstrip("' ")


class Head(NamedTuple):
    """The head of a column.

    Attributes:
        form: a name in the formats of a book: ``text``, ``number``, ``whole``, ``day``.
        width: in characters.
        role: ``outcome`` or ``margin`` where marks follow from the value.
    """

    text: str
    form: str = "text"
    width: float = 14.0
    role: str = ""


def formats_of(book: Workbook) -> dict[str, Format]:
    """Return the formats of a book by name."""
    looks: Mapping[str, Mapping[str, Any]] = {
        "text": {},
        "wrapped": {"text_wrap": True, "valign": "top"},
        "number": {"num_format": "0.00"},
        "whole": {"num_format": "0"},
        "frequency": {"num_format": "0.0##"},
        "day": {"num_format": "yyyy-mm-dd hh:mm", "align": "left"},
        "head": {"bold": True, "bottom": 1, "bg_color": FAINT, "text_wrap": True, "valign": "top"},
        "title": {"bold": True, "font_size": 14},
        "strong": {"bold": True},
        "failing": {"bold": True, "font_color": OUTSIDE, "bg_color": OUTSIDE_FILL},
        "open": {"italic": True, "font_color": MUTED},
    }
    return {name: book.add_format({"font_color": INK, **look}) for name, look in looks.items()}


class Table:
    """A worksheet that is filled row by row, downwards only.

    Args:
        sheet: of the workbook.
        heads: of its columns.
        formats: of the workbook.
        top: how many rows stand above the heads.
    """

    def __init__(
        self, sheet: Worksheet, heads: Sequence[Head], formats: Mapping[str, Format], top: int = 0
    ) -> None:
        self._sheet, self._heads, self._formats, self._top = sheet, heads, formats, top
        self._row = top
        for column, head in enumerate(heads):
            sheet.set_column(column, column, min(head.width, WIDEST))
            sheet.write_string(top, column, cell_text(head.text), formats["head"])

    def add(self, cells: Sequence[Cell]) -> None:
        """Write the next row."""
        self._row += 1
        for column, (head, value) in enumerate(zip(self._heads, cells, strict=True)):
            put(self._sheet, self._row, column, value, self._formats[head.form])

    def finish(self, words: Language) -> None:
        """Let the heads stay in sight, filter by them, and mark what fails."""
        last = max(self._row, self._top + 1)
        self._sheet.freeze_panes(self._top + 1, 1)
        self._sheet.autofilter(self._top, 0, last, len(self._heads) - 1)
        for column, head in enumerate(self._heads):
            for rule in self._rules(head.role, words):
                self._sheet.conditional_format(self._top + 1, column, last, column, rule)

    def _rules(self, role: str, words: Language) -> list[dict[str, Any]]:
        if role == "margin":
            return [{"type": "cell", "criteria": "<", "value": 0, "format": self._formats["failing"]}]
        if role != "outcome":
            return []
        by_state = dict.fromkeys(sorted(FAILING), "failing") | {"incomplete": "open"}
        return [
            {
                "type": "cell",
                "criteria": "==",
                "value": f'"{words.say(f"outcome.{state}")}"',
                "format": self._formats[name],
            }
            for state, name in by_state.items()
        ]


def put(sheet: Worksheet, row: int, column: int, value: Cell, form: Format) -> None:
    """Write a value as what it is; text is never read as a formula, a number or an address."""
    if value is None or value == "":
        return
    if isinstance(value, bool):
        sheet.write_boolean(row, column, value, form)
    elif isinstance(value, (int, float)):
        sheet.write_number(row, column, value, form)
    elif isinstance(value, datetime):
        sheet.write_datetime(row, column, value.astimezone(UTC).replace(tzinfo=None), form)
    else:
        sheet.write_string(row, column, cell_text(value), form)
