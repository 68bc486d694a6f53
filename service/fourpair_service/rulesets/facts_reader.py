"""The facts of the cable from their data file."""

from __future__ import annotations

from functools import lru_cache
from typing import Final

from fourpair_service.domain.facts import CableFacts, Fact, TemperatureStep, TemperatureTable
from fourpair_service.rulesets.facts_table import FactTable, packaged_text

CABLE_FILE: Final = "cable.toml"


@lru_cache(maxsize=1)
def read_cable_facts() -> CableFacts:
    """Return the facts that come with the package."""
    return cable_facts(CABLE_FILE, packaged_text(CABLE_FILE))


def cable_facts(name: str, text: str) -> CableFacts:
    """Return the facts in a text.

    Args:
        name: of the file, for messages.
        text: TOML.

    Raises:
        InvalidRuleSetError: it is no TOML, or an entry is missing or unclear.
    """
    whole = FactTable.parse(name, text)
    return CableFacts(
        loop_resistance_ohm_per_m=_by_gauge(whole.child("loop_resistance_ohm_per_m")),
        insertion_loss_temperature=_temperatures(whole.child("insertion_loss_temperature")),
        stranded_factor=whole.facts("stranded_factor"),
        largest_conductor_resistance_ohm_per_100m=whole.fact("largest_conductor_resistance_ohm_per_100m"),
        copper_temperature_coefficient_per_c=whole.fact("copper_temperature_coefficient_per_c"),
        cord_awg=whole.fact("cord_awg"),
        nvp_typical=whole.fact("nvp_typical"),
        nvp_lowest=whole.fact("nvp_lowest"),
        nvp_highest=whole.fact("nvp_highest"),
        nvp_least_by_delay_limit=whole.fact("nvp_least_by_delay_limit"),
    )


def _by_gauge(table: FactTable) -> dict[int, Fact]:
    origin = table.origin()
    return {int(gauge): Fact(table.number(gauge), *origin) for gauge in table if gauge.isdigit()}


def _temperatures(parent: FactTable) -> dict[str, TemperatureTable]:
    return {name: _temperature(parent.child(name)) for name in parent}


def _temperature(table: FactTable) -> TemperatureTable:
    names = ("from_c", "to_c", "percent_per_c")
    steps = [TemperatureStep(*map(step.number, names)) for step in table.children("steps")]
    return TemperatureTable(tuple(steps), *table.origin())
