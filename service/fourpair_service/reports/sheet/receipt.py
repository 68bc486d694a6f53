"""The receipt: half a page to hand over on site, without the numbers."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from fourpair_service.reports.inks import MUTED
from fourpair_service.reports.paper import Paper, PaperSize, joined
from fourpair_service.reports.sheet.model import LinkSheet
from fourpair_service.reports.sheet.pdf import add_answers, add_facts, add_head, add_pictures

MOST_LINES: Final = 3


def receipt_pdf(sheet: LinkSheet, keep: str, size: PaperSize = PaperSize.A4) -> bytes:
    """Return the receipt as a PDF of half a page; the same sheet gives the same bytes.

    Args:
        sheet: of the link.
        keep: where the rest stands.
        size: of the whole page.
    """
    paper = Paper(size, title=sheet.title, language=sheet.language, at=sheet.at, is_half=True)
    paper.add_page()
    y = add_head(paper, sheet, paper.t_margin)
    short = tuple(replace(answer, more=answer.more[:MOST_LINES]) for answer in sheet.answers)
    y = add_answers(paper, short, y)
    y = add_facts(paper, sheet, y)
    suspected = replace(sheet.suspected, lines=sheet.suspected.lines[:1])
    add_pictures(paper, replace(sheet, suspected=suspected), y)
    paper.type(6.4, ink=MUTED)
    top = paper.h - paper.b_margin - 6.4
    y = paper.paragraph(joined(sheet.footer), paper.l_margin, top, paper.inner_width, 2.9, most=2)
    paper.words(keep, paper.l_margin, y + 2.4, paper.inner_width)
    return bytes(paper.output())
