"""How a measurement becomes a revision: graded, sealed, appended, remembered."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from fourpair_service.records.curves import Document, Parted, part
from fourpair_service.records.desk import (
    Caller,
    Desk,
    Subject,
    Terms,
    party_id,
    remember,
    visible_record,
    visible_revision,
)
from fourpair_service.records.documents import with_cords
from fourpair_service.records.errors import (
    InvalidRecordError,
    NotFoundError,
)
from fourpair_service.records.integrity import (
    canonical_json,
    curves_digest,
    digest,
    measurement_digests,
    sealed,
)
from fourpair_service.records.model import (
    Assessment,
    Change,
    IdempotencyEntry,
    Job,
    Kind,
    PartyKind,
    Record,
    Revision,
)
from fourpair_service.records.ports import Reader, Writer
from fourpair_service.records.times import instant_of


@dataclass(frozen=True, slots=True)
class Graded:
    """A measurement with its verdict, ready to be appended.

    Attributes:
        parted: the document taken apart; people still by name.
        curves_digest: of its curves.
        tester_id: who tested, where that is known already and not to be looked up by name.
        verdict_digest: of the verdict's canonical bytes, where that is known already.
    """

    parted: Parted
    curves_digest: str
    verdict: Document
    assessment: Assessment | None = None
    tester_id: str | None = None
    verdict_digest: str | None = None


@dataclass(frozen=True, slots=True)
class Written:
    """What a command did.

    Attributes:
        change: ``None`` where nothing changed.
        replayed: it had been done before, by the same request.
        tested_by: the name in the document; of a dry run no store knows whom an id stands for.
    """

    record: Record
    revision: Revision
    verdict: Document
    change: Change | None
    replayed: bool = False
    tested_by: str | None = None

    @property
    def created(self) -> bool:
        """Whether the record is new."""
        return self.change is not None and self.revision.number == 1


@dataclass(frozen=True, slots=True)
class Step:
    """What a new revision does to its record."""

    kind: Kind
    record_id: str
    before: Revision | None
    reason: str | None


def job_requirement(job: Job) -> Document:
    """Return what a job asks of its links, as the grading takes it."""
    asked = {**job.requirement, "configuration": job.configuration, "minimum_basis": job.minimum_basis}
    return {name: value for name, value in asked.items() if value is not None}


def graded_for(desk: Desk, document: Document, job: Job) -> Graded:
    """Return a document with its verdict by what its job asks.

    Raises:
        ServiceError: the document or what is asked of it is not valid.
    """
    return _graded(desk, document, job_requirement(job), job)


def graded(desk: Desk, document: Document, requirement: Document) -> Graded:
    """Return a document with its verdict by what is asked; its job is asked for cords alone.

    Raises:
        ServiceError: the document or what is asked of it is not valid.
    """
    job = desk.store.job(document["job"]) if isinstance(document.get("job"), str) else None
    return _graded(desk, document, requirement, job)


def _graded(desk: Desk, document: Document, requirement: Document, job: Job | None) -> Graded:
    grading = desk.grade(with_cords(document, job), requirement)
    parted = part(document)
    return Graded(
        parted,
        curves_digest(parted.curves),
        grading.verdict,
        grading.assessment,
        verdict_digest=grading.verdict_digest,
    )


def packed(desk: Desk, content: Graded) -> Graded:
    """Return what is to be appended, as ready as it can be before the store's block of writing."""
    return replace(content, parted=desk.store.packed(content.parted))


def named(document: Mapping[str, Any], name: str) -> str:
    """Return a name that a document must have.

    Raises:
        InvalidRecordError: it has none.
    """
    value = document.get(name)
    if not isinstance(value, str) or not value:
        raise InvalidRecordError(f"/{name}", f"A record needs a {name}; say which.")
    return value


def append_step(writer: Writer, desk: Desk, caller: Caller, step: Step, content: Graded) -> Written:
    """Seal a revision and append it.

    Raises:
        RevisionConflictError, LabelTakenError, ExternalIdTakenError: as they say.
    """
    rest = dict(content.parted.rest)
    named_tester = None if content.tester_id else rest.get("tested_by")
    tester = content.tester_id or party_id(writer, desk, PartyKind.PERSON, named_tester)
    if tester is not None:
        rest["tested_by"] = tester
    tested_at = rest.get("tested_at")
    verdict = content.verdict
    whole, measured = measurement_digests(rest, content.curves_digest)
    revision = sealed(
        Revision(
            record_id=step.record_id,
            number=step.before.number + 1 if step.before else 1,
            kind=step.kind,
            job_id=rest["job"],
            label=rest["label"],
            external_ids=rest.get("external_ids", {}),
            tester_id=tester,
            tested_at=None if tested_at is None else instant_of(tested_at, "/tested_at"),
            rule_set_id=verdict["rule_set"]["id"],
            rule_set_digest=verdict["rule_set"]["digest"],
            measurement_digest=whole,
            measured_digest=measured,
            verdict_digest=content.verdict_digest or digest(canonical_json(verdict)),
            outcome=verdict["outcome"],
            headroom_db=verdict["headroom_db"],
            actor=caller.actor,
            reason=step.reason,
            at=desk.now(),
            previous_digest=step.before.digest if step.before else None,
            digest="",
        )
    )
    kept = replace(content.parted, rest=rest)
    change = writer.append(revision, kept, verdict, content.assessment)
    record = writer.record(step.record_id)
    assert record is not None, "what was appended is there"
    return Written(record, revision, verdict, change, tested_by=named_tester)


def submit_graded(writer: Writer, desk: Desk, caller: Caller, content: Graded) -> Written:
    """Append the first revision of a record.

    Raises:
        LabelTakenError, ExternalIdTakenError: another link has them.
    """
    return append_step(writer, desk, caller, Step(Kind.SUBMITTED, desk.new_id(), None, None), content)


def remembered(writer: Writer, desk: Desk, caller: Caller, terms: Terms, written: Written) -> Written:
    """Return what was written, once its idempotency key is kept."""
    subject = Subject(
        "record",
        written.record.id,
        number=written.revision.number,
        seq=written.change.seq if written.change else written.record.seq,
        status=201 if written.created else 200,
    )
    remember(writer, desk, caller, terms, subject)
    return written


def replayed(reader: Reader, caller: Caller, entry: IdempotencyEntry) -> Written:
    """Return what a request had done when it came the first time.

    Raises:
        NotFoundError: it made something else than a record, or the caller no longer sees it.
    """
    record, number = visible_record(reader, caller, entry.subject_id), entry.number or 0
    revision = visible_revision(reader, caller, entry.subject_id, number)
    verdict = reader.verdict(entry.subject_id, number)
    if verdict is None:
        raise NotFoundError("record", entry.subject_id)
    return Written(record, revision, verdict, None, replayed=True)
