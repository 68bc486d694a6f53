"""The resistance that power meets: of each pair with its cords, measured or estimated."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from fourpair_service.domain.cords import Cords
from fourpair_service.domain.facts import CableFacts
from fourpair_service.domain.grading.resistance import pair_in_parallel_ohm
from fourpair_service.domain.grading.single_values import intact_pairs
from fourpair_service.domain.grading.timing import length_m
from fourpair_service.domain.link import PAIRS
from fourpair_service.domain.measurement import LinkMeasurement
from fourpair_service.domain.powering.facts import PoweringFacts

# The pairs that the two ways of feeding use: out on one, back on the other
# (IEEE 802.3 table 145-3, Linux Documentation/networking/pse-pd/pse-pi.rst).
PAIRSETS: Mapping[str, tuple[str, str]] = {"A": ("12", "36"), "B": ("45", "78")}

ROOM_C = 20.0


@dataclass(frozen=True, slots=True)
class LinkResistance:
    """What is known of a link's resistance.

    Attributes:
        pair_ohm: by pair, both its wires in parallel, with cords. [ohm]
        estimated: pairs whose value is from length, gauge and temperature.
        broken: pairs that are open or shorted.
        cords_ohm: what the cords add to the loop of one pair. [ohm]
        notes: what was assumed.
    """

    pair_ohm: Mapping[str, float]
    estimated: tuple[str, ...] = ()
    broken: tuple[str, ...] = ()
    cords_ohm: float = 0.0
    notes: tuple[str, ...] = field(default=())

    def pairset_ohm(self, name: str) -> float | None:
        """Return the loop of a pairset, out and back, ``None`` where a pair of it is not known. [ohm].

        Two pairs with loops of 18 ohm each: (18 + 18) / 4.

        >>> LinkResistance({"12": 4.5, "36": 4.5}).pairset_ohm("A")
        9.0
        """
        known = [self.pair_ohm.get(pair) for pair in PAIRSETS[name]]
        values = [value for value in known if value is not None]
        return sum(values) if len(values) == len(known) else None

    def is_broken(self, name: str) -> bool:
        """Whether a pair of the pairset is open or shorted."""
        return any(pair in self.broken for pair in PAIRSETS[name])

    def is_estimated(self, names: tuple[str, ...]) -> bool:
        """Whether any pair of these pairsets is estimated."""
        return any(pair in self.estimated for name in names for pair in PAIRSETS[name])


def link_resistance(
    measurement: LinkMeasurement, cords: Cords, cable: CableFacts, powering: PoweringFacts
) -> LinkResistance:
    """Return the resistance of every unbroken pair with the cords added.

    Measured values stand as they are; a pair without one takes its length
    (else that of the shortest pair known), the stated gauge and temperature.
    """
    intact = intact_pairs(measurement)
    copper = _Copper(measurement, cable, powering)
    cords_ohm = cords.length_m * (copper.ohm_per_m if cords.is_solid else copper.cord_ohm_per_m)
    measured = {pair: pair_in_parallel_ohm(measurement, pair) for pair in intact}
    missing = [pair for pair in intact if measured[pair] is None]
    guessed = _estimates(measurement, missing, copper)
    values = {pair: value for pair in intact if (value := measured[pair]) is not None}
    values |= {pair: loop / 4 for pair, loop in guessed.items()}
    return LinkResistance(
        {pair: values[pair] + cords_ohm / 4 for pair in PAIRS if pair in values},
        tuple(guessed),
        tuple(pair for pair in PAIRS if pair not in intact),
        cords_ohm,
        _notes(cords, cords_ohm, copper, estimated=tuple(guessed)),
    )


class _Copper:
    """Solid copper of the stated or assumed gauge, at the stated temperature."""

    def __init__(self, measurement: LinkMeasurement, cable: CableFacts, powering: PoweringFacts) -> None:
        stated = measurement.cable.awg
        known = cable.loop_resistance_ohm_per_m
        self.is_assumed = stated is None or stated not in known
        self.awg = int(powering.assumed_awg.value) if stated is None or self.is_assumed else stated
        self.temperature_c = measurement.cable.temperature_c
        factor = cable.copper_resistance_factor(ROOM_C if self.temperature_c is None else self.temperature_c)
        self.ohm_per_m = known[self.awg].value * factor
        self.cord_ohm_per_m = known[int(cable.cord_awg.value)].value * factor
        self.nvp = measurement.cable.nvp or cable.nvp_typical.value


def _estimates(measurement: LinkMeasurement, pairs: list[str], copper: _Copper) -> dict[str, float]:
    lengths = {
        pair: length
        for pair in intact_pairs(measurement)
        if (length := length_m(measurement, pair, copper.nvp)) is not None
    }
    if not lengths:
        return {}
    shortest = min(lengths.values())
    return {pair: lengths.get(pair, shortest) * copper.ohm_per_m for pair in pairs}


def _notes(cords: Cords, cords_ohm: float, copper: _Copper, *, estimated: tuple[str, ...]) -> tuple[str, ...]:
    notes = []
    if cords.length_m > 0:
        notes.append(
            f"{cords.length_m:g} m of {'solid' if cords.is_solid else 'stranded'} cords were added, "
            f"{cords_ohm:.2f} ohm to the loop of each pair."
        )
    if estimated:
        temperature = (
            "20 °C, as none is stated" if copper.temperature_c is None else f"{copper.temperature_c:g} °C"
        )
        notes.append(
            f"The resistance of {', '.join(estimated)} is estimated from length at {copper.awg} AWG "
            f"and {temperature}: copper that is thinner, warmer or clad has more."
        )
    if copper.is_assumed and (estimated or (cords.length_m > 0 and cords.is_solid)):
        notes.append(f"The gauge is not stated or not known; {copper.awg} AWG was assumed.")
    return tuple(notes)
