"""Plain help for every fault: what it is, how it happens, how to repair it, what the standards call it."""

from __future__ import annotations

import textwrap
import tomllib
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import Any, Final

from fourpair_service.domain.diagnosis.faults import FAULT_KINDS, FaultCode

WIDTH: Final = 88


@dataclass(frozen=True, slots=True)
class FaultPage:
    """The help for one fault.

    Attributes:
        standard: the standards' own words for it.
        caution: what can hurt, where something can.
    """

    code: FaultCode
    what: str
    how_it_happens: tuple[str, ...]
    repair: tuple[str, ...]
    standard: str
    caution: str | None = None

    @property
    def title(self) -> str:
        """The fault as a heading."""
        return FAULT_KINDS[self.code].title

    def document(self) -> dict[str, Any]:
        """Return the page as plain values."""
        kind = FAULT_KINDS[self.code]
        return {
            "code": self.code.value,
            "title": kind.title,
            "what": self.what,
            "first": kind.first,
            "how_it_happens": list(self.how_it_happens),
            "repair": list(self.repair),
            "could_also_be": [code.value for code in kind.could_also_be],
            "standard": self.standard,
            "caution": self.caution,
        }

    def text(self) -> str:
        """Return the page as plain text."""
        kind = FAULT_KINDS[self.code]
        parts = [self.title, "=" * len(self.title), _filled(self.what), _headed("First", [kind.first])]
        parts += [_headed("How it happens", self.how_it_happens), _headed("How to repair it", self.repair)]
        if kind.could_also_be:
            parts.append(_headed("What looks alike", [FAULT_KINDS[c].title for c in kind.could_also_be]))
        parts.append(_headed("In the words of the standards", [self.standard]))
        if self.caution:
            parts.append(_headed("Caution", [self.caution]))
        return "\n".join(parts)


def _filled(text: str) -> str:
    return textwrap.fill(text, WIDTH)


def _headed(heading: str, lines: list[str] | tuple[str, ...]) -> str:
    items = [textwrap.fill(line, WIDTH, initial_indent="  - ", subsequent_indent="    ") for line in lines]
    return "\n".join(["", heading, *items])


@lru_cache(maxsize=1)
def fault_pages() -> dict[FaultCode, FaultPage]:
    """Return the help of every fault, in the order in which faults are named."""
    text = files("fourpair_service.reports").joinpath("faults.toml").read_text(encoding="utf-8")
    data = tomllib.loads(text)
    return {code: _page(code, data[code.value]) for code in FAULT_KINDS}


def _page(code: FaultCode, table: dict[str, Any]) -> FaultPage:
    lists = {name: tuple(table[name]) for name in ("how_it_happens", "repair")}
    return FaultPage(code, table["what"], **lists, standard=table["standard"], caution=table.get("caution"))
