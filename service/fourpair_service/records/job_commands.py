"""What may be done with jobs, their papers, people and customers."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

from fourpair_service.records.curves import Document
from fourpair_service.records.desk import (
    Caller,
    Desk,
    Subject,
    Terms,
    check_tag,
    job_tag,
    known_key,
    party_id,
    remember,
    visible_job,
)
from fourpair_service.records.errors import (
    ContentUnreadableError,
    ExternalIdTakenError,
    InvalidRecordError,
    JobExistsError,
    NotFoundError,
)
from fourpair_service.records.integrity import digest
from fourpair_service.records.model import (
    Acceptance,
    Attachment,
    ChangeKind,
    IdempotencyEntry,
    Job,
    Party,
    PartyKind,
    ScheduledLink,
)
from fourpair_service.records.ports import Reader, Writer

# How far the feed had come when an attachment came, which is no change of it.
ATTACHED: Final = "attached"


@dataclass(frozen=True, slots=True)
class JobWritten:
    """A job as a command left it."""

    job: Job
    replayed: bool = False
    created: bool = False


def _replayed(reader: Reader, entry: IdempotencyEntry) -> JobWritten:
    job = reader.job_revision(entry.subject_id, entry.number or 0)
    if job is None:
        raise NotFoundError("job", entry.subject_id)
    return JobWritten(job, replayed=True)


def check_schedule(schedule: Iterable[ScheduledLink]) -> None:
    """Refuse a schedule that names a link twice.

    Raises:
        InvalidRecordError: naming the second place.
    """
    seen: set[str] = set()
    for index, link in enumerate(schedule):
        if link.label in seen:
            raise InvalidRecordError(
                f"/schedule/{index}/label",
                f"The link {link.label} stands here more than once; keep one.",
                link.label,
            )
        seen.add(link.label)


def _fields(writer: Writer, desk: Desk, values: Mapping[str, Any]) -> dict[str, Any]:
    """Return the fields of a job; the customer's name becomes an id."""
    own = dict(values)
    if "customer" in own:
        own["customer_id"] = party_id(writer, desk, PartyKind.CUSTOMER, own.pop("customer"))
    return own


def create_job(
    desk: Desk, caller: Caller, job_id: str, values: Mapping[str, Any], terms: Terms
) -> JobWritten:
    """Make a job.

    Args:
        desk: where it is done.
        caller: who asks.
        terms: how it is to be done.
        job_id: its id, also in addresses.
        values: fields of :class:`Job`, and ``customer`` by name.

    Raises:
        JobExistsError: the id is in use.
        ExternalIdTakenError, InvalidRecordError: as they say.
    """
    if not caller.sees(job_id):
        raise JobExistsError(job_id)
    check_schedule(values.get("schedule", ()))
    with desk.store.writing(keep=not terms.dry_run) as writer:
        known = known_key(writer, caller, terms)
        if known is not None:
            return _replayed(writer, known)
        job = Job(id=job_id, revision=1, at=desk.now(), actor=caller.actor, **_fields(writer, desk, values))
        change = writer.put_job(job, ChangeKind.JOB_CREATED)
        subject = Subject("job", job.id, number=1, seq=change.seq, status=201)
        remember(writer, desk, caller, terms, subject)
        return JobWritten(job, created=True)


def _revise(
    desk: Desk,
    caller: Caller,
    job_id: str,
    terms: Terms,
    kind: ChangeKind,
    revise: Callable[[Writer, Job], Job],
) -> JobWritten:
    with desk.store.writing(keep=not terms.dry_run) as writer:
        known = known_key(writer, caller, terms)
        if known is not None:
            return _replayed(writer, known)
        before = visible_job(writer, caller, job_id)
        check_tag("Job", job_id, actual=job_tag(before), expected=terms.expected)
        changed = revise(writer, before)
        job = replace(changed, revision=before.revision + 1, at=desk.now(), actor=caller.actor)
        check_schedule(job.schedule)
        try:
            change = writer.put_job(job, kind)
        except ExternalIdTakenError as error:
            if caller.jobs is None:
                raise
            # Even the id of a job is nothing for a key that does not see the job.
            raise ExternalIdTakenError(error.system, error.value, "another job") from None
        remember(writer, desk, caller, terms, Subject("job", job.id, number=job.revision, seq=change.seq))
        return JobWritten(job)


