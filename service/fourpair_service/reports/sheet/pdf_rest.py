"""What follows the numbers on the page of a link sheet, in two columns of about one height."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product
from typing import Final

from fourpair_service.reports.inks import MUTED
from fourpair_service.reports.paper import Paper
from fourpair_service.reports.sheet.model import Section
from fourpair_service.reports.tags import Kind

TYPE: Final = 6.8
LINE: Final = 3.0
# Between the columns. [mm]
GAP: Final = 4.0
# A heading with what parts it from the section above it. [mm]
HEADING: Final = 4.4
MOST_LINES: Final = 4
AROUND: Final = 2.0


def add_heading(paper: Paper, text: str, x: float, y: float, width: float) -> float:
    """Write a heading; return where what follows it begins. [mm]."""
    paper.type(7.2, bold=True, ink=MUTED)
    paper.words(text, x, y + 2.8, width, kind=Kind.HEADING)
    return y + 3.8


def balanced(heights: Sequence[float]) -> tuple[int, ...]:
    """Return the column of each section, so that the higher column is as low as can be; the first goes left.

    >>> balanced([4.0, 3.0, 5.0, 11.0])
    (0, 0, 0, 1)
    """
    rest = product((0, 1), repeat=max(len(heights) - 1, 0))
    # Of those that are as good, the one that goes on longest on the left.
    return min(((0, *columns) for columns in rest), key=lambda columns: (_higher(heights, columns), columns))


def _higher(heights: Sequence[float], columns: Sequence[int]) -> float:
    right = sum(height for height, column in zip(heights, columns, strict=False) if column)
    return max(right, sum(heights) - right)


def _width(paper: Paper) -> float:
    return (paper.inner_width - GAP) / 2


def _heights(paper: Paper, sections: Sequence[Section]) -> list[float]:
    paper.type(TYPE)
    width = _width(paper)
    return [
        HEADING + LINE * sum(min(len(paper.lines(line, width)), MOST_LINES) for line in section.lines)
        for section in sections
    ]


def rest_height(paper: Paper, sections: Sequence[Section]) -> float:
    """Return how much room the sections need. [mm]."""
    heights = _heights(paper, sections)
    return _higher(heights, balanced(heights)) + AROUND


def add_rest(paper: Paper, sections: Sequence[Section], y: float, bottom: float) -> None:
    """Write the sections into the room that is left, two beside each other. [mm]."""
    width, tops = _width(paper), [y + 1.0, y + 1.0]
    for section, column in zip(sections, balanced(_heights(paper, sections)), strict=False):
        x, at = paper.l_margin + column * (width + GAP), tops[column]
        if at + HEADING + LINE * 0.8 > bottom:
            continue
        at = add_heading(paper, section.heading, x, at, width)
        paper.type(TYPE)
        for line in section.lines:
            room = int((bottom - at) / LINE)
            if room < 1:
                break
            at = paper.paragraph(line, x, at, width, LINE, most=min(room, MOST_LINES))
        tops[column] = at + HEADING - 3.8
