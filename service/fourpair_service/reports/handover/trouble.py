"""What is not fine in a job and what to do, and what was touched again."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

from fourpair_service.records.views.summary import LOOK_AGAIN, REDO
from fourpair_service.reports.handover.listing import NONE, ink_of
from fourpair_service.reports.handover.model import MISSING, HistoryLine, LinkLine, Remedy
from fourpair_service.reports.handover.pages import LINE_HEIGHT, Book, Column
from fourpair_service.reports.inks import FAINT, INK
from fourpair_service.reports.language import Language
from fourpair_service.reports.tags import Kind

GROUPS: Final = (("redo_heading", REDO), ("look_again_heading", LOOK_AGAIN))
MOST_SUSPECTED: Final = 3
ROW_HEIGHT: Final = 4.4
STEP_TYPE: Final = 6.8
# Of a reason.
MOST_LINES: Final = 3
INSET: Final = 6.0
TYPE: Final = 7.8


def add_exceptions(book: Book, lines: Sequence[LinkLine], sheet_pages: Mapping[str, int]) -> None:
    """Write every link that is not fine: why, what is suspected, what to do; then those that are missing."""
    words = book.words
    book.begin(words.say("handover.exceptions"))
    missing = [line.label for line in lines if line.group == MISSING]
    told = False
    for name, group in GROUPS:
        found = [line for line in lines if line.group == group and line.remedy is not None]
        if found:
            told = True
            book.heading(f"{words.say(f'handover.{name}')} ({len(found)})", 16)
        for line in found:
            _exception(book, line, sheet_pages.get(line.record or ""))
    if missing:
        book.heading(f"{words.say('handover.missing_heading')} ({len(missing)})", 8)
        book.text(", ".join(missing))
        book.text(f"{words.say('handover.do')}: {words.say('handover.missing_step')}", bold=True)
    elif not told:
        book.text(words.say("handover.nothing"), size=10)


def _exception(book: Book, line: LinkLine, page: int | None) -> None:
    words, paper = book.words, book.paper
    book.need(min(_height(book, line), book.bottom / 2))
    paper.rule(book.y)
    book.mark(line.state, paper.l_margin, book.y + 1.0, 4.2)
    paper.type(9, bold=True)
    place = paper.l_margin + INSET, book.y + 4.2, paper.inner_width * 0.55
    paper.words(line.label, *place, kind=Kind.MINOR_HEADING)
    paper.type(8, bold=True, ink=ink_of(line.state))
    outcome = words.say(f"outcome.{line.state}")
    at = f"{outcome}  ·  {words.say('handover.sheet_page')}: {words.say('handover.page')} {page or NONE}"
    paper.words(at, paper.l_margin, book.y + 4.2, paper.inner_width, align="R")
    book.y += 6
    for text, is_bold in _sentences(line.remedy, words):
        book.text(text, size=TYPE, inset=INSET, bold=is_bold)
    book.y += 1.6


def _height(book: Book, line: LinkLine) -> float:
    """Return the room that a link takes. [mm]."""
    return 8.0 + sum(
        book.height(text, size=TYPE, inset=INSET, bold=is_bold)
        for text, is_bold in _sentences(line.remedy, book.words)
    )


def _sentences(remedy: Remedy | None, words: Language) -> list[tuple[str, bool]]:
    """Return what is said of a link, and whether it stands out."""
    if remedy is None:
        return []
    suspected = "; ".join(remedy.suspected[:MOST_SUSPECTED])
    said = [(text, False) for text in remedy.reasons]
    if suspected:
        said.append((f"{words.say('handover.suspected')}: {suspected}", False))
    # The first says what must happen, the others who, where and how.
    first, *others = remedy.steps
    said.append((f"{words.say('handover.do')}: {first}", True))
    return [*said, (" ".join(others), False)] if others else said


def _columns(words: Language) -> tuple[Column, ...]:
    return (
        Column(words.say("handover.label"), 0.13, is_head=True),
        Column(words.say("handover.number"), 0.04, True),
        Column(words.say("handover.what"), 0.14),
        Column(words.say("handover.when"), 0.13),
        Column(words.say("handover.change"), 0.2),
        Column(f"{words.say('handover.margin_change')} (dB)", 0.12, True),
        Column(words.say("handover.reason"), 0.24),
    )


def add_history(book: Book, steps: Sequence[HistoryLine]) -> None:
    """Write what was done to every link that was touched again."""
    words = book.words
    book.begin(words.say("handover.history"))
    if not steps:
        book.text(words.say("handover.no_history"), size=10)
        return
    columns = _columns(words)
    shade = False
    with book.table(columns):
        for step in steps:
            reason = _reason(book, step, columns[-1].share)
            height = ROW_HEIGHT + LINE_HEIGHT * max(len(reason) - 1, 0)
            if book.need(height):
                book.head_again(columns)
            if step.number == 1:
                shade = not shade
            if shade:
                book.paper.ground(FAINT, book.paper.l_margin, book.y, book.paper.inner_width, height)
            book.paper.type(STEP_TYPE, ink=INK)
            book.row(columns, (*_cells(step, words), reason), ROW_HEIGHT)


def _reason(book: Book, step: HistoryLine, share: float) -> list[str]:
    """Return the lines of a reason."""
    book.paper.type(STEP_TYPE)
    width = share * book.paper.inner_width - 1.6
    lines = book.paper.lines(step.reason, width) if step.reason else []
    return [*lines[: MOST_LINES - 1], " ".join(lines[MOST_LINES - 1 :])] if len(lines) > MOST_LINES else lines


def _cells(step: HistoryLine, words: Language) -> tuple[str, ...]:
    def outcome(name: str) -> str:
        return words.say(f"outcome.{name}").lower()

    def margin(value: float | None) -> str:
        return NONE if value is None else words.number(value, 2)

    change, margins = outcome(step.after), margin(step.headroom_after_db)
    if step.before is not None and step.before != step.after:
        change = f"{outcome(step.before)} → {change}"
    if step.before is not None and step.headroom_before_db != step.headroom_after_db:
        margins = f"{margin(step.headroom_before_db)} → {margins}"
    return (step.label, str(step.number), step.kind, words.day(step.at[:16]), change, margins)
