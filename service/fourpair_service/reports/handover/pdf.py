"""A handover as one PDF: what is said of the whole job, then the sheet of every link.

It is written in parts that are put together on disk, so that a long one needs no more
memory than a short one.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Final

from fourpair_service.reports.handover.binding import Part, bind
from fourpair_service.reports.handover.build import history_lines, link_lines
from fourpair_service.reports.handover.cover import add_cover
from fourpair_service.reports.handover.listing import add_picture, add_table
from fourpair_service.reports.handover.model import Handover, HistoryLine, LinkLine
from fourpair_service.reports.handover.pages import Book, Bookmark, JobPaper, job_title, page_foot
from fourpair_service.reports.handover.structure import write_notes
from fourpair_service.reports.handover.trouble import add_exceptions, add_history
from fourpair_service.reports.sheet.build import link_sheet
from fourpair_service.reports.sheet.pdf import add_sheet
from fourpair_service.reports.tags import Kind

# Pages in a part: what is held in memory at a time.
PART_PAGES: Final = 50


def write_pdf(handover: Handover, target: Path) -> None:
    """Write the handover into a file; the same state gives the same bytes."""
    lines, steps = _all_lines(handover), list(history_lines(handover))
    with TemporaryDirectory(prefix="fourpair-handover-") as directory:
        parts = Path(directory)
        front, bookmarks = _front(handover, lines, steps)
        before = front.paper.pages_count
        first = _written(front.paper, parts, "front")
        sheets = list(_sheets(handover, before, parts))
        labels = [line.label for line in lines if line.record]
        marks = [Bookmark(label, before + number) for number, label in enumerate(labels, 1)]
        bind([first, *sheets], target, bookmarks, marks)


def _all_lines(handover: Handover) -> list[LinkLine]:
    lines = []
    for line in link_lines(handover):
        lines.append(line)
        handover.alive()
    return lines


def _front(
    handover: Handover, lines: Sequence[LinkLine], steps: Sequence[HistoryLine]
) -> tuple[Book, list[Bookmark]]:
    """Lay the first pages out twice: only then is it known on which page everything stands."""
    trial = _laid_out(handover, lines, steps, 0, ())
    before = trial.paper.pages_count
    contents = trial.bookmarks[1:]
    trial.paper.close_type()
    if handover.plan.records:
        contents.append(Bookmark(handover.words.say("handover.sheets"), before + 1))
    book = _laid_out(handover, lines, steps, before, contents)
    return book, [book.bookmarks[0], *contents]


def _laid_out(
    handover: Handover,
    lines: Sequence[LinkLine],
    steps: Sequence[HistoryLine],
    before: int,
    contents: Sequence[Bookmark],
) -> Book:
    records = handover.plan.records
    sheet_pages = {record.id: before + number for number, record in enumerate(records, 1)}
    book = Book(handover, before + len(records))
    with book.section():
        add_cover(book, lines, contents)
    with book.section():
        add_picture(book, lines)
    with book.section():
        add_table(book, lines, sheet_pages)
    with book.section():
        add_exceptions(book, lines, sheet_pages)
    with book.section():
        add_history(book, steps)
    return book


def _written(paper: JobPaper, directory: Path, name: str) -> Part:
    """Write pages and what is noted of them."""
    part = Part(directory / f"{name}.pdf", directory / f"{name}.notes")
    paper.output(str(part.pages))
    write_notes(part.notes, paper.notes.noted)
    return part


def _sheets(handover: Handover, before: int, directory: Path) -> Iterator[Part]:
    """Write the sheets in parts, in label order."""
    records, done = handover.plan.records, 0
    handover.progress(done, len(records))
    for start in range(0, len(records), PART_PAGES):
        paper = JobPaper(handover, below=1)
        for record in records[start : start + PART_PAGES]:
            sheet = link_sheet(handover.sheet_source(record), handover.words)
            paper.add_page()
            with paper.tags.around(Kind.SECTION):
                add_sheet(paper, sheet)
            done += 1
            page_foot(paper, job_title(handover), handover.words, before + done, before + len(records))
            handover.progress(done, len(records))
        yield _written(paper, directory, f"sheets-{start:06}")
