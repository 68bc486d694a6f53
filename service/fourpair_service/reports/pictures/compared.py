"""The margin of one parameter over frequency at two revisions, one over the other."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any, Final

import numpy as np

from fourpair_service.domain.grading.margin_curves import MarginCurve
from fourpair_service.reports.drawing.shapes import Area, Dot, Path, Picture, Place, Shape, Words, box
from fourpair_service.reports.inks import INK, INSIDE, MUTED, OUTSIDE_FILL, WHITE
from fourpair_service.reports.language import Language
from fourpair_service.reports.pictures.margins import (
    BESIDE,
    BOTTOM,
    HEIGHT,
    LEFT,
    SHOWN_DB,
    TOP,
    grid,
    thinned,
)
from fourpair_service.reports.scales import Linear, Logarithmic, nice_axis

WIDTH: Final = 330.0
BEFORE: Final = (MUTED, 1.2, (5.0, 3.0))
AFTER: Final = (INSIDE, 1.8, ())
SQUARE: Final = 6.0
RADIUS: Final = 3.6

Point = Mapping[str, Any]


def smallest(curves: Sequence[MarginCurve]) -> MarginCurve | None:
    """Return the curves of a parameter, both ends and every axis, as one in the order of frequency.

    Where it is drawn, each column shows the smallest of what falls into it.
    """
    if not curves:
        return None
    frequency = np.concatenate([curve.frequency_mhz for curve in curves])
    margin = np.concatenate([curve.margin_db for curve in curves])
    order = np.argsort(frequency, kind="stable")
    return replace(curves[0], end=None, frequency_mhz=frequency[order], margin_db=margin[order])


def compared_picture(
    parameter: str,
    before: tuple[Sequence[MarginCurve], Point | None],
    after: tuple[Sequence[MarginCurve], Point | None],
    words: Language,
) -> Picture:
    """Return the picture of one parameter before and after.

    Args:
        parameter: its word.
        before: the curves of the one revision, and the worst point of its verdict.
        after: the same of the other; one of the two may have no curves.
        words: the language.
    """
    lines = [smallest(before[0]), smallest(after[0])]
    points = [point for _, point in (before, after) if point is not None]
    margins = [point["margin_db"] for point in points] or [0.0]
    edges = [float(line.frequency_mhz[i]) for line in lines if line is not None for i in (0, -1)]
    y = nice_axis(min(0.0, *margins) - 1.5, max(0.0, *margins) + SHOWN_DB, BOTTOM, TOP, most=5)
    x = Logarithmic(min(edges), max(*edges, min(edges) * 1.1), LEFT, WIDTH - BESIDE)
    title = words.say(f"parameter.{parameter}")
    shapes: list[Shape] = [
        Area(box(LEFT, y(0), x.stop - LEFT, BOTTOM - y(0)), OUTSIDE_FILL),
        *grid(x, y, words),
        Words(title, LEFT, 12, 10, INK, "start", bold=True),
    ]
    for line, (ink, width, dash) in zip(lines, (BEFORE, AFTER), strict=True):
        if line is not None:
            shapes.append(Path(_places(line, x, y), ink, width, dash))
    shapes += _mark(before[1], x, y, is_after=False) + _mark(after[1], x, y, is_after=True)
    return Picture(
        f"compared-{parameter}", title, _said(before[1], after[1], words), WIDTH, HEIGHT, tuple(shapes)
    )


def _places(line: MarginCurve, x: Logarithmic, y: Linear) -> tuple[Place, ...]:
    places = [(x(f), min(max(y(m), TOP), BOTTOM)) for f, m in thinned(line)]
    return tuple(places if len(places) > 1 else places * 2)


def _mark(point: Point | None, x: Logarithmic, y: Linear, *, is_after: bool) -> list[Shape]:
    if point is None or point["frequency_mhz"] is None:
        return []
    at = min(max(x(point["frequency_mhz"]), LEFT), x.stop), y(point["margin_db"])
    if is_after:
        return [Dot(at[0], at[1], RADIUS, WHITE, INSIDE, 1.6)]
    return [Area(box(at[0] - SQUARE / 2, at[1] - SQUARE / 2, SQUARE, SQUARE), WHITE, MUTED, 1.4)]


def _said(before: Point | None, after: Point | None, words: Language) -> str:
    """Return both worst points in words."""
    parts = []
    for name, point in (("before", before), ("after", after)):
        if point is not None:
            at = point["frequency_mhz"]
            where = (
                "" if at is None else f", {words.say('sentence.at_frequency', frequency=words.frequency(at))}"
            )
            parts.append(f"{words.say(f'office.{name}')}: {words.amount(point['margin_db'], 'db')}{where}.")
    return " ".join(parts)
