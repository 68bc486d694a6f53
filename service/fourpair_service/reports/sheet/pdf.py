"""A link sheet as one page of a PDF."""

from __future__ import annotations

from typing import Final

from fourpair_service.reports.drawing.on_page import draw_picture
from fourpair_service.reports.drawing.shapes import Picture
from fourpair_service.reports.inks import FAINT, INK, MUTED, OUTSIDE, WHITE
from fourpair_service.reports.paper import Paper, PaperSize, joined
from fourpair_service.reports.sheet.model import Answer, LinkSheet, NumberRow, Section
from fourpair_service.reports.tags import Kind

GAP: Final = 4.0
# Shares of the width of the table, by column.
SHARES: Final = (0.2, 0.05, 0.105, 0.075, 0.075, 0.075, 0.07, 0.07, 0.145, 0.135)
LEFT_ALIGNED: Final = frozenset({0, 1, 2, 9})
ROW_HEIGHT: Final = 3.05
# What is kept free between the numbers and the footer. [mm]
LEAST_REST: Final = 9.0
FOOTER_HEIGHT: Final = 15.0


def sheet_pdf(sheet: LinkSheet, size: PaperSize = PaperSize.A4) -> bytes:
    """Return the sheet as a PDF of one page; the same sheet gives the same bytes."""
    paper = Paper(size, title=sheet.title, language=sheet.language, at=sheet.at, is_tagged=True)
    paper.add_page()
    add_sheet(paper, sheet)
    return bytes(paper.output())


def add_sheet(paper: Paper, sheet: LinkSheet) -> None:
    """Write a sheet onto the page that was begun."""
    y = add_head(paper, sheet, paper.t_margin)
    y = add_answers(paper, sheet.answers, y)
    y = add_facts(paper, sheet, y)
    y = add_pictures(paper, sheet, y)
    foot = paper.h - paper.b_margin - FOOTER_HEIGHT
    y = _margins(paper, sheet, y, foot - _numbers_height(sheet) - LEAST_REST)
    y = _numbers(paper, sheet, y)
    _rest(paper, sheet.sections, y, foot)
    _footer(paper, sheet, foot)


def add_head(paper: Paper, sheet: LinkSheet, y: float) -> float:
    """Write the label, the answer and what must be read first; return where it ends. [mm]."""
    x, width = paper.l_margin, paper.inner_width
    paper.type(15, bold=True)
    mark = paper.get_string_width(sheet.outcome_text) + 8
    paper.type(18, bold=True, ink=INK)
    paper.words(sheet.label, x, y + 7.2, width - mark - GAP, kind=Kind.TITLE)
    _mark(paper, sheet, x + width - mark, y, mark)
    y += 10.5
    paper.rule(y, thick=True)
    y += 1.2
    for notice in sheet.notices:
        paper.ground(OUTSIDE, x, y + 0.4, 1.0, 3.0)
        paper.type(7.6)
        y = paper.paragraph(notice, x + 2.0, y, width - 2, 3.6, most=2)
    return y + 0.8


def _mark(paper: Paper, sheet: LinkSheet, x: float, y: float, width: float) -> None:
    """Draw the answer: filled where it is good, a thick frame where not, dashes where it is not known."""
    is_good = sheet.outcome in {"pass", "marginal_pass"}
    is_open = sheet.outcome == "incomplete"
    ink = INK if is_good or is_open else OUTSIDE
    paper.set_draw_color(ink)
    paper.set_fill_color(ink)
    paper.set_line_width(0.6 if is_open else 1.0)
    if is_open:
        paper.set_dash_pattern(2, 1.2)
    with paper.tags.decoration():
        paper.rect(x, y + 0.6, width, 8.2, style="DF" if is_good else "D")
    paper.set_dash_pattern()
    paper.type(15, bold=True, ink=WHITE if is_good else ink)
    paper.words(sheet.outcome_text, x + 4, y + 6.6, width)


def add_answers(paper: Paper, answers: tuple[Answer, ...], y: float) -> float:
    """Write the questions and answers, two beside each other; return where they end. [mm]."""
    width = (paper.inner_width - GAP) / 2
    for first in range(0, len(answers), 2):
        ends = [
            _answer(paper, answer, paper.l_margin + i * (width + GAP), y, width)
            for i, answer in enumerate(answers[first : first + 2])
        ]
        y = max(ends) + 1.0
    return y


def _answer(paper: Paper, answer: Answer, x: float, y: float, width: float) -> float:
    paper.type(7.2, bold=True, ink=MUTED)
    paper.words(answer.question, x, y + 2.8, width, kind=Kind.HEADING)
    paper.type(8.8, bold=True)
    y = paper.paragraph(answer.text, x, y + 3.6, width, 4.0, most=3)
    paper.type(7.2)
    for line in answer.more[:5]:
        y = paper.paragraph(line, x, y, width, 3.25, most=2)
    return y


def add_facts(paper: Paper, sheet: LinkSheet, y: float) -> float:
    """Write where, what, when and by whom; return where it ends. [mm]."""
    paper.rule(y)
    paper.type(7, ink=MUTED)
    return paper.paragraph(joined(sheet.facts), paper.l_margin, y + 0.8, paper.inner_width, 3.2, most=4) + 0.6


def add_pictures(paper: Paper, sheet: LinkSheet, y: float) -> float:
    """Draw the wires and the run beside each other; return where they end. [mm]."""
    paper.rule(y)
    y += 0.8
    x, left = paper.l_margin, paper.inner_width * 0.31
    ends = [_wires(paper, sheet, x, y, left)]
    x, width = x + left + GAP, paper.inner_width - left - GAP
    at = _heading(paper, f"{sheet.run_heading}: {sheet.run_said}", x, y, width)
    if sheet.run:
        at += _drawn(paper, sheet.run, x, at, width)
    if sheet.suspected.lines:
        at = _heading(paper, sheet.suspected.heading, x, at, width)
        paper.type(7.2)
        for line in sheet.suspected.lines[:4]:
            at = paper.paragraph(line, x, at, width, 3.2, most=2)
    return max([*ends, at]) + 0.8


