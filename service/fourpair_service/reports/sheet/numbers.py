"""The table of numbers: what the verdict says of each parameter, to two decimals."""

from __future__ import annotations

from typing import Final

from fourpair_service.reports.language import FEET_PER_METRE, UNIT_SIGNS, Language, LengthUnit, printable
from fourpair_service.reports.sheet.model import Document, NumberRow
from fourpair_service.reports.sheet.saying import FAILING

COLUMNS: Final = (
    "parameter", "end", "outcome", "margin", "measured", "limit", "pairs", "frequency", "worst_value", "clause"
)  # fmt: skip
NONE: Final = "–"  # noqa: RUF001 - a dash for an empty cell


def columns(words: Language) -> tuple[str, ...]:
    """Return the heads of the table."""
    return tuple(words.say(f"column.{name}") for name in COLUMNS)


def rows(verdict: Document, words: Language) -> tuple[NumberRow, ...]:
    """Return a row for the wire map, then one for each parameter and end."""
    return (_wire_map(verdict["wire_map"], words), *(_row(result, words) for result in verdict["parameters"]))


def _wire_map(found: Document, words: Language) -> NumberRow:
    """Return the row of what is right or wrong and has no number."""
    outcome = words.say(f"outcome.{found['outcome']}").lower()
    cells = (words.say("parameter.wire_map"), "", outcome, *[NONE] * (len(COLUMNS) - 3))
    return NumberRow(cells, found["outcome"] in FAILING, is_shown_only=False)


def _row(result: Document, words: Language) -> NumberRow:
    is_length = result["unit"] == "m" and words.length_unit is LengthUnit.FEET
    factor = FEET_PER_METRE if is_length else 1.0
    unit = words.length_unit.value if result["unit"] == "m" else UNIT_SIGNS[result["unit"]]

    def value(point: Document | None, field: str) -> str:
        found = None if point is None else point[f"{field}_{result['unit']}"]
        return NONE if found is None else words.short(found * factor)

    worst, largest = result["worst_margin"], result["worst_value"]
    at = None if worst is None else worst["frequency_mhz"]
    outcome = words.say(f"outcome.{result['outcome'] or 'shown'}").lower()
    cells = (
        f"{words.say('parameter.' + result['parameter'])} ({unit})",
        words.say(f"picture.{result['end']}") if result["end"] else "",
        outcome,
        value(worst, "margin"),
        value(worst, "measured"),
        value(worst, "limit"),
        (worst or {}).get("pairs") or NONE,
        NONE if at is None else words.frequency(at),
        _largest(largest, value(largest, "measured"), words),
        _source(result, words),
    )
    return NumberRow(cells, result["outcome"] in FAILING, result["outcome"] is None)


def _source(result: Document, words: Language) -> str:
    """Return the clause of the limit, and how well it is known."""
    known = [words.say(f"basis_word.{result['basis']}")] if result["basis"] else []
    if result["clause"]:
        # The editions say of a clause that it is from memory, too.
        clause = printable(result["clause"].removesuffix(" (memory)"), 14)
        known.insert(0, words.say("sentence.clause", clause=clause))
    return ", ".join(known) or NONE


def _largest(point: Document | None, value: str, words: Language) -> str:
    if point is None or point["frequency_mhz"] is None:
        return value
    pairs = f" {point['pairs']}" if point["pairs"] else ""
    return f"{value}{pairs} @ {words.frequency(point['frequency_mhz'])}"
