"""A verdict document as plain text, for a terminal or a message."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, Final

from fourpair_service.reports.along_text import along_text
from fourpair_service.reports.carried_text import carried_text
from fourpair_service.reports.next_step import next_step

Document = Mapping[str, Any]

UNIT_WORDS: Final = {"db": "dB", "ns": "ns", "m": "m", "ohm": "ohm"}
STATE_WORDS: Final = {"met": "met", "not_met": "not met", "not_evaluated": "not evaluated"}
OUTCOME_WORDS: Final = {
    "pass": "pass",
    "marginal_pass": "pass*",
    "marginal_fail": "fail*",
    "fail": "fail",
    "incomplete": "incomplete",
}


def deciding(verdict: Document) -> str:
    """Return in a few words what decides a verdict."""
    for finding in verdict["wire_map"]["findings"]:
        pairs = ", ".join(finding["pairs"])
        return f"wire map: {finding['kind'].replace('_', ' ')}" + (f" {pairs}" if pairs else "")
    if verdict["outcome"] == "incomplete":
        return f"{len(verdict['not_evaluated'])} not evaluated"
    judged = [p for p in verdict["parameters"] if p["outcome"] and p["worst_margin"]]
    failing = [p for p in judged if p["outcome"] in {"fail", "marginal_fail"}]
    pool = failing or [p for p in judged if p["unit"] == "db"]
    if not pool:
        return "wire map"
    return _place(min(pool, key=_margin))


def _margin(parameter: Document) -> float:
    return float(parameter["worst_margin"][f"margin_{parameter['unit']}"] or 0.0)


def _place(parameter: Document) -> str:
    point = parameter["worst_margin"]
    words = [parameter["title"]]
    if point["pairs"]:
        words.append(str(point["pairs"]))
    if parameter["end"]:
        words.append(f"at the {parameter['end']} end")
    if parameter["unit"] == "db" and point["frequency_mhz"] is not None:
        words.append(f"at {point['frequency_mhz']:.4g} MHz")
    return " ".join(words)


def headroom_text(verdict: Document) -> str:
    """Return the headroom for a table, a dash where there is none."""
    return "-" if verdict["headroom_db"] is None else f"{verdict['headroom_db']:+.1f} dB"


def _number(value: float | None) -> str:
    return "-" if value is None else f"{value:.2f}" if abs(value) < 10 else f"{value:.1f}"


def _row(parameter: Document) -> tuple[str, ...]:
    unit, point = parameter["unit"], parameter["worst_margin"]
    outcome = OUTCOME_WORDS.get(parameter["outcome"] or "", "shown")
    name = parameter["title"] + (f", {parameter['end']}" if parameter["end"] else "")
    if point is None:
        return name, outcome, "-", "-", "-", "-", "-"
    at = "-" if point["frequency_mhz"] is None else f"{point['frequency_mhz']:g}"
    values = (_number(point[f"{field}_{unit}"]) for field in ("margin", "measured", "limit"))
    margin, measured, limit = values
    return name, outcome, f"{margin} {UNIT_WORDS[unit]}", measured, limit, point["pairs"] or "-", at


def columns(rows: list[tuple[str, ...]]) -> Iterator[str]:
    """Yield rows as lines with aligned columns."""
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    for row in rows:
        yield "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()


def answer_text(answer: Document) -> str:
    """Return the whole answer to a grading as text: the verdict, and what is suspected."""
    assessment = answer.get("assessment")
    faults = assessment["diagnosis"]["faults"] if assessment else ()
    lines = [verdict_text(answer["verdict"], next_step(answer["verdict"], faults))]
    for fault in faults:
        lines += ["", f"Suspected ({fault['confidence']}): {fault['text']}"]
        lines += [f"  - {sentence}" for sentence in fault["evidence"]]
        lines.append(f"  First: {fault['first']}")
        if fault["could_also_be"]:
            lines.append(f"  Could also be: {', '.join(fault['could_also_be'])}")
    if assessment and "applications" in assessment:
        lines += ["", *carried_text(assessment)]
    if assessment and "along" in assessment:
        lines += ["", *along_text(assessment["along"])]
    if faults:
        lines += ["", f"More about a fault: fourpair-service faults {faults[0]['code']}"]
        lines += assessment["diagnosis"]["notes"] if assessment else []
    return "\n".join(lines)


def verdict_text(verdict: Document, step: str) -> str:
    """Return the whole verdict as text: answer, reasons, what to do, numbers, categories, cautions."""
    requirement, rule_set = verdict["requirement"], verdict["rule_set"]
    lines = [*verdict["notices"]]
    label = f"{verdict['label']}: " if verdict["label"] else ""
    lines += [
        f"{label}{OUTCOME_WORDS[verdict['outcome']].upper()}",
        f"{rule_set['title']}, {rule_set['category_title']}, "
        f"{requirement['configuration'].replace('_', ' ')} ({rule_set['id']})",
        "",
        *verdict["reasons"],
        f"What to do: {step}",
        "",
    ]
    header = ("parameter", "outcome", "margin", "measured", "limit", "pairs", "MHz")
    lines += columns([header, *(_row(p) for p in verdict["parameters"])])
    lines.append(f"wire map: {OUTCOME_WORDS[verdict['wire_map']['outcome']]}")
    lines.append("")
    for category in verdict["categories"]:
        lines.append(f"{category['title']}: {STATE_WORDS[category['state']]}{_why(category)}")
    for caution in verdict["cautions"]:
        lines.append(f"Caution: {caution['text']}")
    return "\n".join(lines)


def _why(category: Document) -> str:
    if category["state"] == "not_met":
        return f": {category['stopped_by'][0]}"
    if category["state"] == "not_evaluated":
        return f": {category['missing'][0]}"
    if category["headroom_db"] is None:
        return ""
    return f", headroom {category['headroom_db']:.1f} dB"
