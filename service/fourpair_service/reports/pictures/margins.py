"""The margin of one parameter over frequency, with its limit, both ends and the worst point."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np

from fourpair_service.domain.grading.margin_curves import MarginCurve
from fourpair_service.domain.link import End
from fourpair_service.reports.drawing.shapes import Area, Dot, Path, Picture, Place, Shape, Words, box
from fourpair_service.reports.inks import GRID, INK, INSIDE, MUTED, OUTSIDE, OUTSIDE_FILL, WHITE
from fourpair_service.reports.language import UNIT_SIGNS, Language
from fourpair_service.reports.scales import Linear, Logarithmic, nice_axis

WIDTH: Final = 230.0
HEIGHT: Final = 118.0
LEFT: Final = 26.0
BESIDE: Final = 6.0
TOP: Final = 20.0
BOTTOM: Final = 100.0
# As many columns as can be told apart; each keeps its smallest margin, so no worst point is lost.
COLUMNS: Final = 120
# Width of a figure, for the ground under a number.
CHARACTER: Final = 5.2
# What lies further inside than this above the worst point tells nothing more. [dB]
SHOWN_DB: Final = 12.0
MINUS: Final = "\u2212"
LABEL_HEIGHT: Final = 10.0
# As bad as so many covered points.
MISPLACED: Final = 6
# Of the worst point.
RING: Final = 4.0
# Room for the end of the range and its unit.
END_LABEL: Final = 42.0
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
    width: float = WIDTH,
) -> Picture:
    """Return the picture of one parameter.

    Args:
        parameter: its word.
        curves: of either end.
        results: the verdict's of the same, for the worst point.
        words: the language.
        width: of the picture.
    """
    right = width - BESIDE
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
        *_worst(worst, x, y, words, [place for line in lines for place in line.places]),
    ]
    end = words.say(f"end_at.{worst['end']}") if worst["end"] else words.say("heading.run")
    said = words.say(
        "picture.margin_text",
        margin=words.amount(worst["margin_db"], "db"),
        frequency=words.frequency(worst["frequency_mhz"]) if worst["frequency_mhz"] is not None else "",
        end=end,
    )
    return Picture(f"margin-{parameter}", title, said, width, HEIGHT, tuple(shapes))


def grid(x: Logarithmic, y: Linear, words: Language) -> list[Shape]:
    """Return the ground that curves of margins stand on, with the limit line."""
    shapes: list[Shape] = [Words(UNIT_SIGNS["db"], LEFT - 4, TOP - 8, 8, MUTED, "end")]
    for value in y.ticks():
        is_limit = abs(value) < 1e-9
        if not is_limit:
            shapes.append(Path(((LEFT, y(value)), (x.stop, y(value))), GRID, 0.6))
        shapes.append(Words(words.number(value + 0.0, 0), LEFT - 4, y(value) + 3, 8, MUTED, "end"))
    for decade in DECADES_MHZ:
        if x.low <= decade <= x.high:
            shapes.append(Path(((x(decade), TOP), (x(decade), BOTTOM)), GRID, 0.6))
            shapes.append(Words(words.frequency(decade), x(decade), BOTTOM + 11, 8, MUTED, "middle"))
    # The end of the range, unless a decade stands there or beside it.
    end = f"{words.frequency(float(f'{x.high:.3g}'))} {words.say('picture.frequency')}"
    decades = [x(decade) for decade in DECADES_MHZ if x.low <= decade <= x.high]
    if all(abs(decade - LEFT) > START_LABEL for decade in decades):
        start = words.frequency(float(f"{x.low:.3g}"))
        shapes.append(Words(start, LEFT, BOTTOM + 11, 8, MUTED, "start"))
    if all(abs(decade - x.stop) > END_LABEL for decade in decades):
        shapes.append(Words(end, x.stop, BOTTOM + 11, 8, MUTED, "end"))
    else:
        shapes.append(Words(words.say("picture.frequency"), x.stop, TOP - 8, 8, MUTED, "end"))
    shapes.append(Path(((LEFT, y(0)), (x.stop, y(0))), INK, 2.3))
    shapes.append(Words(words.say("picture.limit"), LEFT + 3, y(0) + 9, 8, INK, "start", bold=True))
    return shapes


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


def _worst(
    worst: Mapping[str, Any], x: Logarithmic, y: Linear, words: Language, drawn: Sequence[Place]
) -> list[Shape]:
    if worst["frequency_mhz"] is None:
        return []
    at = min(max(x(worst["frequency_mhz"]), LEFT), x.stop), y(worst["margin_db"])
    ink = OUTSIDE if worst["margin_db"] < 0 else INK
    label = f"{worst['margin_db']:+.1f}".replace(".", words.texts["decimal"]).replace("-", MINUS)
    left, top, covered = _free_place(at, CHARACTER * len(label), y(0), x.stop, drawn)
    ground = [Area(box(left, top, CHARACTER * len(label), LABEL_HEIGHT), WHITE)] if covered else []
    middle = left + CHARACTER * len(label) / 2
    return [
        *ground,
        Dot(at[0], at[1], 3.4, WHITE, ink, 1.4),
        Words(label, middle, top + 8, 9, ink, "middle", bold=True),
    ]


def _free_place(
    at: Place, width: float, limit: float, right: float, drawn: Sequence[Place]
) -> tuple[float, float, int]:
    """Return where the number of the worst point covers least, and how much that is."""
    # Beside the limit line stands its name.
    kept = [*drawn, *((LEFT + 3.0 * i, limit) for i in range(int((right - LEFT) / 3)))]
    kept += [(LEFT + 3 + 4.0 * i, limit + 6) for i in range(7)]

    def covered(left: float, top: float) -> int:
        return sum(
            left - 1 <= x <= left + width + 1 and top - 1 <= y <= top + LABEL_HEIGHT + 1 for x, y in kept
        )

    lefts = [at[0] + 6, at[0] - 6 - width, at[0] - width / 2, *(at[0] + d for d in (16, 30, 44))]
    lefts += [at[0] - d - width for d in (16, 30, 44)]
    tops = [at[1] + 3, at[1] - 13, at[1] + 8, at[1] - 18, at[1] + 18, at[1] - 28, at[1] + 28, at[1] - 38]
    held = [
        (min(max(left, LEFT + 1), right - width), min(max(top, TOP), BOTTOM - LABEL_HEIGHT))
        for top in tops
        for left in lefts
    ]

    def hides_ring(left: float, top: float) -> bool:
        beside = abs(left + width / 2 - at[0]) >= RING + width / 2
        return not beside and abs(top + LABEL_HEIGHT / 2 - at[1]) < RING + LABEL_HEIGHT / 2

    def is_among_bad(top: float) -> bool:
        """Return whether a number that is good would stand on the ground of what is not."""
        return at[1] <= limit < top + LABEL_HEIGHT

    best = min(
        held, key=lambda place: (hides_ring(*place), covered(*place) + MISPLACED * is_among_bad(place[1]))
    )
    return *best, covered(*best)
