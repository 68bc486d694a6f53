"""The table of numbers on the page of a link sheet."""

from __future__ import annotations

from typing import Final

from fourpair_service.reports.inks import FAINT, INK, MUTED, OUTSIDE
from fourpair_service.reports.paper import Paper, drawable
from fourpair_service.reports.sheet.model import LinkSheet, NumberRow
from fourpair_service.reports.sheet.pdf_rest import add_heading, rest_height
from fourpair_service.reports.tags import Kind

# Shares of the width of the table, by column.
SHARES: Final = (0.215, 0.045, 0.105, 0.07, 0.075, 0.07, 0.07, 0.07, 0.135, 0.145)
LEFT_ALIGNED: Final = frozenset({0, 1, 2, 9})
# A row of numbers is at least so high, and higher where the page has room; its type follows. [mm, pt]
ROW_HEIGHT: Final = 3.05
MOST_ROW_HEIGHT: Final = 3.4
TYPE_OF_HEIGHT: Final = 6.2 / ROW_HEIGHT
# Between columns of the table, at most. [mm]
INSET: Final = 2.0
# The type gets smaller for a long cell, but no smaller than this; then the cell is cut. [pt]
LEAST_TYPE: Final = 5.8
HEADING_HEIGHT: Final = 7.2
KEY_LINE: Final = 2.8


def numbers_height(sheet: LinkSheet) -> float:
    """Return how much room the numbers need at least. [mm]."""
    return ROW_HEIGHT * (len(sheet.rows) + 1) + HEADING_HEIGHT


def _row_height(paper: Paper, sheet: LinkSheet, room: float) -> float:
    """Return how high the rows of numbers may be, what follows them included. [mm]."""
    free = room - HEADING_HEIGHT - rest_height(paper, sheet.sections)
    return min(max(free / (len(sheet.rows) + 1), ROW_HEIGHT), MOST_ROW_HEIGHT)


def _type_size(paper: Paper, sheet: LinkSheet, row_height: float) -> float:
    """Return the size of the type that goes with a height and holds every cell. [pt]."""
    size = TYPE_OF_HEIGHT * row_height
    paper.type(size, bold=True)
    wide = [
        max(paper.get_string_width(drawable(cell)) for cell in cells)
        for cells in zip(*_printed(sheet), strict=True)
    ]
    rooms = [share * paper.inner_width - INSET for share in SHARES]
    fits = min(room / max(w, 0.1) for room, w in zip(rooms, wide, strict=True))
    return min(size, max(size * fits, LEAST_TYPE))


def _printed(sheet: LinkSheet) -> list[tuple[str, ...]]:
    return [sheet.columns, *(row.cells for row in sheet.rows)]


def add_numbers(paper: Paper, sheet: LinkSheet, y: float, foot: float) -> float:
    """Write the table, as large as the room above ``foot`` lets it be; return where it ends. [mm]."""
    row_height = _row_height(paper, sheet, foot - y)
    size = _type_size(paper, sheet, row_height)
    paper.rule(y)
    widths = [share * paper.inner_width for share in SHARES]
    add_heading(paper, sheet.numbers_heading, paper.l_margin, y + 0.4, paper.inner_width)
    beside = paper.get_string_width(sheet.numbers_heading) + 2
    paper.type(6.2, ink=MUTED)
    paper.words(sheet.numbers_note, paper.l_margin + beside, y + 3.2, paper.inner_width - beside)
    paper.words(sheet.numbers_key, paper.l_margin, y + 3.2 + KEY_LINE, paper.inner_width)
    y += HEADING_HEIGHT
    with paper.tags.around(Kind.TABLE):
        paper.type(size, bold=True, ink=MUTED)
        _cells(paper, sheet.columns, widths, y + row_height * 0.75, [Kind.COLUMN_HEAD] * len(widths))
        kinds = [Kind.ROW_HEAD, *[Kind.CELL] * (len(widths) - 1)]
        for number, row in enumerate(sheet.rows):
            y += row_height
            if number % 2 == 0:
                paper.ground(FAINT, paper.l_margin, y, paper.inner_width, row_height)
            _row_type(paper, row, size)
            _cells(paper, row.cells, widths, y + row_height * 0.75, kinds)
    return y + row_height


def _row_type(paper: Paper, row: NumberRow, size: float) -> None:
    ink = OUTSIDE if row.is_failing else MUTED if row.is_shown_only else INK
    paper.type(size, bold=row.is_failing, ink=ink)


def _cells(paper: Paper, cells: tuple[str, ...], widths: list[float], y: float, kinds: list[Kind]) -> None:
    x = paper.l_margin
    with paper.tags.around(Kind.ROW):
        for number, (cell, width) in enumerate(zip(cells, widths, strict=True)):
            align = "L" if number in LEFT_ALIGNED else "R"
            # The last column stands apart from the figures before it.
            left, right = (2.0, 0.0) if number == len(widths) - 1 else (0.0, 0.6)
            room = width - left - right
            paper.words(cell, x + left, y, room, align=align, kind=kinds[number])
            x += width
