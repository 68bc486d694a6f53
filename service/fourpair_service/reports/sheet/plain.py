"""A link sheet as plain text, and the receipt for a message."""

from __future__ import annotations

from collections.abc import Iterator

from fourpair_service.reports.sheet.model import LinkSheet
from fourpair_service.reports.verdict_text import columns


def sheet_text(sheet: LinkSheet) -> str:
    """Return the whole sheet as text."""
    return "\n".join([*_head(sheet), *_middle(sheet), *_foot(sheet)]) + "\n"


def receipt_text(sheet: LinkSheet, keep: str) -> str:
    """Return what is said on site: the answers, without the numbers.

    Args:
        sheet: of the link.
        keep: where the rest stands.
    """
    return "\n".join([*_head(sheet), *(f"{n}: {v}" for n, v in sheet.footer), keep]) + "\n"


def _head(sheet: LinkSheet) -> Iterator[str]:
    yield f"{sheet.label}: {sheet.outcome_text}"
    yield from sheet.notices
    for answer in sheet.answers:
        yield ""
        yield answer.question
        yield f"  {answer.text}"
        yield from (f"  - {line}" for line in answer.more)
    yield ""
    yield from (f"{name}: {value}" for name, value in sheet.facts)


def _middle(sheet: LinkSheet) -> Iterator[str]:
    yield ""
    yield sheet.wires_heading
    yield from (f"  {line}" for line in sheet.wires_said)
    yield sheet.run_heading
    yield f"  {sheet.run_said}"
    if sheet.suspected.lines:
        yield sheet.suspected.heading
        yield from (f"  {line}" for line in sheet.suspected.lines)
    yield ""
    yield f"{sheet.numbers_heading} ({sheet.numbers_note})"
    yield f"  {sheet.numbers_key}"
    yield from columns([sheet.columns, *(row.cells for row in sheet.rows)])


def _foot(sheet: LinkSheet) -> Iterator[str]:
    yield ""
    for section in sheet.sections:
        yield section.heading
        yield from (f"  {line}" for line in section.lines)
    yield ""
    yield from (f"{name}: {value}" for name, value in sheet.footer)
    yield sheet.safety
