"""Measurements, a grader and a desk for tests of records: small, and computed, not canned."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from itertools import count
from typing import Any

from fourpair_service.domain.errors import InvalidRequirementError
from fourpair_service.records.desk import Caller, Desk, Grading

START = datetime(2026, 11, 2, 8, 0, tzinfo=UTC)
LIMIT_DB = 40.0
ACCURACY_DB = 1.0
ANYONE = Caller("tester")
OUTCOMES = ((ACCURACY_DB, "pass"), (0.0, "marginal_pass"), (-ACCURACY_DB, "marginal_fail"))


def measurement(
    label: str = "A-01", job: str = "harbour-hall", *, margin_db: float = 5.0, **more: Any
) -> dict:
    """Return a document whose smallest NEXT lies ``margin_db`` above 40 dB."""
    curve = [round(LIMIT_DB + margin_db + step * 0.25, 2) for step in range(12)]
    return {
        "label": label,
        "job": job,
        "configuration": "permanent_link",
        "tested_by": "crew 2",
        "tested_at": "2026-11-02T10:21:07+01:00",
        "frequency_mhz": [{"start": 1, "step": 1, "stop": 12}],
        "sweeps": {"next": {"near": {"12-36": curve}, "far": {"12-36": [60, *curve[1:]]}}},
        **more,
    }


def outcome_of(margin_db: float) -> str:
    """Return the outcome of a margin."""
    return next((word for least, word in OUTCOMES if margin_db >= least), "fail")


def row(end: str, margin_db: float) -> dict[str, Any]:
    """Return one parameter of a verdict document."""
    point = {
        "margin_db": margin_db,
        "measured_db": LIMIT_DB + margin_db,
        "limit_db": LIMIT_DB,
        "frequency_mhz": 1.0,
        "pairs": "12-36",
    }
    return {
        "parameter": "next",
        "title": "NEXT",
        "unit": "db",
        "end": end,
        "outcome": outcome_of(margin_db),
        "worst_margin": point,
    }


def grade(document: dict[str, Any], requirement: dict[str, Any]) -> Grading:
    """Return the verdict that NEXT stays above 40 dB, in the form that the service gives."""
    asked = {**document.get("requirement", {}), **requirement}
    if asked.get("category") == "unknown":
        raise InvalidRequirementError("/requirement/category", "There is no such category.", "unknown")
    curves = document.get("sweeps", {}).get("next", {})
    margins = {end: round(float(min(pairs["12-36"])) - LIMIT_DB, 3) for end, pairs in curves.items()}
    smallest = min(margins.values(), default=None)
    outcome = "incomplete" if smallest is None else outcome_of(smallest)
    rule_set = asked.get("rule_set", "demo-2026")
    verdict = {
        "label": document.get("label"),
        "outcome": outcome,
        "requirement": {"category": asked.get("category", "6"), "rule_set": rule_set},
        "rule_set": {"id": rule_set, "digest": f"sha256:{len(rule_set):064d}"},
        "provisional": False,
        "headroom_db": smallest,
        "wire_map": {"outcome": "pass", "findings": []},
        "parameters": [row(end, margin) for end, margin in margins.items()],
        "categories": [{"category": "6", "state": "met" if outcome == "pass" else "not_met"}],
    }
    return Grading(verdict)


def ticking(start: datetime = START, step: timedelta = timedelta(seconds=1)) -> Iterator[datetime]:
    """Yield moments one step apart."""
    moment = start
    while True:
        yield moment
        moment += step


def desk_of(store: Any, *, start: datetime = START, prefix: str = "r") -> Desk:
    """Return a desk over a store, with a clock that ticks and ids that count."""
    moments, numbers = ticking(start), count(1)
    return Desk(store, lambda: next(moments), lambda: f"{prefix}{next(numbers)}", grade)
