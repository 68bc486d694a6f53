"""What was observed of a port and its partner, read from the port of a measurement document."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from fourpair_service.domain.port.facts import PortFacts, application
from fourpair_service.domain.port.registers import decode_registers
from fourpair_service.domain.port.station import Station, station


@dataclass(frozen=True, slots=True)
class Signals:
    """What was seen on the wires before a link came up; ``None`` where not looked for.

    Attributes:
        fast_link_pulses: bursts of auto-negotiation.
        normal_link_pulses: single pulses of 10BASE-T.
        idle: 100BASE-TX idle.
        pulses: by the names of ``PortFacts.pulses``, measured values.
    """

    fast_link_pulses: bool | None
    normal_link_pulses: bool | None
    idle: bool | None
    pulses: Mapping[str, float]

    @property
    def is_silent(self) -> bool:
        """Whether bursts were looked for and nothing at all was seen."""
        return self.fast_link_pulses is False and not (self.normal_link_pulses or self.idle)


@dataclass(frozen=True, slots=True)
class Level:
    """A signal found on one pair.

    Attributes:
        peak_v: amplitude. [V]
        termination_ohm: that it was measured with; ``None`` where not stated. [ohm]
        at: ``port`` or ``far_end``; ``None`` where not stated.
    """

    pair: str
    signal: str
    peak_v: float
    termination_ohm: float | None
    at: str | None


@dataclass(frozen=True, slots=True)
class Poe:
    """Power found on the port; ``None`` where not told.

    Attributes:
        voltage_v: as measured. [V]
        at: ``port`` or ``far_end``.
        signature: ``single`` or ``dual``.
        positive, negative: pairs by polarity.
    """

    type: int | None = None
    power_class: int | None = None
    voltage_v: float | None = None
    at: str | None = None
    signature: str | None = None
    positive: tuple[str, ...] = ()
    negative: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class PortObservation:
    """Everything observed of a port.

    Attributes:
        link: what it settled on; ``None`` where no link came up or that was not looked at.
        link_seen: whether it was looked at.
    """

    port: Station
    partner: Station | None
    signals: Signals | None
    levels: tuple[Level, ...]
    poe: Poe | None
    link: str | None
    link_seen: bool


def observe(document: Mapping[str, Any], facts: PortFacts) -> PortObservation:
    """Return the port of a measurement document, its words decoded.

    Args:
        document: as the schema of the document lets it through.
        facts: with the bits of the words.
    """
    signals = _signals(document["signals"]) if "signals" in document else None
    other = document.get("partner")
    own_registers, other_registers = (
        decode_registers(each.get("registers", {}), facts) for each in (document, other or {})
    )
    partner = station(other or {}, facts, (other or {}).get("negotiates"), other_registers, own_registers)
    return PortObservation(
        station(document, facts, _negotiates(document, signals), own_registers, other_registers),
        partner if other is not None or partner.abilities is not None or partner.energy_efficient else None,
        signals,
        tuple(_level(level) for level in document.get("levels", ())),
        _poe(document["poe"]) if "poe" in document else None,
        document.get("link_up"),
        "link_up" in document,
    )


def _negotiates(document: Mapping[str, Any], signals: Signals | None) -> bool | None:
    """Return whether the port negotiates: as stated, else from what it sends."""
    stated: bool | None = document.get("negotiates")
    if stated is not None or signals is None:
        return stated
    return None if signals.is_silent else signals.fast_link_pulses


def _signals(document: Mapping[str, Any]) -> Signals:
    measured = ("normal_period_ms", "burst_period_ms", "pulses_per_burst", "clock_period_us")
    return Signals(
        document.get("fast_link_pulses"),
        document.get("normal_link_pulses"),
        document.get("idle_100base_tx"),
        {name: document[name] for name in measured if name in document},
    )


def _level(document: Mapping[str, Any]) -> Level:
    return Level(
        document["pair"],
        document["signal"],
        document["peak_v"],
        document.get("termination_ohm"),
        document.get("at"),
    )


def _poe(document: Mapping[str, Any]) -> Poe:
    names = {"class": "power_class", "positive_pairs": "positive", "negative_pairs": "negative"}
    values = {names.get(key, key): _frozen(value) for key, value in document.items()}
    return Poe(**values)


def _frozen(value: Any) -> Any:
    return tuple(value) if isinstance(value, Sequence) and not isinstance(value, str) else value


def forced_application(station: Station, signals: Signals | None) -> str | None:
    """Return the only speed of a station that does not negotiate, ``None`` where that is not known."""
    if signals is not None and signals.idle:
        return "100BASE-TX"
    if signals is not None and signals.normal_link_pulses:
        return "10BASE-T"
    speeds = {application(ability) for ability in station.abilities or ()}
    return speeds.pop() if len(speeds) == 1 else None
