"""Whether the transmitter of each port meets the receiver of the other (MDI and MDI-X)."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from fourpair_service.domain.measurement import LinkMeasurement
from fourpair_service.domain.port.observation import PortObservation
from fourpair_service.domain.wiremap import WireMapFault, name_faults

CROSSED = frozenset({WireMapFault.CROSSOVER, WireMapFault.CROSSOVER_ALL_PAIRS})


class Crossing(StrEnum):
    """Whether transmitters and receivers meet."""

    FITS = "fits"
    DOES_NOT_FIT = "does_not_fit"
    NOT_KNOWN = "not_known"


@dataclass(frozen=True, slots=True)
class CrossingResult:
    """The answer and its reason."""

    state: Crossing
    text: str


def is_crossed(measurement: LinkMeasurement | None) -> bool | None:
    """Return whether the cable is a crossover, ``None`` where its wire map was not measured."""
    if measurement is None or measurement.wire_map is None:
        return None
    return any(fault.kind in CROSSED for fault in name_faults(measurement.wire_map, shield_expected=False))


def crossing(observation: PortObservation, measurement: LinkMeasurement | None) -> CrossingResult:
    """Return whether the transmitter of each port meets the receiver of the other.

    One port that finds the pairs by itself is enough; that is optional for 10 and
    100 Mb/s and part of 1000BASE-T (IEEE 802.3 40.4.4, memory).
    """
    own = observation.port.mdi
    other = observation.partner.mdi if observation.partner else None
    if "auto" in (own, other):
        return CrossingResult(Crossing.FITS, "A port finds out by itself which pair to send on.")
    crossed = is_crossed(measurement)
    if own is None or other is None or crossed is None:
        return CrossingResult(
            Crossing.NOT_KNOWN, "The pin assignment of both ports and the wire map are not all known."
        )
    if (own == other) == crossed:
        return CrossingResult(Crossing.FITS, "The transmitter of each port meets the receiver of the other.")
    cable = "a crossover" if crossed else "straight-through"
    alike = "are alike" if own == other else "differ"
    return CrossingResult(
        Crossing.DOES_NOT_FIT,
        f"The pin assignments of the ports {alike} and the cable is {cable}: transmitter meets transmitter. "
        "Let a port choose by itself (auto), or change the cord for the other kind.",
    )
