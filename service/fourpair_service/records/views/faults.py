"""What is to be mended, as a ticketing tool needs it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import groupby

from fourpair_service.records.curves import Document
from fourpair_service.records.defects import explained
from fourpair_service.records.model import Assessment, FaultState, Job, Record
from fourpair_service.records.ports import Reader

SAFETY = (
    "Work at height, near mains wiring or on a port that feeds power only as local codes and your licence allow; "
    "take the power of the port down first."
)


def _suspicions(assessment: Assessment | None) -> list[str]:
    diagnosis = (assessment.document.get("diagnosis") if assessment else None) or {}
    return [str(fault["text"]) for fault in diagnosis.get("faults", ()) if fault.get("text")]


def _heads(reader: Reader, of_record: Sequence[FaultState]) -> dict[str, str]:
    """Return, by name, the faults of one record that another one stands for.

    Each is read in the verdict that showed it last. A fault that is closed stands for no
    open one: what is left to mend is never hidden.
    """
    faults = {fault.what: fault for fault in of_record}
    wiring = [fault for fault in of_record if fault.what.startswith("wire_map:")]
    if not wiring:
        return {}
    unmended = [fault.what for fault in wiring if fault.closed_seq is None]
    found: dict[str, str] = {}
    for seq, shown in groupby(sorted(of_record, key=lambda f: f.seen_seq), key=lambda f: f.seen_seq):
        revision = reader.revision_as_of(of_record[0].record_id, seq)
        verdict = reader.verdict(revision.record_id, revision.number) if revision else None
        heads = explained(verdict or {}, unmended)
        found |= {fault.what: heads[fault.what] for fault in shown if fault.what in heads}
    direct = {what: head for what, head in found.items() if _stands_for(faults.get(head), faults[what])}
    return {what: _last_head(what, direct) for what in direct}


def _stands_for(head: FaultState | None, fault: FaultState) -> bool:
    return head is not None and (head.closed_seq is None or fault.closed_seq is not None)


def _last_head(what: str, heads: Mapping[str, str]) -> str:
    while what in heads:
        what = heads[what]
    return what


def _state(fault: FaultState) -> str:
    return "open" if fault.closed_seq is None else "closed"


def _by_product(fault: FaultState) -> Document:
    told = ("key", "what", "title", "detail")
    return {**{name: getattr(fault, name) for name in told}, "state": _state(fault)}


def ticket(
    fault: FaultState, record: Record, suspected: Iterable[str], by_products: Sequence[FaultState]
) -> Document:
    """Return the text of a ticket: what, where, what fails with it, and what may be behind it."""
    lines = [fault.detail, f"Link {record.label} of job {record.job_id}, record {record.id}."]
    lines += [f"Fails with it, and is judged again by the retest: {each.title}." for each in by_products]
    lines += [f"Suspected: {text}" for text in suspected]
    return {"title": f"{record.label}: {fault.title}", "body": "\n".join([*lines, SAFETY])}


def faults(reader: Reader, job: Job, *, include_closed: bool) -> Document:
    """Return what is to be mended in a job, under keys that stay the same across retests.

    What fails because of a fault of the wiring stands within that fault, with its key.
    """
    kept = reader.job_faults(job.id)
    by_record: dict[str, list[FaultState]] = {}
    for fault in kept:
        by_record.setdefault(fault.record_id, []).append(fault)
    heads = {record_id: _heads(reader, of_record) for record_id, of_record in by_record.items()}
    found: list[Document] = []
    for fault in kept:
        of_record, head_of = by_record[fault.record_id], heads[fault.record_id]
        if fault.what in head_of or (fault.closed_seq is not None and not include_closed):
            continue
        within = [each for each in of_record if head_of.get(each.what) == fault.what]
        found += _told(reader, fault, within)
    last = reader.last_change()
    return {"job": job.id, "seq": last.seq if last else 0, "faults": found}


def _told(reader: Reader, fault: FaultState, within: Sequence[FaultState]) -> Iterator[Document]:
    record = reader.record(fault.record_id)
    if record is None:
        return
    suspected = _suspicions(reader.assessment(record.id, record.revision))
    yield {
        "key": fault.key,
        "state": _state(fault),
        "what": fault.what,
        "record": record.id,
        "label": record.label,
        "opened_seq": fault.opened_seq,
        "seen_seq": fault.seen_seq,
        "closed_seq": fault.closed_seq,
        "by_products": [_by_product(each) for each in within],
        "ticket": ticket(fault, record, suspected, within),
    }
