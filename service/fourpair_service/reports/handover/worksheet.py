"""One table of a workbook: heads that stay, filters, marks by condition, and text that is only ever text.

Programs differ in whether they fit the height of a row to what is in it when a file is opened, so each row
says its own.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from typing import Any, Final, NamedTuple

from xlsxwriter import Workbook
from xlsxwriter.format import Format
from xlsxwriter.utility import xl_rowcol_to_cell
from xlsxwriter.worksheet import Worksheet

from fourpair_service.reports.inks import FAINT, INK, MUTED, OUTSIDE, OUTSIDE_FILL, RULE
from fourpair_service.reports.language import Language, printable
from fourpair_service.reports.paper import PaperSize
from fourpair_service.reports.sheet.saying import FAILING

# What a cell and a name of a sheet may hold (Excel specifications and limits, Microsoft).
MOST_CHARACTERS: Final = 32_767
MOST_NAME_UNITS: Final = 31
_NOT_IN_NAMES: Final = re.compile(r"[\[\]:*?/\\]")
# A name that Excel keeps for itself, in every language that it is translated to here.
RESERVED: Final = frozenset({"history", "verlauf", ""})
WIDEST: Final = 60.0
# Of a line of the type of a workbook. [pt]
LINE_HEIGHT: Final = 15.0
# What a row can be high at most. [pt]
MOST_HEIGHT: Final = 405.0
# As workbooks number the sizes of paper (ECMA-376-1, 18.3.1.63).
PAPERS: Final = {PaperSize.LETTER: 1, PaperSize.A4: 9}
# What a foot of a page holds at most, before it is written twice as long where every "&" is doubled.
MOST_FOOT_CHARACTERS: Final = 80
MARGIN_INCHES: Final = 0.5
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
        form: a name in the formats of a book: ``text`` (``beside`` figures), ``wrapped``, ``number``, ``whole``, ``day``.
        width: in characters.
        role: ``outcome`` or ``margin`` where marks follow from the value.
    """

    text: str
    form: str = "text"
    width: float = 14.0
    role: str = ""


def formats_of(book: Workbook) -> dict[str, Format]:
    """Return the formats of a book by name."""
    row = {"valign": "top", "bottom": 4, "bottom_color": RULE}
    # Figures stand apart from the words in the next column by the width of brackets that are not there; an
    # indent from the right is not kept by every program.
    figure = {**row, "align": "right"}
    head = {"bold": True, "bottom": 1, "bg_color": FAINT, "text_wrap": True, "valign": "top"}
    looks: Mapping[str, Mapping[str, Any]] = {
        "text": row,
        "beside": {**row, "align": "left", "indent": 1},
        "wrapped": {**row, "text_wrap": True, "align": "left", "indent": 1},
        "number": {**figure, "num_format": "0.00_)_)"},
        "whole": {**figure, "num_format": "0_)_)"},
        "frequency": {**figure, "num_format": "0.0##_)_)"},
        "day": {**row, "num_format": "yyyy-mm-dd hh:mm", "align": "left"},
        "head": head,
        "head_figure": {**head, "align": "right"},
        "head_beside": {**head, "align": "left", "indent": 1},
        "plain": {"valign": "top"},
        "said": {"text_wrap": True, "valign": "top"},
        "count": {"num_format": "0", "align": "left", "valign": "top"},
        "moment": {"num_format": "yyyy-mm-dd hh:mm", "align": "left", "valign": "top"},
        "title": {"bold": True, "font_size": 14},
        "name": {"bold": True},
        "strong": {"bold": True, "text_wrap": True, "valign": "top"},
        "failing": {"bold": True, "font_color": OUTSIDE, "bg_color": OUTSIDE_FILL},
        "open": {"italic": True, "font_color": MUTED},
    }
    return {name: book.add_format({"font_color": INK, **look}) for name, look in looks.items()}


# Above figures and long text a head stands as they do.
HEADS: Final = dict.fromkeys(("number", "whole", "frequency"), "head_figure") | dict.fromkeys(
    ("wrapped", "beside"), "head_beside"
)


def lines_of(text: str, width: float) -> int:
    """Return how many lines a text takes in a column, rather one too many. [characters].

    >>> lines_of("pairs put right", 60), lines_of("pairs put right", 10)
    (1, 2)
    """
    return sum(max(len(textwrap.wrap(line, max(int(width), 1))), 1) for line in text.split("\n"))


def set_height(sheet: Worksheet, row: int, lines: int) -> None:
    """Make a row high enough for so many lines; before anything is written into it."""
    if lines > 1:
        sheet.set_row(row, min(lines * LINE_HEIGHT, MOST_HEIGHT))


