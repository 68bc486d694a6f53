"""Link pulses against the times of the standard."""

from __future__ import annotations

from typing import Final

from fourpair_service.domain.port.facts import PortFacts
from fourpair_service.domain.port.observation import Signals

TITLES: Final = {
    "normal_period_ms": ("Link pulses repeat every", "ms"),
    "burst_period_ms": ("Bursts of link pulses repeat every", "ms"),
    "pulses_per_burst": ("Pulses in a burst:", ""),
    "clock_period_us": ("Clock pulses in a burst follow every", "µs"),
}


def pulse_notes(signals: Signals | None, facts: PortFacts) -> tuple[str, ...]:
    """Return a sentence for every measured time that lies outside what the standard has."""
    if signals is None:
        return ()
    notes = []
    for name, value in signals.pulses.items():
        span, (title, unit) = facts.pulses[name], TITLES[name]
        if not span.low <= value <= span.high:
            words = f"{title} {value:g} {unit}".rstrip()
            notes.append(f"{words}, expected {span.low:g} to {span.high:g}.")
    return tuple(notes)
