"""Jobs, records and what is told of them, as typed values. What this version does not know stays in ``raw``."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from typing import Any, TypeVar

from fourpair._models import Verdict

T = TypeVar("T")


def told(kind: type[T], document: Mapping[str, Any], **own: Any) -> T:
    """Return a value whose fields are those of a document; lists become tuples."""
    values = {
        each.name: document.get(each.name)
        for each in fields(kind)  # type: ignore[arg-type]
        if each.name in document
    }
    values = {name: tuple(value) if isinstance(value, list) else value for name, value in values.items()}
    return kind(**{**values, "raw": document, **own})


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """Where the record of a link stands.

    Attributes:
        revision: number of the newest one.
        kind: what it did: ``submitted``, ``retested``, ``corrected``, ``regraded``, ``withdrawn``.
        headroom_db: smallest margin of the judged dB parameters. [dB]
        failing: what fails, such as ``next:near``.
        seq: its newest entry in the change feed.
        etag: what a change of it rests on; ``None`` where it came in a list.
    """

    id: str
    job: str
    label: str
    revision: int
    kind: str
    outcome: str
    headroom_db: float | None = None
    category: str = ""
    rule_set: str = ""
    provisional: bool = False
    withdrawn: bool = False
    tested_by: str | None = None
    tested_at: str | None = None
    seq: int = 0
    digest: str = ""
    measurement_digest: str = ""
    external_ids: Mapping[str, str] = field(default_factory=dict)
    categories_met: tuple[str, ...] = ()
    failing: tuple[str, ...] = ()
    etag: str | None = None
    raw: Mapping[str, Any] = field(repr=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class Revision:
    """One link of a record's chain."""

    record: str
    number: int
    kind: str
    job: str
    label: str
    outcome: str
    headroom_db: float | None = None
    rule_set: str = ""
    actor: str = ""
    reason: str | None = None
    at: str = ""
    previous_digest: str | None = None
    digest: str = ""
    raw: Mapping[str, Any] = field(repr=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class Written:
    """What a write did.

    Attributes:
        result: ``created``, ``revised`` or ``unchanged``.
        replayed: the same request had been carried out before.
        idempotency_key: the key that the request carried.
    """

    record: Record
    revision: Revision
    verdict: Verdict
    result: str
    dry_run: bool
    replayed: bool
    idempotency_key: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchItem:
    """What became of one measurement of a batch.

    Attributes:
        result: ``created``, ``revised``, ``unchanged`` or ``refused``.
        problem: why it was refused, as a problem document.
    """

    index: int
    result: str
    label: str | None = None
    external_ids: Mapping[str, str] = field(default_factory=dict)
    record: str | None = None
    revision: int | None = None
    outcome: str | None = None
    problem: Mapping[str, Any] | None = None
    raw: Mapping[str, Any] = field(repr=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One entry of the change feed; ``seq`` has no gaps."""

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
    raw: Mapping[str, Any] = field(repr=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """A contract.

    Attributes:
        schedule: the links that must exist, each with ``label`` and ``item_code``.
        etag: what a change of it rests on; ``None`` where it came in a list.
    """

    id: str
    revision: int
    name: str
    customer: str | None = None
    site: str | None = None
    requirement: Mapping[str, Any] = field(default_factory=dict)
    configuration: str | None = None
    marginal_pass_billable: bool = False
    schedule: tuple[Mapping[str, Any], ...] = ()
    external_ids: Mapping[str, str] = field(default_factory=dict)
    metadata: Mapping[str, str] = field(default_factory=dict)
    acceptance: Mapping[str, Any] | None = None
    etag: str | None = None
    raw: Mapping[str, Any] = field(repr=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class Summary:
    """Where a job stands.

    Attributes:
        missing: links of the schedule without a record.
        groups: links by what a supervisor would say: ``fine``, ``look_again``, ``redo``.
    """

    job: str
    seq: int
    links: int
    done: int
    counts: Mapping[str, int]
    missing: tuple[str, ...]
    groups: Mapping[str, Any]
    first_pass_rate: float | None = None
    raw: Mapping[str, Any] = field(repr=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class Quantity:
    """A signed quantity of one item code; ``None`` for links without one."""

    item_code: str | None
    quantity: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Billing:
    """Signed quantities for a period of the feed; never prices.

    Attributes:
        until: ask with this as ``since`` next time.
        lines: each link to bill, or to give back with the ``seq`` it credits.
        state_digest: seals all that an invoice rests on.
    """

    job: str
    since: int
    until: int
    totals: tuple[Quantity, ...]
    lines: tuple[Mapping[str, Any], ...]
    state_digest: str
    raw: Mapping[str, Any] = field(repr=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class JobFault:
    """Something to mend; ``key`` is the same until it is mended and after.

    Attributes:
        ticket: ``title`` and ``body``, ready to be sent.
    """

    key: str
    state: str
    what: str
    record: str
    label: str
    ticket: Mapping[str, str]
    opened_seq: int = 0
    closed_seq: int | None = None
    raw: Mapping[str, Any] = field(repr=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class KeyState:
    """What became of a request with an idempotency key: ``landed``, ``running``, ``not_landed``."""

    key: str
    state: str
    subject: str | None = None
    subject_id: str | None = None
    revision: int | None = None
    seq: int | None = None
    raw: Mapping[str, Any] = field(repr=False)
