"""All links and all results of a handover as rows for programs: codes and numbers, the same in every language."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

from fourpair_service.records.views.handover import PlannedLink
from fourpair_service.reports.handover.build import length_m
from fourpair_service.reports.handover.model import MISSING, Handover
from fourpair_service.reports.language import FEET_PER_METRE, LengthUnit
from fourpair_service.reports.sheet.model import Document
from fourpair_service.reports.spreadsheet import csv_lines

Row = tuple[object, ...]
RESULT_COLUMNS: Final = (
    "label", "record", "parameter", "end", "outcome", "unit", "margin", "measured", "limit", "pairs",
    "frequency_mhz", "worst_measured", "worst_pairs", "worst_frequency_mhz", "clause", "basis",
)  # fmt: skip


def link_columns(unit: LengthUnit) -> tuple[str, ...]:
    """Return the heads of the table of links."""
    return (
        "label", "outcome", "is_scheduled", "headroom_db", "parameter", "end", "pairs", "frequency_mhz",
        f"length_{unit.value}", "rule_set", "category", "configuration", "basis", "provisional", "failing",
        "tested_at", "revision", "record", "verdict_digest",
    )  # fmt: skip


def write_links_csv(handover: Handover, target: Path) -> None:
    """Write the table of all links."""
    _write(target, csv_lines(link_columns(handover.words.length_unit), link_rows(handover)))


def write_results_csv(handover: Handover, target: Path) -> None:
    """Write the table of all results."""
    _write(target, csv_lines(RESULT_COLUMNS, result_rows(handover)))


def _write(target: Path, lines: Iterator[str]) -> None:
    with target.open("wb") as file:
        file.writelines(line.encode() for line in lines)


def link_rows(handover: Handover) -> Iterator[Row]:
    """Yield a row for each link, in label order, missing ones too."""
    total = len(handover.plan.links)
    for done, link in enumerate(handover.plan.links, 1):
        yield _link_row(handover, link)
        handover.progress(done, total)


def _link_row(handover: Handover, link: PlannedLink) -> Row:
    record, unit = link.record, handover.words.length_unit
    if record is None:
        return (link.label, MISSING, _word(link.is_scheduled), *[None] * (len(link_columns(unit)) - 3))
    verdict = handover.kept(record).verdict
    headroom = verdict["headroom"] or {}
    revision = handover.reader.revision(record.id, record.revision)
    asked = verdict["requirement"]
    return (
        link.label,
        record.outcome,
        _word(link.is_scheduled),
        record.headroom_db,
        *(headroom.get(name) for name in ("parameter", "end", "pairs", "frequency_mhz")),
        in_unit(length_m(verdict), "m", unit),
        record.rule_set_id,
        record.category,
        asked["configuration"],
        verdict["basis"],
        _word(record.provisional),
        " ".join(record.failing),
        record.tested_at,
        record.revision,
        record.id,
        revision.verdict_digest if revision else None,
    )


def _word(value: bool) -> str:
    """Return truth as JSON writes it."""
    return "true" if value else "false"


def result_rows(handover: Handover) -> Iterator[Row]:
    """Yield a row for each parameter and end of each link that was tested, in label order."""
    records, unit = handover.plan.records, handover.words.length_unit
    for done, record in enumerate(records, 1):
        for result in handover.kept(record).verdict["parameters"]:
            yield (record.label, record.id, *_result(result, unit))
        handover.progress(done, len(records))


def _result(result: Document, unit: LengthUnit) -> Row:
    worst, largest = result["worst_margin"] or {}, result["worst_value"] or {}
    return (
        result["parameter"],
        result["end"],
        result["outcome"],
        unit.value if result["unit"] == "m" else result["unit"],
        *result_numbers(result, unit),
        worst.get("pairs"),
        worst.get("frequency_mhz"),
        in_unit(largest.get(f"measured_{result['unit']}"), result["unit"], unit),
        largest.get("pairs"),
        largest.get("frequency_mhz"),
        result["clause"],
        result["basis"],
    )


def result_numbers(result: Document, unit: LengthUnit) -> tuple[float | None, ...]:
    """Return margin, measured value and limit at the worst point, in the unit of the result; lengths as asked."""
    worst: dict[str, Any] = result["worst_margin"] or {}
    return tuple(
        in_unit(worst.get(f"{name}_{result['unit']}"), result["unit"], unit)
        for name in ("margin", "measured", "limit")
    )


def in_unit(value: float | None, unit: str, length_unit: LengthUnit) -> float | None:
    """Return a value, a length in the unit that is asked for.

    >>> in_unit(30.48, "m", LengthUnit.FEET), in_unit(3.0, "db", LengthUnit.FEET)
    (100.0, 3.0)
    """
    is_feet = unit == "m" and length_unit is LengthUnit.FEET
    return round(value * FEET_PER_METRE, 3) if value is not None and is_feet else value
