"""Pages of a handover: running heads, numbers, and room that is made on a new page where it ends."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager, nullcontext
from dataclasses import dataclass, field
from typing import NamedTuple

from fourpair_service.reports.drawing.on_page import draw_picture
from fourpair_service.reports.handover.model import Handover
from fourpair_service.reports.inks import MUTED
from fourpair_service.reports.language import Language, printable
from fourpair_service.reports.paper import Paper, drawable, spaced
from fourpair_service.reports.pictures.outcome_marks import outcome_mark
from fourpair_service.reports.tags import Kind, Notes

JOB_CHARACTERS = 80
# Height of a line. [mm for each pt of type]
LEADING = 0.46
HEAD_TYPE = 6.8
# Between columns. [mm]
GAP = 2.2
# Of a row of a table, and of a further line in it. [mm]
ROW_HEIGHT = 4.2
LINE_HEIGHT = 3.1
# With so much left on a page the next part begins there: the papers of a short job are few. [mm]
ROOM_FOR_PART = 80.0
BETWEEN_PARTS = 7.0


class Bookmark(NamedTuple):
    """A heading and the page that it stands on, counted from 1."""

    title: str
    page: int


class Column(NamedTuple):
    """A column of a table.

    Attributes:
        share: of the width of the page; at least that where columns are fitted.
        is_number: set against the right edge.
        is_head: says what its row is of.
        is_flexible: gives way where there is not room for all.
    """

    head: str
    share: float
    is_number: bool = False
    is_head: bool = False
    is_flexible: bool = False


def fitted_columns(
    paper: Paper, columns: Sequence[Column], rows: Iterable[Sequence[str]], size: float
) -> list[Column]:
    """Return columns as wide as what stands in them; flexible ones share what is left, each as far as it needs.

    Args:
        paper: that they are written on.
        columns: whose shares are replaced.
        rows: the cells below them.
        size: of their type. [pt]
    """
    paper.type(size, bold=True)
    needed = [paper.get_string_width(drawable(column.head)) for column in columns]
    paper.type(size)
    # Many cells say the same.
    for place, cells in enumerate(zip(*rows, strict=True)):
        needed[place] = max(needed[place], *(paper.get_string_width(drawable(cell)) for cell in set(cells)))
    needed = [
        max(width + GAP, column.share * paper.inner_width)
        for width, column in zip(needed, columns, strict=True)
    ]
    flexible = sorted(
        (place for place, column in enumerate(columns) if column.is_flexible), key=needed.__getitem__
    )
    left = paper.inner_width - sum(width for place, width in enumerate(needed) if place not in flexible)
    for number, place in enumerate(flexible):
        needed[place] = min(needed[place], left / (len(flexible) - number))
        left -= needed[place]
    # What nobody needs is shared by the flexible ones.
    for place in flexible:
        needed[place] += left / len(flexible)
    return [
        column._replace(share=width / paper.inner_width)
        for column, width in zip(columns, needed, strict=True)
    ]


class JobPaper(Paper):
    """A part of a handover, with the title and the date of the whole.

    Attributes:
        notes: what each part of its pages is.
    """

    def __init__(self, handover: Handover, *, below: int = 0) -> None:
        """Begin; headings stand so many levels below their own."""
        title = f"{handover.words.say('handover.title')} {job_title(handover)}"
        super().__init__(handover.paper, title=title, language=handover.words.code, at=handover.plan.at)
        self.tags = self.notes = Notes(self, below)


def job_title(handover: Handover) -> str:
    """Return what people call the job."""
    return printable(handover.plan.job.name, JOB_CHARACTERS)


def page_foot(paper: Paper, text: str, words: Language, page: int, pages: int) -> None:
    """Write the job and the number of a page below everything else."""
    paper.type(6.4, ink=MUTED)
    y, width = paper.h - 5.0, paper.inner_width
    number = words.say("handover.page_of", page=str(page), pages=str(pages))
    with paper.tags.decoration():
        paper.put(text, paper.l_margin, y, width * 0.75)
        paper.put(number, paper.l_margin + width * 0.75, y, width * 0.25, align="R")


@dataclass
class Book:
    """The pages before the sheets, as they are filled.

    Attributes:
        pages: how many the whole document has; 0 while that is not known.
        bookmarks: the headings begun so far.
    """

    handover: Handover
    pages: int
    paper: JobPaper = field(init=False)
    bookmarks: list[Bookmark] = field(default_factory=list)
    y: float = 0.0
    _heading: str = ""

    def __post_init__(self) -> None:
        """Open the document."""
        self.paper = JobPaper(self.handover)

    @property
    def words(self) -> Language:
        """The language."""
        return self.handover.words

    @property
    def bottom(self) -> float:
        """Where the room of a page ends. [mm]."""
        return float(self.paper.h - self.paper.b_margin)

    @contextmanager
    def section(self) -> Iterator[None]:
        """Hold a part of the document."""
        with self.paper.tags.around(Kind.SECTION):
            yield

    def open_page(self) -> None:
        """Begin a page without a heading."""
        self.handover.alive()
        self.paper.add_page()
        self.y = self.paper.t_margin
        number = self.paper.page_no()
        page_foot(self.paper, job_title(self.handover), self.words, number, self.pages)

    def begin(self, title: str) -> None:
        """Begin a part with a heading, which becomes a bookmark, on a new page unless much of this one is left."""
        goes_on = self._heading and self.y + BETWEEN_PARTS + ROOM_FOR_PART <= self.bottom
        self._heading = title
        if goes_on:
            self.y += BETWEEN_PARTS
            self._title(Kind.HEADING)
        else:
            self._next(Kind.HEADING)
        self.bookmarks.append(Bookmark(title, self.paper.page_no()))

    def _next(self, kind: Kind) -> None:
        self.open_page()
        self._title(kind)

    def _title(self, kind: Kind) -> None:
        """Write the heading of the part."""
        self.paper.type(14, bold=True)
        self.paper.words(self._heading, self.paper.l_margin, self.y + 5, self.paper.inner_width, kind=kind)
        self.paper.rule(self.y + 8, thick=True)
        self.y += 10

    def need(self, height: float) -> bool:
        """Go on to a new page where a height does not fit any more; tell whether it did. [mm]."""
        if self.y + height <= self.bottom:
            return False
        # The heading only repeats there.
        self._next(Kind.DECORATION)
        return True

    def heading(self, text: str, height: float = 6.0) -> None:
        """Write a heading within a page, with room for ``height`` below it. [mm]."""
        self.need(6.0 + height)
        self.paper.type(9.5, bold=True)
        place = self.paper.l_margin, self.y + 4.6, self.paper.inner_width
        self.paper.words(text, *place, kind=Kind.SUBHEADING)
        self.y += 6.4

    def text(self, text: str, *, size: float = 8.0, inset: float = 0.0, bold: bool = False) -> None:
        """Write a paragraph; one that does not fit on the page goes on where the next one begins."""
        paper, height = self.paper, size * LEADING
        paper.type(size, bold=bold)
        width = paper.inner_width - inset
        lines = spaced(paper.lines(text, width), drawable(text))
        with paper.tags.around(Kind.PARAGRAPH):
            while lines:
                if self.need(height):
                    paper.type(size, bold=bold)
                room = max(int((self.bottom - self.y) / height), 1)
                with paper.tags.mark(Kind.SPAN):
                    for line in lines[:room]:
                        # As broken, with the space at its end, which is no reason to cut it.
                        paper.text(paper.l_margin + inset, self.y + height * 0.78, line)
                        self.y += height
                lines = lines[room:]

    def height(self, text: str, *, size: float, inset: float, bold: bool) -> float:
        """Return the room that a paragraph takes. [mm]."""
        self.paper.type(size, bold=bold)
        return len(self.paper.lines(text, self.paper.inner_width - inset)) * size * LEADING

    def mark(self, state: str, x: float, y: float, size: float) -> None:
        """Draw the mark of an answer, which words repeat. [mm]."""
        with self.paper.tags.decoration():
            draw_picture(self.paper, outcome_mark(state), x, y, size)

    @contextmanager
    def table(self, columns: Sequence[Column], size: float = HEAD_TYPE) -> Iterator[None]:
        """Hold the rows of a table, under their heads."""
        with self.paper.tags.around(Kind.TABLE):
            self._head_row(columns, size, [Kind.COLUMN_HEAD] * len(columns))
            yield

    def head_again(self, columns: Sequence[Column], size: float = HEAD_TYPE) -> None:
        """Write the heads once more, on another page."""
        self._head_row(columns, size, None)

    def _head_row(self, columns: Sequence[Column], size: float, kinds: Sequence[Kind] | None) -> None:
        self.paper.type(size, bold=True, ink=MUTED)
        self._row(columns, [column.head for column in columns], ROW_HEIGHT, kinds)
        self.paper.rule(self.y)

    def row(
        self, columns: Sequence[Column], cells: Sequence[str | Sequence[str]], height: float = ROW_HEIGHT
    ) -> None:
        """Write a row in the type that is set; a cell may have several lines."""
        kinds = [Kind.ROW_HEAD if column.is_head else Kind.CELL for column in columns]
        self._row(columns, cells, height, kinds)

    def _row(
        self,
        columns: Sequence[Column],
        cells: Sequence[str | Sequence[str]],
        height: float,
        kinds: Sequence[Kind] | None,
    ) -> None:
        """Write a row; what only repeats has no kinds."""
        tags, x, lines = self.paper.tags, self.paper.l_margin, 1
        with tags.decoration() if kinds is None else tags.around(Kind.ROW):
            for number, (column, cell) in enumerate(zip(columns, cells, strict=True)):
                width = column.share * self.paper.inner_width
                shown = [cell] if isinstance(cell, str) else cell
                with nullcontext() if kinds is None else tags.mark(kinds[number]):
                    for at, line in enumerate(shown):
                        y = self.y + height * 0.72 + at * LINE_HEIGHT
                        self.paper.put(line, x, y, width - GAP + 0.1, align="R" if column.is_number else "L")
                lines = max(lines, len(shown))
                x += width
        self.y += height + (lines - 1) * LINE_HEIGHT
