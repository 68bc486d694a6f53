"""What the records layer needs from outside, with the promises it relies on."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from contextlib import AbstractContextManager
from datetime import datetime
from typing import Protocol

from fourpair_service.records.curves import Document, Parted
from fourpair_service.records.keys import ApiKey
from fourpair_service.records.model import (
    Assessment,
    Attachment,
    Change,
    ChangeKind,
    FaultState,
    IdempotencyEntry,
    Job,
    Party,
    PartyKind,
    Record,
    Revision,
)
from fourpair_service.records.search import Filter, Group, GroupBy, Position, Sort


class Clock(Protocol):
    """Tells the time."""

    def __call__(self) -> datetime:
        """Return now, with its offset."""
        ...


class NewId(Protocol):
    """Makes ids that nobody can guess or make twice."""

    def __call__(self) -> str:
        """Return a new id."""
        ...


class Reader(Protocol):
    """Reads what was committed; a :class:`Writer` also what it wrote itself.

    No method that gives records, revisions, changes, groups or faults touches a
    measurement or verdict document: those have methods of their own.
    """

    def record(self, record_id: str) -> Record | None:
        """Return where a record stands."""
        ...

    def record_labelled(self, job_id: str, label: str) -> Record | None:
        """Return the record of a link that is not withdrawn."""
        ...

    def record_with_external_id(self, system: str, value: str) -> Record | None:
        """Return the record that has an external id."""
        ...

    def records(self, wanted: Filter, sort: Sort, *, after: Position | None, limit: int) -> Sequence[Record]:
        """Return a page; its cost does not grow with its depth."""
        ...

    def stats(self, wanted: Filter, by: Sequence[GroupBy]) -> Sequence[Group]:
        """Return counts and worst headroom by group, sorted by the groups' values."""
        ...

    def revision(self, record_id: str, number: int) -> Revision | None:
        """Return one revision."""
        ...

    def revisions(self, record_id: str) -> Sequence[Revision]:
        """Return all revisions, the first one first."""
        ...

    def revision_seqs(self, record_id: str) -> Mapping[int, int]:
        """Return the ``seq`` of each revision by its number."""
        ...

    def revision_as_of(self, record_id: str, seq: int) -> Revision | None:
        """Return the newest revision that the feed had reached at ``seq``."""
        ...

    def verdict(self, record_id: str, number: int) -> Document | None:
        """Return the verdict of a revision."""
        ...

    def measurement(self, record_id: str, number: int) -> Parted | None:
        """Return the measurement of a revision, people by id."""
        ...

    def assessment(self, record_id: str, number: int) -> Assessment | None:
        """Return the newest assessment of a revision."""
        ...

    def last_change(self) -> Change | None:
        """Return the newest entry of the feed."""
        ...

    def changes(self, *, after: int, limit: int, jobs: frozenset[str] | None = None) -> Sequence[Change]:
        """Return entries above ``after`` in order; of these jobs, where given."""
        ...

    def job_changes(self, job_id: str, *, until: int | None = None) -> Sequence[Change]:
        """Return every entry that touched a job, up to and with ``until``."""
        ...

    def job(self, job_id: str) -> Job | None:
        """Return a job as it stands."""
        ...

    def job_revision(self, job_id: str, number: int) -> Job | None:
        """Return a job as it once stood."""
        ...

    def jobs(self, *, after: str, limit: int, visible: frozenset[str] | None = None) -> Sequence[Job]:
        """Return jobs by id, above ``after``."""
        ...

    def job_with_external_id(self, system: str, value: str) -> Job | None:
        """Return the job that has an external id."""
        ...

    def party(self, party_id: str) -> Party | None:
        """Return a person or customer."""
        ...

    def party_named(self, kind: PartyKind, name: str) -> Party | None:
        """Return who has this name and was not erased."""
        ...

    def parties(self) -> Sequence[Party]:
        """Return all of them by id."""
        ...

    def attachments(self, job_id: str) -> Sequence[Attachment]:
        """Return the attachments of a job in the order they came."""
        ...

    def attachment_content(self, digest: str) -> bytes | None:
        """Return the bytes of an attachment."""
        ...

    def idempotency(self, owner: str, key: str) -> IdempotencyEntry | None:
        """Return what became of a key."""
        ...

    def idempotency_entries(self) -> Sequence[IdempotencyEntry]:
        """Return all of them by owner and key."""
        ...

    def api_key(self, key_id: str) -> ApiKey | None:
        """Return an API key."""
        ...

    def api_keys(self) -> Sequence[ApiKey]:
        """Return all of them by id."""
        ...

    def has_api_keys(self) -> bool:
        """Return whether a key was ever made."""
        ...

    def faults_of(self, record_id: str) -> Sequence[FaultState]:
        """Return the faults that a record ever showed, the oldest first."""
        ...

    def job_faults(self, job_id: str) -> Sequence[FaultState]:
        """Return the faults of every record that now belongs to a job, the oldest first."""
        ...

    def drawers(self) -> Sequence[str]:
        """Return the names of the drawers that hold something, sorted."""
        ...

    def drawer(self, name: str, *, after: str = "", limit: int) -> Sequence[tuple[str, Document]]:
        """Return documents of a drawer with their keys, by key, above ``after``."""
        ...

    def drawn(self, name: str, key: str) -> Document | None:
        """Return one document of a drawer."""
        ...


