"""The faults that can be suspected, in plain words, and what to do first about each."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Final


class FaultCode(StrEnum):
    """One kind of trouble."""

    TEST_SETUP = "test_setup"
    OPEN_CONDUCTOR = "open_conductor"
    SHORT_CIRCUIT = "short_circuit"
    WIRES_EXCHANGED = "wires_exchanged"
    SPLIT_PAIR = "split_pair"
    OPEN_SHIELD = "open_shield"
    BAD_CONNECTOR = "bad_connector"
    UNTWISTED_PAIR = "untwisted_pair"
    LOWER_CATEGORY_PART = "lower_category_part"
    POOR_CONTACT = "poor_contact"
    DAMAGED_CABLE = "damaged_cable"
    REPEATED_BUMPS = "repeated_bumps"
    WRONG_IMPEDANCE_CABLE = "wrong_impedance_cable"
    WRONG_IMPEDANCE_CORD = "wrong_impedance_cord"
    UNEVEN_CABLE = "uneven_cable"
    CROSSTALK_ALONG_CABLE = "crosstalk_along_cable"
    CLAD_CONDUCTORS = "clad_conductors"
    STRANDED_CABLE = "stranded_cable"
    HOT_OR_WET_CABLE = "hot_or_wet_cable"
    MIXED_INSULATION = "mixed_insulation"
    TOO_LONG = "too_long"
    WRONG_NVP = "wrong_nvp"


@dataclass(frozen=True, slots=True)
class FaultKind:
    """What holds for every fault of a code.

    Attributes:
        title: as a heading.
        first: what to do first.
        could_also_be: what looks alike.
    """

    title: str
    first: str
    could_also_be: tuple[FaultCode, ...] = ()


C = FaultCode

# In the order in which faults are named: what makes the other readings worthless comes first.
FAULT_KINDS: Final[dict[FaultCode, FaultKind]] = {
    C.TEST_SETUP: FaultKind(
        "Test adapter or set-up",
        "Check the adapters and the reference, and measure again before touching the link.",
    ),
    C.OPEN_CONDUCTOR: FaultKind(
        "Open conductor",
        "Re-terminate the named wires at the nearer end; if they stay open, look for the cut at the distance given.",
    ),
    C.SHORT_CIRCUIT: FaultKind(
        "Short circuit",
        "Look for touching wires in the connectors, then for a nail, screw or crush at the distance given.",
    ),
    C.WIRES_EXCHANGED: FaultKind(
        "Wires exchanged",
        "Compare both ends with one wiring scheme and re-terminate the end that departs from it.",
    ),
    C.SPLIT_PAIR: FaultKind(
        "Split pair",
        "Re-terminate so that each pair uses two wires that are twisted with each other.",
    ),
    C.OPEN_SHIELD: FaultKind("Open shield", "Connect the shield to the connector at both ends."),
    C.BAD_CONNECTOR: FaultKind(
        "Bad connector or termination",
        "Re-terminate this end with the twist kept up to the contacts; if it stays, replace the connector.",
        (C.UNTWISTED_PAIR, C.LOWER_CATEGORY_PART),
    ),
    C.UNTWISTED_PAIR: FaultKind(
        "Pair untwisted too far",
        "Cut back and re-terminate this end with the twist kept up to the contacts.",
        (C.BAD_CONNECTOR,),
    ),
    C.LOWER_CATEGORY_PART: FaultKind(
        "Part of a lower category",
        "Read what is printed on the connectors and the sheath, and replace the part that is of a lower category.",
        (C.BAD_CONNECTOR, C.UNTWISTED_PAIR),
    ),
    C.POOR_CONTACT: FaultKind(
        "Poor contact",
        "Re-terminate the named pair at the end that is easier to reach and measure; if it stays, at the other end, too.",
        (C.DAMAGED_CABLE,),
    ),
    C.DAMAGED_CABLE: FaultKind(
        "Damage along the cable",
        "Look for a kink, a crush or a tight tie at the distance given.",
    ),
    C.REPEATED_BUMPS: FaultKind(
        "Bumps at equal distances",
        "Look for a coil, tight ties at equal distances, or a cable drawn hard around corners of a drum.",
        (C.UNEVEN_CABLE,),
    ),
    C.WRONG_IMPEDANCE_CABLE: FaultKind(
        "Cable of another impedance",
        "Read what is printed on the sheath: it must be 100 ohm cable of the category ordered.",
        (C.UNEVEN_CABLE,),
    ),
    C.WRONG_IMPEDANCE_CORD: FaultKind(
        "Cord or first metres of another impedance",
        "Exchange the cord at this end, or look for another cable joined to the first metres.",
        (C.BAD_CONNECTOR,),
    ),
    C.UNEVEN_CABLE: FaultKind(
        "Uneven cable",
        "Measure a piece from the same drum alone; if it fails as well, complain to the supplier.",
        (C.DAMAGED_CABLE, C.WRONG_IMPEDANCE_CABLE),
    ),
    C.CROSSTALK_ALONG_CABLE: FaultKind(
        "Crosstalk along the whole cable",
        "Read the category on the sheath; look for cable that was pulled too hard or bundled too tightly.",
        (C.LOWER_CATEGORY_PART,),
    ),
    C.CLAD_CONDUCTORS: FaultKind(
        "Conductors that are not solid copper",
        "Scrape a conductor and weigh or bend a metre of it against copper; clad wire must come out.",
        (C.STRANDED_CABLE, C.POOR_CONTACT),
    ),
    C.STRANDED_CABLE: FaultKind(
        "Stranded or thinner cable",
        "Look at a wire end: horizontal cable must be solid and of the gauge ordered; other cable must come out.",
        (C.HOT_OR_WET_CABLE, C.CLAD_CONDUCTORS),
    ),
    C.HOT_OR_WET_CABLE: FaultKind(
        "Hot or wet cable",
        "Look for heating pipes, sun on a roof and water in a duct along the run; measure again when it is cool and dry.",
        (C.STRANDED_CABLE, C.TOO_LONG),
    ),
    C.MIXED_INSULATION: FaultKind(
        "Pairs of different insulation or lay",
        "Replace the cable: the difference is in how it was made.",
    ),
    C.TOO_LONG: FaultKind(
        "Too long",
        "Find a shorter way, or put an active device in between.",
        (C.WRONG_NVP, C.HOT_OR_WET_CABLE),
    ),
    C.WRONG_NVP: FaultKind(
        "Wrong velocity set in the test",
        "Set the NVP that the cable maker states and measure again.",
        (C.TOO_LONG,),
    ),
}

RANK: Final = {code: rank for rank, code in enumerate(FAULT_KINDS)}
