"""The first page of a handover: is the job sound, what was asked for, how well is that known, what is where."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from typing import Final

from fourpair_service.records.views.summary import FINE, LOOK_AGAIN, REDO
from fourpair_service.reports.handover.model import MISSING, STATES, Handover, LinkLine
from fourpair_service.reports.handover.pages import Book, Bookmark
from fourpair_service.reports.inks import FAINT, INK, MUTED, OUTSIDE
from fourpair_service.reports.language import Language, printable
from fourpair_service.reports.paper import joined
from fourpair_service.reports.sheet.model import Document
from fourpair_service.reports.sheet.saying import capitalised
from fourpair_service.reports.tags import Kind

MOST_CAUTIONS: Final = 6
MOST_SAME: Final = 3
MOST_REQUIREMENTS: Final = 5
MOST_NOTES_LINES: Final = 3
LABELS_CHARACTERS: Final = 300
FOOT_HEIGHT: Final = 18.0
# Of a line that says how many links have an answer. [mm]
COUNT_HEIGHT: Final = 9.6
RESTS: Final = ((REDO, "rest_redo"), (LOOK_AGAIN, "rest_look_again"), (MISSING, "rest_missing"))


def links_said(count: int, words: Language) -> str:
    """Return how many links."""
    return words.say("handover.link_count" if count == 1 else "handover.links_count", count=str(count))


def verdict_on_all(handover: Handover, lines: Sequence[LinkLine]) -> str:
    """Return in a sentence whether the job is sound."""
    words, groups = handover.words, Counter(line.group for line in lines)
    if not lines:
        return words.say("handover.none")
    if groups[FINE] == len(lines):
        name = "all_sound" if handover.plan.job.schedule else "all_sound_unplanned"
        return words.say(f"handover.{name}", count=str(len(lines)))
    rest = [words.say(f"handover.{name}", count=str(groups[group])) for group, name in RESTS if groups[group]]
    counts = {"sound": str(groups[FINE]), "count": str(len(lines))}
    return words.say("handover.some", **counts, rest=" ".join(rest))


def counted(
    texts: Iterable[str], words: Language, most: int, more: str = "handover.and_more_cautions"
) -> list[str]:
    """Return texts with the number of links that each holds for, the most frequent first."""
    found = Counter(texts).most_common()
    said = [
        words.say("handover.of_links", text=text.rstrip("."), links=links_said(count, words)) + "."
        for text, count in found[:most]
    ]
    return said + ([words.say(more, count=str(len(found) - most))] if len(found) > most else [])


def reservations(lines: Sequence[LinkLine], words: Language) -> list[str]:
    """Return why some of the answers are provisional, with the number of links each."""
    found = Counter(name for line in lines for name in line.reservations)
    return [f"{words.say(f'answer.{name}')} ({links_said(count, words)})" for name, count in found.items()]


def job_notes(handover: Handover) -> list[str]:
    """Return what must be known of the job besides."""
    plan, words = handover.plan, handover.words
    notes = []
    if plan.job.acceptance is not None:
        name = printable(plan.accepted_by or "–", 60)  # noqa: RUF001 - a dash for a name that was erased
        notes.append(words.say("handover.accepted", by=name, day=words.day(plan.job.acceptance.on)))
        later = len(plan.summary["after_acceptance"])
        if later:
            notes.append(words.say("handover.after_acceptance", count=str(later)))
    if plan.summary["unscheduled"]:
        notes.append(words.say("handover.unscheduled", labels=_labels(plan.summary["unscheduled"], words)))
    if plan.withdrawn:
        notes.append(
            words.say("handover.withdrawn", labels=_labels((r.label for r in plan.withdrawn), words))
        )
    return notes + _same_twice(plan.summary["same_measurement"], words)


def _same_twice(groups: Sequence[Document], words: Language) -> list[str]:
    said = [
        words.say("handover.same_measurement", labels=_labels(same["labels"], words))
        for same in groups[:MOST_SAME]
    ]
    left = len(groups) - len(said)
    return said + ([words.say("handover.and_more_same", count=str(left))] if left else [])


def _labels(labels: Iterable[str], words: Language) -> str:
    """Return labels as far as there is room for whole ones, and how many more there are."""
    shown = [printable(label, 60) for label in labels]
    said = shown[:1]
    for label in shown[1:]:
        if len(", ".join([*said, label])) > LABELS_CHARACTERS:
            break
        said.append(label)
    left = len(shown) - len(said)
    more = [words.say("handover.and_more", count=str(left))] if left else []
    return " ".join([", ".join(said), *more])


def add_cover(book: Book, lines: Sequence[LinkLine], contents: Sequence[Bookmark]) -> None:
    """Write the cover.

    Args:
        book: its pages.
        lines: of all links.
        contents: what is where; empty while that is not known.
    """
    book.open_page()
    book.bookmarks.append(Bookmark(book.words.say("handover.cover"), book.paper.page_no()))
    _title(book)
    _answer(book, verdict_on_all(book.handover, lines), reservations(lines, book.words))
    top = book.y
    _counts(book, lines)
    counts_end, book.y = book.y, top
    _contents(book, contents)
    book.y = max(counts_end, book.y) + 2
    _block(book, book.words.say("handover.asked"), _asked(lines, book.words))
    cautions = counted((text for line in lines for text in line.cautions), book.words, MOST_CAUTIONS)
    cautions += job_notes(book.handover)
    none = [book.words.say("handover.no_cautions")]
    _block(book, book.words.say("handover.cautions"), cautions or none)
    _foot(book)


def _title(book: Book) -> None:
    paper, words, plan = book.paper, book.words, book.handover.plan
    paper.type(9, bold=True, ink=MUTED)
    paper.words(words.say("handover.title"), paper.l_margin, book.y + 4, paper.inner_width)
    paper.type(22, bold=True)
    name = printable(plan.job.name, 200)
    place = paper.l_margin, book.y + 6, paper.inner_width, 9.5
    book.y = paper.paragraph(name, *place, most=2, kind=Kind.TITLE)
    given = {"customer": plan.customer, "site": plan.job.site, "job": plan.job.id}
    facts = [(words.say(f"field.{n}"), printable(v, 120)) for n, v in given.items() if v]
    paper.type(9)
    book.y = paper.paragraph(joined(facts), paper.l_margin, book.y + 1.5, paper.inner_width, 4.6, most=3)
    book.y += 2
    paper.rule(book.y, thick=True)
    book.y += 3


def _answer(book: Book, text: str, notices: Sequence[str]) -> None:
    paper = book.paper
    paper.type(15, bold=True)
    book.y = paper.paragraph(text, paper.l_margin, book.y, paper.inner_width, 7.2, most=4) + 1.5
    for notice in notices:
        top = book.y
        paper.type(9)
        book.y = paper.paragraph(notice, paper.l_margin + 3, top, paper.inner_width - 3, 4.4, most=3)
        paper.ground(OUTSIDE, paper.l_margin, top + 0.4, 1.2, book.y - top - 0.6)
        book.y += 1
    book.y += 3


def _counts(book: Book, lines: Sequence[LinkLine]) -> None:
    paper, words = book.paper, book.words
    width = paper.inner_width * 0.46
    _heading(book, words.say("handover.counts"), paper.l_margin, width)
    counts = Counter(line.state for line in lines)
    with paper.tags.around(Kind.TABLE):
        for number, state in enumerate(STATES):
            if number % 2 == 0:
                paper.ground(FAINT, paper.l_margin, book.y, width, COUNT_HEIGHT)
            book.mark(state, paper.l_margin + 1.5, book.y + 2.2, 5.2)
            ink = MUTED if not counts[state] else INK
            with paper.tags.around(Kind.ROW):
                paper.type(10, ink=ink)
                place = paper.l_margin + 9, book.y + 4.6, width - 24
                paper.words(_state_text(state, words), *place, kind=Kind.ROW_HEAD)
                paper.type(6.8, ink=MUTED)
                place = paper.l_margin + 9, book.y + 8.0, width - 24
                paper.words(words.say(f"handover.means_{state}"), *place, kind=Kind.CELL)
                paper.type(13, bold=True, ink=ink)
                place = paper.l_margin, book.y + 6.4, width - 2
                paper.words(str(counts[state]), *place, align="R", kind=Kind.CELL)
            book.y += COUNT_HEIGHT


def _state_text(state: str, words: Language) -> str:
    return words.say("handover.missing") if state == MISSING else words.say(f"outcome.{state}")


def _heading(book: Book, text: str, x: float, width: float) -> None:
    book.paper.type(9, bold=True, ink=MUTED)
    book.paper.words(text, x, book.y + 3.4, width, kind=Kind.HEADING)
    book.y += 5.2


def _contents(book: Book, contents: Sequence[Bookmark]) -> None:
    paper = book.paper
    x, width = paper.l_margin + paper.inner_width * 0.54, paper.inner_width * 0.46
    _heading(book, book.words.say("handover.contents"), x, width)
    with paper.tags.around(Kind.CONTENTS):
        for title, page in contents:
            paper.type(9.5)
            with paper.tags.around(Kind.CONTENTS_ITEM):
                paper.words(title, x, book.y + 4.6, width - 20, kind=Kind.SPAN)
                number = f"{book.words.say('handover.page')} {page}"
                paper.words(number, x, book.y + 4.6, width, align="R", kind=Kind.SPAN)
            book.y += 6.6


def _asked(lines: Sequence[LinkLine], words: Language) -> list[str]:
    tested = [line for line in lines if line.record]
    bases = (
        words.say("handover.known_by", basis=words.say(f"basis.{line.basis or 'none'}")) for line in tested
    )
    asked = counted((capitalised(line.requirement) for line in tested), words, MOST_REQUIREMENTS)
    return [*asked, *counted(bases, words, MOST_REQUIREMENTS)]


def _block(book: Book, title: str, texts: Sequence[str]) -> None:
    """Write a heading and its sentences as far as the page has room."""
    paper, bottom = book.paper, book.bottom - FOOT_HEIGHT
    if not texts or book.y + 10 > bottom:
        return
    _heading(book, title, paper.l_margin, paper.inner_width)
    paper.type(8.4)
    for text in texts:
        room = int((bottom - book.y) / 4.0)
        if room < 1:
            return
        most = min(room, MOST_NOTES_LINES)
        book.y = paper.paragraph(text, paper.l_margin, book.y, paper.inner_width, 4.0, most=most) + 0.5
    book.y += 2


def _foot(book: Book) -> None:
    paper, words, plan = book.paper, book.words, book.handover.plan
    y = book.bottom - FOOT_HEIGHT + 2
    paper.rule(y, thick=True)
    paper.type(6.8, ink=MUTED)
    state = words.say("handover.state_said", seq=str(plan.seq), day=words.day(plan.at))
    said = [
        (words.say("handover.state"), state),
        (words.say("handover.state_digest"), plan.state_digest),
    ]
    y = paper.paragraph(joined(said), paper.l_margin, y + 1, paper.inner_width, 3.2, most=2)
    paper.paragraph(words.say("safety.ladder"), paper.l_margin, y + 0.4, paper.inner_width, 3.2, most=3)
