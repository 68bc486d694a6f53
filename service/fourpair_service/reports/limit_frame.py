"""What every picture of a limit says around it: title, edition, source, and how well it is known."""

from __future__ import annotations

from textwrap import wrap
from typing import Final

from fourpair_service.domain.limits import Basis, Status
from fourpair_service.domain.parameters import TRAITS, Sense
from fourpair_service.reports.inks import INK, MUTED
from fourpair_service.reports.svg import text
from fourpair_service.rulesets.limit_table import LimitTable

LEFT: Final = 76
WIDTH: Final = 960
UNITS: Final = {"db": "dB", "ns": "ns", "m": "m", "ohm": "Ω"}
STATUS_WORDS: Final = {
    Status.REQUIRED: "required for a pass",
    Status.JUDGED_IF_PRESENT: "judged where it is measured",
    Status.INFORMATION: "shown only, never judged",
    None: "not used for a verdict",
}
SENSE_WORDS: Final = {Sense.AT_LEAST: "at or above the limit", Sense.AT_MOST: "at or below the limit"}
PROVISIONAL: Final = "From memory, not yet checked against the standard."
SOURCE_CHARACTERS: Final = 138
SOURCE_LINES: Final = 3
LINE_HEIGHT: Final = 15


def unit(table: LimitTable) -> str:
    """Return the unit as it is written beside a number."""
    return UNITS[TRAITS[table.parameter].unit or ""]


def title(table: LimitTable) -> str:
    """Return what is shown: parameter, category, configuration."""
    name = TRAITS[table.parameter].title
    configuration = table.configuration.replace("_", " ")
    return f"{name[0].upper()}{name[1:]} limit, {table.category.title}, {configuration}"


def heading(table: LimitTable) -> list[str]:
    """Return the title and, below it, the edition and what it does with the parameter."""
    rule_set = table.rule_set
    edition = rule_set.title if rule_set.title == rule_set.id else f"{rule_set.title}  ·  {rule_set.id}"
    sense = SENSE_WORDS[TRAITS[table.parameter].sense]
    return [
        text(title(table), LEFT, 40, font_size=21, font_weight="600"),
        text(
            f"{edition}  ·  inside is {sense}  ·  {STATUS_WORDS[table.status]}",
            LEFT,
            63,
            fill=MUTED,
            font_size=13,
        ),
    ]


def source_lines(table: LimitTable) -> list[str]:
    """Return the sources, broken into lines; a long list says where the rest stands."""
    lines = wrap("Source: " + "; ".join(table.sources), SOURCE_CHARACTERS, break_on_hyphens=False)
    if len(lines) <= SOURCE_LINES:
        return lines
    return [*lines[: SOURCE_LINES - 1], "… the rest stands beside each value in the JSON and CSV forms"]


def footing(table: LimitTable, top: float) -> list[str]:
    """Return the source line, and a provisional mark where a value is from memory."""
    lines = [
        text(words, LEFT, top + i * LINE_HEIGHT, font_size=11, fill=MUTED)
        for i, words in enumerate(source_lines(table))
    ]
    if table.basis is Basis.MEMORY:
        lines.append(
            text(
                f"Provisional: {PROVISIONAL[0].lower()}{PROVISIONAL[1:]}",
                LEFT,
                top + len(lines) * LINE_HEIGHT,
                font_size=11,
                font_weight="600",
                fill=INK,
            )
        )
    return lines
