"""The facts of the cable from their data file."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import lru_cache
from importlib.resources import files
from typing import Any, Final

from fourpair_service.domain.facts import CableFacts, Fact, TemperatureStep, TemperatureTable
from fourpair_service.domain.limits import Basis
from fourpair_service.rulesets.errors import InvalidRuleSetError

CABLE_FILE: Final = "cable.toml"
Table = Mapping[str, Any]


@lru_cache(maxsize=1)
def read_cable_facts() -> CableFacts:
    """Return the facts that come with the package."""
    text = files("fourpair_service.rulesets").joinpath("facts", CABLE_FILE).read_text(encoding="utf-8")
    return cable_facts(CABLE_FILE, text)


def cable_facts(name: str, text: str) -> CableFacts:
    """Return the facts in a text.

    Args:
        name: of the file, for messages.
        text: TOML.

    Raises:
        InvalidRuleSetError: it is no TOML, or an entry is missing or unclear.
    """
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InvalidRuleSetError(name, 0, "file", f"not valid TOML: {error}") from error
    reader = _Reader(name, data)
    return CableFacts(
        loop_resistance_ohm_per_m=reader.by_gauge("loop_resistance_ohm_per_m"),
        insertion_loss_temperature=reader.temperatures("insertion_loss_temperature"),
        stranded_factor=reader.facts("stranded_factor"),
        largest_conductor_resistance_ohm_per_100m=reader.single("largest_conductor_resistance_ohm_per_100m"),
        copper_temperature_coefficient_per_c=reader.single("copper_temperature_coefficient_per_c"),
        nvp_typical=reader.single("nvp_typical"),
        nvp_lowest=reader.single("nvp_lowest"),
        nvp_highest=reader.single("nvp_highest"),
        nvp_least_by_delay_limit=reader.single("nvp_least_by_delay_limit"),
    )


class _Reader:
    def __init__(self, name: str, data: Table) -> None:
        self._name, self._data = name, data

    def table(self, parent: Table, key: str) -> Table:
        value = parent.get(key)
        if not isinstance(value, dict):
            raise self._refusal(key, f"a table is needed here, not {value!r}")
        return value

    def single(self, key: str) -> Fact:
        return self.fact(self.table(self._data, key), key)

    def fact(self, table: Table, key: str) -> Fact:
        return Fact(self._number(table, "value", key), *self._origin(table, key))

    def facts(self, key: str) -> dict[str, Fact]:
        parent = self.table(self._data, key)
        return {name: self.fact(self.table(parent, name), f"{key}.{name}") for name in parent}

    def by_gauge(self, key: str) -> dict[int, Fact]:
        table = self.table(self._data, key)
        origin = self._origin(table, key)
        return {
            int(gauge): Fact(self._number(table, gauge, key), *origin) for gauge in table if gauge.isdigit()
        }

    def temperatures(self, key: str) -> dict[str, TemperatureTable]:
        parent = self.table(self._data, key)
        return {name: self._temperature(self.table(parent, name), f"{key}.{name}") for name in parent}

    def _temperature(self, table: Table, key: str) -> TemperatureTable:
        steps = table.get("steps")
        if not isinstance(steps, list) or not steps:
            raise self._refusal(f"{key}.steps", f"a list of steps is needed here, not {steps!r}")
        names = ("from_c", "to_c", "percent_per_c")
        read = [TemperatureStep(*(self._number(step, n, f"{key}.steps") for n in names)) for step in steps]
        return TemperatureTable(tuple(read), *self._origin(table, key))

    def _number(self, table: Table, name: str, key: str) -> float:
        value = table.get(name)
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise self._refusal(f"{key}.{name}", f"a number is needed here, not {value!r}")
        return float(value)

    def _origin(self, table: Table, key: str) -> tuple[str, Basis]:
        source, basis = table.get("source"), table.get("basis")
        if not isinstance(source, str) or not source:
            raise self._refusal(f"{key}.source", f"say where the value is printed, or memory, not {source!r}")
        if basis not in tuple(Basis):
            raise self._refusal(f"{key}.basis", f"{basis!r} is not one of {', '.join(Basis)}")
        return source, Basis(basis)

    def _refusal(self, key: str, detail: str) -> InvalidRuleSetError:
        return InvalidRuleSetError(self._name, 0, key, detail)