def _heading(paper: Paper, text: str, x: float, y: float, width: float) -> float:
    paper.type(7.2, bold=True, ink=MUTED)
    paper.words(text, x, y + 2.8, width, kind=Kind.HEADING)
    return y + 3.8


def _drawn(paper: Paper, picture: Picture, x: float, y: float, width: float) -> float:
    """Draw a picture; return its height. [mm]."""
    with paper.tags.mark(Kind.FIGURE, f"{picture.title}. {picture.description}"):
        return draw_picture(paper, picture, x, y, width)


def _wires(paper: Paper, sheet: LinkSheet, x: float, y: float, width: float) -> float:
    y = _heading(paper, sheet.wires_heading, x, y, width)
    paper.type(7.2)
    for line in sheet.wires_said[:4]:
        y = paper.paragraph(line, x, y, width, 3.2, most=2)
    return y + _drawn(paper, sheet.wires, x, y, width) if sheet.wires else y


def _numbers_height(sheet: LinkSheet) -> float:
    return ROW_HEIGHT * (len(sheet.rows) + 1) + 4.2


def _columns(paper: Paper, sheet: LinkSheet, room: float) -> int:
    """Return how many pictures stand in a row: more and smaller ones where the page is full."""
    pictures, shape = len(sheet.margins), sheet.margins[0].height / sheet.margins[0].width
    for columns in (sheet.margin_columns, 4, 5, 6):
        rows = -(-pictures // columns)
        if rows * shape * (paper.inner_width - (columns - 1) * 2) / columns <= room:
            return columns
    return 8


def _margins(paper: Paper, sheet: LinkSheet, y: float, bottom: float) -> float:
    if not sheet.margins:
        return y
    paper.rule(y)
    paper.type(6.6, ink=MUTED)
    y = paper.paragraph(sheet.margins_heading, paper.l_margin, y + 0.6, paper.inner_width, 3.1, most=2)
    columns = _columns(paper, sheet, bottom - y)
    width = (paper.inner_width - (columns - 1) * 2) / columns
    for first in range(0, len(sheet.margins), columns):
        row = sheet.margins[first : first + columns]
        heights = [
            _drawn(paper, picture, paper.l_margin + i * (width + 2), y, width)
            for i, picture in enumerate(row)
        ]
        y += max(heights)
    return y


def _numbers(paper: Paper, sheet: LinkSheet, y: float) -> float:
    paper.rule(y)
    widths = [share * paper.inner_width for share in SHARES]
    y = _heading(paper, sheet.numbers_heading, paper.l_margin, y + 0.4, paper.inner_width)
    with paper.tags.around(Kind.TABLE):
        paper.type(6.2, bold=True, ink=MUTED)
        _cells(paper, sheet.columns, widths, y, [Kind.COLUMN_HEAD] * len(widths))
        kinds = [Kind.ROW_HEAD, *[Kind.CELL] * (len(widths) - 1)]
        for number, row in enumerate(sheet.rows):
            y += ROW_HEIGHT
            if number % 2 == 0:
                paper.ground(FAINT, paper.l_margin, y, paper.inner_width, ROW_HEIGHT)
            _row_type(paper, row)
            _cells(paper, row.cells, widths, y, kinds)
    return y + ROW_HEIGHT


def _row_type(paper: Paper, row: NumberRow) -> None:
    ink = OUTSIDE if row.is_failing else MUTED if row.is_shown_only else INK
    paper.type(6.2, bold=row.is_failing, ink=ink)


def _cells(paper: Paper, cells: tuple[str, ...], widths: list[float], y: float, kinds: list[Kind]) -> None:
    x = paper.l_margin
    with paper.tags.around(Kind.ROW):
        for number, (cell, width) in enumerate(zip(cells, widths, strict=True)):
            align = "L" if number in LEFT_ALIGNED else "R"
            # The last column stands apart from the figures before it.
            left, right = (2.0, 0.0) if number == len(widths) - 1 else (0.0, 0.6)
            room = width - left - right
            paper.words(cell, x + left, y + 2.3, room, align=align, kind=kinds[number])
            x += width


def _footer(paper: Paper, sheet: LinkSheet, top: float) -> None:
    """Write what stands at the bottom. [mm]."""
    paper.rule(top, thick=True)
    paper.type(6.2, ink=MUTED)
    y = paper.paragraph(joined(sheet.footer), paper.l_margin, top + 0.8, paper.inner_width, 2.9, most=3)
    paper.paragraph(sheet.safety, paper.l_margin, y + 0.4, paper.inner_width, 2.9, most=2)


def _rest(paper: Paper, sections: tuple[Section, ...], y: float, bottom: float) -> None:
    """Write the sections into the room that is left, two beside each other."""
    width = (paper.inner_width - GAP) / 2
    tops = [y + 1.0, y + 1.0]
    for section in sections:
        column = tops.index(min(tops))
        x = paper.l_margin + column * (width + GAP)
        at = tops[column]
        if at + 7.0 > bottom:
            continue
        at = _heading(paper, section.heading, x, at, width)
        paper.type(6.8)
        for line in section.lines:
            room = int((bottom - at) / 3.0)
            if room < 1:
                break
            at = paper.paragraph(line, x, at, width, 3.0, most=min(room, 4))
        tops[column] = at + 0.6