def for_paper(
    sheet: Worksheet, size: PaperSize, foot: str, words: Language, *, is_wide: bool, heads_row: int | None
) -> None:
    """Have a sheet printed as people would: all columns on a page, heads on each, pages numbered.

    Args:
        sheet: of the workbook.
        size: of the paper.
        foot: what the page is of.
        words: the language.
        is_wide: whether the paper lies on its side.
        heads_row: a row that stands on every page.
    """
    (sheet.set_landscape if is_wide else sheet.set_portrait)()
    sheet.set_paper(PAPERS[size])
    sheet.fit_to_pages(1, 0)
    sheet.set_margins(left=MARGIN_INCHES, right=MARGIN_INCHES, top=MARGIN_INCHES, bottom=MARGIN_INCHES * 1.5)
    if heads_row is not None:
        sheet.repeat_rows(heads_row)
    # "&" begins a code there.
    said = printable(foot, MOST_FOOT_CHARACTERS).replace("&", "&&")
    number = words.say("handover.page_of", page="&P", pages="&N")
    sheet.set_footer(f"&L&8{' ' if said[:1].isdigit() else ''}{said}&R&8{number}")


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
        set_height(sheet, top, max(lines_of(head.text, head.width) for head in heads))
        for column, head in enumerate(heads):
            sheet.write_string(top, column, cell_text(head.text), formats[HEADS.get(head.form, "head")])

    def add(self, cells: Sequence[Cell]) -> None:
        """Write the next row."""
        self._row += 1
        wrapped = [
            lines_of(value, head.width - 2)
            for head, value in zip(self._heads, cells, strict=True)
            if head.form == "wrapped" and isinstance(value, str)
        ]
        set_height(self._sheet, self._row, max(wrapped, default=1))
        for column, (head, value) in enumerate(zip(self._heads, cells, strict=True)):
            put(self._sheet, self._row, column, value, self._formats[head.form])

    def above(self, row: int, text: str, look: str = "said") -> None:
        """Write a text over all columns in a row above the heads; only where rows are in memory."""
        set_height(self._sheet, row, lines_of(text, sum(head.width for head in self._heads)))
        self._sheet.merge_range(row, 0, row, len(self._heads) - 1, cell_text(text), self._formats[look])

    def say(self, text: str) -> None:
        """Say why there is no row, where there is none."""
        if self._row == self._top:
            self._sheet.write_string(self._top + 1, 0, cell_text(text), self._formats["open"])

    def finish(self, words: Language) -> None:
        """Let the heads stay in sight, filter by them, and mark what fails."""
        last = max(self._row, self._top + 1)
        self._sheet.freeze_panes(self._top + 1, 1)
        self._sheet.autofilter(self._top, 0, last, len(self._heads) - 1)
        # The first margin belongs to the first answer, the second to the second; some tables have answers alone.
        answers = self._of_role("outcome")
        for column in answers:
            self._mark(column, last, self._answer_rules(words))
        for column, answer in zip(self._of_role("margin"), answers, strict=False):
            self._mark(column, last, [self._margin_rule(column, answer, words)])

    def _of_role(self, role: str) -> list[int]:
        return [column for column, head in enumerate(self._heads) if head.role == role]

    def _mark(self, column: int, last: int, rules: Sequence[dict[str, Any]]) -> None:
        for rule in rules:
            self._sheet.conditional_format(self._top + 1, column, last, column, rule)

    def _margin_rule(self, column: int, answer: int, words: Language) -> dict[str, Any]:
        """Return what marks a margin that fails; of what is only shown a margin below 0 fails nothing."""
        margin, word = (xl_rowcol_to_cell(self._top + 1, place, col_abs=True) for place in (column, answer))
        failing = ",".join(f'{word}="{words.say(f"outcome.{state}")}"' for state in sorted(FAILING))
        told = f"=AND({margin}<0,OR({failing}))"
        return {"type": "formula", "criteria": told, "format": self._formats["failing"]}

    def _answer_rules(self, words: Language) -> list[dict[str, Any]]:
        by_state = dict.fromkeys(sorted(FAILING), "failing") | {"incomplete": "open", "shown": "open"}
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
        sheet.write_blank(row, column, None, form)
    elif isinstance(value, bool):
        sheet.write_boolean(row, column, value, form)
    elif isinstance(value, (int, float)):
        sheet.write_number(row, column, value, form)
    elif isinstance(value, datetime):
        sheet.write_datetime(row, column, value.astimezone(UTC).replace(tzinfo=None), form)
    else:
        sheet.write_string(row, column, cell_text(value), form)
