"""Links with the right wires and something wrong in connector, cable or length."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from clinic.materials import CATEGORY_6, CLAD_24, JACK_6, MIXED_INSULATION, STRANDED_26
from clinic.story import Cable, Story
from line_model.link import PhysicalLink
from line_model.parts import Bumps, Connector, Stretch, even

HERON: Final = "Heron crew"

BAD_JACK: Final = Connector(
    next_db=even(54.0, {"36-45": 37.0, "12-36": 47.0, "36-78": 45.0}),
    fext_db=even(52.0, {"36-45": 42.0}),
    return_loss_db=27.0,
)
CORRODED_JACK: Final = replace(JACK_6, contact_ohm=(0.04, 0.04, 0.04, 0.97))

STORIES: Final = (
    Story(
        label="1A-01",
        slug="bad-far-connector",
        story="The jack in the operating theatre is untwisted over two centimetres: NEXT fails there.",
        kind="connector",
        outcome="fail",
        link=PhysicalLink((JACK_6, Stretch(CATEGORY_6, 51.7), BAD_JACK), 111),
        near="cabinet 1A, panel 1, port 1",
        far="operating theatre, anaesthesia column",
        tested_at="2026-09-16T09:05:11+01:00",
        tested_by=HERON,
        stopped_by=("next", "ps_next"),
        complex_curves=True,
    ),
    Story(
        label="1A-02",
        slug="too-long",
        story="The long way round the courtyard: 104 metres of cable, and loss and delay say so.",
        kind="length",
        outcome="fail",
        link=PhysicalLink((JACK_6, Stretch(CATEGORY_6, 104.0), JACK_6), 112),
        near="cabinet 1A, panel 1, port 2",
        far="kennel block, feed room",
        tested_at="2026-09-16T09:22:45+01:00",
        tested_by=HERON,
        stopped_by=("length", "propagation_delay", "insertion_loss"),
    ),
    Story(
        label="1A-03",
        slug="stranded-in-the-wall",
        story="Stranded patch cable was pulled into the wall: right length, half as much loss again.",
        kind="stranded cable",
        outcome="fail",
        link=PhysicalLink((JACK_6, Stretch(STRANDED_26, 72.0), JACK_6), 113),
        near="cabinet 1A, panel 1, port 3",
        far="recovery ward, nurse desk",
        tested_at="2026-09-16T09:40:27+01:00",
        tested_by=HERON,
        cable=Cable("6", "U/UTP", "solid", 24, 0.69),
        stopped_by=("insertion_loss",),
    ),
    Story(
        label="1A-04",
        slug="clad-conductors",
        story="Copper-clad aluminium wires: the DC resistance gives them away, the loss at 100 MHz not.",
        kind="clad conductors",
        outcome="fail",
        link=PhysicalLink((JACK_6, Stretch(CLAD_24, 83.5), JACK_6), 114),
        near="cabinet 1A, panel 1, port 4",
        far="isolation ward, corridor",
        tested_at="2026-09-16T10:03:50+01:00",
        tested_by=HERON,
        cable=Cable("6", "U/UTP", "solid", 24, 0.69),
        stopped_by=("dc_loop_resistance",),
    ),
    Story(
        label="1A-05",
        slug="skew",
        story="Two pairs insulated with another plastic: each delay passes, the difference does not.",
        kind="skew",
        outcome="fail",
        link=PhysicalLink((JACK_6, Stretch(MIXED_INSULATION, 79.0), JACK_6), 115),
        near="cabinet 1A, panel 1, port 5",
        far="laboratory, bench 2",
        tested_at="2026-09-16T10:18:33+01:00",
        tested_by=HERON,
        stopped_by=("delay_skew",),
    ),
    Story(
        label="1A-06",
        slug="coil",
        story="Thirty metres coiled above the ceiling: every turn of 1.2 metres reflects a little.",
        kind="coil",
        outcome="fail",
        link=PhysicalLink(
            (
                JACK_6,
                Stretch(CATEGORY_6, 18.0),
                Stretch(CATEGORY_6, 30.0, bumps=Bumps(every=6, capacitance_pf=1.3), cell_m=0.2),
                Stretch(CATEGORY_6, 8.0),
                JACK_6,
            ),
            116,
        ),
        near="cabinet 1A, panel 1, port 6",
        far="laboratory, bench 4",
        tested_at="2026-09-16T10:35:06+01:00",
        tested_by=HERON,
        stopped_by=("return_loss",),
        complex_curves=True,
    ),
    Story(
        label="2A-02",
        slug="corroded-contact",
        story="A corroded contact of pair 78: the curves are fine, its two wires no longer match.",
        kind="contact",
        outcome="fail",
        link=PhysicalLink((JACK_6, Stretch(CATEGORY_6, 46.3), CORRODED_JACK), 122),
        near="cabinet 2A, panel 1, port 2",
        far="wash room ceiling, access point",
        tested_at="2026-09-18T11:20:31+01:00",
        tested_by=HERON,
        stopped_by=("resistance_unbalance_within_pair",),
        is_resistance_by_pin=True,
    ),
)
