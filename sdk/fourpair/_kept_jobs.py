"""Jobs and what is told of them, as typed values. What this version does not know stays in ``raw``."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from fourpair._told import Told


@dataclass(frozen=True, slots=True, kw_only=True)
class Job(Told):
    """A contract.

    Attributes:
        schedule: the links that must exist, each with ``label`` and ``item_code``.
        etag: what a change of it rests on; ``None`` where it came in a list.

    >>> job = client.jobs.get("clinic")
    >>> job.name, job.requirement["category"], job.schedule[0]
    ('Clinic', '6', {'label': 'A-01', 'item_code': 'outlet'})
    """

    id: str
    revision: int
    name: str
    customer: str | None = None
    site: str | None = None
    requirement: Mapping[str, Any] = field(default_factory=dict)
    configuration: str | None = None
    applications: tuple[str, ...] = ()
    power_type: str | None = None
    cords: Mapping[str, Any] = field(default_factory=dict)
    minimum_basis: str | None = None
    marginal_pass_billable: bool = False
    schedule: tuple[Mapping[str, Any], ...] = ()
    external_ids: Mapping[str, str] = field(default_factory=dict)
    metadata: Mapping[str, str] = field(default_factory=dict)
    acceptance: Mapping[str, Any] | None = None
    changed_at: str | None = None
    etag: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Summary(Told):
    """Where a job stands.

    Attributes:
        missing: links of the schedule without a record.
        groups: links by what a supervisor would say: ``fine``, ``look_again``, ``redo``.
        wanted: each application and power type that the job wants, how many ``links`` carry it
            without a condition, and the labels of the ``others``; empty in the past.

    >>> summary = client.jobs.summary("clinic")
    >>> summary.done, summary.missing, summary.groups["redo"][0]["label"]
    (1, ('A-03',), 'A-02')
    """

    job: str
    seq: int
    links: int
    done: int
    counts: Mapping[str, int]
    missing: tuple[str, ...]
    groups: Mapping[str, Any]
    scheduled: int = 0
    withdrawn: int = 0
    unscheduled: tuple[str, ...] = ()
    first_pass_rate: float | None = None
    provisional: bool = False
    worst: tuple[Mapping[str, Any], ...] = ()
    wanted: tuple[Mapping[str, Any], ...] = ()
    same_measurement: tuple[Mapping[str, Any], ...] = ()
    after_acceptance: tuple[Mapping[str, Any], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Quantity(Told):
    """A signed quantity of one item code; ``None`` for links without one.

    >>> client.jobs.billing("clinic").totals
    (Quantity(item_code='outlet', quantity=1),)
    """

    item_code: str | None
    quantity: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Billing(Told):
    """Signed quantities for a period of the feed; never prices.

    Attributes:
        until: ask with this as ``since`` next time.
        lines: each link to bill, or to give back with the ``seq`` it credits.
        state_digest: seals all that an invoice rests on.

    >>> billing = client.jobs.billing("clinic")
    >>> billing.until, billing.lines[0]["label"], billing.lines[0]["quantity"]
    (3, 'A-01', 1)
    """

    job: str
    since: int
    until: int
    totals: tuple[Quantity, ...]
    lines: tuple[Mapping[str, Any], ...]
    state_digest: str
    billable: tuple[Quantity, ...] = ()
    passed: int = 0
    passed_marginally: int = 0
    changes: Mapping[str, int] = field(default_factory=dict)
    accepted_seq: int | None = None
    after_acceptance: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class JobFault(Told):
    """Something to mend; ``key`` is the same until it is mended and after.

    Attributes:
        by_products: what fails because of it, each with ``key``, ``state``, ``what``, ``title``
            and ``detail``: a split pair is one fault and fails seven parameters.
        ticket: ``title`` and ``body``, ready to be sent.

    >>> (fault,) = client.jobs.faults("clinic")
    >>> fault.state, fault.what, fault.ticket["title"]
    ('open', 'wire_map:reversed_pair:12', 'A-02: Wire map: reversed pair 12')
    """

    key: str
    state: str
    what: str
    record: str
    label: str
    ticket: Mapping[str, str]
    opened_seq: int = 0
    seen_seq: int = 0
    closed_seq: int | None = None
    by_products: Sequence[Mapping[str, str]] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Attachment(Told):
    """A document of a job.

    Attributes:
        size: [bytes]
        digest: of its bytes, ``sha256:...``.

    >>> kept = client.jobs.attach("clinic", "plan.txt", b"first floor", media_type="text/plain")
    >>> kept.name, kept.size, kept.digest[:14]
    ('plan.txt', 11, 'sha256:8a45058')
    """

    id: str
    job: str
    name: str
    media_type: str
    size: int
    digest: str
    at: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Schedule(Told):
    """The links that a job must have, and what became of each line that was sent.

    Attributes:
        schedule: each with ``label`` and ``item_code``.
        lines: each with ``line``, ``label`` and ``result``: ``added``, ``changed``, ``same``.
        removed: labels that are no longer in it.

    >>> client.jobs.schedule("clinic").schedule[0]
    {'label': 'A-01', 'item_code': 'outlet'}
    """

    schedule: tuple[Mapping[str, Any], ...]
    lines: tuple[Mapping[str, Any], ...] = ()
    removed: tuple[str, ...] = ()
