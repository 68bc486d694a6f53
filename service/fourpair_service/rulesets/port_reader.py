"""The facts of ports from their data file."""

from __future__ import annotations

from functools import lru_cache
from typing import Final

from fourpair_service.domain.port.facts import PauseRule, PortFacts, RegisterLayout, Span, Transmitter
from fourpair_service.rulesets.facts_table import FactTable, packaged_text

PORT_FILE: Final = "port.toml"
ORIGIN: Final = frozenset({"source", "basis"})


@lru_cache(maxsize=1)
def read_port_facts() -> PortFacts:
    """Return the facts that come with the package."""
    return port_facts(PORT_FILE, packaged_text(PORT_FILE))


def port_facts(name: str, text: str) -> PortFacts:
    """Return the facts in a text.

    Args:
        name: of the file, for messages.
        text: TOML.

    Raises:
        InvalidRuleSetError: it is no TOML, or an entry is missing or unclear.
    """
    whole = FactTable.parse(name, text)
    base, pulses, codes = whole.child("base_page"), whole.child("pulses"), whole.child("message_codes")
    return PortFacts(
        priority=_with_origin(whole.child("priority")).texts("names"),
        rate_mbps=_numbers(whole.child("rate_mbps")),
        base_abilities=_numbers(base.child("abilities")),
        base_flags=_numbers(base.child("flags")),
        next_flags=_numbers(whole.child("next_page").child("flags")),
        message_codes={int(code): codes.text(code) for code in _with_origin(codes) if code not in ORIGIN},
        gigabit_abilities=_numbers(whole.child("gigabit_page")),
        energy_efficient_page=_numbers(whole.child("energy_efficient_page")),
        registers={each.number: each for each in map(_register, whole.children("register"))},
        pause_rules=tuple(map(_pause, _with_origin(whole.child("pause")).children("rows"))),
        transmitters=tuple(map(_transmitter, whole.children("transmitter"))),
        pulses={name: _span(pulses.child(name)) for name in pulses},
        multi_gigabit_power_dbm=_span(whole.child("multi_gigabit_power_dbm")),
    )


def _with_origin(table: FactTable) -> FactTable:
    """Return a table after a look that it says where it comes from."""
    table.origin()
    return table


def _numbers(table: FactTable) -> dict[str, int]:
    return {key: table.whole(key) for key in _with_origin(table) if key not in ORIGIN}


def _register(table: FactTable) -> RegisterLayout:
    tells_of = table.text("tells_of")
    if tells_of not in ("own", "other"):
        raise table.refusal("tells_of", f"own or other is needed here, not {tells_of!r}")
    source, basis = table.origin()
    return RegisterLayout(
        number=table.text("number"),
        title=table.text("title"),
        tells_of=tells_of,
        abilities=_bits(table, "abilities"),
        energy_efficient=_bits(table, "energy_efficient"),
        flags=_bits(table, "flags"),
        source=source,
        basis=basis,
    )


def _bits(table: FactTable, key: str) -> dict[str, int]:
    if key not in tuple(table):
        return {}
    bits = table.child(key)
    return {name: bits.whole(name) for name in bits}


def _pause(table: FactTable) -> PauseRule:
    return PauseRule(table.text("port"), table.text("partner"), table.text("result"))


def _span(table: FactTable) -> Span:
    return Span(*table.span("span"), *table.origin())


def _transmitter(table: FactTable) -> Transmitter:
    return Transmitter(
        table.text("name"),
        table.text("signal"),
        table.span("peak_v"),
        table.number("enough_v"),
        table.number("lost_below_v"),
        table.number("at_mhz"),
        *table.origin(),
    )
