"""How warm a bundle gets, and what guidance and cautions belong to it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from fourpair_service.domain.powering.facts import HeatingFacts

THIN_AWG: Final = 26

CAUTIONS: Final = (
    "Do not unplug a powered device under load: the spark wears the contacts. Switch the power off at the "
    "source first.",
    "How many powered cables may lie in one bundle or pathway, and who may do the work, is a matter of the "
    "local electrical code and of licensed practice; what is said here does not replace either.",
    "A port may put up to 57 V on the pairs at any time after it has found a device: work on cable that is "
    "not connected.",
)


@dataclass(frozen=True, slots=True)
class Guidance:
    """One sentence of advice and where it comes from."""

    text: str
    source: str


def bundle_rise_c(pair_current_a: float, facts: HeatingFacts) -> float:
    """Return how much warmer than its surroundings a bundle of 100 category 5e cables gets. [°C].

    Own scaling of one published point with the square of the current; thicker
    copper and smaller bundles stay cooler.
    """
    return facts.bundle_rise_c_at_1_a.value * pair_current_a**2


def guidance(
    pair_current_a: float, source_w: float, awg: int | None, facts: HeatingFacts
) -> tuple[Guidance, ...]:
    """Return what to heed at a current through each pair.

    Args:
        pair_current_a: at the highest class that the link carries. [A]
        source_w: of that class. [W]
        awg: gauge of the cable, where stated.
        facts: figures with their sources.
    """
    rise, scaled = bundle_rise_c(pair_current_a, facts), facts.bundle_rise_c_at_1_a
    found = [
        Guidance(
            f"At {pair_current_a:.2f} A a pair, a bundle of 100 category 5e cables gets about {rise:.0f} °C "
            "warmer than its surroundings (estimate).",
            scaled.source,
        ),
        Guidance(
            f"Keep the rise at or below {facts.largest_rise_c.value:g} °C"
            + (
                ": smaller bundles, space between them or thicker copper."
                if rise > facts.largest_rise_c.value
                else "."
            ),
            facts.largest_rise_c.source,
        ),
    ]
    if (awg is not None and awg >= THIN_AWG) or rise > facts.earlier_largest_rise_c.value:
        cap = facts.adverse_bundle_cables
        found.append(Guidance(f"Bundles of at most {cap.value:g} cables are suggested here.", cap.source))
    if source_w > facts.code_applies_above_w.value:
        code = facts.code_applies_above_w
        found.append(Guidance(f"Above {code.value:g} W a code may limit current and bundle.", code.source))
    return tuple(found)
