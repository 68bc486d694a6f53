"""What is known of ports: abilities, their priority, words, levels, link pulses."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass

from fourpair_service.domain.limits import Basis


@dataclass(frozen=True, slots=True)
class Transmitter:
    """What a transmitter must send and its receiver needs, as peak voltage at 100 ohm.

    Attributes:
        signal: ``link_pulse`` or ``100base_tx``.
        peak_v: lowest and highest at the port. [V]
        enough_v: a receiver must take this. [V]
        lost_below_v: a receiver need not, or must not, take less. [V]
        at_mhz: frequency at which the loss of the link counts. [MHz]
    """

    name: str
    signal: str
    peak_v: tuple[float, float]
    enough_v: float
    lost_below_v: float
    at_mhz: float
    source: str
    basis: Basis


@dataclass(frozen=True, slots=True)
class Span:
    """A lowest and a highest value with their origin."""

    low: float
    high: float
    source: str
    basis: Basis


@dataclass(frozen=True, slots=True)
class PauseRule:
    """One row of the table of flow control; ``*`` stands for either value of a bit.

    Attributes:
        port, partner: PAUSE and ASM_DIR, such as ``"10"``.
        result: ``none``, ``symmetric``, ``transmit`` or ``receive``, as this port sees it.
    """

    port: str
    partner: str
    result: str


@dataclass(frozen=True, slots=True)
class RegisterLayout:
    """A register of 16 bits in a port's own chip.

    Attributes:
        number: ``"9"`` of clause 22, ``"7.32"`` (device and register) of clause 45.
        tells_of: ``own``: what this port offers; ``other``: what it hears of the other end.
        abilities: bit by ability.
        energy_efficient: bit by application that may pause while it is idle.
        flags: bit by name.
    """

    number: str
    title: str
    tells_of: str
    abilities: Mapping[str, int]
    energy_efficient: Mapping[str, int]
    flags: Mapping[str, int]
    source: str
    basis: Basis


@dataclass(frozen=True, slots=True)
class PortFacts:
    """Everything in the data file on ports.

    Attributes:
        priority: abilities, highest priority first, such as ``"1000BASE-T/full"``.
        rate_mbps: by the name before the stroke. [Mb/s]
        base_abilities, base_flags: bit of the base page by name.
        next_flags: bit of a next page by name.
        message_codes: what the pages after a message are about.
        gigabit_abilities: bit of the page after the message of 1000BASE-T.
        energy_efficient_page: bit of the page after the message of energy-efficient Ethernet.
        registers: by number.
        transmitters: for each signal the one that sends most first.
        pulses: by ``normal_period_ms``, ``burst_period_ms``,
            ``pulses_per_burst``, ``clock_period_us``.
    """

    priority: tuple[str, ...]
    rate_mbps: Mapping[str, int]
    base_abilities: Mapping[str, int]
    base_flags: Mapping[str, int]
    next_flags: Mapping[str, int]
    message_codes: Mapping[int, str]
    gigabit_abilities: Mapping[str, int]
    energy_efficient_page: Mapping[str, int]
    registers: Mapping[str, RegisterLayout]
    pause_rules: tuple[PauseRule, ...]
    transmitters: tuple[Transmitter, ...]
    pulses: Mapping[str, Span]
    multi_gigabit_power_dbm: Span

    def ordered(self, abilities: frozenset[str]) -> tuple[str, ...]:
        """Return abilities by priority, the highest first."""
        return tuple(name for name in self.priority if name in abilities)

    def applications(self, known: Collection[str]) -> tuple[str, ...]:
        """Return applications by rate, the fastest first."""
        return tuple(sorted(known, key=lambda name: -self.rate_mbps[name]))


def application(ability: str) -> str:
    """Return the application of an ability.

    >>> application("1000BASE-T/full")
    '1000BASE-T'
    """
    return ability.partition("/")[0]


def is_full(ability: str) -> bool:
    """Whether an ability is full duplex."""
    return ability.endswith("/full")
