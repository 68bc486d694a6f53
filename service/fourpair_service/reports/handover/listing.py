"""All links of a handover: as marks at a glance, and as a table."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

from fourpair_service.reports.handover.model import MISSING, LinkLine
from fourpair_service.reports.handover.pages import Book, Column, fitted_columns
from fourpair_service.reports.inks import FAINT, INK, MUTED, OUTSIDE
from fourpair_service.reports.language import FEET_PER_METRE, Language, LengthUnit
from fourpair_service.reports.paper import drawable
from fourpair_service.reports.sheet.saying import FAILING, capitalised
from fourpair_service.reports.tags import Kind

# As many cells in a row as let most labels be read.
CELLS_ACROSS: Final = (6, 5, 4, 3)
MOST_CUT: Final = 0.05
CELL_HEIGHT: Final = 5.4
ROW_HEIGHT: Final = 4.4
GAP: Final = 6.0
LABEL_TYPE: Final = 7.6
STATE_TYPE: Final = 6.8
# What mark, word and gap take of a cell. [mm]
BESIDE_LABEL: Final = 21.0
TYPE: Final = 6.6
# Of what fails, in a cell.
MOST_NAMED: Final = 2
# What the mark of an answer takes of the width of a page.
MARK_SHARE: Final = 0.026
NONE: Final = "–"  # noqa: RUF001 - a dash for an empty cell


def ink_of(state: str) -> str:
    """Return the colour in which an answer is written; its mark and word say the same."""
    return OUTSIDE if state in FAILING else INK if state not in ("incomplete", MISSING) else MUTED


def add_picture(book: Book, lines: Sequence[LinkLine]) -> None:
    """Draw every link as a mark with its label and answer, down and then across."""
    words = book.words
    book.begin(words.say("handover.picture"))
    book.text(words.say("handover.picture_how"), size=8)
    book.y += 2
    across = _across(book, lines)
    at = 0
    with book.paper.tags.around(Kind.LIST):
        while at < len(lines):
            rows = int((book.bottom - book.y) / CELL_HEIGHT)
            # Filled evenly, so that a job of few links is no single tall column.
            rows = max(1, min(rows, -(-(len(lines) - at) // across)))
            shown = lines[at : at + rows * across]
            _cells(book, shown, rows, across)
            at += len(shown)
            if at < len(lines):
                book.need(book.paper.h)


def _across(book: Book, lines: Sequence[LinkLine]) -> int:
    """Return how many cells stand in a row."""
    paper = book.paper
    paper.type(LABEL_TYPE, bold=True)
    widths = [paper.get_string_width(drawable(line.label)) for line in lines]
    for across in CELLS_ACROSS:
        room = paper.inner_width / across - BESIDE_LABEL
        if sum(width > room for width in widths) <= MOST_CUT * len(widths):
            return across
    return CELLS_ACROSS[-1]


def _cells(book: Book, lines: Sequence[LinkLine], rows: int, across: int) -> None:
    paper, words = book.paper, book.words
    width = paper.inner_width / across
    for number, line in enumerate(lines):
        x = paper.l_margin + number // rows * width
        y = book.y + number % rows * CELL_HEIGHT
        book.mark(line.state, x, y + 0.5, 4.2)
        word = words.say(f"handover_state.{line.state}")
        paper.type(STATE_TYPE)
        room = paper.get_string_width(word) + 1
        with paper.tags.around(Kind.ITEM), paper.tags.around(Kind.ITEM_BODY):
            paper.type(LABEL_TYPE, bold=True)
            paper.words(line.label, x + 5, y + 3.6, width - 5 - GAP - room, kind=Kind.SPAN)
            paper.type(STATE_TYPE, ink=ink_of(line.state))
            paper.words(word, x, y + 3.6, width - GAP, align="R", kind=Kind.SPAN)
    book.y += rows * CELL_HEIGHT


def _columns(words: Language) -> tuple[Column, ...]:
    unit = words.length_unit.value
    return (
        Column("", MARK_SHARE),
        Column(words.say("handover.label"), 0.0, is_head=True, is_flexible=True),
        Column(capitalised(words.say("column.outcome")), 0.0),
        Column(f"{capitalised(words.say('column.margin'))} (dB)", 0.0, True),
        Column(words.say("handover.decides"), 0.0, is_flexible=True),
        Column(f"{words.say('handover.length')} ({unit})", 0.0, True),
        Column(words.say("handover.asked_column"), 0.0, is_flexible=True),
        Column(words.say("handover.tested"), 0.0),
        Column(words.say("handover.revision"), 0.0, True),
        Column(words.say("handover.sheet_page"), 0.0, True),
    )


def add_table(book: Book, lines: Sequence[LinkLine], sheet_pages: Mapping[str, int]) -> None:
    """Write a row for each link.

    Args:
        book: its pages.
        lines: of all links.
        sheet_pages: on which page the sheet of a record stands.
    """
    words = book.words
    book.begin(words.say("handover.table"))
    rows = [_cells_of(line, sheet_pages.get(line.record or ""), words) for line in lines]
    columns = fitted_columns(book.paper, _columns(words), rows, TYPE)
    with book.table(columns, TYPE):
        for number, (line, cells) in enumerate(zip(lines, rows, strict=True)):
            if book.need(ROW_HEIGHT):
                book.head_again(columns, TYPE)
            if number % 2 == 0:
                book.paper.ground(FAINT, book.paper.l_margin, book.y, book.paper.inner_width, ROW_HEIGHT)
            book.mark(line.state, book.paper.l_margin + 0.3, book.y + 0.6, 3.3)
            book.paper.type(TYPE, ink=ink_of(line.state))
            book.row(columns, cells, ROW_HEIGHT)


def _cells_of(line: LinkLine, page: int | None, words: Language) -> tuple[str, ...]:
    if line.record is None:
        return ("", line.label, words.say("handover.missing"), *[""] * 7)
    margin = NONE if line.headroom_db is None else words.number(line.headroom_db, 2)
    where = line.where or _first_of(line.failing, words)
    requirement = capitalised(line.requirement.partition(" (")[0])
    day = words.day(line.tested_at[:10]) if line.tested_at else NONE
    outcome = words.say(f"outcome.{line.state}").lower()
    length = length_text(line.length_m, words)
    number = str(line.revision), str(page or "")
    return ("", line.label, outcome, margin, where or NONE, length, requirement, day, *number)


def _first_of(names: Sequence[str], words: Language) -> str:
    """Return some names, and how many more there are."""
    said, left = ", ".join(names[:MOST_NAMED]), len(names) - MOST_NAMED
    return f"{said} {words.say('handover.and_more', count=str(left))}" if left > 0 else said


def length_text(value_m: float | None, words: Language) -> str:
    """Return a length without its unit, which stands in the head of the column."""
    if value_m is None:
        return NONE
    factor = FEET_PER_METRE if words.length_unit is LengthUnit.FEET else 1.0
    return words.number(value_m * factor, 1)
