"""Ports, links with a known loss, and the facts that come with the package."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np

from fourpair_service.domain.link import PAIRS, PINS, Configuration
from fourpair_service.domain.measurement import CurveGroup, LinkMeasurement, PairReadings, WireMap
from fourpair_service.domain.parameters import Parameter
from fourpair_service.domain.port.negotiation import Settlement, settle
from fourpair_service.domain.port.observation import PortObservation, observe
from fourpair_service.domain.port.reading import PortReading, read_port
from fourpair_service.rulesets.port_reader import read_port_facts
from fourpair_service.rulesets.powering_reader import read_powering_facts

FACTS = read_port_facts()
POWERING = read_powering_facts()

with (Path(__file__).parent / "published_rows.csv").open() as file:
    ROWS = {row["id"]: row for row in csv.DictReader(file)}

ALL_FROM_10 = ["10BASE-T/half", "10BASE-T/full", "100BASE-TX/half", "100BASE-TX/full"]
GIGABIT = [*ALL_FROM_10, "1000BASE-T/full"]

NAMES = ("10BASE-T", "100BASE-TX", "1000BASE-T", "2.5GBASE-T", "5GBASE-T", "10GBASE-T")


def carries(up_to: str | None, *, conditional: str | None = None) -> dict[str, str]:
    """Return the states of a cable that supports all up to one application."""
    reach = NAMES.index(up_to) if up_to else -1
    states = {name: "supported" if i <= reach else "not_supported" for i, name in enumerate(NAMES)}
    return states | ({conditional: "conditional"} if conditional else {})


def seen(**document: object) -> PortObservation:
    return observe(document, FACTS)


def settled(**document: object) -> Settlement:
    return settle(seen(**document), FACTS)


def cable(
    loss_db: float | None = None,
    *,
    crossed: bool | None = None,
    without: str = "",
    port: dict[str, object] | None = None,
    length_m: float | None = None,
    from_mhz: float = 1.0,
) -> LinkMeasurement:
    """Return a channel with the same loss at all frequencies."""
    swap = {"1": "3", "2": "6", "3": "1", "6": "2"} if crossed else {}
    contacts = tuple((pin, swap.get(pin, pin)) for pin in PINS if pin not in without)
    group = CurveGroup(np.array([from_mhz, 100.0]), PAIRS, np.full((4, 2), loss_db or 0.0))
    return LinkMeasurement(
        Configuration.CHANNEL,
        wire_map=None if crossed is None and not without else WireMap(contacts),
        readings={pair: PairReadings(length_m=length_m) for pair in PAIRS},
        curves={} if loss_db is None else {(Parameter.INSERTION_LOSS, None): (group,)},
        port=port,
    )


def read(
    measurement: LinkMeasurement,
    applications: dict[str, str] | None = None,
    power_classes: dict[int, str] | None = None,
) -> PortReading:
    return read_port(
        measurement, FACTS, POWERING, applications=applications or {}, power_classes=power_classes or {}
    )


def read_only(applications: dict[str, str] | None = None, **port: object) -> PortReading:
    return read(cable(port=port), applications)
