"""A limit as a picture (SVG): a curve over frequency, or a single value on its scale."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from fourpair_service.domain.limits import Basis, CurveLimit, ReadingLimit
from fourpair_service.domain.parameters import TRAITS, Sense
from fourpair_service.reports.inks import FAINT, GRID, INK, INSIDE, MUTED, OUTSIDE, OUTSIDE_FILL, WHITE
from fourpair_service.reports.limit_frame import LEFT, WIDTH, footing, heading, title, unit
from fourpair_service.reports.limit_gauge import gauge
from fourpair_service.reports.scales import Linear, Logarithmic, nice_axis
from fourpair_service.reports.svg import document, element, line, text
from fourpair_service.rulesets.limit_table import LimitRow, LimitTable

HEIGHT: Final = 626
TOP: Final = 96
BOTTOM: Final = 480
RIGHT: Final = 896
LEGEND_Y: Final = 540
SOURCE_Y: Final = 566
POINTS: Final = 120
# Narrower than this, an axis of frequency would be a line: a segment of one point.
WIDEST_POINT: Final = 1.02
# How far around a mark its curve is looked at, to put the value on the free side.
NEAR: Final = 24
# More values than this would cover the curve.
MOST_VALUES: Final = 12
SHOWN_MHZ: Final = (10.0, 100.0)
DASHES: Final = {Basis.PUBLISHED: "none", Basis.CROSS_CHECKED: "11 5", Basis.MEMORY: "1 6"}
BASIS_WORDS: Final = {
    Basis.PUBLISHED: "published",
    Basis.CROSS_CHECKED: "cross-checked at a few printed values",
    Basis.MEMORY: "from memory",
}


@dataclass(frozen=True, slots=True)
class _Run:
    """A stretch of the curve without a hole, all on one basis."""

    basis: Basis
    points: tuple[tuple[float, float], ...]


def limit_chart(table: LimitTable, *, marked: bool) -> str:
    """Return a limit as an SVG picture.

    Args:
        table: the limit.
        marked: whether each row is a point that was asked for and is marked;
            otherwise a few values are marked to read the picture by.
    """
    if isinstance(table.limit, ReadingLimit):
        return gauge(table, table.limit)
    runs = _runs(table.limit)
    values = [value for run in runs for _, value in run.points]
    x = Logarithmic(*_range(table.limit), LEFT, RIGHT)
    pad = max(0.06 * (max(values) - min(values)), 1.0)
    y = nice_axis(max(min(values) - pad, min(0.0, *values)), max(values) + pad, BOTTOM, TOP)
    drawing = _Drawing(table, x, y, runs)
    return document(
        title(table),
        f"Limit over frequency from {table.limit.from_mhz:g} to {table.limit.to_mhz:g} MHz.",
        WIDTH,
        HEIGHT,
        *heading(table),
        *drawing.zone(),
        *drawing.grid(),
        *drawing.curve(),
        *drawing.zone_words(),
        *drawing.marks(table.rows if marked else _few(table.rows)),
        *drawing.legend(),
        *footing(table, SOURCE_Y),
    )


def _range(curve: CurveLimit) -> tuple[float, float]:
    low, high = curve.from_mhz, curve.to_mhz
    return (low, high) if high > low * WIDEST_POINT else (low / WIDEST_POINT, high * WIDEST_POINT)


def _runs(curve: CurveLimit) -> list[_Run]:
    runs: list[_Run] = []
    for segment in curve.segments:
        grid = np.geomspace(segment.from_mhz, segment.to_mhz, POINTS)
        # The last point belongs to the next segment: end a hair below it, so that a step stays a step.
        inner = grid if segment is curve.segments[-1] else np.append(grid[:-1], np.nextafter(grid[-1], 0))
        inner = np.clip(inner, segment.from_mhz, segment.to_mhz)
        values = curve.at(inner)
        known = ~np.isnan(values)
        points = tuple(zip(inner[known].tolist(), values[known].tolist(), strict=True))
        if points:
            runs.append(_Run(segment.basis, points))
    return runs


def _few(rows: tuple[LimitRow, ...]) -> tuple[LimitRow, ...]:
    known = [row for row in rows if row.value is not None]
    ends = (known[0], known[-1])
    inner = [row for row in known[1:-1] if row.frequency_mhz in SHOWN_MHZ]
    return tuple(dict.fromkeys((ends[0], *inner, ends[1])))


class _Drawing:
    """The parts of the picture inside its frame."""

    def __init__(self, table: LimitTable, x: Logarithmic, y: Linear, runs: list[_Run]) -> None:
        self._table, self._x, self._y, self._runs = table, x, y, runs
        first, last = runs[0].points[0][1], runs[-1].points[-1][1]
        self._falls = last <= first
        self._is_least = TRAITS[table.parameter].sense is Sense.AT_LEAST

    def _place(self, point: tuple[float, float]) -> tuple[float, float]:
        return self._x(point[0]), self._y(point[1])

    def _path(self, points: tuple[tuple[float, float], ...]) -> str:
        return " ".join(f"{x:.1f},{y:.1f}" for x, y in map(self._place, points))

    def zone(self) -> list[str]:
        """Return the area outside the limit, shaded."""
        edge = BOTTOM if self._is_least else TOP
        return [
            element(
                "polygon",
                points=f"{self._x(run.points[0][0]):.1f},{edge} {self._path(run.points)} "
                f"{self._x(run.points[-1][0]):.1f},{edge}",
                fill=OUTSIDE_FILL,
            )
            for run in self._runs
        ]

    def grid(self) -> list[str]:
        """Return both axes with their lines and labels."""
        labelled = self._x.labels()
        parts = [line(self._x(f), TOP, self._x(f), BOTTOM, stroke=FAINT) for f in self._x.lines()]
        parts += [line(self._x(f), TOP, self._x(f), BOTTOM, stroke=GRID) for f in labelled]
        parts += [line(LEFT, self._y(v), RIGHT, self._y(v), stroke=GRID) for v in self._y.ticks()]
        parts.append(line(LEFT, BOTTOM, RIGHT, BOTTOM, stroke=INK, stroke_width=1.2))
        parts += [text(f"{f:g}", self._x(f), BOTTOM + 20, text_anchor="middle") for f in labelled]
        parts += [text(f"{v:.6g}", LEFT - 10, self._y(v) + 4, text_anchor="end") for v in self._y.ticks()]
        parts.append(
            text("frequency, MHz", (LEFT + RIGHT) / 2, BOTTOM + 40, text_anchor="middle", fill=MUTED)
        )
        parts.append(text(unit(self._table), LEFT - 10, TOP - 12, text_anchor="end", fill=MUTED))
        return parts

    def curve(self) -> list[str]:
        """Return the limit itself, its stroke saying how well it is known."""
        return [
            element(
                "polyline",
                points=self._path(run.points),
                fill="none",
                stroke=INSIDE,
                stroke_width=3,
                stroke_dasharray=DASHES[run.basis],
                stroke_linecap="butt" if run.basis is not Basis.MEMORY else "round",
                stroke_linejoin="round",
            )
            for run in self._runs
        ]

    def zone_words(self) -> list[str]:
        """Return which side is which, in the corners that the curve leaves free."""
        upper = (RIGHT - 14, "end") if self._falls else (LEFT + 14, "start")
        lower = (LEFT + 14, "start") if self._falls else (RIGHT - 14, "end")
        above, below = ("inside", "outside") if self._is_least else ("outside", "inside")
        colours = {"inside": INSIDE, "outside": OUTSIDE}
        return [
            text(word, x, y, text_anchor=anchor, fill=colours[word], font_size=14, font_style="italic")
            for word, (x, anchor), y in ((above, upper, TOP + 24), (below, lower, BOTTOM - 14))
        ]

    def marks(self, rows: tuple[LimitRow, ...]) -> list[str]:
        """Return the marked points, with their values where there is room."""
        parts: list[str] = []
        for row in rows:
            if row.frequency_mhz is None or row.value is None:
                continue
            x, y = self._place((row.frequency_mhz, row.value))
            parts.append(element("circle", cx=x, cy=y, r=4.5, fill=WHITE, stroke=INSIDE, stroke_width=2))
            if len(rows) <= MOST_VALUES:
                parts.append(self._value(row.value, x, y))
        return parts

    def _value(self, value: float, x: float, y: float) -> str:
        # The free side of a falling curve is above to the right, of a rising one above to the left.
        is_at_edge = x < LEFT + 40
        to_right = is_at_edge or not self._rises_at(x)
        is_below = y < TOP + 24 or (is_at_edge and self._rises_at(x))
        return text(
            f"{value:.1f}",
            x + (9 if to_right else -9),
            y + 20 if is_below else y - 9,
            text_anchor="start" if to_right else "end",
            font_weight="600",
            stroke=WHITE,
            stroke_width=3,
            paint_order="stroke",
        )

    def _rises_at(self, x: float) -> bool:
        places = [self._place(point) for run in self._runs for point in run.points]
        near = [y for other, y in places if abs(other - x) <= NEAR]
        return near[-1] < near[0]

    def legend(self) -> list[str]:
        """Return what the strokes mean, those that occur."""
        parts: list[str] = []
        x = float(LEFT)
        for basis in dict.fromkeys(run.basis for run in self._runs):
            parts.append(
                line(
                    x, LEGEND_Y - 4, x + 34, LEGEND_Y - 4, stroke=INSIDE, stroke_width=3,
                    stroke_dasharray=DASHES[basis], stroke_linecap="butt" if basis is not Basis.MEMORY else "round",
                )
            )  # fmt: skip
            parts.append(text(BASIS_WORDS[basis], x + 42, LEGEND_Y))
            x += 74 + 7 * len(BASIS_WORDS[basis])
        return parts
