"""Links that are good, nearly good, or were measured by halves."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from clinic.materials import (
    CATEGORY_6,
    CATEGORY_6A,
    CATEGORY_6A_SCREENED,
    CORD,
    JACK_5E,
    JACK_6,
    JACK_6A_SCREENED,
    TELEPHONE,
    TELEPHONE_BLOCK,
)
from clinic.story import ISO, STRAIGHT, Cable, Story
from line_model.link import PhysicalLink
from line_model.parts import Stretch

WREN: Final = "Wren crew"
HERON: Final = "Heron crew"


def _plain(length_m: float, seed: int) -> PhysicalLink:
    return PhysicalLink((JACK_6, Stretch(CATEGORY_6, length_m), JACK_6), seed)


def _far_jack(length_m: float, next_db: float, seed: int) -> PhysicalLink:
    """Return a link whose far jack is worse between its two middle pairs."""
    far = JACK_6.worse({"36-45": next_db})
    return PhysicalLink((JACK_6, Stretch(CATEGORY_6, length_m), far), seed)


# A port that goes up to 1 Gbit/s and powers nothing, and a printer that offers 100BASE-TX and 10BASE-T
# (IEEE 802.3 annex 28B: technology ability bits A0 to A3 of the base page); the figures are invented.
SLOW_PRINTER: Final = {
    "ability_word": "0xC1E1",
    "next_pages": ["0xA008", "0x0818"],
    "mdi": "auto",
    "link_up": "100BASE-TX/full",
    "levels": [
        {"pair": "12", "signal": "link_pulse", "peak_v": 2.46, "termination_ohm": 100, "at": "port"},
        {"pair": "36", "signal": "link_pulse", "peak_v": 1.84, "termination_ohm": 100, "at": "far_end"},
    ],
    "partner": {"ability_word": "0x41E1", "mdi": "mdi"},
}

STORIES: Final = (
    Story(
        label="0A-01",
        slug="clean-pass",
        story="Forty-one metres to the reception desk, everything well inside the limits.",
        kind="none",
        outcome="pass",
        link=_plain(40.6, 101),
        near="cabinet 0A, panel 1, port 1",
        far="reception desk, left outlet",
        tested_at="2026-09-14T09:12:40+01:00",
        tested_by=WREN,
    ),
    Story(
        label="0A-02",
        slug="near-miss",
        story="The far jack is untwisted a little too far: NEXT of 36-45 misses by a decibel or two.",
        kind="connector",
        outcome="fail",
        link=_far_jack(33.5, 42.6, 102),
        near="cabinet 0A, panel 1, port 2",
        far="reception desk, right outlet",
        tested_at="2026-09-14T09:19:05+01:00",
        tested_by=WREN,
        stopped_by=("next",),
    ),
    Story(
        label="0A-03",
        slug="marginal-pass",
        story="Inside the limit by less than the tester can tell: a pass with a mark.",
        kind="none",
        outcome="marginal_pass",
        link=_far_jack(47.0, 45.5, 103),
        near="cabinet 0A, panel 1, port 3",
        far="waiting room, screen wall",
        tested_at="2026-09-14T09:31:22+01:00",
        tested_by=WREN,
    ),
    Story(
        label="0A-04",
        slug="marginal-fail",
        story="Outside the limit by less than the tester can tell: a fail with a mark.",
        kind="connector",
        outcome="marginal_fail",
        link=_far_jack(28.4, 47.0, 104),
        near="cabinet 0A, panel 1, port 4",
        far="consulting room 1, desk",
        tested_at="2026-09-14T09:44:51+01:00",
        tested_by=WREN,
        stopped_by=("next",),
    ),
    Story(
        label="1A-07",
        slug="far-end-missing",
        story="The crew left before the far end was measured: what is there is good, and it is not enough.",
        kind="incomplete test",
        outcome="incomplete",
        link=_plain(55.2, 117),
        near="cabinet 1A, panel 1, port 7",
        far="staff room, east wall",
        tested_at="2026-09-16T16:58:13+01:00",
        tested_by=HERON,
        stopped_by=("next", "return_loss"),
        ends=("near",),
        notes="Far unit's battery empty, come back for the other direction.",
    ),
    Story(
        label="1A-08",
        slug="screened-class-ea",
        story="A screened link to the imaging room, judged by ISO as class EA up to 500 MHz.",
        kind="none",
        outcome="pass",
        link=PhysicalLink(
            (JACK_6A_SCREENED, Stretch(CATEGORY_6A_SCREENED, 62.3, cell_m=0.15), JACK_6A_SCREENED), 118
        ),
        near="cabinet 1A, panel 2, port 1",
        far="imaging room, console",
        tested_at="2026-09-17T10:05:30+01:00",
        tested_by=HERON,
        cable=Cable("6A", "S/FTP", "solid", 23, 0.69),
        rule_set=ISO,
        category="EA",
        top_mhz=500.0,
        contacts=(*STRAIGHT, ("S", "S")),
    ),
    Story(
        label="1A-09",
        slug="short-channel",
        story="A ten-metre class E channel with old jacks: the 3 dB and 4 dB rules excuse what looks bad.",
        kind="none",
        outcome="pass",
        link=PhysicalLink(
            (Stretch(CORD, 1.5), JACK_5E, Stretch(CATEGORY_6, 6.0), JACK_5E, Stretch(CORD, 1.0)), 119
        ),
        near="cabinet 1A, switch 1, port 9",
        far="cabinet 1A, alarm panel",
        tested_at="2026-09-17T10:21:47+01:00",
        tested_by=HERON,
        rule_set=ISO,
        category="E",
        configuration="channel",
        fext_ends=("near", "far"),
        adapter="channel, category 6A",
    ),
    Story(
        label="2A-01",
        slug="telephone-run",
        story="Telephone-grade cable kept for the lift alarm, judged as category 3 up to 16 MHz.",
        kind="none",
        outcome="pass",
        link=PhysicalLink((TELEPHONE_BLOCK, Stretch(TELEPHONE, 38.0), TELEPHONE_BLOCK), 121),
        near="cabinet 2A, voice panel, port 1",
        far="lift machine room",
        tested_at="2026-09-18T11:02:09+01:00",
        tested_by=WREN,
        cable=Cable("3", "U/UTP", "solid", 24, 0.69),
        category="3",
        top_mhz=16.0,
        fext_ends=("near", "far"),
    ),
    Story(
        label="2A-04",
        slug="camera-plug",
        story="A plug straight on the cable of the yard camera: a modular plug terminated link.",
        kind="none",
        outcome="pass",
        link=PhysicalLink(
            (
                replace(JACK_6, return_loss_db=36.0),
                Stretch(CATEGORY_6A, 36.8, cell_m=0.15),
                replace(JACK_6, return_loss_db=36.0),
            ),
            124,
        ),
        near="cabinet 2A, panel 1, port 12",
        far="yard camera, north mast",
        tested_at="2026-09-18T12:15:44+01:00",
        tested_by=WREN,
        cable=Cable("6A", "U/UTP", "solid", 23, 0.69),
        category="6A",
        configuration="mptl",
        top_mhz=500.0,
        adapter="plug end, category 6A",
    ),
    Story(
        label="2A-05",
        slug="slow-printer",
        story="The printer is slow and the cabling is blamed: the cable passes, the printer offers 100 Mbit/s.",
        kind="none",
        outcome="pass",
        link=_plain(36.4, 125),
        near="cabinet 2A, panel 1, port 5",
        far="pharmacy, label printer",
        tested_at="2026-09-25T10:06:31+01:00",
        tested_by=HERON,
        port=SLOW_PRINTER,
    ),
)
