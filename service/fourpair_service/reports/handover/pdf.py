"""A handover as one PDF: what is said of the whole job, then the sheet of every link.

It is written in parts that are put together on disk, so that a long one needs no more
memory than a short one.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Final

from fourpair_service.reports.handover.binding import bind
from fourpair_service.reports.handover.build import history_lines, link_lines
from fourpair_service.reports.handover.cover import add_cover
from fourpair_service.reports.handover.listing import add_picture, add_table
from fourpair_service.reports.handover.model import Handover, HistoryLine, LinkLine
from fourpair_service.reports.handover.pages import Book, Bookmark, job_title, new_paper, page_foot
from fourpair_service.reports.handover.trouble import add_exceptions, add_history
from fourpair_service.reports.sheet.build import link_sheet
from fourpair_service.reports.sheet.pdf import add_sheet

# Pages in a part: what is held in memory at a time.
PART_PAGES: Final = 50


def write_pdf(handover: Handover, target: Path) -> None:
    """Write the handover into a file; the same state gives the same bytes."""
    lines, steps = list(link_lines(handover)), list(history_lines(handover))
    with TemporaryDirectory(prefix="fourpair-handover-") as directory:
        parts = Path(directory)
        front, bookmarks = _front(handover, lines, steps)
        first = parts / "front.pdf"
        front.paper.output(str(first))
        before = front.paper.pages_count
        sheets = list(_sheets(handover, before, parts))
        labels = [line.label for line in lines if line.record]
        marks = [Bookmark(label, before + number) for number, label in enumerate(labels, 1)]
        bind([first, *sheets], target, bookmarks, marks)


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
    add_cover(book, lines, contents)
    add_picture(book, lines)
    add_table(book, lines, sheet_pages)
    add_exceptions(book, lines, sheet_pages)
    add_history(book, steps)
    return book


def _sheets(handover: Handover, before: int, directory: Path) -> Iterator[Path]:
    """Write the sheets in parts, in label order; yield the files."""
    records, done = handover.plan.records, 0
    handover.progress(done, len(records))
    for start in range(0, len(records), PART_PAGES):
        paper = new_paper(handover)
        for record in records[start : start + PART_PAGES]:
            sheet = link_sheet(handover.sheet_source(record), handover.words)
            paper.add_page()
            add_sheet(paper, sheet)
            done += 1
            page_foot(paper, job_title(handover), handover.words, before + done, before + len(records))
            handover.progress(done, len(records))
        path = directory / f"sheets-{start:06}.pdf"
        paper.output(str(path))
        yield path
