"""The store in memory: for tests and for trying things; nothing outlives the process."""

from __future__ import annotations

import threading
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from copy import deepcopy
from dataclasses import dataclass, field, fields, replace

from fourpair_service.records.curves import Document, Parted
from fourpair_service.records.failures import fault_states
from fourpair_service.records.headline import (
    check_append,
    check_job,
    job_change,
    record_after,
    record_change,
    supported,
)
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
from fourpair_service.records.search import (
    GROUP_VALUES,
    SORT_VALUES,
    Filter,
    Group,
    GroupBy,
    Position,
    Sort,
    group_order,
)


@dataclass
class State:
    """Everything that is kept."""

    records: dict[str, Record] = field(default_factory=dict)
    revisions: dict[str, tuple[tuple[int, Revision], ...]] = field(default_factory=dict)
    contents: dict[tuple[str, int], tuple[Parted, Document]] = field(default_factory=dict)
    assessments: dict[tuple[str, int], Assessment] = field(default_factory=dict)
    changes: list[Change] = field(default_factory=list)
    jobs: dict[str, tuple[Job, ...]] = field(default_factory=dict)
    job_seq: dict[str, int] = field(default_factory=dict)
    parties: dict[str, Party] = field(default_factory=dict)
    attachments: dict[str, Attachment] = field(default_factory=dict)
    attachment_contents: dict[str, bytes] = field(default_factory=dict)
    idempotency: dict[tuple[str, str], IdempotencyEntry] = field(default_factory=dict)
    api_keys: dict[str, ApiKey] = field(default_factory=dict)
    faults: dict[str, FaultState] = field(default_factory=dict)
    drawers: dict[tuple[str, str], Document] = field(default_factory=dict)

    def copy(self) -> State:
        """Return a state that can be changed without changing this one."""
        return State(**{each.name: getattr(self, each.name).copy() for each in fields(self)})


