"""What can be measured on a link, and the traits that grading needs of each."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from fourpair_service.domain.link import FEXT_COMBINATIONS, NEXT_COMBINATIONS, PAIRS


class Parameter(StrEnum):
    """A parameter, by the name that the standards give it."""

    # That of the text: equal to it, and many times faster to find in a table.
    __hash__ = str.__hash__

    WIRE_MAP = "wire_map"
    LENGTH = "length"
    PROPAGATION_DELAY = "propagation_delay"
    DELAY_SKEW = "delay_skew"
    DC_LOOP_RESISTANCE = "dc_loop_resistance"
    RESISTANCE_UNBALANCE_WITHIN_PAIR = "resistance_unbalance_within_pair"
    RESISTANCE_UNBALANCE_BETWEEN_PAIRS = "resistance_unbalance_between_pairs"
    INSERTION_LOSS = "insertion_loss"
    NEXT = "next"
    PS_NEXT = "ps_next"
    ACR_N = "acr_n"
    PS_ACR_N = "ps_acr_n"
    ACR_F = "acr_f"
    PS_ACR_F = "ps_acr_f"
    RETURN_LOSS = "return_loss"
    FEXT = "fext"
    TCL = "tcl"
    ELTCTL = "eltctl"
    PS_ANEXT = "ps_anext"
    PS_ANEXT_AVERAGE = "ps_anext_average"
    PS_AACR_F = "ps_aacr_f"
    PS_AACR_F_AVERAGE = "ps_aacr_f_average"


class Sense(StrEnum):
    """On which side of its limit a value must lie."""

    AT_MOST = "at_most"
    AT_LEAST = "at_least"


@dataclass(frozen=True, slots=True)
class Traits:
    """How a parameter is written and judged.

    Attributes:
        title: the parameter's name in running text.
        unit: ``db``, ``ns``, ``m``, ``ohm`` or ``percent``; the suffix of its
            fields. ``None`` for the wire map.
        sense: which side of the limit is inside.
        keys: the pairs or combinations it has, in the order of the standards;
            empty for a parameter of the link as a whole.
        has_ends: whether it is measured from each end.
        is_swept: whether it is a curve over frequency.
    """

    title: str
    unit: str | None
    sense: Sense
    keys: tuple[str, ...]
    has_ends: bool
    is_swept: bool


def _curve(
    title: str, keys: tuple[str, ...], sense: Sense = Sense.AT_LEAST, *, has_ends: bool = True
) -> Traits:
    return Traits(title, "db", sense, keys, has_ends, is_swept=True)


def _reading(title: str, unit: str, keys: tuple[str, ...]) -> Traits:
    return Traits(title, unit, Sense.AT_MOST, keys, has_ends=False, is_swept=False)


# ACR-N is judged per end and per ordered combination: the loss that a NEXT is
# set against is that of the disturbed pair, so "12-36" gives two values an end.
TRAITS: Final[dict[Parameter, Traits]] = {
    Parameter.WIRE_MAP: Traits("wire map", None, Sense.AT_MOST, (), has_ends=False, is_swept=False),
    Parameter.LENGTH: _reading("length", "m", PAIRS),
    Parameter.PROPAGATION_DELAY: _reading("propagation delay", "ns", PAIRS),
    Parameter.DELAY_SKEW: _reading("delay skew", "ns", ()),
    Parameter.DC_LOOP_RESISTANCE: _reading("DC loop resistance", "ohm", PAIRS),
    Parameter.RESISTANCE_UNBALANCE_WITHIN_PAIR: _reading(
        "DC resistance unbalance within a pair", "ohm", PAIRS
    ),
    Parameter.RESISTANCE_UNBALANCE_BETWEEN_PAIRS: _reading(
        "DC resistance unbalance between pairs", "ohm", NEXT_COMBINATIONS
    ),
    Parameter.INSERTION_LOSS: _curve("insertion loss", PAIRS, Sense.AT_MOST, has_ends=False),
    Parameter.NEXT: _curve("NEXT", NEXT_COMBINATIONS),
    Parameter.PS_NEXT: _curve("PS NEXT", PAIRS),
    Parameter.ACR_N: _curve("ACR-N", FEXT_COMBINATIONS),
    Parameter.PS_ACR_N: _curve("PS ACR-N", PAIRS),
    Parameter.ACR_F: _curve("ACR-F", FEXT_COMBINATIONS),
    Parameter.PS_ACR_F: _curve("PS ACR-F", PAIRS),
    Parameter.RETURN_LOSS: _curve("return loss", PAIRS),
    # FEXT itself has no limit: it is what ACR-F is computed from.
    Parameter.FEXT: _curve("FEXT", FEXT_COMBINATIONS),
    Parameter.TCL: _curve("TCL", PAIRS),
    Parameter.ELTCTL: _curve("ELTCTL", PAIRS),
    Parameter.PS_ANEXT: _curve("PS ANEXT", PAIRS),
    Parameter.PS_ANEXT_AVERAGE: _curve("average PS ANEXT", ()),
    Parameter.PS_AACR_F: _curve("PS AACR-F", PAIRS),
    Parameter.PS_AACR_F_AVERAGE: _curve("average PS AACR-F", ()),
}

# Always computed from the measured curves; supplied values are only compared.
DERIVED: Final = frozenset(
    {
        Parameter.PS_NEXT,
        Parameter.ACR_N,
        Parameter.PS_ACR_N,
        Parameter.ACR_F,
        Parameter.PS_ACR_F,
    }
)