class Writer(Reader, Protocol):
    """One transaction: all of it or nothing."""

    def append(
        self, revision: Revision, measurement: Parted, verdict: Document, assessment: Assessment | None
    ) -> Change:
        """Keep a sealed revision with its documents, move its record and tell the feed.

        Raises:
            RevisionConflictError: its number does not follow.
            LabelTakenError: another link of the job has its label.
            ExternalIdTakenError: another record has an external id of it.
        """
        ...

    def put_job(self, job: Job, kind: ChangeKind) -> Change:
        """Keep a new revision of a job and tell the feed.

        Raises:
            JobExistsError: a first revision of a job that is there.
            RevisionConflictError: its number does not follow.
            ExternalIdTakenError: another job has an external id of it.
        """
        ...

    def put_assessment(self, record_id: str, number: int, assessment: Assessment) -> None:
        """Keep an assessment beside a revision; no chain, no feed."""
        ...

    def put_party(self, party: Party) -> None:
        """Keep or replace a party."""
        ...

    def put_attachment(self, attachment: Attachment, content: bytes) -> None:
        """Keep an attachment and, once, its bytes."""
        ...

    def put_idempotency(self, entry: IdempotencyEntry, *, forget_before: str | None = None) -> None:
        """Keep what became of a key, and forget what is older than an instant."""
        ...

    def put_api_key(self, key: ApiKey) -> None:
        """Keep or replace an API key."""
        ...

    def put_in(self, name: str, key: str, document: Document) -> None:
        """Keep or replace a document of a drawer: what may change, and lies outside every chain."""
        ...

    def take_out(self, name: str, key: str) -> None:
        """Drop a document of a drawer, where it is there."""
        ...

    def attempt(self) -> AbstractContextManager[None]:
        """Return a part of the block whose effects are undone when it raises."""
        ...


class Store(Reader, Protocol):
    """Where records are kept.

    1. What one :meth:`writing` block did is stored whole or not at all; when the
       block has ended without an error it survives a kill of the process. A
       stored revision is never changed.
    2. The revisions of a record are numbered 1, 2, 3 ... without gaps.
    3. ``seq`` runs 1, 2, 3 ... without gaps in the order of commits: the feed
       never shows an entry below one that a reader has seen.
    4. Effect, entry of the feed and idempotency row of a block share its fate.
    5. Blocks of any number of threads and processes follow one another; the
       wait for each other is the store's affair, and ends in
       :class:`~.errors.StoreBusyError` when it is unreasonable.
    """

    def reading(self) -> AbstractContextManager[Reader]:
        """Return a block that sees one state of the store, whatever others commit."""
        ...

    def writing(self, *, keep: bool = True) -> AbstractContextManager[Writer]:
        """Return a block; with ``keep=False`` everything is checked and nothing kept."""
        ...

    def touch_api_keys(self, used: Iterable[tuple[str, str]]) -> None:
        """Note when keys were last used: (id, instant); may be lost in a crash."""
        ...

    def packed(self, measurement: Parted) -> Parted:
        """Return a measurement with its curves made ready to be kept.

        What takes long is done here, so that the block of writing is short and others wait less.
        """
        ...

    def prove_writing(self) -> None:
        """Write something and take it back.

        Raises:
            StoreError: it cannot be written.
        """
        ...

    def facts(self) -> dict[str, str | int]:
        """Return what an operator may wish to know: kind, schema, room left."""
        ...

    def close(self) -> None:
        """Let go of files."""
        ...