class MemoryReader:
    """See :class:`~fourpair_service.records.ports.Reader`."""

    def __init__(self, state: State) -> None:
        self._state = state

    def record(self, record_id: str) -> Record | None:
        """Return where a record stands."""
        return self._state.records.get(record_id)

    def _first(self, wanted: Filter) -> Record | None:
        return next((record for record in self._state.records.values() if wanted.matches(record)), None)

    def record_labelled(self, job_id: str, label: str) -> Record | None:
        """Return the record of a link that is not withdrawn."""
        found = (r for r in self._state.records.values() if (r.job_id, r.label) == (job_id, label))
        return next((record for record in found if not record.withdrawn), None)

    def record_with_external_id(self, system: str, value: str) -> Record | None:
        """Return the record that has an external id and is not withdrawn."""
        return self._first(Filter(external_system=system, external_value=value))

    def records(self, wanted: Filter, sort: Sort, *, after: Position | None, limit: int) -> Sequence[Record]:
        """Return a page."""

        def place(record: Record) -> Position:
            return Position(SORT_VALUES[sort.field](record), record.row)

        found = [record for record in self._state.records.values() if wanted.matches(record)]
        found.sort(key=place, reverse=sort.descending)
        if after is not None:
            found = [r for r in found if (place(r) < after if sort.descending else place(r) > after)]
        return found[:limit]

    def stats(self, wanted: Filter, by: Sequence[GroupBy]) -> Sequence[Group]:
        """Return counts and worst headroom by group, sorted by the groups' values."""
        groups: dict[tuple[str | None, ...], list[Record]] = {}
        for record in self._state.records.values():
            if wanted.matches(record):
                groups.setdefault(tuple(GROUP_VALUES[each](record) for each in by), []).append(record)
        found = [
            Group(
                values,
                len(members),
                min((r.headroom_db for r in members if r.headroom_db is not None), default=None),
            )
            for values, members in groups.items()
        ]
        return sorted(found, key=group_order)

    def revision(self, record_id: str, number: int) -> Revision | None:
        """Return one revision."""
        return next((r for r in self.revisions(record_id) if r.number == number), None)

    def revisions(self, record_id: str) -> Sequence[Revision]:
        """Return all revisions, the first one first."""
        return [revision for _, revision in self._state.revisions.get(record_id, ())]

    def revision_seqs(self, record_id: str) -> Mapping[int, int]:
        """Return the ``seq`` of each revision by its number."""
        return {revision.number: seq for seq, revision in self._state.revisions.get(record_id, ())}

    def revision_as_of(self, record_id: str, seq: int) -> Revision | None:
        """Return the newest revision that the feed had reached at ``seq``."""
        found = [revision for own, revision in self._state.revisions.get(record_id, ()) if own <= seq]
        return found[-1] if found else None

    def verdict(self, record_id: str, number: int) -> Document | None:
        """Return the verdict of a revision."""
        content = self._state.contents.get((record_id, number))
        return content[1] if content else None

    def measurement(self, record_id: str, number: int) -> Parted | None:
        """Return the measurement of a revision, people by id."""
        content = self._state.contents.get((record_id, number))
        return content[0] if content else None

    def assessment(self, record_id: str, number: int) -> Assessment | None:
        """Return the newest assessment of a revision."""
        return self._state.assessments.get((record_id, number))

    def last_change(self) -> Change | None:
        """Return the newest entry of the feed."""
        return self._state.changes[-1] if self._state.changes else None

    def changes(self, *, after: int, limit: int, jobs: frozenset[str] | None = None) -> Sequence[Change]:
        """Return entries above ``after`` in order; of these jobs, where given."""
        found = (
            change
            for change in self._state.changes[max(after, 0) :]
            if jobs is None or change.job_id in jobs or change.previous_job_id in jobs
        )
        return [change for _, change in zip(range(limit), found, strict=False)]

    def job_changes(self, job_id: str, *, until: int | None = None) -> Sequence[Change]:
        """Return every entry that touched a job, up to and with ``until``."""
        return [
            change
            for change in self._state.changes[:until]
            if job_id in (change.job_id, change.previous_job_id)
        ]

    def job(self, job_id: str) -> Job | None:
        """Return a job as it stands."""
        return self._state.jobs[job_id][-1] if job_id in self._state.jobs else None

    def job_revision(self, job_id: str, number: int) -> Job | None:
        """Return a job as it once stood."""
        return next((job for job in self._state.jobs.get(job_id, ()) if job.revision == number), None)

    def jobs(self, *, after: str, limit: int, visible: frozenset[str] | None = None) -> Sequence[Job]:
        """Return jobs by id, above ``after``."""
        ids = sorted(i for i in self._state.jobs if i > after and (visible is None or i in visible))
        return [self._state.jobs[job_id][-1] for job_id in ids[:limit]]

    def job_with_external_id(self, system: str, value: str) -> Job | None:
        """Return the job that has an external id."""
        newest = (revisions[-1] for revisions in self._state.jobs.values())
        return next((job for job in newest if job.external_ids.get(system) == value), None)

    def party(self, party_id: str) -> Party | None:
        """Return a person or customer."""
        return self._state.parties.get(party_id)

    def party_named(self, kind: PartyKind, name: str) -> Party | None:
        """Return who has this name and was not erased."""
        found = (party for party in self._state.parties.values() if party.kind is kind)
        return next((party for party in found if party.name == name), None)

    def parties(self) -> Sequence[Party]:
        """Return all of them by id."""
        return [self._state.parties[party_id] for party_id in sorted(self._state.parties)]

    def attachments(self, job_id: str) -> Sequence[Attachment]:
        """Return the attachments of a job in the order they came."""
        return [each for each in self._state.attachments.values() if each.job_id == job_id]

    def attachment_content(self, digest: str) -> bytes | None:
        """Return the bytes of an attachment."""
        return self._state.attachment_contents.get(digest)

    def idempotency(self, owner: str, key: str) -> IdempotencyEntry | None:
        """Return what became of a key."""
        return self._state.idempotency.get((owner, key))

    def idempotency_entries(self) -> Sequence[IdempotencyEntry]:
        """Return all of them by owner and key."""
        return [self._state.idempotency[key] for key in sorted(self._state.idempotency)]

    def api_key(self, key_id: str) -> ApiKey | None:
        """Return an API key."""
        return self._state.api_keys.get(key_id)

    def api_keys(self) -> Sequence[ApiKey]:
        """Return all of them by id."""
        return [self._state.api_keys[key_id] for key_id in sorted(self._state.api_keys)]

    def has_api_keys(self) -> bool:
        """Return whether a key was ever made."""
        return bool(self._state.api_keys)

    def faults_of(self, record_id: str) -> Sequence[FaultState]:
        """Return the faults that a record ever showed, the oldest first."""
        found = [fault for fault in self._state.faults.values() if fault.record_id == record_id]
        return sorted(found, key=lambda fault: (fault.opened_seq, fault.key))

    def job_faults(self, job_id: str) -> Sequence[FaultState]:
        """Return the faults of every record that now belongs to a job, the oldest first."""
        found = [f for f in self._state.faults.values() if self._state.records[f.record_id].job_id == job_id]
        return sorted(found, key=lambda fault: (fault.opened_seq, fault.key))

    def drawers(self) -> Sequence[str]:
        """Return the names of the drawers that hold something, sorted."""
        return sorted({name for name, _ in self._state.drawers})

    def drawer(self, name: str, *, after: str = "", limit: int) -> Sequence[tuple[str, Document]]:
        """Return documents of a drawer with their keys, by key, above ``after``."""
        keys = sorted(key for own, key in self._state.drawers if own == name and key > after)
        return [(key, deepcopy(self._state.drawers[name, key])) for key in keys[:limit]]

    def drawn(self, name: str, key: str) -> Document | None:
        """Return one document of a drawer."""
        return deepcopy(self._state.drawers.get((name, key)))


