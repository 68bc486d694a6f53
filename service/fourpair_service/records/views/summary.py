"""Where a job stands, as one would tell a supervisor."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from typing import Final

from fourpair_service.records.curves import Document
from fourpair_service.records.documents import first_reason
from fourpair_service.records.label_order import label_key
from fourpair_service.records.model import Change, Job, Record
from fourpair_service.records.ports import Reader
from fourpair_service.records.search import Filter
from fourpair_service.records.views.members import records_of
from fourpair_service.records.views.past import records_at

OUTCOMES: Final = ("pass", "marginal_pass", "marginal_fail", "fail", "incomplete")
WORST_LINKS: Final = 10

FINE: Final = "fine"
LOOK_AGAIN: Final = "look_again"
REDO: Final = "redo"
# A marginal failure may be the instrument's: it is tested again before anything is torn out.
GROUPS: Final = {"pass": FINE, "marginal_fail": LOOK_AGAIN, "incomplete": LOOK_AGAIN, "fail": REDO}


def counts_as_done(outcome: str, job: Job) -> bool:
    """Return whether a link of that outcome is done by the job's policy."""
    return outcome == "pass" or (outcome == "marginal_pass" and job.marginal_pass_billable)


def group_of(record: Record, job: Job) -> str:
    """Return whether a link is fine, to be looked at again or to be redone, by the job's policy."""
    if record.outcome == "marginal_pass":
        return FINE if job.marginal_pass_billable else LOOK_AGAIN
    return GROUPS[record.outcome]


def _link(reader: Reader, record: Record) -> Document:
    # A pass needs no reason, so the verdicts of the many good links are not read.
    verdict = None if record.outcome == "pass" else reader.verdict(record.id, record.revision)
    return {
        "label": record.label,
        "record": record.id,
        "outcome": record.outcome,
        "headroom_db": record.headroom_db,
        "failing": list(record.failing),
        "reason": first_reason(verdict) if verdict else None,
    }


def _grouped(reader: Reader, job: Job, records: Iterable[Record]) -> Document:
    groups: dict[str, list[Document]] = {FINE: [], LOOK_AGAIN: [], REDO: []}
    for record in records:
        groups[group_of(record, job)].append(_link(reader, record))
    return groups


def _same_twice(records: Iterable[Record]) -> list[Document]:
    by_measured: dict[str, list[Record]] = {}
    for record in sorted(records, key=lambda record: label_key(record.label)):
        by_measured.setdefault(record.measured_digest, []).append(record)
    return [
        {"labels": [r.label for r in same], "records": [r.id for r in same]}
        for same in by_measured.values()
        if len(same) > 1
    ]


def _wanted(job: Job, records: Sequence[Record]) -> list[Document]:
    """Return what the job wants its links to carry, and which do so without a condition.

    What a record carries has no past: it is that of the newest assessment.
    """
    asked = [("application", name, "applications") for name in job.applications]
    asked += [("power_type", job.power_type, "power_types")] if job.power_type else []
    told = []
    for what, name, of in asked:
        by = [name.casefold() in map(str.casefold, getattr(record, of)) for record in records]
        others = [record.label for record, does in zip(records, by, strict=True) if not does]
        told.append({"what": what, "name": name, "links": sum(by), "others": others})
    return told


def _worst(reader: Reader, records: Sequence[Record]) -> list[Document]:
    measured = [record for record in records if record.headroom_db is not None]
    measured.sort(key=lambda record: (record.headroom_db or 0.0, record.row))
    return [_link(reader, record) for record in measured[:WORST_LINKS]]


def change_line(change: Change) -> Document:
    """Return an entry of the feed, short."""
    return {
        "seq": change.seq,
        "kind": change.kind.value,
        "at": change.at,
        "record": change.record_id,
        "label": change.label,
        "outcome": change.outcome,
        "previous_outcome": change.previous_outcome,
    }


def after_acceptance(reader: Reader, job: Job, until: int | None = None) -> list[Document]:
    """Return what happened to records of a job after it was accepted, up to and with ``until``."""
    if job.acceptance is None:
        return []
    changes = reader.job_changes(job.id, until=until)
    later = (c for c in changes if c.seq > job.acceptance.seq and c.record_id)
    return [change_line(change) for change in later]


def summary(reader: Reader, job: Job, *, as_of: int | None = None) -> Document:
    """Return where a job stands, or stood when the feed had reached ``as_of``.

    Args:
        reader: of the store.
        job: as it stands or stood then.
        as_of: a ``seq``; one that is not reached yet means now.
    """
    last = reader.last_change()
    seq = last.seq if last else 0
    if as_of is None:
        every = list(records_of(reader, Filter(job_id=job.id, withdrawn=None)))
    else:
        seq = min(seq, as_of)
        every = records_at(reader, job.id, seq)
    records = [record for record in every if not record.withdrawn]
    labels, scheduled = {record.label for record in records}, [link.label for link in job.schedule]
    counts = Counter(record.outcome for record in records)
    first = sum(counts_as_done(record.first_outcome, job) for record in records)
    return {
        "job": job.id,
        "seq": seq,
        "links": len(records),
        "scheduled": len(scheduled),
        "counts": {outcome: counts.get(outcome, 0) for outcome in OUTCOMES},
        "withdrawn": len(every) - len(records),
        "done": sum(counts_as_done(record.outcome, job) for record in records),
        "missing": [label for label in scheduled if label not in labels],
        "unscheduled": sorted(labels - set(scheduled), key=label_key) if scheduled else [],
        "first_pass_rate": round(first / len(records), 4) if records else None,
        "provisional": any(record.provisional for record in records),
        "wanted": _wanted(job, records) if as_of is None else [],
        "same_measurement": _same_twice(records),
        "worst": _worst(reader, records),
        "groups": _grouped(reader, job, records),
        "after_acceptance": after_acceptance(reader, job, as_of),
    }
