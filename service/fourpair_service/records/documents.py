"""Measurement documents: as they are kept, as they are changed."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fourpair_service.records.curves import Document, join
from fourpair_service.records.errors import (
    InvalidRecordError,
    NotFoundError,
)
from fourpair_service.records.model import Job, Record
from fourpair_service.records.ports import Reader


def external_ids_of(document: Document) -> dict[str, str]:
    """Return the external ids of a document, whose names and values its schema checks.

    Raises:
        InvalidRecordError: they are no object.
    """
    ids = document.get("external_ids", {})
    if not isinstance(ids, dict):
        raise InvalidRecordError("/external_ids", "Expected an object: an id for each system.", str(ids)[:80])
    return dict(ids)


def retest_document(record: Record, document: Document) -> Document:
    """Return a document with the names of the record that it is measured for.

    Raises:
        InvalidRecordError: it names another link, job or external id.
    """
    own = {"label": record.label, "job": record.job_id}
    for name, value in own.items():
        if document.get(name, value) != value:
            detail = f"The record's {name} is {value}; correct that first, or leave it out."
            raise InvalidRecordError(f"/{name}", detail, document[name])
    ids = {**record.external_ids, **external_ids_of(document)}
    return {**document, **own, **({"external_ids": ids} if ids else {})}


def stored_document(reader: Reader, record_id: str, number: int) -> Document:
    """Return the measurement of a revision as it was sent; an erased person is left out.

    Raises:
        NotFoundError: there is no such revision.
    """
    parted = reader.measurement(record_id, number)
    if parted is None:
        raise NotFoundError("revision", f"{number} of record {record_id}")
    document = join(parted)
    tester = document.get("tested_by")
    if tester is not None:
        party = reader.party(tester)
        if party is None or party.name is None:
            del document["tested_by"]
        else:
            document["tested_by"] = party.name
    return document


def with_cords(document: Document, job: Job | None) -> Document:
    """Return a document with the cords of its job where it states none itself; what is kept stays as sent."""
    if job is None or not job.cords or "cords" in document:
        return document
    return {**document, "cords": job.cords}


def first_reason(verdict: Mapping[str, Any]) -> str | None:
    """Return the sentence that decides a verdict; ``None`` for a pass, which needs no reason."""
    reasons = verdict.get("reasons")
    return reasons[0] if reasons and verdict["outcome"] != "pass" else None


def merged(target: Any, patch: Any) -> Any:
    """Return a document with a merge patch applied (RFC 7396)."""
    if not isinstance(patch, Mapping):
        return patch
    result = dict(target) if isinstance(target, Mapping) else {}
    for name, value in patch.items():
        if value is None:
            result.pop(name, None)
        else:
            result[name] = merged(result.get(name), value)
    return result
