"""Links with known resistance, and the facts that come with the package."""

from __future__ import annotations

import csv
from pathlib import Path

from fourpair_service.domain.cords import StatedCords
from fourpair_service.domain.link import PAIRS, PINS, Configuration
from fourpair_service.domain.measurement import LinkMeasurement, PairReadings, WireMap
from fourpair_service.domain.powering.power import Powering, power_on, supported_types
from fourpair_service.domain.support import Support
from fourpair_service.rulesets.facts_reader import read_cable_facts
from fourpair_service.rulesets.powering_reader import read_powering_facts

FACTS = read_powering_facts()
with (Path(__file__).parent / "published_rows.csv").open() as file:
    ROWS = list(csv.DictReader(file))

CABLE = read_cable_facts()


def straight(without: str = "") -> WireMap:
    return WireMap(tuple((pin, pin) for pin in PINS if pin not in without))


def link(
    loop_ohm: dict[str, float] | float | None = None,
    *,
    configuration: Configuration = Configuration.CHANNEL,
    length_m: float | None = None,
    **fields: object,
) -> LinkMeasurement:
    loops = loop_ohm if isinstance(loop_ohm, dict) else dict.fromkeys(PAIRS, loop_ohm)
    readings = {pair: PairReadings(length_m=length_m, loop_resistance_ohm=loops.get(pair)) for pair in PAIRS}
    return LinkMeasurement(configuration, readings=readings, **fields)


def powered(measurement: LinkMeasurement, *, standard: str = "TIA", cords_m: float | None = None) -> Powering:
    stated = None if cords_m is None else StatedCords(cords_m)
    found = power_on(measurement, FACTS, CABLE, standard=standard, stated=stated)
    # What is kept to be searched by must say yes to the same ones, on every link of these tests.
    assert supported_types(measurement, FACTS, CABLE, standard=standard, stated=stated) == tuple(
        number for number, result in found.types.items() if result.state is Support.SUPPORTED
    )
    return found
