"""A verdict as a document of plain values, and its canonical bytes.

Numbers are rounded here, once, to 0.001 of their unit; every outcome was decided
before. The same verdict always gives the same bytes.
"""

from __future__ import annotations

import json
from hashlib import sha256
from typing import Any, Final

from fourpair_service.domain.parameters import TRAITS, Parameter
from fourpair_service.domain.verdict import (
    OUTCOME_WORDS,
    CategoryResult,
    Excuse,
    Headroom,
    ParameterResult,
    Point,
    Requirement,
    Verdict,
    WireMapResult,
)

DECIMALS: Final = 3

Document = dict[str, Any]


def rounded(value: float | None) -> float | None:
    """Return a number as documents carry it; no negative zero, no NaN.

    >>> rounded(-0.0002), rounded(1.23456), rounded(float("nan"))
    (0.0, 1.235, None)
    """
    if value is None or value != value:  # noqa: PLR0124 - NaN is the one number unequal to itself
        return None
    return round(value, DECIMALS) + 0.0


def _point(point: Point | None, parameter: Parameter) -> Document | None:
    if point is None:
        return None
    unit = TRAITS[parameter].unit
    document: Document = {
        f"margin_{unit}": rounded(point.margin),
        f"measured_{unit}": rounded(point.measured),
        f"limit_{unit}": rounded(point.limit),
        "frequency_mhz": rounded(point.frequency_mhz),
        "pairs": point.pairs,
        "end": point.end.value if point.end else None,
    }
    if point.outcome is not None:
        document["outcome"] = point.outcome.value
    return document


def _excuse(excuse: Excuse | None) -> Document | None:
    if excuse is None:
        return None
    return {"rule": excuse.rule, "text": excuse.text, "points": excuse.points, "source": excuse.source}


def _parameter(result: ParameterResult) -> Document:
    traits = TRAITS[result.parameter]
    return {
        "parameter": result.parameter.value,
        "title": traits.title,
        "unit": traits.unit,
        "end": result.end.value if result.end else None,
        "status": result.status.value,
        "outcome": result.outcome.value if result.outcome else None,
        "worst_margin": _point(result.worst_margin, result.parameter),
        "worst_value": _point(result.worst_value, result.parameter),
        "by_pair": [_point(point, result.parameter) for point in result.by_pair],
        "points_judged": result.judged_points,
        "excused": _excuse(result.excuse),
        "incomplete_because": list(result.incomplete_because),
        "accuracy": rounded(result.accuracy),
        "basis": result.basis.value if result.basis else None,
        "source": result.source,
        "clause": result.clause,
        "note": result.note,
    }


def _category(result: CategoryResult) -> Document:
    return {
        "category": result.category,
        "title": result.title,
        "state": result.state.value,
        "headroom_db": rounded(result.headroom_db),
        "parameter": result.parameter.value if result.parameter else None,
        "end": result.end.value if result.end else None,
        "frequency_mhz": rounded(result.frequency_mhz),
        "pairs": result.pairs,
        "stopped_by": list(result.stopped_by),
        "missing": list(result.missing),
    }


def _wire_map(result: WireMapResult) -> Document:
    return {
        "outcome": result.outcome.value,
        "split_pairs": result.split_pairs,
        "findings": [
            {"kind": f.kind.value, "pins": list(f.pins), "pairs": list(f.pairs), "text": f.text}
            for f in result.findings
        ],
        "note": result.note,
    }


def _headroom(headroom: Headroom | None) -> Document | None:
    if headroom is None:
        return None
    return {
        "margin_db": rounded(headroom.margin_db),
        "parameter": headroom.parameter.value,
        "end": headroom.end.value if headroom.end else None,
        "pairs": headroom.pairs,
        "frequency_mhz": rounded(headroom.frequency_mhz),
    }


def _requirement(requirement: Requirement, verdict: Verdict) -> Document:
    return {
        "rule_set": verdict.rule_set_id,
        "category": requirement.category,
        "configuration": verdict.configuration.value,
        "minimum_basis": requirement.minimum_basis.value if requirement.minimum_basis else None,
        "coverage": "advisory" if requirement.coverage_is_advisory else "strict",
        "shield_required": requirement.shield_required,
    }


def verdict_document(verdict: Verdict) -> Document:
    """Return the verdict document, all numbers rounded to 0.001 of their unit."""
    return {
        "notices": list(verdict.notices),
        "label": verdict.label,
        "outcome": verdict.outcome.value,
        "outcome_text": OUTCOME_WORDS[verdict.outcome],
        "reasons": list(verdict.reasons),
        "requirement": _requirement(verdict.requirement, verdict),
        "rule_set": {
            "id": verdict.rule_set_id,
            "digest": verdict.rule_set_digest,
            "title": verdict.rule_set_title,
            "category_title": verdict.category_title,
        },
        "basis": verdict.basis.value if verdict.basis else None,
        "provisional": verdict.provisional,
        "from_summary": verdict.from_summary,
        "headroom_db": rounded(verdict.headroom.margin_db) if verdict.headroom else None,
        "headroom": _headroom(verdict.headroom),
        "wire_map": _wire_map(verdict.wire_map),
        "parameters": [_parameter(result) for result in verdict.parameters],
        "categories": [_category(result) for result in verdict.categories],
        "not_evaluated": list(verdict.not_evaluated),
        "cautions": [{"code": caution.code, "text": caution.text} for caution in verdict.cautions],
    }


def canonical_bytes(document: Document) -> bytes:
    """Return the one byte string of a document: sorted keys, no spaces, UTF-8."""
    return json.dumps(
        document, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False
    ).encode()


def digest(document: Document) -> str:
    """Return ``sha256:`` and the hex digest of the canonical bytes."""
    return f"sha256:{sha256(canonical_bytes(document)).hexdigest()}"
