"""Pages of a handover: running heads, numbers, and room that is made on a new page where it ends."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from fourpair_service.reports.drawing.on_page import draw_picture
from fourpair_service.reports.handover.model import Handover
from fourpair_service.reports.inks import MUTED
from fourpair_service.reports.language import Language, printable
from fourpair_service.reports.paper import Paper
from fourpair_service.reports.pictures.outcome_marks import outcome_mark
from fourpair_service.reports.tags import Kind

JOB_CHARACTERS = 80
# Height of a line. [mm for each pt of type]
LEADING = 0.46


class Bookmark(NamedTuple):
    """A heading and the page that it stands on, counted from 1."""

    title: str
    page: int


class Column(NamedTuple):
    """A column of a table.

    Attributes:
        share: of the width of the page.
        is_number: set against the right edge.
    """

    head: str
    share: float
    is_number: bool = False


def new_paper(handover: Handover) -> Paper:
    """Return an empty document with the title and the date of a handover."""
    title = f"{handover.words.say('handover.title')} {job_title(handover)}"
    return Paper(handover.paper, title=title, language=handover.words.code, at=handover.plan.at)


def job_title(handover: Handover) -> str:
    """Return what people call the job."""
    return printable(handover.plan.job.name, JOB_CHARACTERS)


def page_foot(paper: Paper, text: str, words: Language, page: int, pages: int) -> None:
    """Write the job and the number of a page below everything else."""
    paper.type(6.4, ink=MUTED)
    y, width = paper.h - 5.0, paper.inner_width
    paper.words(text, paper.l_margin, y, width * 0.75)
    number = words.say("handover.page_of", page=str(page), pages=str(pages))
    paper.words(number, paper.l_margin + width * 0.75, y, width * 0.25, align="R")


@dataclass
class Book:
    """The pages before the sheets, as they are filled.

    Attributes:
        pages: how many the whole document has; 0 while that is not known.
        bookmarks: the headings begun so far.
    """

    handover: Handover
    pages: int
    paper: Paper = field(init=False)
    bookmarks: list[Bookmark] = field(default_factory=list)
    y: float = 0.0
    _heading: str = ""

    def __post_init__(self) -> None:
        """Open the document."""
        self.paper = new_paper(self.handover)

    @property
    def words(self) -> Language:
        """The language."""
        return self.handover.words

    @property
    def bottom(self) -> float:
        """Where the room of a page ends. [mm]."""
        return float(self.paper.h - self.paper.b_margin)

    def open_page(self) -> None:
        """Begin a page without a heading."""
        self.paper.add_page()
        self.y = self.paper.t_margin
        number = self.paper.page_no()
        page_foot(self.paper, job_title(self.handover), self.words, number, self.pages)

    def begin(self, title: str) -> None:
        """Begin a page with a heading, which becomes a bookmark."""
        self._heading = title
        self._next()
        self.bookmarks.append(Bookmark(title, self.paper.page_no()))

    def _next(self) -> None:
        self.open_page()
        self.paper.type(14, bold=True)
        self.paper.words(self._heading, self.paper.l_margin, self.y + 5, self.paper.inner_width)
        self.paper.rule(self.y + 8, thick=True)
        self.y += 10

    def need(self, height: float) -> bool:
        """Go on to a new page where a height does not fit any more; tell whether it did. [mm]."""
        if self.y + height <= self.bottom:
            return False
        self._next()
        return True

    def heading(self, text: str, height: float = 6.0) -> None:
        """Write a heading within a page, with room for ``height`` below it. [mm]."""
        self.need(6.0 + height)
        self.paper.type(9.5, bold=True)
        self.paper.words(text, self.paper.l_margin, self.y + 4.6, self.paper.inner_width, kind=Kind.HEADING)
        self.y += 6.4

    def text(self, text: str, *, size: float = 8.0, inset: float = 0.0, bold: bool = False) -> None:
        """Write a paragraph; one that does not fit goes on where the next page begins."""
        paper, height = self.paper, size * LEADING
        paper.type(size, bold=bold)
        width = paper.inner_width - inset
        for line in paper.lines(text, width):
            if self.need(height):
                paper.type(size, bold=bold)
            paper.words(line, paper.l_margin + inset, self.y + height * 0.78, width)
            self.y += height

    def height(self, text: str, *, size: float, inset: float, bold: bool) -> float:
        """Return the room that a paragraph takes. [mm]."""
        self.paper.type(size, bold=bold)
        return len(self.paper.lines(text, self.paper.inner_width - inset)) * size * LEADING

    def mark(self, state: str, x: float, y: float, size: float) -> None:
        """Draw the mark of an answer. [mm]."""
        draw_picture(self.paper, outcome_mark(state), x, y, size)

    def head_row(self, columns: Sequence[Column], size: float = 6.8) -> None:
        """Write the heads of a table."""
        self.paper.type(size, bold=True, ink=MUTED)
        self.row(columns, [column.head for column in columns])
        self.paper.rule(self.y)

    def row(self, columns: Sequence[Column], cells: Sequence[str], height: float = 4.2) -> None:
        """Write a row in the type that is set."""
        paper, x = self.paper, self.paper.l_margin
        for column, cell in zip(columns, cells, strict=True):
            width = column.share * paper.inner_width
            if cell:
                align = "R" if column.is_number else "L"
                paper.words(cell, x, self.y + height * 0.72, width - 1.6, align=align)
            x += width
        self.y += height
