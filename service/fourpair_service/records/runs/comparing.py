"""What two verdicts on one measurement differ in, and because of which limit."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, Final

from fourpair_service.domain.verdict_document import WORDS
from fourpair_service.records.curves import Document

MOST_CAUSES: Final = 5
NO_MARGIN: Final = float("inf")


def _without(row: Mapping[str, Any], names: frozenset[str]) -> Document:
    return {name: value for name, value in row.items() if name not in names}


def results(verdict: Mapping[str, Any]) -> Document:
    """Return what a verdict found, without the words for it and without the name of its rule set."""
    return {
        "outcome": verdict["outcome"],
        "basis": verdict.get("basis"),
        "provisional": verdict.get("provisional"),
        "headroom": verdict.get("headroom"),
        "headroom_db": verdict["headroom_db"],
        "wire_map": _without(verdict.get("wire_map") or {}, frozenset({"note"})),
        "parameters": [_without(row, WORDS) for row in verdict.get("parameters", ())],
        "categories": [_without(row, frozenset({"title"})) for row in verdict.get("categories", ())],
        "not_evaluated": verdict.get("not_evaluated"),
    }


def _point(row: Mapping[str, Any] | None, name: str) -> Any:
    point = (row or {}).get("worst_margin") or {}
    return point.get(f"{name}_{(row or {}).get('unit')}", point.get(f"{name}_db"))


def _cause(before: Mapping[str, Any] | None, after: Mapping[str, Any] | None) -> Document:
    """Return one parameter's part in the difference; its limits hold at the two worst points."""
    told = after or before or {}
    newest = (after or {}).get("worst_margin") or {}
    oldest = (before or {}).get("worst_margin") or {}
    return {
        "parameter": told["parameter"],
        "title": told.get("title"),
        "end": told.get("end"),
        "unit": told.get("unit"),
        "pairs": newest.get("pairs", oldest.get("pairs")),
        "outcome_before": before["outcome"] if before else None,
        "outcome_after": after["outcome"] if after else None,
        "margin_before": _point(before, "margin"),
        "margin_after": _point(after, "margin"),
        "limit_before": _point(before, "limit"),
        "limit_after": _point(after, "limit"),
        "frequency_before_mhz": oldest.get("frequency_mhz"),
        "frequency_after_mhz": newest.get("frequency_mhz"),
        "basis_before": before.get("basis") if before else None,
        "basis_after": after.get("basis") if after else None,
        "source": told.get("source"),
    }


def _weight(cause: Document) -> tuple[bool, bool, float]:
    before, after, margin = cause["outcome_before"], cause["outcome_after"], cause["margin_after"]
    is_shown_only = before is None and after is None
    return before == after, is_shown_only, NO_MARGIN if margin is None else margin


def causes(before: Mapping[str, Any], after: Mapping[str, Any]) -> list[Document]:
    """Return the parameters that differ: those whose outcome has moved first, those only shown last."""

    def by_place(rows: Iterable[Mapping[str, Any]]) -> dict[tuple[str, str | None], Mapping[str, Any]]:
        return {(row["parameter"], row.get("end")): row for row in rows}

    old, new = by_place(before.get("parameters", ())), by_place(after.get("parameters", ()))
    found = [
        _cause(old.get(place), new.get(place))
        for place in dict.fromkeys((*new, *old))
        if _without(old.get(place) or {}, WORDS) != _without(new.get(place) or {}, WORDS)
    ]
    return sorted(found, key=_weight)[:MOST_CAUSES]


def _states(verdict: Mapping[str, Any]) -> dict[str, str]:
    return {row["category"]: row["state"] for row in verdict.get("categories", ())}


def difference(before: Mapping[str, Any], after: Mapping[str, Any]) -> Document | None:
    """Return what has changed from one verdict to the next; ``None`` where nothing has."""
    if results(before) == results(after):
        return None
    old_db, new_db = before["headroom_db"], after["headroom_db"]
    old, new = _states(before), _states(after)
    return {
        "rule_set_before": before["rule_set"]["id"],
        "rule_set_after": after["rule_set"]["id"],
        "outcome_before": before["outcome"],
        "outcome_after": after["outcome"],
        "headroom_before_db": old_db,
        "headroom_after_db": new_db,
        "change_db": None if old_db is None or new_db is None else round(new_db - old_db, 3),
        "basis_before": before.get("basis"),
        "basis_after": after.get("basis"),
        "provisional_before": bool(before.get("provisional")),
        "provisional_after": bool(after.get("provisional")),
        "categories": [
            {"category": name, "state_before": old.get(name), "state_after": new.get(name)}
            for name in dict.fromkeys((*old, *new))
            if old.get(name) != new.get(name)
        ],
        "because": causes(before, after),
    }
