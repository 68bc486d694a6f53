"""Registers of a port's own chip: what it offers, and what it hears of the other end."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from fourpair_service.domain.port.facts import PortFacts, RegisterLayout


@dataclass(frozen=True, slots=True)
class RegisterReading:
    """A register in words.

    Attributes:
        word: as read, 0 to 0xFFFF.
        abilities, flags: whose bits are set.
        energy_efficient: applications that may pause while idle, whose bits are set.
        unnamed_bits: set, and in no table here.
    """

    layout: RegisterLayout
    word: int
    abilities: frozenset[str]
    energy_efficient: frozenset[str]
    flags: frozenset[str]
    unnamed_bits: tuple[int, ...]


def decode_register(number: str, word: int, facts: PortFacts) -> RegisterReading:
    """Return what a register says.

    Args:
        number: of a layout in ``facts.registers``.
        word: 0 to 0xFFFF.
        facts: with the layouts.
    """
    layout = facts.registers[number]
    tables = (layout.abilities, layout.energy_efficient, layout.flags)
    abilities, energy_efficient, flags = (
        frozenset(name for name, bit in table.items() if word >> bit & 1) for table in tables
    )
    named = {bit for table in tables for bit in table.values()}
    unnamed = tuple(bit for bit in range(16) if word >> bit & 1 and bit not in named)
    return RegisterReading(layout, word, abilities, energy_efficient, flags, unnamed)


def decode_registers(words: Mapping[str, int], facts: PortFacts) -> tuple[RegisterReading, ...]:
    """Return every register given, in the order of the facts."""
    return tuple(
        decode_register(number, words[number], facts) for number in facts.registers if number in words
    )


def register_notes(registers: Iterable[RegisterReading]) -> tuple[str, ...]:
    """Return what is odd in registers."""
    return tuple(
        f"Register {each.layout.number} (0x{each.word:04X}) reports that the two ports cannot agree which of "
        "them gives the clock: no link comes up at that speed until one is set anew or started again."
        for each in registers
        if "master_slave_fault" in each.flags
    )
