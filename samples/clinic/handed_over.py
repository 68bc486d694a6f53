"""A link of which only the worst margins were handed over."""

from __future__ import annotations

from typing import Any, Final

from clinic.materials import CATEGORY_6, JACK_6
from clinic.story import TIA, Story
from line_model.link import PhysicalLink
from line_model.parts import Stretch

Row = tuple[str, str | None, float, float, float, str]

# Parameter, end, margin, value, frequency, pairs: the worst points of this link against
# the permanent link limits of category 6, rounded to 0.1 dB as a printed report has them.
WORST_POINTS: Final[tuple[Row, ...]] = (
    ("insertion_loss", None, 1.0, 0.8, 1.0, "36"),
    ("next", "near", 6.0, 46.8, 115.0, "36-78"),
    ("next", "far", 5.7, 51.7, 55.0, "36-45"),
    ("ps_next", "near", 6.0, 45.1, 104.0, "36"),
    ("ps_next", "far", 6.8, 44.7, 121.5, "12"),
    ("acr_f", "near", 14.7, 67.9, 3.55, "36>45"),
    ("acr_f", "far", 14.5, 66.7, 4.0, "36>45"),
    ("ps_acr_f", "near", 13.7, 72.6, 1.3, "36"),
    ("ps_acr_f", "far", 15.4, 71.1, 1.9, "36"),
    ("return_loss", "near", 7.1, 17.5, 228.5, "78"),
    ("return_loss", "far", 5.8, 16.1, 234.5, "12"),
)


def _reading(row: Row) -> dict[str, Any]:
    parameter, end, margin_db, measured_db, frequency_mhz, pairs = row
    place = {} if end is None else {"end": end}
    worst = {
        "margin_db": margin_db,
        "measured_db": measured_db,
        "frequency_mhz": frequency_mhz,
        "pairs": pairs,
    }
    return {"parameter": parameter, **place, **worst}


STORIES: Final = (
    Story(
        label="2A-03",
        slug="summary-only",
        story="A subcontractor handed over worst margins without curves: judged as far as the numbers go.",
        kind="none",
        outcome="pass",
        link=PhysicalLink((JACK_6, Stretch(CATEGORY_6, 43.8), JACK_6), 123),
        near="cabinet 2A, panel 1, port 3",
        far="meeting room, floor box",
        tested_at="2026-09-18T15:48:00+01:00",
        tested_by="Swift crew",
        is_swept=False,
        summary={
            "rule_set": TIA,
            "category": "6",
            "readings": [_reading(row) for row in WORST_POINTS],
        },
    ),
)
