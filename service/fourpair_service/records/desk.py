"""What every command needs, and who gave it."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import timedelta
from typing import Final, NamedTuple, Protocol

from fourpair_service.records.curves import Document
from fourpair_service.records.errors import IdempotencyMismatchError, NotFoundError, RevisionConflictError
from fourpair_service.records.integrity import canonical_json, digest
from fourpair_service.records.model import (
    Assessment,
    IdempotencyEntry,
    Job,
    Party,
    PartyKind,
    Record,
    Revision,
)
from fourpair_service.records.ports import Clock, NewId, Reader, Store, Writer
from fourpair_service.records.times import instant

# How long the service remembers what became of an idempotency key.
REMEMBERED: Final = timedelta(days=30)


class Grading(NamedTuple):
    """A verdict document, and what is said beside it.

    Attributes:
        verdict_digest: of its canonical bytes, where the grading made them.
    """

    verdict: Document
    assessment: Assessment | None = None
    verdict_digest: str | None = None


class Grader(Protocol):
    """Holds a measurement document against a requirement."""

    def __call__(self, document: Document, requirement: Document) -> Grading:
        """Return the verdict and what is said beside it.

        Args:
            document: as it was sent; what it says of its own requirement counts too.
            requirement: what is asked beside the document.

        Raises:
            ServiceError: the document, or what is asked, is not valid.
        """
        ...


@dataclass(frozen=True, slots=True)
class Desk:
    """Where records are kept, graded, dated and named."""

    store: Store
    clock: Clock
    new_id: NewId
    grade: Grader

    def now(self) -> str:
        """Return the present instant."""
        return instant(self.clock())


@dataclass(frozen=True, slots=True)
class Caller:
    """Who asks.

    Attributes:
        actor: id of the key, or the word for whoever needs none.
        jobs: the only jobs that the caller sees; ``None`` for all.
    """

    actor: str
    jobs: frozenset[str] | None = None

    def sees(self, job_id: str) -> bool:
        """Return whether the caller sees a job and all that belongs to it."""
        return self.jobs is None or job_id in self.jobs

    def asked(self, jobs: Collection[str] | None) -> frozenset[str] | None:
        """Return the asked jobs that the caller sees; ``None`` for all."""
        if jobs is None:
            return self.jobs
        return frozenset(job for job in jobs if self.sees(job))


@dataclass(frozen=True, slots=True)
class Terms:
    """How a command is to be carried out.

    Attributes:
        key: idempotency key, if any.
        fingerprint: digest of the whole request.
        dry_run: everything is checked, nothing kept.
        expected: entity tags one of which must still hold; ``None`` for any.
    """

    key: str | None = None
    fingerprint: str = ""
    dry_run: bool = False
    expected: frozenset[str] | None = None


def record_tag(record: Record | Revision) -> str:
    """Return the entity tag of a record at its revision: number and beginning of its digest."""
    number = record.revision if isinstance(record, Record) else record.number
    return f"{number}-{record.digest.removeprefix('sha256:')[:16]}"


def job_tag(job: Job) -> str:
    """Return the entity tag of a job at its revision."""
    return f"{job.revision}-{digest(canonical_json([job.id, job.at, job.actor]))[7:23]}"


def check_tag(what: str, name: str, *, actual: str, expected: frozenset[str] | None) -> None:
    """Refuse a change that rests on something older.

    Raises:
        RevisionConflictError: none of the expected tags is the actual one.
    """
    if expected is not None and actual not in expected:
        raise RevisionConflictError(
            what, name, expected=" or ".join(sorted(expected)) or "none", actual=actual
        )


def visible_record(reader: Reader, caller: Caller, record_id: str) -> Record:
    """Return a record that the caller may see.

    Raises:
        NotFoundError: there is none, or it is not the caller's to see; both read alike.
    """
    record = reader.record(record_id)
    if record is None or not caller.sees(record.job_id):
        raise NotFoundError("record", record_id)
    return record


def visible_revisions(reader: Reader, caller: Caller, record_id: str) -> list[Revision]:
    """Return the revisions of a record that the caller may see, the first one first.

    A record may have been moved: what it was under a job that is not the caller's
    stays hidden, whoever may see the record today.

    Raises:
        NotFoundError: there is no such record, or it is not the caller's to see.
    """
    visible_record(reader, caller, record_id)
    return [revision for revision in reader.revisions(record_id) if caller.sees(revision.job_id)]


def visible_revision(reader: Reader, caller: Caller, record_id: str, number: int) -> Revision:
    """Return one revision that the caller may see.

    Raises:
        NotFoundError: there is none, or it or its record is not the caller's to see; all read alike.
    """
    visible_record(reader, caller, record_id)
    return _seen(reader.revision(record_id, number), caller, f"{number} of record {record_id}")


def visible_revision_as_of(reader: Reader, caller: Caller, record_id: str, seq: int) -> Revision:
    """Return the newest revision that the feed had reached at ``seq``.

    Raises:
        NotFoundError: there was none, or it or its record is not the caller's to see; all read alike.
    """
    visible_record(reader, caller, record_id)
    return _seen(reader.revision_as_of(record_id, seq), caller, f"of record {record_id} as of {seq}")


def _seen(revision: Revision | None, caller: Caller, name: str) -> Revision:
    if revision is None or not caller.sees(revision.job_id):
        raise NotFoundError("revision", name)
    return revision


def visible_job(reader: Reader, caller: Caller, job_id: str) -> Job:
    """Return a job that the caller may see.

    Raises:
        NotFoundError: there is none, or it is not the caller's to see; both read alike.
    """
    job = reader.job(job_id) if caller.sees(job_id) else None
    if job is None:
        raise NotFoundError("job", job_id)
    return job


def known_key(reader: Reader, caller: Caller, terms: Terms) -> IdempotencyEntry | None:
    """Return what became of the same request before; nothing of a dry run is remembered.

    Raises:
        IdempotencyMismatchError: the key came with another request.
    """
    if terms.key is None or terms.dry_run:
        return None
    entry = reader.idempotency(caller.actor, terms.key)
    if entry is not None and entry.fingerprint != terms.fingerprint:
        raise IdempotencyMismatchError(terms.key)
    return entry


@dataclass(frozen=True, slots=True)
class Subject:
    """What a request made, for whoever repeats it."""

    kind: str
    id: str
    number: int | None = None
    seq: int | None = None
    status: int = 200
    answer: Document | None = None


def remember(writer: Writer, desk: Desk, caller: Caller, terms: Terms, subject: Subject) -> None:
    """Keep what became of a request that carried a key."""
    if terms.key is None:
        return
    entry = IdempotencyEntry(
        owner=caller.actor,
        key=terms.key,
        fingerprint=terms.fingerprint,
        subject=subject.kind,
        subject_id=subject.id,
        number=subject.number,
        seq=subject.seq,
        at=desk.now(),
        status=subject.status,
        answer=subject.answer,
    )
    writer.put_idempotency(entry, forget_before=instant(desk.clock() - REMEMBERED))


def party_id(writer: Writer, desk: Desk, kind: PartyKind, name: str | None) -> str | None:
    """Return the id under which a person or customer is kept, a new one for a new name."""
    if name is None:
        return None
    known = writer.party_named(kind, name)
    if known is not None:
        return known.id
    party = Party(desk.new_id(), kind, name)
    writer.put_party(party)
    return party.id
