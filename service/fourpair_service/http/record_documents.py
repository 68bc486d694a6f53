"""What is kept, as documents."""

from __future__ import annotations

from fourpair_service.records.appending import Written
from fourpair_service.records.curves import Document
from fourpair_service.records.desk import Caller
from fourpair_service.records.job_commands import job_names
from fourpair_service.records.model import Attachment, Change, Job, Party, Record, Revision
from fourpair_service.records.ports import Reader


def _name(reader: Reader, party_id: str | None) -> str | None:
    party = reader.party(party_id) if party_id else None
    return party.name if party else None


def record_document(reader: Reader, record: Record) -> Document:
    """Return where a record stands."""
    return {
        "id": record.id,
        "job": record.job_id,
        "label": record.label,
        "revision": record.revision,
        "kind": record.kind.value,
        "outcome": record.outcome,
        "first_outcome": record.first_outcome,
        "headroom_db": record.headroom_db,
        "category": record.category,
        "rule_set": record.rule_set_id,
        "provisional": record.provisional,
        "withdrawn": record.withdrawn,
        "tested_by": _name(reader, record.tester_id),
        "tested_at": record.tested_at,
        "created_at": record.created_at,
        "changed_at": record.changed_at,
        "seq": record.seq,
        "digest": record.digest,
        "measurement_digest": record.measurement_digest,
        "external_ids": dict(record.external_ids),
        "categories_met": list(record.categories_met),
        "applications": list(record.applications),
        "power_types": list(record.power_types),
        "failing": list(record.failing),
    }


def revision_document(revision: Revision, seq: int) -> Document:
    """Return one link of a chain and its place in the feed."""
    return {
        "record": revision.record_id,
        "number": revision.number,
        "seq": seq,
        "kind": revision.kind.value,
        "job": revision.job_id,
        "label": revision.label,
        "external_ids": dict(revision.external_ids),
        "tester": revision.tester_id,
        "tested_at": revision.tested_at,
        "rule_set": revision.rule_set_id,
        "rule_set_digest": revision.rule_set_digest,
        "measurement_digest": revision.measurement_digest,
        "verdict_digest": revision.verdict_digest,
        "outcome": revision.outcome,
        "headroom_db": revision.headroom_db,
        "actor": revision.actor,
        "reason": revision.reason,
        "at": revision.at,
        "previous_digest": revision.previous_digest,
        "digest": revision.digest,
    }


def result_word(written: Written) -> str:
    """Return what a write did to its record, in a word; the same when it is repeated."""
    if written.change is None and not written.replayed:
        return "unchanged"
    return "created" if written.revision.number == 1 else "revised"


def written_document(reader: Reader, written: Written, *, dry_run: bool) -> Document:
    """Return what a write did."""
    number, record_id = written.revision.number, written.record.id
    # Of a dry run nothing is kept that could be asked.
    seq = written.change.seq if written.change else reader.revision_seqs(record_id)[number]
    record = record_document(reader, written.record)
    if dry_run and record["tested_by"] is None and written.record.tester_id is not None:
        record["tested_by"] = written.tested_by
    return {
        "record": record,
        "revision": revision_document(written.revision, seq),
        "verdict": written.verdict,
        "result": result_word(written),
        "dry_run": dry_run,
    }


def change_document(change: Change, caller: Caller) -> Document:
    """Return an entry of the feed; what it says of a job that the caller does not see is left out."""
    previous = change.previous_job_id
    sees, saw = caller.sees(change.job_id), caller.sees(previous or change.job_id)
    return {
        "seq": change.seq,
        "previous_seq": change.previous_seq,
        "kind": change.kind.value,
        "at": change.at,
        "job": change.job_id if sees else None,
        "previous_job": previous if saw else None,
        "record": change.record_id,
        "revision": change.number,
        "label": change.label if sees else None,
        "outcome": change.outcome if sees else None,
        "previous_outcome": change.previous_outcome if saw else None,
    }


def job_document(reader: Reader, job: Job) -> Document:
    """Return a job as it stands, people and customers by name."""
    names = job_names(reader, job)
    acceptance = job.acceptance
    return {
        "id": job.id,
        "revision": job.revision,
        "name": job.name,
        "customer": names["customer"],
        "site": job.site,
        "requirement": job.requirement,
        "configuration": job.configuration,
        "applications": list(job.applications),
        "power_type": job.power_type,
        "cords": job.cords,
        "minimum_basis": job.minimum_basis,
        "marginal_pass_billable": job.marginal_pass_billable,
        "schedule": schedule_document(job),
        "external_ids": dict(job.external_ids),
        "metadata": dict(job.metadata),
        "acceptance": None
        if acceptance is None
        else {"by": names["accepted_by"], "on": acceptance.on, "seq": acceptance.seq},
        "changed_at": job.at,
    }


def schedule_document(job: Job) -> list[Document]:
    """Return the links that a job must have."""
    return [{"label": link.label, "item_code": link.item_code} for link in job.schedule]


def attachment_document(attachment: Attachment) -> Document:
    """Return what an attachment is."""
    return {
        "id": attachment.id,
        "job": attachment.job_id,
        "name": attachment.name,
        "media_type": attachment.media_type,
        "size": attachment.size,
        "digest": attachment.digest,
        "at": attachment.at,
    }


def party_document(party: Party) -> Document:
    """Return a person or customer."""
    return {"id": party.id, "kind": party.kind.value, "name": party.name, "erased_at": party.erased_at}
