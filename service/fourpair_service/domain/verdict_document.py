"""A verdict as a document of plain values, and its canonical bytes.

Numbers are rounded here, once, to 0.001 of their unit; every outcome was decided
before. The same verdict always gives the same bytes.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from enum import StrEnum
from hashlib import sha256
from typing import Any, Final

from fourpair_service.domain.parameters import TRAITS
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

# What a verdict says of a parameter that is no result: an edition may word it anew.
WORDS: Final = frozenset({"title", "source", "clause", "note"})


def rounded(value: float | None) -> float | None:
    """Return a number as documents carry it; no negative zero, no NaN.

    >>> rounded(-0.0002), rounded(1.23456), rounded(float("nan"))
    (0.0, 1.235, None)
    """
    if value is None or value != value:  # noqa: PLR0124 - NaN is the one number unequal to itself
        return None
    return round(value, DECIMALS) + 0.0


# Names of the values of a point, by the unit of its parameter.
_NAMES: Final = {
    unit: tuple(f"{name}_{unit}" for name in ("margin", "measured", "limit"))
    for unit in {traits.unit for traits in TRAITS.values()}
}


def _word(member: StrEnum | None) -> str | None:
    """Return the word of a member, ``None`` for none."""
    return None if member is None else str(member)


def _point(point: Point | None, names: Sequence[str]) -> Document | None:
    if point is None:
        return None
    margin, measured, limit, frequency_mhz, pairs, end, outcome = point
    document: Document = {
        names[0]: rounded(margin),
        names[1]: rounded(measured),
        names[2]: rounded(limit),
        "frequency_mhz": rounded(frequency_mhz),
        "pairs": pairs,
        "end": _word(end),
    }
    if outcome is not None:
        document["outcome"] = str(outcome)
    return document


def _excuse(excuse: Excuse | None) -> Document | None:
    if excuse is None:
        return None
    return {"rule": excuse.rule, "text": excuse.text, "points": excuse.points, "source": excuse.source}


def parameter_document(result: ParameterResult) -> Document:
    """Return one parameter's result as it stands in a verdict document."""
    traits = TRAITS[result.parameter]
    names = _NAMES[traits.unit]
    return {
        "parameter": str(result.parameter),
        "title": traits.title,
        "unit": traits.unit,
        "end": _word(result.end),
        "status": str(result.status),
        "outcome": _word(result.outcome),
        "worst_margin": _point(result.worst_margin, names),
        "worst_value": _point(result.worst_value, names),
        "by_pair": [_point(point, names) for point in result.by_pair],
        "points_judged": result.judged_points,
        "excused": _excuse(result.excuse),
        "incomplete_because": list(result.incomplete_because),
        "accuracy": rounded(result.accuracy),
        "basis": _word(result.basis),
        "source": result.source,
        "clause": result.clause,
        "note": result.note,
    }


def category_document(result: CategoryResult) -> Document:
    """Return how a link stands to a category, as it is told in a verdict document."""
    return {
        "category": result.category,
        "title": result.title,
        "state": str(result.state),
        "headroom_db": rounded(result.headroom_db),
        "parameter": _word(result.parameter),
        "end": _word(result.end),
        "frequency_mhz": rounded(result.frequency_mhz),
        "pairs": result.pairs,
        "stopped_by": list(result.stopped_by),
        "missing": list(result.missing),
    }


def wire_map_document(result: WireMapResult) -> Document:
    """Return the wire map as it is told in a verdict document."""
    return {
        "outcome": str(result.outcome),
        "split_pairs": result.split_pairs,
        "findings": [
            {"kind": str(f.kind), "pins": list(f.pins), "pairs": list(f.pairs), "text": f.text}
            for f in result.findings
        ],
        "note": result.note,
    }


def headroom_document(headroom: Headroom | None) -> Document | None:
    """Return the headroom as it is told in a verdict document."""
    if headroom is None:
        return None
    return {
        "margin_db": rounded(headroom.margin_db),
        "parameter": str(headroom.parameter),
        "end": _word(headroom.end),
        "pairs": headroom.pairs,
        "frequency_mhz": rounded(headroom.frequency_mhz),
    }


def _requirement(requirement: Requirement, verdict: Verdict) -> Document:
    return {
        "rule_set": verdict.rule_set_id,
        "category": requirement.category,
        "configuration": str(verdict.configuration),
        "minimum_basis": _word(requirement.minimum_basis),
        "coverage": "advisory" if requirement.coverage_is_advisory else "strict",
        "shield_required": requirement.shield_required,
    }


def verdict_document(verdict: Verdict) -> Document:
    """Return the verdict document, all numbers rounded to 0.001 of their unit."""
    return {
        "notices": list(verdict.notices),
        "label": verdict.label,
        "outcome": str(verdict.outcome),
        "outcome_text": OUTCOME_WORDS[verdict.outcome],
        "reasons": list(verdict.reasons),
        "requirement": _requirement(verdict.requirement, verdict),
        "rule_set": {
            "id": verdict.rule_set_id,
            "digest": verdict.rule_set_digest,
            "title": verdict.rule_set_title,
            "category_title": verdict.category_title,
        },
        "basis": _word(verdict.basis),
        "provisional": verdict.provisional,
        "from_summary": verdict.from_summary,
        "headroom_db": rounded(verdict.headroom.margin_db) if verdict.headroom else None,
        "headroom": headroom_document(verdict.headroom),
        "wire_map": wire_map_document(verdict.wire_map),
        "parameters": [parameter_document(result) for result in verdict.parameters],
        "categories": [category_document(result) for result in verdict.categories],
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
