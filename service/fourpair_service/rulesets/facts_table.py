"""One table of a file of facts, with errors that name the file and the dotted key."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from importlib.resources import files
from typing import Any

from fourpair_service.domain.facts import Fact
from fourpair_service.domain.limits import Basis
from fourpair_service.rulesets.errors import InvalidRuleSetError


def packaged_text(file: str) -> str:
    """Return the text of a file of facts that comes with the package."""
    return files("fourpair_service.rulesets").joinpath("facts", file).read_text(encoding="utf-8")


class FactTable:
    """A table of a TOML file that remembers where it stands.

    Args:
        file: its name, for messages.
        path: the dotted key of the table, empty for the whole file.
        data: what is in it.
    """

    def __init__(self, file: str, path: str, data: Mapping[str, Any]) -> None:
        self.file, self.path, self._data = file, path, data

    @classmethod
    def parse(cls, file: str, text: str) -> FactTable:
        """Return the whole of a file.

        Raises:
            InvalidRuleSetError: it is no TOML.
        """
        try:
            return cls(file, "", tomllib.loads(text))
        except tomllib.TOMLDecodeError as error:
            raise InvalidRuleSetError(file, 0, "file", f"not valid TOML: {error}") from error

    def __iter__(self) -> Iterator[str]:
        """Give the keys in the order of the file."""
        return iter(self._data)

    def child(self, key: str) -> FactTable:
        """Return the table under a key."""
        value = self._data.get(key)
        if not isinstance(value, dict):
            raise self.refusal(key, f"a table is needed here, not {value!r}")
        return FactTable(self.file, self._key(key), value)

    def children(self, key: str) -> list[FactTable]:
        """Return the tables of a list that has at least one."""
        value = self._data.get(key)
        if not isinstance(value, list) or not value or not all(isinstance(item, dict) for item in value):
            raise self.refusal(key, f"a list of tables is needed here, not {value!r}")
        return [FactTable(self.file, self._key(key), item) for item in value]

    def number(self, key: str) -> float:
        """Return a number."""
        value = self._data.get(key)
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise self.refusal(key, f"a number is needed here, not {value!r}")
        return float(value)

    def whole(self, key: str) -> int:
        """Return a whole number."""
        value = self._data.get(key)
        if type(value) is not int:
            raise self.refusal(key, f"a whole number is needed here, not {value!r}")
        return value

    def span(self, key: str) -> tuple[float, float]:
        """Return a lowest and a highest value."""
        value = self._data.get(key)
        if not isinstance(value, list) or len(value) != 2 or not all(map(_is_number, value)):
            raise self.refusal(key, f"a lowest and a highest number are needed here, not {value!r}")
        if value[0] > value[1]:
            raise self.refusal(key, f"the lower number comes first, not {value!r}")
        return float(value[0]), float(value[1])

    def text(self, key: str) -> str:
        """Return a text that is not empty."""
        value = self._data.get(key)
        if not isinstance(value, str) or not value:
            raise self.refusal(key, f"a text is needed here, not {value!r}")
        return value

    def texts(self, key: str) -> tuple[str, ...]:
        """Return a list of texts."""
        value = self._data.get(key)
        if not isinstance(value, list) or not all(isinstance(item, str) for item in value):
            raise self.refusal(key, f"a list of texts is needed here, not {value!r}")
        return tuple(value)

    def origin(self) -> tuple[str, Basis]:
        """Return the source and the basis of everything in this table."""
        source, basis = self._data.get("source"), self._data.get("basis")
        if not isinstance(source, str) or not source:
            raise self.refusal("source", f"say where the value is printed, or memory, not {source!r}")
        if basis not in tuple(Basis):
            raise self.refusal("basis", f"{basis!r} is not one of {', '.join(Basis)}")
        return source, Basis(basis)

    def fact(self, key: str) -> Fact:
        """Return the table under a key as one value with its origin."""
        table = self.child(key)
        return Fact(table.number("value"), *table.origin())

    def facts(self, key: str) -> dict[str, Fact]:
        """Return all tables under a key as values with their origin."""
        table = self.child(key)
        return {name: table.fact(name) for name in table}

    def refusal(self, key: str, detail: str) -> InvalidRuleSetError:
        """Return the error for one entry of this table."""
        return InvalidRuleSetError(self.file, 0, self._key(key), detail)

    def _key(self, key: str) -> str:
        return f"{self.path}.{key}" if self.path else key


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)