class MemoryWriter(MemoryReader):
    """See :class:`~fourpair_service.records.ports.Writer`."""

    @property
    def state(self) -> State:
        """What the block has made of the store."""
        return self._state

    @contextmanager
    def attempt(self) -> Iterator[None]:
        """Return a part of the block whose effects are undone when it raises."""
        before = self._state.copy()
        try:
            yield
        except BaseException:
            self._state = before
            raise

    def append(
        self, revision: Revision, measurement: Parted, verdict: Document, assessment: Assessment | None
    ) -> Change:
        """Keep a sealed revision with its documents, move its record and tell the feed.

        Raises:
            RevisionConflictError, LabelTakenError, ExternalIdTakenError: as they say.
        """
        state, before = self._state, self.record(revision.record_id)
        check_append(self, revision, before)
        seq = len(state.changes) + 1
        record = record_after(before, revision, verdict, assessment, seq)
        change = record_change(before, revision, seq)
        state.records[record.id] = record
        state.revisions[record.id] = (*state.revisions.get(record.id, ()), (seq, revision))
        state.contents[record.id, revision.number] = (measurement, verdict)
        state.changes.append(change)
        if assessment is not None:
            state.assessments[record.id, revision.number] = assessment
        known = self.faults_of(record.id)
        for fault in fault_states(known, record.id, verdict, seq=seq, withdrawn=record.withdrawn):
            state.faults[fault.key] = fault
        return change

    def put_job(self, job: Job, kind: ChangeKind) -> Change:
        """Keep a new revision of a job and tell the feed.

        Raises:
            JobExistsError, RevisionConflictError, ExternalIdTakenError: as they say.
        """
        check_job(self, job, self.job(job.id))
        seq = len(self._state.changes) + 1
        change = job_change(job, kind, previous_seq=self._state.job_seq.get(job.id), seq=seq)
        self._state.jobs[job.id] = (*self._state.jobs.get(job.id, ()), job)
        self._state.job_seq[job.id] = seq
        self._state.changes.append(change)
        return change

    def put_assessment(self, record_id: str, number: int, assessment: Assessment) -> None:
        """Keep an assessment beside a revision; no chain, no feed."""
        self._state.assessments[record_id, number] = assessment
        record = self.record(record_id)
        if record is not None and record.revision == number:
            self._state.records[record_id] = replace(record, **supported(assessment))

    def put_party(self, party: Party) -> None:
        """Keep or replace a party."""
        self._state.parties[party.id] = party

    def put_attachment(self, attachment: Attachment, content: bytes) -> None:
        """Keep an attachment and, once, its bytes."""
        self._state.attachments[attachment.id] = attachment
        self._state.attachment_contents.setdefault(attachment.digest, content)

    def put_idempotency(self, entry: IdempotencyEntry, *, forget_before: str | None = None) -> None:
        """Keep what became of a key, and forget what is older than an instant."""
        kept = self._state.idempotency
        if forget_before is not None:
            self._state.idempotency = {k: e for k, e in kept.items() if e.at >= forget_before}
        self._state.idempotency[entry.owner, entry.key] = entry

    def put_api_key(self, key: ApiKey) -> None:
        """Keep or replace an API key."""
        self._state.api_keys[key.id] = key

    def put_in(self, name: str, key: str, document: Document) -> None:
        """Keep or replace a document of a drawer."""
        self._state.drawers[name, key] = deepcopy(document)

    def take_out(self, name: str, key: str) -> None:
        """Drop a document of a drawer, where it is there."""
        self._state.drawers.pop((name, key), None)


class MemoryStore(MemoryReader):
    """See :class:`~fourpair_service.records.ports.Store`."""

    def __init__(self) -> None:
        super().__init__(State())
        self._lock = threading.RLock()

    @contextmanager
    def reading(self) -> Iterator[MemoryReader]:
        """Return a block that sees one state of the store, whatever others commit."""
        # A block of writing works on a copy, so that a state once seen stays as it is.
        yield MemoryReader(self._state)

    @contextmanager
    def writing(self, *, keep: bool = True) -> Iterator[MemoryWriter]:
        """Return a block; with ``keep=False`` everything is checked and nothing kept."""
        with self._lock:
            writer = MemoryWriter(self._state.copy())
            yield writer
            if keep:
                self._state = writer.state

    def touch_api_keys(self, used: Iterable[tuple[str, str]]) -> None:
        """Note when keys were last used: (id, instant)."""
        with self.writing() as writer:
            for key_id, at in used:
                key = writer.api_key(key_id)
                if key is not None:
                    writer.put_api_key(replace(key, last_used_at=at))

    def packed(self, measurement: Parted) -> Parted:
        """Return the measurement as it is: nothing is packed here."""
        return measurement

    def prove_writing(self) -> None:
        """Write something and take it back."""

    def facts(self) -> dict[str, str | int]:
        """Return what an operator may wish to know."""
        return {"kind": "memory"}

    def close(self) -> None:
        """Let go of nothing."""
