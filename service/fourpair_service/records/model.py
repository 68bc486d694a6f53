"""The things that are kept. Every one is frozen: a change is a new one.

Times are text as :mod:`.times` writes them. People and customers appear by the
random id of a :class:`Party`, so that erasing one leaves every digest valid.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

from fourpair_service.records.curves import Document


class Kind(StrEnum):
    """What a revision did to its record."""

    SUBMITTED = "submitted"
    RETESTED = "retested"
    CORRECTED = "corrected"
    REGRADED = "regraded"
    WITHDRAWN = "withdrawn"


class ChangeKind(StrEnum):
    """What an entry of the feed tells."""

    RECORD_SUBMITTED = "record.submitted"
    RECORD_RETESTED = "record.retested"
    RECORD_CORRECTED = "record.corrected"
    RECORD_REGRADED = "record.regraded"
    RECORD_WITHDRAWN = "record.withdrawn"
    JOB_CREATED = "job.created"
    JOB_CHANGED = "job.changed"
    JOB_ACCEPTED = "job.accepted"


@dataclass(frozen=True, slots=True)
class Revision:
    """One link of a record's chain, without its two documents.

    Attributes:
        number: 1, 2, 3 ... within the record.
        external_ids: value by system.
        tester_id: the party who tested, where the measurement names one.
        tested_at: when it was tested, as an instant; ``None`` where not stated.
        measurement_digest: of the whole measurement, people by id.
        measured_digest: of what was measured alone: the same under another label.
        outcome: of the verdict.
        headroom_db: of the verdict. [dB]
        actor: id of the key or person who did it.
        previous_digest: of the revision before; ``None`` for the first.
        digest: of the canonical bytes of all of the above.
    """

    record_id: str
    number: int
    kind: Kind
    job_id: str
    label: str
    external_ids: Mapping[str, str]
    tester_id: str | None
    tested_at: str | None
    rule_set_id: str
    rule_set_digest: str
    measurement_digest: str
    measured_digest: str
    verdict_digest: str
    outcome: str
    headroom_db: float | None
    actor: str
    reason: str | None
    at: str
    previous_digest: str | None
    digest: str


@dataclass(frozen=True, slots=True)
class Assessment:
    """Applications, power and suspected faults, beside a verdict and outside its digest.

    Attributes:
        version: of whatever made it; a better one replaces it and moves nothing.
    """

    version: str
    document: Document


# Without slots a page of fifty is made in a third of the time: see storage.rows.record_of.
@dataclass(frozen=True)
class Record:
    """Where a record stands now: the newest revision as scalars, for lists and search.

    Attributes:
        revision: number of the newest revision; also its ETag.
        digest: of the newest revision.
        row: ``seq`` of the first revision: creation order.
        seq: of the newest revision.
        first_outcome: of the first revision, for the first-pass rate.
        category: the category or class that was asked.
        categories_met: every one whose limits the link meets.
        applications: the supported ones, from the assessment.
        power_types: the supported ones, from the assessment.
        failing: what fails, as the words of :mod:`.failures`.
    """

    id: str
    job_id: str
    label: str
    revision: int
    digest: str
    row: int
    seq: int
    kind: Kind
    outcome: str
    first_outcome: str
    headroom_db: float | None
    category: str
    rule_set_id: str
    provisional: bool
    tester_id: str | None
    tested_at: str | None
    created_at: str
    changed_at: str
    measurement_digest: str
    measured_digest: str
    external_ids: Mapping[str, str] = field(default_factory=dict)
    categories_met: tuple[str, ...] = ()
    applications: tuple[str, ...] = ()
    power_types: tuple[str, ...] = ()
    failing: tuple[str, ...] = ()

    @property
    def withdrawn(self) -> bool:
        """Whether the record counts no more."""
        return self.kind is Kind.WITHDRAWN


@dataclass(frozen=True, slots=True)
class Change:
    """One entry of the feed; ``seq`` runs 1, 2, 3 ... in the order of commits.

    Attributes:
        previous_seq: of the change before it of the same record or job.
        job_id: where the record belongs after the change.
        previous_job_id: where it belonged before.
        record_id: ``None`` for a change of the job itself.
        number: revision of the record, or of the job.
        previous_outcome: of the revision before; ``None`` for the first.
    """

    seq: int
    previous_seq: int | None
    kind: ChangeKind
    at: str
    job_id: str
    previous_job_id: str | None
    record_id: str | None
    number: int
    label: str | None
    outcome: str | None
    previous_outcome: str | None


@dataclass(frozen=True, slots=True)
class ScheduledLink:
    """A link that a job must have, and what it is billed as."""

    label: str
    item_code: str | None = None


@dataclass(frozen=True, slots=True)
class Acceptance:
    """Who took the job over, when, and what the feed had reached.

    Attributes:
        by: id of the party.
    """

    by: str
    on: str
    seq: int


@dataclass(frozen=True, slots=True)
class Job:
    """A contract; every change of it is a new revision, and the old ones are kept.

    Attributes:
        customer_id: the party it is done for.
        requirement: rule set, category or class, as the grading takes it.
        configuration: what its links are, where all are the same.
        cords: what :mod:`fourpair_service.domain` adds to judge a channel.
        marginal_pass_billable: whether a marginal pass counts as done.
        schedule: the links that must exist.
    """

    id: str
    revision: int
    name: str
    at: str
    actor: str
    customer_id: str | None = None
    site: str | None = None
    requirement: Document = field(default_factory=dict)
    configuration: str | None = None
    applications: tuple[str, ...] = ()
    power_type: str | None = None
    cords: Document = field(default_factory=dict)
    minimum_basis: str | None = None
    marginal_pass_billable: bool = False
    schedule: tuple[ScheduledLink, ...] = ()
    external_ids: Mapping[str, str] = field(default_factory=dict)
    metadata: Mapping[str, Any] = field(default_factory=dict)
    acceptance: Acceptance | None = None


class PartyKind(StrEnum):
    """What a party is to the shop."""

    PERSON = "person"
    CUSTOMER = "customer"


@dataclass(frozen=True, slots=True)
class Party:
    """A person or customer; the only place where the name stands.

    Attributes:
        name: ``None`` once erased.
    """

    id: str
    kind: PartyKind
    name: str | None
    erased_at: str | None = None


@dataclass(frozen=True, slots=True)
class Attachment:
    """A document that belongs to a job, kept by the digest of its bytes."""

    id: str
    job_id: str
    name: str
    media_type: str
    size: int
    digest: str
    at: str
    actor: str


@dataclass(frozen=True, slots=True)
class IdempotencyEntry:
    """What became of a request that carried a key.

    Attributes:
        owner: the API key that used it; another one may use the same word.
        fingerprint: digest of method, path and payload.
        subject: ``record`` or ``job`` or what else the request made.
        subject_id: its id.
        number: revision that the request led to, where it has revisions.
        seq: the entry of the feed, where it has one.
        status: HTTP status of the answer.
        answer: what cannot be told again from the subject.
    """

    owner: str
    key: str
    fingerprint: str
    subject: str
    subject_id: str
    number: int | None
    seq: int | None
    at: str
    status: int
    answer: Document | None = None


@dataclass(frozen=True, slots=True)
class FaultState:
    """One thing that fails on one record, across its retests.

    Attributes:
        key: digest of record and ``what``: the same for as long as both are.
        what: what fails, never the suspected cause.
        opened_seq: first time.
        seen_seq: newest revision that shows it.
        closed_seq: the revision that shows it no more; ``None`` while open.
    """

    key: str
    record_id: str
    what: str
    title: str
    detail: str
    opened_seq: int
    seen_seq: int
    closed_seq: int | None = None
