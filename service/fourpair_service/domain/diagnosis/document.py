"""A diagnosis as a document of plain values."""

from __future__ import annotations

from typing import Any

from fourpair_service.domain.diagnosis.model import Diagnosis, Fault, Place
from fourpair_service.domain.verdict_document import rounded

Document = dict[str, Any]


def _place(place: Place | None) -> Document | None:
    if place is None:
        return None
    return {
        "text": place.text,
        "end": place.end.value if place.end else None,
        "position_m": rounded(place.position_m),
        "to_m": rounded(place.to_m),
        "uncertainty_m": rounded(place.uncertainty_m),
    }


def _fault(fault: Fault) -> Document:
    return {
        "code": fault.code.value,
        "title": fault.title,
        "text": fault.text,
        "confidence": fault.confidence.value,
        "pairs": list(fault.pairs),
        "place": _place(fault.place),
        "evidence": list(fault.evidence),
        "could_also_be": [code.value for code in fault.could_also_be],
        "first": fault.first,
        "help": f"/v1/faults/{fault.code.value}",
    }


def diagnosis_document(diagnosis: Diagnosis) -> Document:
    """Return the diagnosis as a document, numbers rounded to 0.001 of their unit."""
    return {
        "version": diagnosis.version,
        "faults": [_fault(fault) for fault in diagnosis.faults],
        "notes": list(diagnosis.notes),
    }
