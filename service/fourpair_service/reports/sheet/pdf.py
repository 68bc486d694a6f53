"""A link sheet as one page of a PDF."""

from __future__ import annotations

from typing import Final, NamedTuple

from fourpair_service.reports.drawing.on_page import draw_picture
from fourpair_service.reports.drawing.shapes import Picture, stretched
from fourpair_service.reports.inks import INK, MUTED, OUTSIDE, WHITE
from fourpair_service.reports.paper import Paper, PaperSize, joined
from fourpair_service.reports.pictures.margins import BOTTOM, LEFT, TOP, WIDTH
from fourpair_service.reports.sheet.model import Answer, LinkSheet
from fourpair_service.reports.sheet.pdf_numbers import add_numbers, numbers_height
from fourpair_service.reports.sheet.pdf_rest import add_heading, add_rest, rest_height
from fourpair_service.reports.tags import Kind

GAP: Final = 4.0
# Of the width of their column, so that the pictures of margins have room.
WIRES_SHARE: Final = 0.88
# The order of the answers, and the column of those that do not go where there is room: most is said of what
# must be done, which stands below whether the link is sound.
PLACED: Final = ("sound", "carries", "do", "above")
COLUMNS: Final = {"sound": 0, "carries": 1, "do": 0}
# Pictures of margins are never smaller than what so much holds, whatever else there is to say. [mm]
LEAST_PICTURES: Final = 8.0
BETWEEN_PICTURES: Final = 2.0
# How flat their curves may be drawn, as a share of their height, so that letters stay large.
FLATTEST: Final = 0.7
# From the lower edge, as far as printers reach. [mm]
FOOTER_HEIGHT: Final = 21.0


def sheet_pdf(sheet: LinkSheet, size: PaperSize = PaperSize.A4) -> bytes:
    """Return the sheet as a PDF of one page; the same sheet gives the same bytes."""
    paper = Paper(size, title=sheet.title, language=sheet.language, at=sheet.at)
    paper.add_page()
    add_sheet(paper, sheet)
    return bytes(paper.output())


def add_sheet(paper: Paper, sheet: LinkSheet) -> None:
    """Write a sheet onto the page that was begun."""
    y = add_head(paper, sheet, paper.t_margin)
    y = add_answers(paper, sheet.answers, y)
    y = add_facts(paper, sheet, y)
    y = add_pictures(paper, sheet, y)
    foot = paper.h - FOOTER_HEIGHT
    y = _margins(paper, sheet, y, foot - numbers_height(sheet) - rest_height(paper, sheet.sections))
    y = add_numbers(paper, sheet, y, foot)
    add_rest(paper, sheet.sections, y, foot)
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
    """Write the questions and answers in two columns of about one height; return where they end. [mm]."""
    width = (paper.inner_width - GAP) / 2
    ends = [y, y]
    for answer in sorted(answers, key=lambda answer: PLACED.index(answer.name)):
        column = COLUMNS.get(answer.name, ends.index(min(ends)))
        x = paper.l_margin + column * (width + GAP)
        ends[column] = _answer(paper, answer, x, ends[column], width) + 1.0
    return max(ends)


def _answer(paper: Paper, answer: Answer, x: float, y: float, width: float) -> float:
    paper.type(7.2, bold=True, ink=MUTED)
    paper.words(answer.question, x, y + 2.8, width, kind=Kind.HEADING)
    paper.type(8.8, bold=True)
    y = paper.paragraph(answer.text, x, y + 3.6, width, 4.0, most=4)
    paper.type(7.2)
    for line in answer.more:
        y = paper.paragraph(line, x, y, width, 3.25, most=4)
    return y


def add_facts(paper: Paper, sheet: LinkSheet, y: float) -> float:
    """Write where, what, when and by whom; return where it ends. [mm]."""
    paper.rule(y)
    paper.type(7.4, ink=INK)
    return paper.paragraph(joined(sheet.facts), paper.l_margin, y + 0.8, paper.inner_width, 3.4, most=4) + 0.6


