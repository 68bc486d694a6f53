"""Quantities by item code: what a job may bill, and what it must give back.

The feed alone decides: the state at any ``seq`` can be told again, so that an
invoice is printed anew as it was. Quantities, never prices.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

from fourpair_service.records.curves import Document
from fourpair_service.records.errors import InvalidQueryError
from fourpair_service.records.integrity import canonical_json, digest
from fourpair_service.records.model import Change, ChangeKind, Job
from fourpair_service.records.ports import Reader
from fourpair_service.records.views.summary import counts_as_done


@dataclass(frozen=True, slots=True)
class Billable:
    """One link that may be billed.

    Attributes:
        seq: the change that made it so.
    """

    record_id: str
    number: int
    label: str
    outcome: str
    item_code: str | None
    seq: int


@dataclass(frozen=True, slots=True)
class State:
    """All that may be billed at one ``seq``, by record; and what no longer counts, with why."""

    billable: dict[str, Billable]
    lost: dict[str, Change]


def _policy(reader: Reader, job_id: str, changes: Iterable[Change]) -> Job | None:
    numbers = [change.number for change in changes if change.record_id is None]
    return reader.job_revision(job_id, numbers[-1]) if numbers else None


def _state(reader: Reader, job_id: str, changes: list[Change]) -> State:
    job = _policy(reader, job_id, changes)
    billable: dict[str, Billable] = {}
    lost: dict[str, Change] = {}
    if job is None:
        return State(billable, lost)
    codes = {link.label: link.item_code for link in job.schedule}
    for change in changes:
        if change.record_id is None or change.label is None or change.outcome is None:
            continue
        counts = (
            change.job_id == job_id
            and change.kind is not ChangeKind.RECORD_WITHDRAWN
            and counts_as_done(change.outcome, job)
        )
        if not counts:
            billable.pop(change.record_id, None)
            lost[change.record_id] = change
            continue
        code, known = codes.get(change.label), billable.get(change.record_id)
        seq = known.seq if known else change.seq
        billable[change.record_id] = Billable(
            change.record_id, change.number, change.label, change.outcome, code, seq
        )
    return State(billable, lost)


def _why(before: Billable, after: Billable | None, lost: Change | None, job_id: str) -> str:
    if after is not None:
        return f"billed as {before.item_code or 'no item'} before"
    if lost is None:
        return "no longer counts by the job's policy"
    if lost.job_id != job_id:
        return "moved to another job"
    if lost.kind is ChangeKind.RECORD_WITHDRAWN:
        return "withdrawn"
    return f"{lost.kind.value.partition('.')[2]}: {lost.outcome}".replace("_", " ")


def _credit(before: Billable, after: Billable | None, state: State, job_id: str) -> Document:
    lost = state.lost.get(before.record_id)
    return {
        "quantity": -1,
        "item_code": before.item_code,
        "record": before.record_id,
        "label": before.label,
        "outcome": lost.outcome if lost and not after else before.outcome,
        "seq": lost.seq if lost and not after else before.seq,
        "credits_seq": before.seq,
        "reason": _why(before, after, lost, job_id),
    }


def _charge(now: Billable) -> Document:
    return {
        "quantity": 1,
        "item_code": now.item_code,
        "record": now.record_id,
        "label": now.label,
        "outcome": now.outcome,
        "seq": now.seq,
        "credits_seq": None,
        "reason": now.outcome.replace("_", " "),
    }


def _lines(before: State, after: State, job_id: str) -> list[Document]:
    lines = []
    for record_id in {**before.billable, **after.billable}:
        was, now = before.billable.get(record_id), after.billable.get(record_id)
        same = was is not None and now is not None and (was.item_code, was.seq) == (now.item_code, now.seq)
        if same:
            continue
        if was is not None and (now is None or was.item_code != now.item_code):
            lines.append(_credit(was, now, after, job_id))
        if now is not None and (was is None or was.item_code != now.item_code):
            lines.append(_charge(now))
    return sorted(lines, key=lambda line: (line["seq"], line["record"], line["quantity"]))


def _totals(lines: Iterable[Document]) -> list[Document]:
    totals: Counter[str | None] = Counter()
    for line in lines:
        totals[line["item_code"]] += line["quantity"]
    codes = sorted(totals, key=lambda code: (code is not None, code or ""))
    return [{"item_code": code, "quantity": totals[code]} for code in codes]


def _counts(changes: list[Change], since: int) -> Document:
    period = [change for change in changes if change.seq > since and change.record_id]
    kinds = Counter(change.kind.value.partition(".")[2] for change in period)
    return {
        kind: kinds.get(kind, 0) for kind in ("submitted", "retested", "corrected", "regraded", "withdrawn")
    }


def state_digest(state: State) -> str:
    """Return the one digest of what an invoice rests on."""
    rows = [
        [b.record_id, b.number, b.label, b.outcome, b.item_code, b.seq]
        for _, b in sorted(state.billable.items())
    ]
    return digest(canonical_json(rows))


def billing(reader: Reader, job: Job, *, since: int, until: int | None) -> Document:
    """Return what changed in what a job may bill, after ``since`` and up to ``until``.

    Raises:
        InvalidQueryError: ``until`` lies before ``since`` or beyond the feed.
    """
    last = reader.last_change()
    newest = last.seq if last else 0
    until = newest if until is None else until
    if not 0 <= since <= until <= newest:
        raise InvalidQueryError(
            "since",
            f"{since} to {until} is no stretch of the feed, which has 0 to {newest}: give since, and until not below it",
        )
    changes = list(reader.job_changes(job.id, until=until))
    earlier = [change for change in changes if change.seq <= since]
    before, after = _state(reader, job.id, earlier), _state(reader, job.id, changes)
    lines = _lines(before, after, job.id)
    outcomes = Counter(link.outcome for link in after.billable.values())
    return {
        "job": job.id,
        "since": since,
        "until": until,
        "lines": lines,
        "totals": _totals(lines),
        "billable": _totals(_charge(link) for link in after.billable.values()),
        "passed": outcomes.get("pass", 0),
        "passed_marginally": outcomes.get("marginal_pass", 0),
        "changes": _counts(changes, since),
        "accepted_seq": job.acceptance.seq if job.acceptance else None,
        "after_acceptance": [
            line["record"] for line in lines if job.acceptance and line["seq"] > job.acceptance.seq
        ],
        "state_digest": state_digest(after),
    }
