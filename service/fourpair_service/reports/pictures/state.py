"""How the links of a job stand, as one strip: a stretch for each answer, as long as its share."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from fourpair_service.reports.drawing.shapes import Area, Path, Picture, Shape, box
from fourpair_service.reports.inks import INSIDE, INSIDE_FILL, MUTED, OUTSIDE, OUTSIDE_FILL, WHITE
from fourpair_service.reports.language import Language

MISSING: Final = "missing"
WIDTH: Final = 640.0
HEIGHT: Final = 22.0
EDGE: Final = 1.5
# A stretch never gets too narrow to be seen.
LEAST: Final = 8.0
# What a stretch is filled with, its edge, and whether strokes run through it: grey prints tell them apart.
LOOKS: Final[Mapping[str, tuple[str, str, bool]]] = {
    "pass": (INSIDE, INSIDE, False),
    "marginal_pass": (INSIDE_FILL, INSIDE, True),
    "marginal_fail": (OUTSIDE_FILL, OUTSIDE, True),
    "fail": (OUTSIDE, OUTSIDE, False),
    "incomplete": (WHITE, MUTED, True),
    MISSING: (WHITE, MUTED, False),
}


def state_picture(counts: Mapping[str, int], words: Language, said: str) -> Picture:
    """Return the strip of a job.

    Args:
        counts: how many links there are by outcome, and how many are missing.
        words: the language.
        said: the same in words.
    """
    shown = {name: number for name, number in counts.items() if number}
    total = sum(shown.values())
    room = WIDTH - LEAST * len(shown)
    shapes: list[Shape] = []
    left = 0.0
    for name, number in shown.items():
        width = LEAST + room * number / total
        shapes += _stretch(name, left, width)
        left += width
    return Picture("state", words.say("office.state"), said, WIDTH, HEIGHT, tuple(shapes))


def _stretch(name: str, left: float, width: float) -> list[Shape]:
    fill, ink, is_hatched = LOOKS[name]
    top, bottom = EDGE, HEIGHT - EDGE
    shapes: list[Shape] = [Area(box(left + EDGE, top, width - 2 * EDGE, bottom - top), fill, ink, EDGE)]
    if is_hatched:
        at = left + 6
        while at < left + width - 4:
            shapes.append(Path(((at, bottom - 3), (min(at + 6, left + width - 3), top + 3)), ink, 0.8))
            at += 7
    return shapes
