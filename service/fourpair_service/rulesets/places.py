"""Where an entry of an edition file stands, so that every refusal names its line.

TOML readers keep no places, so the lines are found by a light reading of the
text beside theirs: headers, keys at the start of a line, and the entries of a
list that begin a line.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any, Final, NoReturn

from fourpair_service.domain.limits import Basis
from fourpair_service.rulesets.errors import InvalidRuleSetError

Path = tuple[str | int, ...]
Confirmation = tuple[str | None, str | None]

_NAME: Final = r"""(?:[A-Za-z0-9_-]+|"[^"]*"|'[^']*')"""
_DOTTED: Final = rf"{_NAME}(?:\s*\.\s*{_NAME})*"
_HEADER: Final = re.compile(rf"\s*(\[\[?)\s*({_DOTTED})\s*\]")
_ENTRY: Final = re.compile(rf"\s*({_DOTTED})\s*=\s*(.*)")
_LIST_ITEM: Final = re.compile(r"\s*\{")
_LONG_TEXT: Final = re.compile(r'"""|' + "'''")
LARGEST: Final = 1e9


def _names(dotted: str) -> list[str]:
    return [name.strip("\"'") for name in re.findall(_NAME, dotted)]


class _Lines:
    """Reads a text line by line and notes where each entry begins."""

    def __init__(self) -> None:
        self.found: dict[Path, int] = {}
        self._last: dict[Path, int] = {}
        self._table: Path = ()
        self._list: Path = ()
        self._is_in_text = False

    def read(self, number: int, line: str) -> None:
        starts_inside = self._is_in_text
        if len(_LONG_TEXT.findall(line)) % 2:
            self._is_in_text = not self._is_in_text
        if starts_inside:
            return
        if header := _HEADER.match(line):
            self._enter(_names(header[2]), number, is_list=header[1] == "[[")
        elif entry := _ENTRY.match(line):
            self._list = self._table
            for name in _names(entry[1]):
                self._list = (*self._list, name)
                self._note(self._list, number)
        elif _LIST_ITEM.match(line):
            self._note(self._next(self._list), number)

    def _enter(self, names: list[str], number: int, *, is_list: bool) -> None:
        path: Path = ()
        for name in names[:-1]:
            path = (*path, name)
            self._note(path, number)
            path = (*path, self._last[path]) if path in self._last else path
        path = (*path, names[-1])
        self._table = self._next(path) if is_list else path
        self._list = ()
        self._note(self._table, number)

    def _next(self, path: Path) -> Path:
        self._last[path] = self._last.get(path, -1) + 1
        return (*path, self._last[path])

    def _note(self, path: Path, number: int) -> None:
        self.found.setdefault(path, number)


def lines_of(text: str) -> dict[Path, int]:
    """Return the line, counted from 1, of each entry of a TOML text by its path."""
    lines = _Lines()
    for number, line in enumerate(text.splitlines(), start=1):
        lines.read(number, line)
    return lines.found


def _dotted(path: Path) -> str:
    text = "".join(f"[{part + 1}]" if isinstance(part, int) else f".{part}" for part in path)
    return text.removeprefix(".") or "file"


