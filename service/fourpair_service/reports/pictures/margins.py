"""The margin of one parameter over frequency, with its limit, both ends and the worst point."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np

from fourpair_service.domain.grading.margin_curves import MarginCurve
from fourpair_service.domain.link import End
from fourpair_service.reports.drawing.shapes import Anchor, Area, Dot, Path, Picture, Place, Shape, Words, box
from fourpair_service.reports.inks import GRID, INK, INSIDE, MUTED, OUTSIDE, OUTSIDE_FILL, WHITE
from fourpair_service.reports.language import UNIT_SIGNS, Language
from fourpair_service.reports.scales import Linear, Logarithmic, nice_axis

# As narrow as its labels have room for; it may be drawn wider.
WIDTH: Final = 230.0
HEIGHT: Final = 118.0
LEFT: Final = 26.0
BESIDE: Final = 6.0
TOP: Final = 20.0
BOTTOM: Final = 100.0
# As many columns as can be told apart; each keeps its smallest margin, so no worst point is lost.
COLUMNS: Final = 120
# What lies further inside than this above the worst point tells nothing more. [dB]
SHOWN_DB: Final = 12.0
MINUS: Final = "\u2212"
# Radius of the mark of the worst point.
RING: Final = 3.4
# Room for the end of the range.
END_LABEL: Final = 27.0
START_LABEL: Final = 26.0
DECADES_MHZ: Final = (1.0, 10.0, 100.0, 1000.0)
LINES: Final[Mapping[End | None, tuple[str, float, tuple[float, ...]]]] = {
    None: (INSIDE, 1.5, ()),
    End.NEAR: (INSIDE, 1.5, ()),
    End.FAR: (INK, 1.2, (4.0, 2.0)),
}


def thinned(curve: MarginCurve, columns: int = COLUMNS) -> list[tuple[float, float]]:
    """Return at most ``columns`` points of a curve, the smallest margin of each stretch. [MHz, dB]."""
    frequency, margin = curve.frequency_mhz, curve.margin_db
    position = np.log(frequency)
    span = max(position[-1] - position[0], 1e-9)
    column = np.minimum(((position - position[0]) / span * columns).astype(int), columns - 1)
    kept = [int(part[0] + margin[part].argmin()) for part in _stretches(column)]
    return [(float(frequency[i]), float(margin[i])) for i in kept]


def _stretches(column: np.ndarray[Any, np.dtype[np.int_]]) -> list[np.ndarray[Any, np.dtype[np.intp]]]:
    edges = np.flatnonzero(np.diff(column)) + 1
    return list(np.split(np.arange(len(column)), edges))


def margins_picture(
    parameter: str,
    curves: Sequence[MarginCurve],
    results: Sequence[Mapping[str, Any]],
    words: Language,
) -> Picture:
    """Return the picture of one parameter.

    Args:
        parameter: its word.
        curves: of either end.
        results: the verdict's of the same, for the worst point.
        words: the language.
    """
    right = WIDTH - BESIDE
    worst = min((r["worst_margin"] for r in results if r["worst_margin"]), key=lambda p: p["margin_db"])
    low = min(0.0, worst["margin_db"])
    y = nice_axis(low - 1.5, max(worst["margin_db"], 0.0) + SHOWN_DB, BOTTOM, TOP, most=5)
    edges = [float(curve.frequency_mhz[i]) for curve in curves for i in (0, -1)]
    x = Logarithmic(min(edges), max(*edges, min(edges) * 1.1), LEFT, right)
    title = words.say(f"parameter.{parameter}")
    lines = [line for curve in curves for line in _lines(curve, x, y)]
    shapes: list[Shape] = [
        Area(box(LEFT, y(0), right - LEFT, BOTTOM - y(0)), OUTSIDE_FILL),
        *grid(x, y, words),
        Words(title, LEFT, 12, 10, INK, "start", bold=True),
        *lines,
        *_worst(worst, x, y, words),
    ]
    end = words.say(f"end_at.{worst['end']}") if worst["end"] else words.say("heading.run")
    said = words.say(
        "picture.margin_text",
        margin=words.amount(worst["margin_db"], "db"),
        frequency=words.frequency(worst["frequency_mhz"]) if worst["frequency_mhz"] is not None else "",
        end=end,
    )
    return Picture(f"margin-{parameter}", title, said, WIDTH, HEIGHT, tuple(shapes))


def grid(x: Logarithmic, y: Linear, words: Language) -> list[Shape]:
    """Return the ground that curves of margins stand on, with the limit line."""
    shapes: list[Shape] = [Words(UNIT_SIGNS["db"], LEFT - 4, TOP - 8, 8, MUTED, "end")]
    for value in y.ticks():
        is_limit = abs(value) < 1e-9
        if not is_limit:
            shapes.append(Path(((LEFT, y(value)), (x.stop, y(value))), GRID, 0.6))
        shapes.append(Words(words.number(value + 0.0, 0), LEFT - 4, y(value) + 3, 8, MUTED, "end"))
    shapes += _frequencies(x, words)
    shapes.append(Path(((LEFT, y(0)), (x.stop, y(0))), INK, 2.3))
    shapes.append(Words(words.say("picture.limit"), LEFT + 3, y(0) + 11, 8, INK, "start", bold=True))
    return shapes


def _frequencies(x: Logarithmic, words: Language) -> list[Shape]:
    """Return the decades and the ends of the range, with the unit where that of the other axis stands."""
    decades = [decade for decade in DECADES_MHZ if x.low <= decade <= x.high]
    labelled: list[tuple[float, Anchor]] = [(x.low, "start")]
    # A decade beside an end has its line only.
    labelled += [
        (at, "middle") for at in decades if x(at) - LEFT > START_LABEL and x.stop - x(at) > END_LABEL
    ]
    labelled.append((x.high, "end"))
    y = BOTTOM + 11
    return [
        *(Path(((x(at), TOP), (x(at), BOTTOM)), GRID, 0.6) for at in decades),
        Words(words.say("picture.frequency"), LEFT - 4, y, 8, MUTED, "end"),
        *(Words(words.frequency(float(f"{at:.3g}")), x(at), y, 8, MUTED, anchor) for at, anchor in labelled),
    ]


def _lines(curve: MarginCurve, x: Logarithmic, y: Linear) -> list[Path]:
    """Return a curve in the parts of it that lie within the picture."""
    ink, width, dash = LINES[curve.end]
    places: list[Place] = [(x(f), min(y(m), BOTTOM)) for f, m in thinned(curve)]
    parts = within(places if len(places) > 1 else places * 2)
    return [Path(tuple(part), ink, width, dash) for part in parts]


def within(places: Sequence[Place]) -> list[list[Place]]:
    """Return the parts of a line below the upper edge, cut where it crosses the edge.

    >>> within([(0, 10), (10, 30), (20, 30)])
    [[(5.0, 20.0), (10, 30), (20, 30)]]
    """
    parts: list[list[Place]] = []
    part: list[Place] = []
    for before, here in zip([places[0], *places], places, strict=False):
        if (before[1] < TOP) != (here[1] < TOP):
            share = (TOP - before[1]) / (here[1] - before[1])
            part.append((before[0] + share * (here[0] - before[0]), TOP))
        if here[1] >= TOP:
            part.append(here)
        elif part:
            parts.append(part)
            part = []
    return [*parts, part] if part else parts


def _worst(worst: Mapping[str, Any], x: Logarithmic, y: Linear, words: Language) -> list[Shape]:
    """Return the ring at the worst point, and its figure above the picture, where it covers nothing."""
    if worst["frequency_mhz"] is None:
        return []
    at = min(max(x(worst["frequency_mhz"]), LEFT), x.stop), y(worst["margin_db"])
    ink = OUTSIDE if worst["margin_db"] < 0 else INK
    figure = f"{worst['margin_db']:+.1f} {UNIT_SIGNS['db']}"
    label = figure.replace(".", words.texts["decimal"]).replace("-", MINUS)
    return [
        Dot(at[0], at[1], RING, WHITE, ink, 1.4),
        Words(label, x.stop, 12, 9.5, ink, "end", bold=True),
    ]