def change_job(
    desk: Desk, caller: Caller, job_id: str, values: Mapping[str, Any], terms: Terms
) -> JobWritten:
    """Change fields of a job; see :func:`create_job`.

    Raises:
        NotFoundError, RevisionConflictError, ExternalIdTakenError, InvalidRecordError: as they say.
    """

    def revise(writer: Writer, job: Job) -> Job:
        return replace(job, **_fields(writer, desk, values))

    return _revise(desk, caller, job_id, terms, ChangeKind.JOB_CHANGED, revise)


def accept_job(desk: Desk, caller: Caller, job_id: str, terms: Terms, *, by: str, on: str) -> JobWritten:
    """Note that the job was taken over; what comes later is shown as after acceptance.

    Raises:
        NotFoundError, RevisionConflictError: as they say.
    """

    def revise(writer: Writer, job: Job) -> Job:
        last = writer.last_change()
        person = party_id(writer, desk, PartyKind.PERSON, by) or ""
        return replace(job, acceptance=Acceptance(by=person, on=on, seq=last.seq if last else 0))

    return _revise(desk, caller, job_id, terms, ChangeKind.JOB_ACCEPTED, revise)


@dataclass(frozen=True, slots=True)
class AttachmentWritten:
    """An attachment as a command left it."""

    attachment: Attachment
    replayed: bool = False


def attachment_of(reader: Reader, job_id: str, attachment_id: str) -> Attachment:
    """Return one attachment of a job.

    Raises:
        NotFoundError: it has no such attachment.
    """
    for attachment in reader.attachments(job_id):
        if attachment.id == attachment_id:
            return attachment
    raise NotFoundError("attachment", attachment_id)


def attached_bytes(reader: Reader, attachment: Attachment) -> bytes:
    """Return the bytes of an attachment, as they were kept.

    Raises:
        ContentUnreadableError: they are not there any more, or not the same.
    """
    content = reader.attachment_content(attachment.digest)
    if content is None or digest(content) != attachment.digest:
        raise ContentUnreadableError(
            f"The bytes of attachment {attachment.id} of job {attachment.job_id} are not what was kept. "
            "Keep the store aside and restore the newest backup."
        )
    return content


def attach(
    desk: Desk, caller: Caller, job_id: str, content: bytes, terms: Terms, *, name: str, media_type: str
) -> AttachmentWritten:
    """Keep a document of a job.

    Raises:
        NotFoundError: there is no such job.
    """
    with desk.store.writing(keep=not terms.dry_run) as writer:
        visible_job(writer, caller, job_id)
        known = known_key(writer, caller, terms)
        if known is not None:
            return AttachmentWritten(attachment_of(writer, job_id, known.subject_id), replayed=True)
        attachment = Attachment(
            id=desk.new_id(),
            job_id=job_id,
            name=name,
            media_type=media_type,
            size=len(content),
            digest=digest(content),
            at=desk.now(),
            actor=caller.actor,
        )
        writer.put_attachment(attachment, content)
        last = writer.last_change()
        writer.put_in(ATTACHED, attachment.id, {"seq": last.seq if last else 0})
        remember(writer, desk, caller, terms, Subject("attachment", attachment.id, status=201))
        return AttachmentWritten(attachment)


def erase_party(desk: Desk, party_id_: str, *, dry_run: bool) -> Party:
    """Forget the name of a person or customer; every digest stays valid.

    Raises:
        NotFoundError: there is no such party.
    """
    with desk.store.writing(keep=not dry_run) as writer:
        party = writer.party(party_id_)
        if party is None:
            raise NotFoundError("party", party_id_)
        if party.name is not None:
            party = replace(party, name=None, erased_at=desk.now())
            writer.put_party(party)
        return party


def job_names(reader: Reader, job: Job) -> Document:
    """Return the names of a job's customer and of who accepted it; ``None`` where erased."""
    customer = reader.party(job.customer_id) if job.customer_id else None
    acceptor = reader.party(job.acceptance.by) if job.acceptance else None
    return {
        "customer": customer.name if customer else None,
        "accepted_by": acceptor.name if acceptor else None,
    }