@dataclass(frozen=True, slots=True)
class Place:
    """A table of an edition file, read entry by entry.

    Each method raises ``InvalidRuleSetError`` with file, line and key where the
    entry is not what it must be.

    Attributes:
        file: name of the file.
        lines: line of each entry by its path.
        path: where this table stands; a whole number counts from 0.
        table: what stands there.
    """

    file: str
    lines: Mapping[Path, int]
    path: Path
    table: Mapping[str, Any]

    def refuse(self, key: str, detail: str) -> NoReturn:
        """Refuse an entry of this table; an empty key refuses the table itself."""
        path = (*self.path, key) if key else self.path
        raise InvalidRuleSetError(self.file, self._line(path), _dotted(path), detail)

    def _line(self, path: Path) -> int:
        while path and path not in self.lines:
            path = path[:-1]
        return self.lines.get(path, 0)

    def only(self, known: Collection[str]) -> None:
        """Refuse keys that nobody would read."""
        for key in self.table:
            if key not in known:
                self.refuse(key, f"unknown key; use one of {', '.join(sorted(known))}, or remove it")

    def text(self, key: str) -> str:
        """Return a text that must be there."""
        value = self.table.get(key)
        if not isinstance(value, str) or not value.strip():
            self.refuse(key, f"a text is needed here, {_got(self.table, key)}")
        return value

    def optional_text(self, key: str) -> str | None:
        """Return a text, or ``None`` where there is none."""
        return self.text(key) if key in self.table else None

    def number(self, key: str) -> float:
        """Return a number that must be there."""
        value = self.table.get(key)
        if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < LARGEST:
            self.refuse(key, f"a finite number is needed here, {_got(self.table, key)}")
        return float(value)

    def positive(self, key: str) -> float:
        """Return a number above 0."""
        value = self.number(key)
        if value <= 0:
            self.refuse(key, f"a number above 0 is needed here, not {value:g}")
        return value

    def optional_number(self, key: str) -> float | None:
        """Return a number, or ``None`` where there is none."""
        return self.number(key) if key in self.table else None

    def optional_share(self, key: str) -> float | None:
        """Return a percentage from 0 up, or ``None`` where there is none."""
        value = self.optional_number(key)
        if value is not None and value < 0:
            self.refuse(key, f"a percentage from 0 up is needed here, not {value:g}")
        return value

    def flag(self, key: str, *, otherwise: bool) -> bool:
        """Return true or false; absent is ``otherwise``."""
        value = self.table.get(key, otherwise)
        if not isinstance(value, bool):
            self.refuse(key, f"true or false is needed here, {_got(self.table, key)}")
        return value

    def word(self, key: str, allowed: Collection[str]) -> str:
        """Return one of a few words."""
        value = self.table.get(key)
        if not isinstance(value, str) or value not in allowed:
            self.refuse(key, f"one of {', '.join(allowed)} is needed here, {_got(self.table, key)}")
        return value

    def words(self, key: str, allowed: Collection[str]) -> list[str]:
        """Return a list of words, each of which may stand there once; absent is empty."""
        values = self.items(key)
        for i, value in enumerate(values):
            if not isinstance(value, str) or value not in allowed:
                self.refuse(key, f"entry {i + 1} is {value!r}; use any of {', '.join(allowed)}")
            if value in values[:i]:
                self.refuse(key, f"{value!r} stands there twice; remove one")
        return values

    def texts(self, key: str) -> list[str]:
        """Return a list of texts; absent is empty."""
        values = self.items(key)
        for i, value in enumerate(values):
            if not isinstance(value, str) or not value.strip():
                self.refuse(key, f"entry {i + 1} must be a text, not {value!r}")
        return values

    def items(self, key: str) -> list[Any]:
        """Return a list; absent is empty."""
        value = self.table.get(key, [])
        if not isinstance(value, list):
            self.refuse(key, f"a list is needed here, {_got(self.table, key)}")
        return value

    def inner(self, key: str) -> Place:
        """Return a table within this one."""
        value = self.table.get(key)
        if not isinstance(value, dict):
            self.refuse(key, f"a table is needed here, {_got(self.table, key)}")
        return Place(self.file, self.lines, (*self.path, key), value)

    def inners(self, key: str) -> list[Place]:
        """Return the tables of a list within this one; absent is empty."""
        values = self.items(key)
        for i, value in enumerate(values):
            if not isinstance(value, dict):
                self.refuse(key, f"entry {i + 1} must be a table, not {value!r}")
        return [Place(self.file, self.lines, (*self.path, key, i), value) for i, value in enumerate(values)]

    def confirmation(self, inherited: Confirmation = (None, None)) -> Confirmation:
        """Return who confirmed these values against the standard, and on which day."""
        keys = ("confirmed_by", "confirmed_on")
        given = [key for key in keys if key in self.table]
        if not given:
            return inherited
        if len(given) == 1:
            missing = next(key for key in keys if key not in given)
            self.refuse(given[0], f"confirmed_by and confirmed_on belong together; add {missing}")
        return self.text("confirmed_by"), self._day("confirmed_on")

    def _day(self, key: str) -> str:
        value = self.table[key]
        if type(value) is date:
            return value.isoformat()
        try:
            return date.fromisoformat(value).isoformat()
        except (TypeError, ValueError):
            self.refuse(key, f'a day is needed here, such as "2026-11-20", not {value!r}')

    def basis(self, confirmed: Confirmation) -> Basis:
        """Return how well a value is known; a confirmed one is published."""
        basis = Basis(self.word("basis", tuple(Basis)))
        return basis if confirmed[0] is None else Basis.PUBLISHED


def _got(table: Mapping[str, Any], key: str) -> str:
    return f"not {table[key]!r}" if key in table else "and nothing stands there"
