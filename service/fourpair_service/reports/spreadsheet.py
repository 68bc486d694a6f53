"""Text that goes into spreadsheets: never a formula."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Sequence
from itertools import chain
from typing import Final

# OWASP, "CSV Injection": what a spreadsheet may take for a formula.
STARTS: Final = ("=", "+", "-", "@", "\t", "\r", "＝", "＋", "－", "＠")  # noqa: RUF001 - full-width forms are the point
MARK: Final = "'"


def safe_text(text: str) -> str:
    """Return text that no spreadsheet reads as a formula.

    >>> safe_text("=1+2"), safe_text("A-01")
    ("'=1+2", 'A-01')
    """
    return MARK + text if text.startswith((*STARTS, MARK)) else text


def plain_text(text: str) -> str:
    """Return what :func:`safe_text` was given.

    >>> plain_text(safe_text("-12V feed"))
    '-12V feed'
    """
    return text[1:] if text.startswith(MARK) and text[1:].startswith((*STARTS, MARK)) else text


def csv_lines(header: Sequence[str], rows: Iterable[Sequence[object]]) -> Iterator[str]:
    """Yield rows as lines of CSV (RFC 4180): numbers stay numbers, text is made safe."""
    target = io.StringIO()
    writer = csv.writer(target, lineterminator="\r\n")
    for row in chain([header], rows):
        writer.writerow([safe_text(cell) if isinstance(cell, str) else cell for cell in row])
        yield target.getvalue()
        target.seek(0)
        target.truncate()


def csv_text(header: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """Return rows as CSV (RFC 4180): numbers stay numbers, text is made safe."""
    return "".join(csv_lines(header, rows))
