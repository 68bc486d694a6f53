"""Records and what is told of them, as typed values. What this version does not know stays in ``raw``."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from fourpair._models import Verdict
from fourpair._told import Told, told


@dataclass(frozen=True, slots=True, kw_only=True)
class Record(Told):
    """Where the record of a link stands.

    Attributes:
        revision: number of the newest one.
        kind: what it did: ``submitted``, ``retested``, ``corrected``, ``regraded``, ``withdrawn``.
        headroom_db: smallest margin of the judged dB parameters. [dB]
        failing: what fails, such as ``next:near``.
        seq: its newest entry in the change feed.
        shown: the revision that was asked for; ``None`` where it came in a list.
        etag: what a change of it rests on; ``None`` where it came in a list.

    >>> record.label, record.outcome, record.headroom_db, record.external_ids
    ('A-01', 'pass', 1.083, {'costing': 'J-1'})
    """

    id: str
    job: str
    label: str
    revision: int
    kind: str
    outcome: str
    first_outcome: str | None = None
    headroom_db: float | None = None
    category: str = ""
    rule_set: str = ""
    provisional: bool = False
    withdrawn: bool = False
    tested_by: str | None = None
    tested_at: str | None = None
    created_at: str | None = None
    changed_at: str | None = None
    seq: int = 0
    digest: str = ""
    measurement_digest: str = ""
    external_ids: Mapping[str, str] = field(default_factory=dict)
    categories_met: tuple[str, ...] = ()
    applications: tuple[str, ...] = ()
    power_types: tuple[str, ...] = ()
    failing: tuple[str, ...] = ()
    shown: Revision | None = None
    etag: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Revision(Told):
    """One link of a record's chain.

    Attributes:
        seq: of its entry in the change feed.

    >>> record.shown.number, record.shown.kind, record.shown.previous_digest
    (1, 'submitted', None)
    """

    record: str
    number: int
    kind: str
    job: str
    label: str
    outcome: str
    seq: int | None = None
    headroom_db: float | None = None
    external_ids: Mapping[str, str] = field(default_factory=dict)
    tested_at: str | None = None
    rule_set: str = ""
    rule_set_digest: str = ""
    measurement_digest: str = ""
    verdict_digest: str = ""
    actor: str = ""
    reason: str | None = None
    at: str = ""
    previous_digest: str | None = None
    digest: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Written(Told):
    """What a write did.

    Attributes:
        result: ``created``, ``revised`` or ``unchanged``.
        replayed: the same request had been carried out before.
        idempotency_key: the key that the request carried.

    >>> written = client.records.create(link, dry_run=True)
    >>> written.result, written.verdict.outcome, written.dry_run, written.replayed
    ('created', 'pass', True, False)
    """

    record: Record
    revision: Revision
    verdict: Verdict
    result: str
    dry_run: bool
    replayed: bool
    idempotency_key: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchItem(Told):
    """What became of one measurement of a batch.

    Attributes:
        result: ``created``, ``revised``, ``unchanged`` or ``refused``.
        reason: the sentence that decides it, where it does not simply pass.
        problem: why it was refused, as a problem document.

    >>> (item,) = client.records.batch([link.with_changes(job="none")])
    >>> item.label, item.result, item.problem["code"]
    ('A-03', 'refused', 'not-kept')
    """

    index: int
    result: str
    label: str | None = None
    external_ids: Mapping[str, str] = field(default_factory=dict)
    record: str | None = None
    revision: int | None = None
    outcome: str | None = None
    reason: str | None = None
    problem: Mapping[str, Any] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Change(Told):
    """One entry of the change feed; ``seq`` has no gaps.

    >>> change = next(client.changes.list(after=1))
    >>> change.seq, change.kind, change.label, change.outcome
    (2, 'record.submitted', 'A-01', 'pass')
    """

    seq: int
    kind: str
    at: str
    revision: int
    previous_seq: int | None = None
    job: str | None = None
    previous_job: str | None = None
    record: str | None = None
    label: str | None = None
    outcome: str | None = None
    previous_outcome: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class KeyState(Told):
    """What became of a request with an idempotency key: ``landed``, ``running``, ``not_landed``.

    >>> written = client.records.create(link)
    >>> state = client.landed(written.idempotency_key)
    >>> state.state, state.subject, state.seq
    ('landed', 'record', 4)
    """

    key: str
    state: str
    subject: str | None = None
    subject_id: str | None = None
    revision: int | None = None
    seq: int | None = None
    at: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Reconciled(Told):
    """Where two systems agree and where not; each entry has its ``external_id``.

    Attributes:
        same: both hold the same measurement.
        changed: both hold one, and not the same.
        missing: only the other system holds it.
        extra: only this service holds it.

    >>> found = client.reconcile("costing", {"J-1": record.measurement_digest, "J-9": "sha256:00"})
    >>> len(found.same), found.missing[0]["external_id"], found.agree
    (1, 'J-9', False)
    """

    same: tuple[Mapping[str, Any], ...] = ()
    changed: tuple[Mapping[str, Any], ...] = ()
    missing: tuple[Mapping[str, Any], ...] = ()
    extra: tuple[Mapping[str, Any], ...] = ()

    @property
    def agree(self) -> bool:
        """Whether both hold the same and nothing else."""
        return not (self.changed or self.missing or self.extra)


def joined(documents: Sequence[Mapping[str, Any]]) -> Reconciled:
    """Return one comparison of several, each of a part of what the other system holds.

    What is extra beside every part is extra beside the whole.
    """
    ids = [{item["external_id"] for item in document["extra"]} for document in documents]
    everywhere = set.intersection(*ids)

    def of_all(name: str) -> tuple[Mapping[str, Any], ...]:
        return tuple(item for document in documents for item in document[name])

    extra = tuple(item for item in documents[0]["extra"] if item["external_id"] in everywhere)
    whole = {
        "same": of_all("same"),
        "changed": of_all("changed"),
        "missing": of_all("missing"),
        "extra": extra,
    }
    return told(Reconciled, whole)


@dataclass(frozen=True, slots=True, kw_only=True)
class Party(Told):
    """A person or customer; ``name`` is ``None`` once it is erased.

    >>> (who,) = client.parties()
    >>> who.kind, who.name
    ('person', 'Swift crew')
    """

    id: str
    kind: str
    name: str | None = None
    erased_at: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Group(Told):
    """Records that have something in common: ``values`` says what.

    >>> [(group.values["outcome"], group.records) for group in client.stats("outcome")]
    [('fail', 1), ('pass', 1)]
    """

    values: Mapping[str, str | None]
    records: int
    worst_headroom_db: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultPage(Told):
    """Plain help for one fault.

    >>> client.fault("split_pair").title
    'Split pair'
    """

    code: str
    title: str
    what: str = ""
    first: str = ""
    how_it_happens: tuple[str, ...] = ()
    repair: tuple[str, ...] = ()
    standard: str = ""
    caution: str | None = None
    could_also_be: tuple[str, ...] = ()
