"""What a new revision makes of its record's row and of the feed; the same for every store."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, TypedDict

from fourpair_service.records.curves import Document
from fourpair_service.records.errors import (
    ExternalIdTakenError,
    JobExistsError,
    LabelTakenError,
    RevisionConflictError,
)
from fourpair_service.records.failures import failures
from fourpair_service.records.model import (
    Assessment,
    Change,
    ChangeKind,
    Job,
    Kind,
    Record,
    Revision,
)

if TYPE_CHECKING:
    from fourpair_service.records.ports import Reader


def _supported(rows: Any, name: str) -> tuple[str, ...]:
    return tuple(sorted(str(row[name]) for row in rows or () if row.get("state") == "supported"))


class Supported(TypedDict):
    """What of a record's row comes from its assessment."""

    applications: tuple[str, ...]
    power_types: tuple[str, ...]


def supported(assessment: Assessment | None) -> Supported:
    """Return the applications and power types that an assessment says are supported."""
    document = assessment.document if assessment else {}
    if (told := document.get("supported")) is not None:
        return {"applications": tuple(told["applications"]), "power_types": tuple(told["power_types"])}
    carried, powering = document.get("applications") or {}, document.get("powering") or {}
    return {
        "applications": _supported(carried.get("applications"), "application"),
        "power_types": _supported(powering.get("types"), "type"),
    }


def tells_support(assessment: Assessment | None) -> bool:
    """Return whether an assessment says what a link supports, be it nothing."""
    document = assessment.document if assessment else {}
    return "supported" in document or "applications" in document


def check_append(reader: Reader, revision: Revision, before: Record | None) -> None:
    """Refuse a revision that does not follow, or takes what another record has.

    Raises:
        RevisionConflictError, LabelTakenError, ExternalIdTakenError: as they say.
    """
    actual = before.revision if before else 0
    if revision.number != actual + 1:
        raise RevisionConflictError("Record", revision.record_id, expected=revision.number - 1, actual=actual)
    if revision.kind is Kind.WITHDRAWN:
        return
    other = reader.record_labelled(revision.job_id, revision.label)
    if other is not None and other.id != revision.record_id:
        raise LabelTakenError(revision.job_id, revision.label, other.id)
    for system, value in revision.external_ids.items():
        holder = reader.record_with_external_id(system, value)
        if holder is not None and holder.id != revision.record_id:
            raise ExternalIdTakenError(system, value, f"record {holder.id}")


def check_job(reader: Reader, job: Job, before: Job | None) -> None:
    """Refuse a revision of a job that does not follow, or takes another job's external id.

    Raises:
        JobExistsError, RevisionConflictError, ExternalIdTakenError: as they say.
    """
    actual = before.revision if before else 0
    if job.revision == 1 and before is not None:
        raise JobExistsError(job.id)
    if job.revision != actual + 1:
        raise RevisionConflictError("Job", job.id, expected=job.revision - 1, actual=actual)
    for system, value in job.external_ids.items():
        holder = reader.job_with_external_id(system, value)
        if holder is not None and holder.id != job.id:
            raise ExternalIdTakenError(system, value, f"job {holder.id}")


def record_after(
    before: Record | None,
    revision: Revision,
    verdict: Document,
    assessment: Assessment | None,
    seq: int,
) -> Record:
    """Return the record's row once ``revision`` is its newest."""
    categories = verdict.get("categories", ())
    return Record(
        id=revision.record_id,
        job_id=revision.job_id,
        label=revision.label,
        revision=revision.number,
        digest=revision.digest,
        row=before.row if before else seq,
        seq=seq,
        kind=revision.kind,
        outcome=revision.outcome,
        first_outcome=before.first_outcome if before else revision.outcome,
        headroom_db=revision.headroom_db,
        category=verdict["requirement"]["category"],
        rule_set_id=revision.rule_set_id,
        provisional=bool(verdict.get("provisional")),
        tester_id=revision.tester_id,
        tested_at=revision.tested_at,
        created_at=before.created_at if before else revision.at,
        changed_at=revision.at,
        measurement_digest=revision.measurement_digest,
        measured_digest=revision.measured_digest,
        external_ids=dict(revision.external_ids),
        categories_met=tuple(row["category"] for row in categories if row["state"] == "met"),
        failing=() if revision.kind is Kind.WITHDRAWN else tuple(sorted(failures(verdict))),
        **supported(assessment),
    )


def record_change(before: Record | None, revision: Revision, seq: int) -> Change:
    """Return the entry of the feed that tells of ``revision``."""
    return Change(
        seq=seq,
        previous_seq=before.seq if before else None,
        kind=ChangeKind(f"record.{revision.kind.value}"),
        at=revision.at,
        job_id=revision.job_id,
        previous_job_id=before.job_id if before else None,
        record_id=revision.record_id,
        number=revision.number,
        label=revision.label,
        outcome=revision.outcome,
        previous_outcome=before.outcome if before else None,
    )


def job_change(job: Job, kind: ChangeKind, *, previous_seq: int | None, seq: int) -> Change:
    """Return the entry of the feed that tells of a job's new revision."""
    return Change(
        seq=seq,
        previous_seq=previous_seq,
        kind=kind,
        at=job.at,
        job_id=job.id,
        previous_job_id=job.id if previous_seq else None,
        record_id=None,
        number=job.revision,
        label=None,
        outcome=None,
        previous_outcome=None,
    )
