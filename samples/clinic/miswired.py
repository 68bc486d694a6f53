"""Links whose wires do not go where they should."""

from __future__ import annotations

from typing import Final

from clinic.materials import CATEGORY_6, JACK_6
from clinic.story import Story
from line_model.link import PhysicalLink
from line_model.parts import Break, Split, Stretch

WREN: Final = "Wren crew"

STORIES: Final = (
    Story(
        label="0A-05",
        slug="split-pair",
        story="Continuity is perfect, yet pairs 36 and 45 are made of each other's wires from end to end.",
        kind="split pair",
        outcome="fail",
        link=PhysicalLink((JACK_6, Stretch(CATEGORY_6, 34.2, split=Split((1, 2))), JACK_6), 105),
        near="cabinet 0A, panel 1, port 5",
        far="consulting room 1, window",
        tested_at="2026-09-14T10:02:18+01:00",
        tested_by=WREN,
        stopped_by=("wire_map", "next", "return_loss", "insertion_loss"),
        complex_curves=True,
    ),
    Story(
        label="0A-06",
        slug="reversed-pair",
        story="Pins 4 and 5 are exchanged at one end; the curves cannot see it, the wire map does.",
        kind="reversed pair",
        outcome="fail",
        link=PhysicalLink((JACK_6, Stretch(CATEGORY_6, 38.9), JACK_6), 106),
        near="cabinet 0A, panel 1, port 6",
        far="consulting room 2, desk",
        tested_at="2026-09-14T10:11:36+01:00",
        tested_by=WREN,
        stopped_by=("wire_map",),
        contacts=tuple(zip("12364578", "12365478", strict=True)),
    ),
    Story(
        label="0A-07",
        slug="crossed-pairs",
        story="Pair 12 arrives on 36 and the other way round: one end follows T568A, the other T568B.",
        kind="crossed pairs",
        outcome="fail",
        link=PhysicalLink((JACK_6, Stretch(CATEGORY_6, 44.0), JACK_6), 107),
        near="cabinet 0A, panel 1, port 7",
        far="consulting room 2, window",
        tested_at="2026-09-14T10:20:54+01:00",
        tested_by=WREN,
        stopped_by=("wire_map",),
        contacts=tuple(zip("12364578", "36124578", strict=True)),
        is_swept=False,
        notes="Stopped after the wire map.",
    ),
    Story(
        label="0A-08",
        slug="open-pair",
        story="A drywall screw has cut pair 45 some twenty-three metres from the cabinet.",
        kind="open pair",
        outcome="fail",
        link=PhysicalLink(
            (JACK_6, Stretch(CATEGORY_6, 23.4), Break(2), Stretch(CATEGORY_6, 28.1), JACK_6), 108
        ),
        near="cabinet 0A, panel 1, port 8",
        far="pharmacy store, shelf end",
        tested_at="2026-09-15T08:40:02+01:00",
        tested_by=WREN,
        stopped_by=("wire_map", "insertion_loss", "return_loss"),
        contacts=tuple((pin, pin) for pin in "123678"),
        complex_curves=True,
    ),
)
