"""What is to be mended, as a ticketing tool needs it."""

from __future__ import annotations

from collections.abc import Iterable

from fourpair_service.records.curves import Document
from fourpair_service.records.model import Assessment, FaultState, Job, Record
from fourpair_service.records.ports import Reader

SAFETY = (
    "Work at height, near mains wiring or on a port that feeds power only as local codes and your licence allow; "
    "take the power of the port down first."
)


def _suspicions(assessment: Assessment | None) -> list[str]:
    diagnosis = (assessment.document.get("diagnosis") if assessment else None) or {}
    return [str(fault["text"]) for fault in diagnosis.get("faults", ()) if fault.get("text")]


def ticket(fault: FaultState, record: Record, suspected: Iterable[str]) -> Document:
    """Return the text of a ticket: what, where, and what may be behind it."""
    lines = [fault.detail, f"Link {record.label} of job {record.job_id}, record {record.id}."]
    lines += [f"Suspected: {text}" for text in suspected]
    return {"title": f"{record.label}: {fault.title}", "body": "\n".join([*lines, SAFETY])}


def faults(reader: Reader, job: Job, *, include_closed: bool) -> Document:
    """Return the faults of a job's records under keys that stay the same across retests."""
    found = []
    for fault in reader.job_faults(job.id):
        if fault.closed_seq is not None and not include_closed:
            continue
        record = reader.record(fault.record_id)
        if record is None:
            continue
        suspected = _suspicions(reader.assessment(record.id, record.revision))
        found.append(
            {
                "key": fault.key,
                "state": "open" if fault.closed_seq is None else "closed",
                "what": fault.what,
                "record": record.id,
                "label": record.label,
                "opened_seq": fault.opened_seq,
                "seen_seq": fault.seen_seq,
                "closed_seq": fault.closed_seq,
                "ticket": ticket(fault, record, suspected),
            }
        )
    last = reader.last_change()
    return {"job": job.id, "seq": last.seq if last else 0, "faults": found}
