"""What may be done with records: submit, retest, correct, regrade, withdraw.

Grading comes first and outside the store's lock; what it rested on is checked
again inside, where the revision is sealed and appended.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from fourpair_service.records.appending import (
    Graded,
    Step,
    Written,
    append_step,
    graded,
    graded_for,
    named,
    packed,
    remembered,
    replayed,
    submit_graded,
)
from fourpair_service.records.curves import Document, part
from fourpair_service.records.desk import (
    Caller,
    Desk,
    Terms,
    check_tag,
    known_key,
    record_tag,
    visible_job,
    visible_record,
)
from fourpair_service.records.documents import merged, retest_document, stored_document
from fourpair_service.records.errors import (
    InvalidRecordError,
    NotSupersedingError,
    RecordWithdrawnError,
)
from fourpair_service.records.integrity import (
    curves_digest,
)
from fourpair_service.records.model import (
    Kind,
    Record,
    Revision,
)
from fourpair_service.records.ports import Reader

# What a correction may touch: how the link is called and described, never what was measured.
CORRECTABLE: Final = ("label", "job", "ends", "cable", "tested_by", "notes", "external_ids")


def submit(desk: Desk, caller: Caller, document: Document, terms: Terms) -> Written:
    """Make the record of a link.

    Raises:
        NotFoundError: there is no such job.
        InvalidRecordError: it has no label or job.
        ServiceError: it cannot be graded, or its names are taken.
    """
    known = known_key(desk.store, caller, terms)
    if known is not None:
        return replayed(desk.store, caller, known)
    named(document, "label")
    job = visible_job(desk.store, caller, named(document, "job"))
    content = packed(desk, graded_for(desk, document, job))
    with desk.store.writing(keep=not terms.dry_run) as writer:
        known = known_key(writer, caller, terms)
        if known is not None:
            return replayed(writer, caller, known)
        return remembered(writer, desk, caller, terms, submit_graded(writer, desk, caller, content))


def _open_record(reader: Reader, caller: Caller, record_id: str, terms: Terms) -> tuple[Record, Revision]:
    """Return a record that takes another revision, and the newest one.

    Raises:
        NotFoundError, RevisionConflictError, RecordWithdrawnError: as they say.
    """
    record = visible_record(reader, caller, record_id)
    check_tag("Record", record_id, actual=record_tag(record), expected=terms.expected)
    if record.withdrawn:
        raise RecordWithdrawnError(record_id)
    newest = reader.revision(record_id, record.revision)
    assert newest is not None, "a record has its newest revision"
    return record, newest


def _add(desk: Desk, caller: Caller, step: Step, content: Graded, terms: Terms) -> Written:
    content = packed(desk, content)
    with desk.store.writing(keep=not terms.dry_run) as writer:
        known = known_key(writer, caller, terms)
        if known is not None:
            return replayed(writer, caller, known)
        _open_record(writer, caller, step.record_id, terms)
        return remembered(writer, desk, caller, terms, append_step(writer, desk, caller, step, content))


def retest(
    desk: Desk, caller: Caller, record_id: str, document: Document, terms: Terms, *, reason: str | None = None
) -> Written:
    """Append a new measurement of the same link.

    Raises:
        NotFoundError, RevisionConflictError, RecordWithdrawnError, InvalidRecordError: as they say.
        ServiceError: it cannot be graded.
    """
    known = known_key(desk.store, caller, terms)
    if known is not None:
        return replayed(desk.store, caller, known)
    record, newest = _open_record(desk.store, caller, record_id, terms)
    job = visible_job(desk.store, caller, record.job_id)
    content = graded_for(desk, retest_document(record, document), job)
    return _add(desk, caller, Step(Kind.RETESTED, record_id, newest, reason), content, terms)


def _unasked(document: Document) -> Document:
    return {name: value for name, value in document.items() if name != "requirement"}


def _regraded(desk: Desk, document: Document, requirement: Document) -> Graded:
    """Return a stored document graded by exactly what is asked; its own requirement stays part of it."""
    asked = {name: value for name, value in requirement.items() if value is not None}
    content = graded(desk, _unasked(document), asked)
    return replace(content, parted=part(document))


def correct(
    desk: Desk, caller: Caller, record_id: str, patch: Document, terms: Terms, *, reason: str
) -> Written:
    """Append a revision with another name or description of the same measurement.

    Raises:
        InvalidRecordError: the patch touches what only a retest may change.
        NotFoundError, RevisionConflictError, RecordWithdrawnError, LabelTakenError: as they say.
    """
    for name in patch:
        if name not in CORRECTABLE:
            detail = f"Only {', '.join(CORRECTABLE)} can be corrected; what was measured changes by a retest."
            raise InvalidRecordError(f"/{name}", detail)
    known = known_key(desk.store, caller, terms)
    if known is not None:
        return replayed(desk.store, caller, known)
    record, newest = _open_record(desk.store, caller, record_id, terms)
    document = merged(stored_document(desk.store, record_id, newest.number), patch)
    job = visible_job(desk.store, caller, named(document, "job"))
    named(document, "label")
    if job.id != record.job_id:
        content = graded_for(desk, document, job)
    else:
        verdict = desk.store.verdict(record_id, newest.number) or {}
        content = _regraded(desk, document, verdict["requirement"])
    if "tested_by" not in patch:
        content = replace(content, tester_id=newest.tester_id)
    return _add(desk, caller, Step(Kind.CORRECTED, record_id, newest, reason), content, terms)


def regrade(
    desk: Desk,
    caller: Caller,
    record_id: str,
    terms: Terms,
    *,
    rule_set: str,
    supersedes: frozenset[str],
    reason: str | None = None,
) -> Written:
    """Append the verdict of a rule set that supersedes the one in force.

    Args:
        desk: where it is done.
        caller: who asks.
        record_id: of which record.
        terms: how it is to be done.
        rule_set: id of the new one.
        supersedes: ids of all that it supersedes, near and far.
        reason: why.

    Raises:
        NotSupersedingError: it does not replace the one in force.
        NotFoundError, RevisionConflictError, RecordWithdrawnError: as they say.
    """
    _, newest = _open_record(desk.store, caller, record_id, terms)
    if newest.rule_set_id not in supersedes:
        raise NotSupersedingError(record_id, current=newest.rule_set_id, proposed=rule_set)
    verdict = desk.store.verdict(record_id, newest.number) or {}
    document = stored_document(desk.store, record_id, newest.number)
    content = _regraded(desk, document, {**verdict["requirement"], "rule_set": rule_set})
    content = replace(content, tester_id=newest.tester_id)
    return _add(desk, caller, Step(Kind.REGRADED, record_id, newest, reason), content, terms)


def withdraw(desk: Desk, caller: Caller, record_id: str, terms: Terms, *, reason: str) -> Written:
    """Append the revision that takes a record out of the count; its label is free again.

    Raises:
        NotFoundError, RevisionConflictError, RecordWithdrawnError: as they say.
    """
    known = known_key(desk.store, caller, terms)
    if known is not None:
        return replayed(desk.store, caller, known)
    _, newest = _open_record(desk.store, caller, record_id, terms)
    parted = desk.store.measurement(record_id, newest.number)
    verdict = desk.store.verdict(record_id, newest.number)
    assert parted is not None and verdict is not None, "a revision has its documents"
    beside = desk.store.assessment(record_id, newest.number)
    content = Graded(parted, curves_digest(parted.curves), verdict, beside, tester_id=newest.tester_id)
    return _add(desk, caller, Step(Kind.WITHDRAWN, record_id, newest, reason), content, terms)
