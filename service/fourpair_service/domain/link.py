"""The words of the standards for what is measured: pairs, ends, configurations.

A pair is written by its two pins (``"36"`` is pins 3 and 6), a combination of
two pairs with a hyphen where order does not matter (NEXT, ``"12-36"``) and with
``>`` where it does (FEXT, ``"12>36"``: 12 disturbs, 36 is disturbed).
"""

from __future__ import annotations

from enum import StrEnum
from itertools import combinations, permutations
from typing import Final

PAIRS: Final = ("12", "36", "45", "78")
PINS: Final = ("1", "2", "3", "4", "5", "6", "7", "8")
SHIELD: Final = "S"

NEXT_COMBINATIONS: Final = tuple(f"{a}-{b}" for a, b in combinations(PAIRS, 2))
FEXT_COMBINATIONS: Final = tuple(f"{a}>{b}" for a, b in permutations(PAIRS, 2))

SPEED_OF_LIGHT_M_PER_NS: Final = 0.299792458


class End(StrEnum):
    """The side of a link from which something is measured."""

    # That of the text: equal to it, and many times faster to find in a table.
    __hash__ = str.__hash__

    NEAR = "near"
    FAR = "far"

    @property
    def other(self) -> End:
        """The opposite end."""
        return End.FAR if self is End.NEAR else End.NEAR


class Configuration(StrEnum):
    """What part of the cabling a measurement spans."""

    # That of the text: equal to it, and many times faster to find in a table.
    __hash__ = str.__hash__

    PERMANENT_LINK = "permanent_link"
    CHANNEL = "channel"
    MPTL = "mptl"
    PATCH_CORD = "patch_cord"


CONFIGURATION_TITLES: Final = {
    Configuration.PERMANENT_LINK: "permanent link",
    Configuration.CHANNEL: "channel",
    Configuration.MPTL: "modular plug terminated link",
    Configuration.PATCH_CORD: "patch cord",
}


def next_combination(first: str, second: str) -> str:
    """Return the name of the NEXT combination of two pairs, in either order.

    >>> next_combination("78", "36")
    '36-78'
    """
    a, b = sorted((first, second), key=PAIRS.index)
    return f"{a}-{b}"