def add_pictures(paper: Paper, sheet: LinkSheet, y: float) -> float:
    """Draw the wires and the run beside each other; return where they end. [mm]."""
    paper.rule(y)
    y += 0.8
    x, left = paper.l_margin, paper.inner_width * 0.31
    ends = [_wires(paper, sheet, x, y, left)]
    x, width = x + left + GAP, paper.inner_width - left - GAP
    at = add_heading(paper, f"{sheet.run_heading}: {sheet.run_said}", x, y, width)
    if sheet.run:
        at += _drawn(paper, sheet.run, x, at, width)
    if sheet.suspected.lines:
        at = add_heading(paper, sheet.suspected.heading, x, at, width)
        paper.type(7.2)
        for line in sheet.suspected.lines[:4]:
            at = paper.paragraph(line, x, at, width, 3.2, most=3)
    return max([*ends, at]) + 0.8


def _drawn(paper: Paper, picture: Picture, x: float, y: float, width: float) -> float:
    """Draw a picture; return its height. [mm]."""
    with paper.tags.mark(Kind.FIGURE, f"{picture.title}. {picture.description}"):
        return draw_picture(paper, picture, x, y, width)


def _wires(paper: Paper, sheet: LinkSheet, x: float, y: float, width: float) -> float:
    y = add_heading(paper, sheet.wires_heading, x, y, width)
    paper.type(7.2)
    for line in sheet.wires_said[:4]:
        y = paper.paragraph(line, x, y, width, 3.2, most=4)
    return y + _drawn(paper, sheet.wires, x, y, width * WIRES_SHARE) if sheet.wires else y


class _Grid(NamedTuple):
    """How the pictures of margins stand.

    Attributes:
        columns: how many in a row.
        width, height: of each. [mm]
        unit: of a picture. [mm]
    """

    columns: int
    width: float
    height: float
    unit: float


def _grid(paper: Paper, sheet: LinkSheet, room: float) -> _Grid:
    """Return how the pictures fill the room, with letters as large as it allows. [mm]."""
    first, pictures = sheet.margins[0], len(sheet.margins)
    flattest = first.height - (1 - FLATTEST) * (BOTTOM - TOP)

    def columns(rows: int) -> int:
        return -(-pictures // rows)

    def width(columns: int) -> float:
        return (paper.inner_width - (columns - 1) * BETWEEN_PICTURES) / columns

    def height(rows: int) -> float:
        return max(room, LEAST_PICTURES) / rows

    def unit(rows: int) -> float:
        # No larger than with the usual number in a row, however few there are.
        largest = width(sheet.margin_columns) / first.width
        return min(largest, width(columns(rows)) / WIDTH, height(rows) / flattest)

    rows = max(range(1, pictures + 1), key=unit)
    return _Grid(
        columns(rows), width(columns(rows)), min(height(rows), first.height * unit(rows)), unit(rows)
    )


def _margins(paper: Paper, sheet: LinkSheet, y: float, bottom: float) -> float:
    if not sheet.margins:
        return y
    paper.rule(y)
    paper.type(6.6, ink=MUTED)
    y = paper.paragraph(sheet.margins_heading, paper.l_margin, y + 0.6, paper.inner_width, 3.1, most=2)
    grid = _grid(paper, sheet, bottom - y)
    size = grid.width / grid.unit, grid.height / grid.unit
    for number, picture in enumerate(sheet.margins):
        row, column = divmod(number, grid.columns)
        drawn = stretched(picture, *size, LEFT, TOP, BOTTOM)
        x = paper.l_margin + column * (grid.width + BETWEEN_PICTURES)
        _drawn(paper, drawn, x, y + row * grid.height, grid.width)
    return y + -(-len(sheet.margins) // grid.columns) * grid.height


def _footer(paper: Paper, sheet: LinkSheet, top: float) -> None:
    """Write what stands at the bottom. [mm]."""
    paper.rule(top, thick=True)
    paper.type(6.2, ink=MUTED)
    y = paper.paragraph(joined(sheet.footer), paper.l_margin, top + 0.8, paper.inner_width, 2.9, most=3)
    paper.paragraph(sheet.safety, paper.l_margin, y + 0.4, paper.inner_width, 2.9, most=2)
