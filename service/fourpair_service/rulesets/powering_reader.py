"""The facts of power over Ethernet from their data file."""

from __future__ import annotations

from functools import lru_cache
from typing import Final

from fourpair_service.domain.link import Configuration
from fourpair_service.domain.powering.facts import (
    HeatingFacts,
    Pinout,
    PowerClass,
    PoweringFacts,
    SourceType,
    UnbalanceLimit,
)
from fourpair_service.rulesets.facts_table import FactTable, packaged_text

POWERING_FILE: Final = "powering.toml"


@lru_cache(maxsize=1)
def read_powering_facts() -> PoweringFacts:
    """Return the facts that come with the package."""
    return powering_facts(POWERING_FILE, packaged_text(POWERING_FILE))


def powering_facts(name: str, text: str) -> PoweringFacts:
    """Return the facts in a text.

    Args:
        name: of the file, for messages.
        text: TOML.

    Raises:
        InvalidRuleSetError: it is no TOML, or an entry is missing or unclear.
    """
    whole = FactTable.parse(name, text)
    heating, cords, unbalance = whole.child("heating"), whole.child("cords"), whole.child("unbalance")
    return PoweringFacts(
        classes={table.whole("class"): _class(table) for table in whole.children("class")},
        types={table.whole("type"): _type(table) for table in whole.children("type")},
        pinouts=tuple(map(_pinout, whole.children("pinout"))),
        within_pair=_unbalance(unbalance.child("within_pair")),
        between_pairs=_unbalance(unbalance.child("between_pairs")),
        heating=HeatingFacts(**{key: heating.fact(key) for key in HeatingFacts.__dataclass_fields__}),
        cords_m={
            Configuration.PERMANENT_LINK: cords.fact("permanent_link_m"),
            Configuration.MPTL: cords.fact("mptl_m"),
        },
        assumed_awg=whole.fact("assumed_awg"),
    )


def _class(table: FactTable) -> PowerClass:
    return PowerClass(
        table.whole("class"),
        table.whole("pairs"),
        table.number("source_power_w"),
        table.number("device_power_w"),
        table.number("source_voltage_v"),
        table.number("device_voltage_v"),
        table.number("loop_ohm"),
        table.number("largest_pair_current_a"),
        *table.origin(),
    )


def _type(table: FactTable) -> SourceType:
    return SourceType(
        table.whole("type"),
        table.text("standard"),
        table.whole("highest_class"),
        table.span("source_voltage_v"),
        table.span("device_voltage_v"),
        table.number("pair_current_a"),
        *table.origin(),
    )


def _pinout(table: FactTable) -> Pinout:
    return Pinout(table.text("name"), table.text("positive"), table.text("negative"), *table.origin())


def _unbalance(table: FactTable) -> UnbalanceLimit:
    return UnbalanceLimit(table.number("percent"), table.number("floor_ohm"), *table.origin())
