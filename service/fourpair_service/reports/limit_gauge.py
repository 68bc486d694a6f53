"""A single-value limit as a picture: the value on its scale."""

from __future__ import annotations

from typing import Final

from fourpair_service.domain.limits import ReadingLimit
from fourpair_service.reports.inks import INK, INSIDE, INSIDE_FILL, MUTED, OUTSIDE, OUTSIDE_FILL
from fourpair_service.reports.limit_frame import LEFT, WIDTH, footing, heading, title, unit
from fourpair_service.reports.scales import nice_axis
from fourpair_service.reports.svg import document, element, line, text
from fourpair_service.rulesets.limit_table import LimitTable

HEIGHT: Final = 300
RIGHT: Final = 896
TOP: Final = 128
BAR: Final = 56
# How far the scale goes on beyond the limit.
BEYOND: Final = 1.35


def gauge(table: LimitTable, limit: ReadingLimit) -> str:
    """Return a single-value limit as an SVG picture."""
    value = limit.judged_value
    x = nice_axis(0, value * BEYOND, LEFT, RIGHT)
    at, foot = x(value), TOP + BAR
    ticks = [line(x(v), foot, x(v), foot + 6, stroke=INK) for v in x.ticks()]
    ticks += [text(f"{v:.6g}", x(v), foot + 22, text_anchor="middle") for v in x.ticks()]
    return document(
        title(table),
        f"At most {value:g} {unit(table)}.",
        WIDTH,
        HEIGHT,
        *heading(table),
        element("rect", x=LEFT, y=TOP, width=at - LEFT, height=BAR, fill=INSIDE_FILL),
        element("rect", x=at, y=TOP, width=RIGHT - at, height=BAR, fill=OUTSIDE_FILL),
        text("inside", LEFT + 14, TOP + 33, font_size=14, font_style="italic", fill=INSIDE),
        text(
            "outside",
            RIGHT - 14,
            TOP + 33,
            font_size=14,
            font_style="italic",
            fill=OUTSIDE,
            text_anchor="end",
        ),
        line(LEFT, foot, RIGHT, foot, stroke=INK, stroke_width=1.2),
        *ticks,
        line(at, TOP - 8, at, foot, stroke=INSIDE, stroke_width=3),
        text(f"{value:g} {unit(table)}", at, TOP - 16, font_size=16, font_weight="600", text_anchor="middle"),
        text(_words(limit, unit(table)), LEFT, foot + 48, fill=MUTED),
        *footing(table, foot + 72),
    )


def _words(limit: ReadingLimit, written: str) -> str:
    words = f"At most {limit.value:g} {written}"
    if limit.allowance_percent:
        words += f" and {limit.allowance_percent:g} % more as allowance: {limit.judged_value:g} {written}"
    if limit.percent is not None:
        words += f", or {limit.percent:g} % of the sum of the two resistances where that is more"
    return f"{words}."
