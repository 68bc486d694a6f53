"""Everything about one port, with or without its cable."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from fourpair_service.domain.cords import Cords
from fourpair_service.domain.measurement import LinkMeasurement
from fourpair_service.domain.port.crossing import CrossingResult, crossing
from fourpair_service.domain.port.energy import EnergyResult, energy_efficient
from fourpair_service.domain.port.facts import PortFacts
from fourpair_service.domain.port.levels import LevelResult, judge_levels
from fourpair_service.domain.port.negotiation import Settlement, settle
from fourpair_service.domain.port.observation import PortObservation, observe
from fourpair_service.domain.port.poe import PoeResult, judge_poe
from fourpair_service.domain.port.pulses import pulse_notes
from fourpair_service.domain.port.together import Together, together
from fourpair_service.domain.powering.facts import PoweringFacts


@dataclass(frozen=True, slots=True)
class PortReading:
    """A port in words, and what it does on this cable; all but ``together`` need a port.

    Attributes:
        energy: what the two ends may save while idle; ``None`` where neither told.
        notes: what is odd in what was observed.
    """

    observation: PortObservation | None
    settlement: Settlement | None
    crossing: CrossingResult | None
    levels: tuple[LevelResult, ...]
    poe: PoeResult | None
    together: Together
    notes: tuple[str, ...]
    energy: EnergyResult | None = None


def read_port(
    measurement: LinkMeasurement,
    facts: PortFacts,
    powering: PoweringFacts,
    *,
    applications: Mapping[str, str],
    power_classes: Mapping[int, str],
    cords: Cords | None = None,
) -> PortReading:
    """Return what the port of a measurement says, and what it does on its cable.

    Args:
        measurement: the link; its port and its cable may each be absent.
        facts: of ports.
        powering: of power over Ethernet.
        applications: by name, whether the cable carries it; empty where it was not tested.
        power_classes: by class, whether the cable carries it; empty where it was not tested.
        cords: to add where a level at the port is followed to the far end.
    """
    if measurement.port is None:
        alone = together(None, None, applications, facts)
        return PortReading(None, None, None, (), None, alone, ())
    observation = observe(measurement.port, facts)
    settlement = settle(observation, facts)
    meets = crossing(observation, measurement)
    levels = judge_levels(observation.levels, measurement, facts, cords)
    both = together(observation, settlement, applications, facts, crossing=meets, levels=levels)
    poe = judge_poe(observation.poe, powering, power_classes) if observation.poe else None
    partner = observation.partner.notes if observation.partner else ()
    notes = (*observation.port.notes, *partner, *pulse_notes(observation.signals, facts))
    energy = energy_efficient(observation.port, observation.partner, settlement.agreed, facts)
    return PortReading(observation, settlement, meets, levels, poe, both, notes, energy)
