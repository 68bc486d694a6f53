"""What lies along a link, as plain text."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from statistics import median
from typing import Any, Final

Document = Mapping[str, Any]

# A coupling is told where this much of it comes from one place.
TOLD_SHARE: Final = 0.4
# The spacing of two mismatches, where their ripple is this much of all that departs.
RIPPLE_SHARE: Final = 0.3
NOTHING: Final = "Along the link: nothing can be told, as no sweep carries phase."


def along_text(along: Document) -> Iterator[str]:
    """Yield reflections, couplings, impedance, repeated bumps and ripple, a line each.

    Args:
        along: as in an assessment; distances are counted from the near end.
    """
    lines = [f"  {line}" for make in _LINES for line in make(along)]
    yield "Along the link, counted from the near end:" if lines else NOTHING
    yield from lines


def _reflections(along: Document) -> Iterator[str]:
    for each in along["reflections"]:
        kind, seen = each["kind"].replace("_", " "), " and ".join(each["seen_from"])
        yield (
            f"{each['pair']}: {kind} at {each['position_m']:.2f} m (± {each['uncertainty_m']:.1f} m), "
            f"{each['reflection_db']:.1f} dB, seen from the {seen} end"
        )


def _couplings(along: Document) -> Iterator[str]:
    for each in along["couplings"]:
        if each["share"] >= TOLD_SHARE:
            yield (
                f"{each['pairs']}: {100 * each['share']:.0f} % of NEXT measured from the {each['measured_from']} end "
                f"comes from {each['position_m']:.2f} m (± {each['uncertainty_m']:.1f} m)"
            )


def _impedance(along: Document) -> Iterator[str]:
    for each in along["impedance"]:
        ohm = each["impedance_ohm"]
        yield f"{each['pair']}: impedance {min(ohm):.0f} to {max(ohm):.0f} ohm, median {median(ohm):.0f} ohm"


def _repeated(along: Document) -> Iterator[str]:
    for each in along["repeated"]:
        yield (
            f"{each['pair']}: bumps every {each['pitch_m']:.2f} m, or a whole multiple of it, from {each['from_m']:.1f} "
            f"to {each['to_m']:.1f} m, measured from the {each['measured_from']} end"
        )


def _deviation(along: Document) -> Iterator[str]:
    for each in along["loss_deviation"]:
        told = each["spacing_m"] is not None and each["ripple_db"] >= RIPPLE_SHARE * each["worst_db"]
        between = f", as two mismatches {each['spacing_m']:.1f} m apart make" if told else ""
        yield (
            f"{each['pair']}: the loss departs by up to {each['worst_db']:.2f} dB from that of even cable, at "
            f"{each['frequency_mhz']:g} MHz; ripple {each['ripple_db']:.2f} dB{between}"
        )


_LINES: Final = (_reflections, _couplings, _impedance, _repeated, _deviation)
