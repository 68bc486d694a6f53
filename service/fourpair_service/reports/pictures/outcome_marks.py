"""A mark for each answer: its shape says which, so that grey prints and fewer hues lose nothing.

Round is well, pointed is not, half filled is only just; dashes are not known.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from functools import cache
from typing import Final

from fourpair_service.reports.drawing.shapes import Area, Dot, Path, Picture, Place, Shape, box
from fourpair_service.reports.inks import INSIDE, MUTED, OUTSIDE, WHITE

SIZE: Final = 16.0
MIDDLE: Final = SIZE / 2
RADIUS: Final = 6.0
TIP: Final = 7.2
EDGE: Final = 1.6


def _arc(start: float, end: float, steps: int) -> tuple[Place, ...]:
    """Return places on the circle between two angles from the top, anticlockwise. [turns]."""
    turns = [start + (end - start) * step / steps for step in range(steps + 1)]
    return tuple(
        (MIDDLE - RADIUS * math.sin(2 * math.pi * t), MIDDLE - RADIUS * math.cos(2 * math.pi * t))
        for t in turns
    )


_TOP, _LEFT = (MIDDLE, MIDDLE - TIP), (MIDDLE - TIP, MIDDLE)
_BOTTOM, _RIGHT = (MIDDLE, MIDDLE + TIP), (MIDDLE + TIP, MIDDLE)
_CROSS: Final = 2.3


def _passing() -> tuple[Shape, ...]:
    return (Dot(MIDDLE, MIDDLE, RADIUS, INSIDE, INSIDE, EDGE),)


def _just_passing() -> tuple[Shape, ...]:
    return (Dot(MIDDLE, MIDDLE, RADIUS, WHITE, INSIDE, EDGE), Area(_arc(0, 0.5, 12), INSIDE))


def _just_failing() -> tuple[Shape, ...]:
    return (Area((_TOP, _RIGHT, _BOTTOM, _LEFT), WHITE, OUTSIDE, EDGE), Area((_TOP, _BOTTOM, _LEFT), OUTSIDE))


def _failing() -> tuple[Shape, ...]:
    low, high = MIDDLE - _CROSS, MIDDLE + _CROSS
    return (
        Area((_TOP, _RIGHT, _BOTTOM, _LEFT), OUTSIDE, OUTSIDE, EDGE),
        Path(((low, low), (high, high)), WHITE, EDGE),
        Path(((low, high), (high, low)), WHITE, EDGE),
    )


def _open() -> tuple[Shape, ...]:
    # Eight strokes with gaps: a line of dashes would be drawn differently by each reader.
    return tuple(Path(_arc(n / 8, n / 8 + 0.08, 3), MUTED, 1.8) for n in range(8))


def _missing() -> tuple[Shape, ...]:
    left, right = MIDDLE - RADIUS, MIDDLE + RADIUS
    corners = box(left, left, right - left, right - left)
    return tuple(
        Path((a, (a[0] + (b[0] - a[0]) * 0.35, a[1] + (b[1] - a[1]) * 0.35)), MUTED, EDGE)
        for first, second in zip(corners, (*corners[1:], corners[0]), strict=True)
        for a, b in ((first, second), (second, first))
    )


MARKS: Final[Mapping[str, Callable[[], tuple[Shape, ...]]]] = {
    "pass": _passing,
    "marginal_pass": _just_passing,
    "marginal_fail": _just_failing,
    "fail": _failing,
    "incomplete": _open,
    "missing": _missing,
}


@cache
def outcome_mark(state: str) -> Picture:
    """Return the mark of an outcome, or of a link that is missing."""
    return Picture(f"mark-{state}", state, state, SIZE, SIZE, MARKS[state]())
