"""What a job hands over: its links in label order, what is missing, what was tested again."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from fourpair_service.records.curves import Document
from fourpair_service.records.integrity import canonical_json, digest
from fourpair_service.records.job_commands import ATTACHED, job_names
from fourpair_service.records.label_order import label_key
from fourpair_service.records.model import Attachment, Job, Record, Revision
from fourpair_service.records.ports import Reader
from fourpair_service.records.search import Filter
from fourpair_service.records.views.members import records_of
from fourpair_service.records.views.past import job_at, records_at
from fourpair_service.records.views.summary import summary


@dataclass(frozen=True, slots=True)
class PlannedLink:
    """A link of a job.

    Attributes:
        record: ``None`` where the schedule asks for the link and nothing was kept of it.
        is_scheduled: whether the schedule asks for it.
    """

    label: str
    record: Record | None
    is_scheduled: bool


@dataclass(frozen=True, slots=True)
class Plan:
    """All that a handover says, before any document of a record is read.

    Attributes:
        customer: its name, where it is known and not erased.
        accepted_by: likewise.
        seq: how far the feed had come.
        as_of: the same where that moment was asked for, else none.
        at: when the job or a record of it was last changed.
        summary: as the summary of the job tells it.
        links: in label order, missing ones too.
        withdrawn: records that count no more, in label order.
        attachments: documents of the job, in the order they came.
        state_digest: seals the job's revision and that of every record.
    """

    job: Job
    customer: str | None
    accepted_by: str | None
    seq: int
    as_of: int | None
    at: str
    summary: Document
    links: tuple[PlannedLink, ...]
    withdrawn: tuple[Record, ...]
    attachments: tuple[Attachment, ...]
    state_digest: str

    @property
    def records(self) -> tuple[Record, ...]:
        """The records that count, in label order."""
        return tuple(link.record for link in self.links if link.record is not None)


def plan(reader: Reader, job: Job, as_of: int | None = None) -> Plan:
    """Return what a job hands over as it stands, or as it stood when the feed had reached ``as_of``.

    The names of people and customers are those of today: they lie outside the chain, and may be erased.

    Args:
        reader: of the store.
        job: as it stands.
        as_of: a ``seq`` that the feed has reached.

    Raises:
        NotFoundError: there was no such job then.
    """
    if as_of is None:
        every = list(records_of(reader, Filter(job_id=job.id, withdrawn=None)))
    else:
        job, every = job_at(reader, job.id, as_of), records_at(reader, job.id, as_of)
    counting = {record.label: record for record in every if not record.withdrawn}
    scheduled = {link.label for link in job.schedule}
    labels = sorted(scheduled | set(counting), key=label_key)
    withdrawn = sorted((r for r in every if r.withdrawn), key=lambda r: (label_key(r.label), r.row))
    names, told = job_names(reader, job), summary(reader, job, as_of=as_of)
    return Plan(
        job=job,
        customer=names["customer"],
        accepted_by=names["accepted_by"],
        seq=told["seq"],
        as_of=as_of,
        at=max(job.at, *(record.changed_at for record in every)) if every else job.at,
        summary=told,
        links=tuple(PlannedLink(label, counting.get(label), label in scheduled) for label in labels),
        withdrawn=tuple(withdrawn),
        attachments=tuple(_attachments(reader, job, as_of)),
        state_digest=_state_digest(job, every),
    )


def _attachments(reader: Reader, job: Job, as_of: int | None) -> Iterator[Attachment]:
    """Yield the attachments that were there when the feed had reached a change; they are no changes themselves.

    One that came after a change and before the next belongs to the next. Of those that
    an earlier release kept only the instant is known.
    """
    change = None if as_of is None else next(iter(reader.changes(after=as_of - 1, limit=1)), None)
    for attachment in reader.attachments(job.id):
        if change is None:
            yield attachment
            continue
        come = reader.drawn(ATTACHED, attachment.id)
        if attachment.at <= change.at if come is None else come["seq"] < change.seq:
            yield attachment


def _state_digest(job: Job, every: list[Record]) -> str:
    rows = sorted([record.id, record.revision, record.digest] for record in every)
    return digest(canonical_json([job.id, job.revision, rows]))


@dataclass(frozen=True, slots=True)
class Step:
    """One revision of a record that has several, and the one before it."""

    record: Record
    before: Revision | None
    after: Revision


def history(reader: Reader, planned: Plan) -> Iterator[Step]:
    """Yield the revisions of every record that was touched again, in label order, the first one first.

    A record that belonged to another job before is told whole: its history is its own.
    """
    kept = sorted((*planned.records, *planned.withdrawn), key=lambda r: (label_key(r.label), r.row))
    for record in kept:
        if record.revision == 1:
            continue
        before = None
        for revision in reader.revisions(record.id)[: record.revision]:
            yield Step(record, before, revision)
            before = revision
