"""Modelled links with a known fault, and good ones near their limits.

The thresholds of the rules were fixed in a commit before any of these was made.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace

from clinic.materials import (
    CATEGORY_6,
    CATEGORY_6A,
    CATEGORY_6A_SCREENED,
    CLAD_24,
    CORD,
    JACK_5E,
    JACK_6,
    JACK_6A_SCREENED,
    MIXED_INSULATION,
    STRANDED_26,
)
from clinic.story import ISO, STRAIGHT, Cable
from domain.diagnosis.parts import Crush, Shorted, Spot, Untwisted
from line_model.conductors import loop_ohm_per_m
from line_model.parts import Break, Bumps, Connector, Split, Stretch, even
from line_model.wire_types import WIRE_TYPES

SIX = Cable("6", "U/UTP", "solid", 23, 0.69)
SIX_24 = Cable("6", "U/UTP", "solid", 24, 0.69)
SIX_A = Cable("6A", "S/FTP", "solid", 23, 0.69)

BAD = Connector(
    next_db=even(52.0, {"36-45": 37.0, "12-36": 46.0}), fext_db=even(50.0, {"36-45": 42.0}), return_loss_db=28
)
BAD_78 = Connector(next_db=even(58.0, {"45-78": 38.5, "36-78": 47.0}), return_loss_db=30.0)
LOUD_CABLE = replace(CATEGORY_6, next_db=even(45.0))
ROUGH_CABLE = replace(CATEGORY_6, roughness_db=19.5)
HIGH_OHM = replace(CATEGORY_6, impedance=(1.21, 1.2, 1.22, 1.21))
LOW_OHM = replace(CATEGORY_6, impedance=(0.83, 0.82, 0.83, 0.82))
HIGH_CORD = replace(CORD, impedance=(1.28, 1.27, 1.29, 1.28))
OXIDISED = replace(JACK_6, contact_ohm=(0.04, 1.1, 0.04, 0.04))
# Loss of unscreened cable grows by 0.4 % a degree to 40 and by 0.6 % above (TIA-568-C.2 6.4.7, as
# quoted in the cable facts): at 60 degrees 1.20 times.
HOT_60 = replace(CATEGORY_6, row=WIRE_TYPES["CAT5"].drawn(loop_ohm_per_m(23), skin_factor=1.06 * 1.20))
WET = replace(CATEGORY_6, row=WIRE_TYPES["CAT5"].drawn(loop_ohm_per_m(23), skin_factor=1.06 * 1.34))


def link(length_m, near=JACK_6, far=JACK_6, cable=CATEGORY_6):
    return (near, Stretch(cable, length_m), far)


def with_part(at_m, length_m, *parts, cable=CATEGORY_6, near=JACK_6, far=JACK_6):
    return (near, Stretch(cable, at_m), *parts, Stretch(cable, length_m - at_m), far)


def coiled(before_m, coil_m, after_m, capacitance_pf, every=6):
    bumps = Bumps(every=every, capacitance_pf=capacitance_pf)
    middle = Stretch(CATEGORY_6, coil_m, bumps=bumps, cell_m=0.2)
    return (JACK_6, Stretch(CATEGORY_6, before_m), middle, Stretch(CATEGORY_6, after_m), JACK_6)


def contacts(**far):
    return tuple((pin, far.get(f"p{pin}", pin)) for pin, _ in STRAIGHT if far.get(f"p{pin}", pin) != "-")


@dataclass(frozen=True)
class Case:
    """One link.

    Attributes:
        faults: intended, all of them among the first.
        end: of the connector at fault.
        position_m: of the fault, where there is one.
        phase: whether the sweeps are complex.
    """

    name: str
    parts: tuple
    seed: int
    faults: tuple[str, ...] = ()
    phase: bool = True
    end: str | None = None
    position_m: float | None = None
    story: dict = field(default_factory=dict)
    spoil: Callable | None = None


def _identical_pairs(document):
    sweeps = document["sweeps"]["next"]["near"]
    sweeps["36-78"] = sweeps["12-45"]
    sweeps["12-36"] = sweeps["12-45"]


def _cut_off(document):
    for end in document["sweeps"]["next"].values():
        for key in end:
            end[key] = [min(value, 40.0) for value in end[key]]


def _no_length(document):
    for pair in document["pairs"].values():
        pair["length_m"] = 0.2
        pair["delay_ns"] = 1.0
    for key, values in document["sweeps"]["insertion_loss"].items():
        document["sweeps"]["insertion_loss"][key] = [0.01 + 0.0001 * i for i in range(len(values))]


OPEN_45 = {"contacts": contacts(p4="-", p5="-")}
OPEN_12 = {"contacts": contacts(p1="-", p2="-")}
BY_PIN = {"is_resistance_by_pin": True}
CHANNEL = {"configuration": "channel", "adapter": "channel, category 6A"}

FAULTY = (
    Case("near connector, 20 m", link(20, near=BAD), 3001, ("bad_connector",), end="near"),
    Case("near connector, 85 m", link(85, near=BAD_78), 3002, ("bad_connector",), end="near"),
    Case("far connector, 60 m", link(60, far=BAD), 3003, ("bad_connector",), end="far"),
    Case("far connector, 12 m", link(12, far=BAD_78), 3004, ("bad_connector",), end="far"),
    Case("near connector, dB, 35 m", link(35, near=BAD), 3005, ("bad_connector",), phase=False, end="near"),
    Case("far connector, dB, 50 m", link(50, far=BAD_78), 3006, ("bad_connector",), phase=False, end="far"),
    Case("far connector, dB, 80 m", link(80, far=BAD), 3007, ("bad_connector",), phase=False, end="far"),
    Case("lower category jacks, 30 m", link(30, JACK_5E, JACK_5E), 3008, ("lower_category_part",)),
    Case("lower category far jack, 70 m", link(70, far=JACK_5E), 3009, ("lower_category_part",), end="far"),
    Case("lower category jacks, dB", link(45, JACK_5E, JACK_5E), 3010, ("lower_category_part",), phase=False),
    Case(
        "untwisted near end, 45 m",
        (JACK_6, Untwisted((1, 2), 0.06), Stretch(CATEGORY_6, 45), JACK_6),
        3011,
        ("untwisted_pair",),
        end="near",
    ),
    Case(
        "untwisted far end, 25 m",
        (JACK_6, Stretch(CATEGORY_6, 25), Untwisted((0, 1), 0.07), JACK_6),
        3012,
        ("untwisted_pair",),
        end="far",
    ),
    Case(
        "untwisted far end, dB",
        (JACK_6, Stretch(CATEGORY_6, 40), Untwisted((2, 3), 0.08), JACK_6),
        3013,
        ("untwisted_pair",),
        phase=False,
        end="far",
    ),
    Case(
        "split from end to end, dB",
        (JACK_6, Stretch(CATEGORY_6, 30, split=Split((1, 2))), JACK_6),
        3014,
        ("split_pair",),
        phase=False,
    ),
    Case(
        "split from end to end, 85 m",
        (JACK_6, Stretch(CATEGORY_6, 85, split=Split((0, 1))), JACK_6),
        3015,
        ("split_pair",),
    ),
    Case(
        "first ten metres split",
        (JACK_6, Stretch(CATEGORY_6, 10, split=Split((1, 2))), Stretch(CATEGORY_6, 50), JACK_6),
        3016,
        ("split_pair",),
        position_m=0.0,
    ),
    Case(
        "last fifteen metres split",
        (JACK_6, Stretch(CATEGORY_6, 50), Stretch(CATEGORY_6, 15, split=Split((2, 3))), JACK_6),
        3017,
        ("split_pair",),
        position_m=50.0,
    ),
    Case(
        "open at 10 m", with_part(10, 45, Break(2)), 3018, ("open_conductor",), position_m=10.0, story=OPEN_45
    ),
    Case(
        "open at 62 m", with_part(62, 80, Break(0)), 3019, ("open_conductor",), position_m=62.0, story=OPEN_12
    ),
    Case(
        "open at 30 m, dB",
        with_part(30, 55, Break(2)),
        3020,
        ("open_conductor",),
        phase=False,
        position_m=30.0,
        story=OPEN_45,
    ),
    Case(
        "short at 25 m",
        with_part(25, 40, Shorted(3)),
        3021,
        ("short_circuit",),
        position_m=25.0,
        story={"contacts": contacts(p7="-", p8="-"), "shorts": (("7", "8"),)},
    ),
    Case(
        "reversed pair",
        link(33),
        3022,
        ("wires_exchanged",),
        phase=False,
        story={"contacts": contacts(p7="8", p8="7")},
    ),
    Case("miswire", link(52), 3023, ("wires_exchanged",), story={"contacts": contacts(p2="3", p3="2")}),
    Case("crushed at 33 m", with_part(33, 70, Crush((0,), 24.0)), 3024, ("damaged_cable",), position_m=33.0),
    Case(
        "crushed at 58 m, two pairs",
        with_part(58, 75, Crush((1, 3), 14.0)),
        3025,
        ("damaged_cable",),
        position_m=58.0,
    ),
    Case(
        "pairs pressed together at 20 m",
        with_part(20, 60, Spot((1, 2), 33.0)),
        3026,
        ("damaged_cable",),
        position_m=20.0,
    ),
    Case("coil in the middle", coiled(20, 30, 15, 1.4), 3027, ("repeated_bumps",)),
    Case("coil at the far end", coiled(40, 24, 2, 2.0), 3028, ("repeated_bumps",)),
    Case("coil with wide turns", coiled(10, 36, 20, 2.2, every=9), 3029, ("repeated_bumps",)),
    Case("coil, dB", coiled(12, 30, 10, 1.8), 3030, ("repeated_bumps",), phase=False),
    Case("cable of 120 ohm", link(55, cable=HIGH_OHM), 3031, ("wrong_impedance_cable",)),
    Case("cable of 82 ohm", link(40, cable=LOW_OHM), 3032, ("wrong_impedance_cable",)),
    Case("cable of 120 ohm, dB", link(65, cable=HIGH_OHM), 3033, ("wrong_impedance_cable",), phase=False),
    Case(
        "near cord of another impedance",
        (Stretch(HIGH_CORD, 4.0), JACK_6, Stretch(CATEGORY_6, 50), JACK_6, Stretch(CORD, 2.0)),
        3034,
        ("wrong_impedance_cord",),
        end="near",
        story=CHANNEL,
    ),
    Case("uneven cable", link(60, cable=ROUGH_CABLE), 3035, ("uneven_cable",)),
    Case("cable with too much crosstalk", link(50, cable=LOUD_CABLE), 3036, ("crosstalk_along_cable",)),
    Case(
        "cable with too much crosstalk, dB",
        link(70, cable=LOUD_CABLE),
        3037,
        ("crosstalk_along_cable",),
        phase=False,
    ),
    Case(
        "stranded cable, 60 m",
        link(68, cable=STRANDED_26),
        3038,
        ("stranded_cable",),
        story={"cable": SIX_24},
    ),
    Case(
        "stranded cable, dB, 80 m",
        link(80, cable=STRANDED_26),
        3039,
        ("stranded_cable",),
        phase=False,
        story={"cable": SIX_24},
    ),
    Case(
        "clad conductors, 86 m",
        link(86, cable=CLAD_24),
        3040,
        ("clad_conductors",),
        phase=False,
        story={"cable": SIX_24},
    ),
    Case(
        "clad conductors on a passing link, 50 m",
        link(50, cable=CLAD_24),
        3041,
        ("clad_conductors",),
        story={"cable": SIX_24},
    ),
    Case(
        "hot cable",
        link(87, cable=HOT_60),
        3042,
        ("hot_or_wet_cable",),
        phase=False,
        story={"cable": replace(SIX, temperature_c=60.0)},
    ),
    Case("wet cable", link(80, cable=WET), 3043, ("hot_or_wet_cable",), phase=False),
    Case(
        "mixed insulation, 85 m", link(85, cable=MIXED_INSULATION), 3044, ("mixed_insulation",), phase=False
    ),
    Case("mixed insulation, 75 m", link(75, cable=MIXED_INSULATION), 3045, ("mixed_insulation",)),
    Case("too long, 101 m", link(101), 3046, ("too_long",), phase=False),
    Case("too long, 112 m", link(112), 3047, ("too_long",)),
    Case(
        "velocity set too high",
        link(78),
        3048,
        ("wrong_nvp",),
        phase=False,
        story={"cable": replace(SIX, nvp=0.89)},
    ),
    Case("oxidised contact", link(40, far=OXIDISED), 3049, ("poor_contact",), phase=False, story=BY_PIN),
    Case("oxidised contact, near", link(72, near=OXIDISED), 3050, ("poor_contact",), story=BY_PIN),
    Case("identical curves", link(38), 3051, ("test_setup",), phase=False, spoil=_identical_pairs),
    Case("readings cut off", link(25, near=BAD), 3052, ("test_setup",), phase=False, spoil=_cut_off),
    Case("adapters joined", link(6), 3053, ("test_setup",), phase=False, spoil=_no_length),
    Case("both connectors", link(48, BAD, BAD_78), 3054, ("bad_connector", "bad_connector")),
    Case(
        "coil and near connector",
        (BAD, *coiled(20, 30, 10, 1.6)[1:]),
        3055,
        ("bad_connector", "repeated_bumps"),
    ),
    Case(
        "stranded and far connector",
        link(70, far=BAD, cable=STRANDED_26),
        3056,
        ("bad_connector", "stranded_cable"),
        story={"cable": SIX_24},
    ),
    Case(
        "too long and oxidised",
        link(104, far=OXIDISED),
        3057,
        ("too_long", "poor_contact"),
        phase=False,
        story=BY_PIN,
    ),
    Case(
        "open pair and near connector",
        with_part(30, 50, Break(0), near=BAD),
        3058,
        ("open_conductor", "bad_connector"),
        position_m=30.0,
        story=OPEN_12,
    ),
)

EA = {
    "cable": SIX_A,
    "rule_set": ISO,
    "category": "EA",
    "top_mhz": 500.0,
    "contacts": (*STRAIGHT, ("S", "S")),
}


def _screened(length_m):
    return link(length_m, JACK_6A_SCREENED, JACK_6A_SCREENED, CATEGORY_6A_SCREENED)


GOOD = (
    *(
        Case(
            f"plain link, {length} m, {'phase' if phase else 'dB'}", link(length), 4000 + length, phase=phase
        )
        for length, phase in (
            (3, True),
            (6, False),
            (15, True),
            (28, False),
            (42, True),
            (56, False),
            (71, True),
            (84, False),
            (88, True),
            (90, False),
        )
    ),
    *(
        Case(
            f"far jack near its limit, {length} m",
            link(length, far=JACK_6.worse({"36-45": 49.5})),
            4100 + length,
            phase=phase,
        )
        for length, phase in ((22, True), (47, False), (68, True))
    ),
    *(
        Case(
            f"near jack near its limit, {length} m",
            link(length, near=JACK_6.worse({"12-36": 50.0})),
            4200 + length,
            phase=phase,
        )
        for length, phase in ((18, False), (39, True), (77, False))
    ),
    *(
        Case(f"screened class EA, {length} m", _screened(length), 4300 + length, phase=phase, story=EA)
        for length, phase in ((24, True), (62, False))
    ),
    Case(
        "category 5e limits on lower jacks",
        link(50, JACK_5E, JACK_5E),
        4401,
        phase=False,
        story={"category": "5e", "top_mhz": 100.0},
    ),
    Case(
        "warm cable of 30 degrees",
        link(80),
        4402,
        phase=False,
        story={"cable": replace(SIX, temperature_c=30.0)},
    ),
    Case("better cable than asked for", link(70, cable=CATEGORY_6A), 4403, phase=True),
    Case(
        "short channel",
        (Stretch(CORD, 1.5), JACK_5E, Stretch(CATEGORY_6, 6.0), JACK_5E, Stretch(CORD, 1.0)),
        119,
        phase=True,
        story=CHANNEL | {"rule_set": ISO, "category": "E", "fext_ends": ("near", "far")},
    ),
)
