"""A prediction as plain text for a terminal."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fourpair_service.reports.verdict_text import columns

UNITS = {"db": "dB", "ns": "ns", "m": "m", "ohm": "ohm"}


def prediction_text(answer: Mapping[str, Any]) -> str:
    """Return a prediction as text: that it is one, what was assumed, and each margin beside the measured one."""
    rows: list[tuple[str, ...]] = [("parameter", "margin as measured", "predicted", "where")]
    rows += [_row(margin) for margin in answer["margins"]]
    held = f"held against {answer['rule_set']['title']}, {answer['rule_set']['category_title']}"
    return "\n".join(
        [
            f"{answer['label'] or 'The link'}: {answer['configuration'].replace('_', ' ')}, {held}.",
            answer["notice"],
            *answer["assumptions"],
            "",
            *columns(rows),
        ]
    )


def _row(margin: Mapping[str, Any]) -> tuple[str, ...]:
    unit = next(unit for unit in UNITS if f"margin_{unit}" in margin)
    end = f" at the {margin['end']} end" if margin["end"] else ""
    where = [str(margin["pairs"] or "")]
    if margin["frequency_mhz"] is not None:
        where.append(f"at {margin['frequency_mhz']:g} MHz")
    return (
        f"{margin['title']}{end}",
        _number(margin[f"margin_as_measured_{unit}"], unit),
        _number(margin[f"margin_{unit}"], unit),
        " ".join(part for part in where if part),
    )


def _number(value: float | None, unit: str) -> str:
    # Unbalances are tenths of an ohm.
    places = 3 if unit == "ohm" else 1
    return "-" if value is None else f"{value:+.{places}f} {UNITS[unit]}"
