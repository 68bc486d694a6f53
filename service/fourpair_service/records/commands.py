"""What may be done with records: submit, retest, correct, regrade, withdraw.

Grading comes first and outside the store's lock; what it rested on is checked
again inside, where the revision is sealed and appended.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

from fourpair_service.records.curves import Document, Parted, join, part
from fourpair_service.records.desk import (
    Caller,
    Desk,
    Subject,
    Terms,
    check_tag,
    known_key,
    party_id,
    record_tag,
    remember,
    visible_job,
    visible_record,
    visible_revision,
)
from fourpair_service.records.errors import (
    InvalidRecordError,
    NotFoundError,
    NotSupersedingError,
    RecordWithdrawnError,
)
from fourpair_service.records.integrity import (
    canonical_json,
    curves_digest,
    digest,
    measured_digest,
    measurement_digest,
    sealed,
)
from fourpair_service.records.model import (
    Assessment,
    Change,
    IdempotencyEntry,
    Job,
    Kind,
    PartyKind,
    Record,
    Revision,
)
from fourpair_service.records.ports import Reader, Writer
from fourpair_service.records.times import instant_of

# What a correction may touch: how the link is called and described, never what was measured.
CORRECTABLE: Final = ("label", "job", "ends", "cable", "tested_by", "notes")


@dataclass(frozen=True, slots=True)
class Graded:
    """A measurement with its verdict, ready to be appended.

    Attributes:
        parted: the document taken apart; people still by name.
        curves_digest: of its curves.
        tester_id: who tested, where that is known already and not to be looked up by name.
    """

    parted: Parted
    curves_digest: str
    verdict: Document
    assessment: Assessment | None = None
    tester_id: str | None = None


@dataclass(frozen=True, slots=True)
class Written:
    """What a command did.

    Attributes:
        change: ``None`` where nothing changed.
        replayed: it had been done before, by the same request.
    """

    record: Record
    revision: Revision
    verdict: Document
    change: Change | None
    replayed: bool = False

    @property
    def created(self) -> bool:
        """Whether the record is new."""
        return self.change is not None and self.revision.number == 1


def job_requirement(job: Job) -> Document:
    """Return what a job asks of its links, as the grading takes it."""
    asked = {**job.requirement, "configuration": job.configuration, "minimum_basis": job.minimum_basis}
    return {name: value for name, value in asked.items() if value is not None}


def graded(desk: Desk, document: Document, requirement: Document) -> Graded:
    """Return a document with its verdict.

    Raises:
        ServiceError: the document or what is asked of it is not valid.
    """
    grading = desk.grade(document, requirement)
    parted = part(document)
    return Graded(parted, curves_digest(parted.curves), grading.verdict, grading.assessment)


def named(document: Mapping[str, Any], name: str) -> str:
    """Return a name that a document must have.

    Raises:
        InvalidRecordError: it has none.
    """
    value = document.get(name)
    if not isinstance(value, str) or not value:
        raise InvalidRecordError(f"/{name}", f"A record needs a {name}; say which.")
    return value


@dataclass(frozen=True, slots=True)
class Step:
    """What a new revision does to its record."""

    kind: Kind
    record_id: str
    before: Revision | None
    reason: str | None


def append_step(writer: Writer, desk: Desk, caller: Caller, step: Step, content: Graded) -> Written:
    """Seal a revision and append it.

    Raises:
        RevisionConflictError, LabelTakenError, ExternalIdTakenError: as they say.
    """
    rest = dict(content.parted.rest)
    tester = content.tester_id or party_id(writer, desk, PartyKind.PERSON, rest.get("tested_by"))
    if tester is not None:
        rest["tested_by"] = tester
    tested_at = rest.get("tested_at")
    verdict = content.verdict
    revision = sealed(
        Revision(
            record_id=step.record_id,
            number=step.before.number + 1 if step.before else 1,
            kind=step.kind,
            job_id=rest["job"],
            label=rest["label"],
            external_ids=rest.get("external_ids", {}),
            tester_id=tester,
            tested_at=None if tested_at is None else instant_of(tested_at, "/tested_at"),
            rule_set_id=verdict["rule_set"]["id"],
            rule_set_digest=verdict["rule_set"]["digest"],
            measurement_digest=measurement_digest(rest, content.curves_digest),
            measured_digest=measured_digest(rest, content.curves_digest),
            verdict_digest=digest(canonical_json(verdict)),
            outcome=verdict["outcome"],
            headroom_db=verdict["headroom_db"],
            actor=caller.actor,
            reason=step.reason,
            at=desk.now(),
            previous_digest=step.before.digest if step.before else None,
            digest="",
        )
    )
    change = writer.append(revision, Parted(rest, content.parted.curves), verdict, content.assessment)
    record = writer.record(step.record_id)
    assert record is not None, "what was appended is there"
    return Written(record, revision, verdict, change)


def remembered(writer: Writer, desk: Desk, caller: Caller, terms: Terms, written: Written) -> Written:
    """Return what was written, once its idempotency key is kept."""
    subject = Subject(
        "record",
        written.record.id,
        number=written.revision.number,
        seq=written.change.seq if written.change else written.record.seq,
        status=201 if written.created else 200,
    )
    remember(writer, desk, caller, terms, subject)
    return written


def replayed(reader: Reader, caller: Caller, entry: IdempotencyEntry) -> Written:
    """Return what a request had done when it came the first time.

    Raises:
        NotFoundError: it made something else than a record, or the caller no longer sees it.
    """
    record, number = visible_record(reader, caller, entry.subject_id), entry.number or 0
    revision = visible_revision(reader, caller, entry.subject_id, number)
    verdict = reader.verdict(entry.subject_id, number)
    if verdict is None:
        raise NotFoundError("record", entry.subject_id)
    return Written(record, revision, verdict, None, replayed=True)


def submit_graded(writer: Writer, desk: Desk, caller: Caller, content: Graded) -> Written:
    """Append the first revision of a record.

    Raises:
        LabelTakenError, ExternalIdTakenError: another link has them.
    """
    return append_step(writer, desk, caller, Step(Kind.SUBMITTED, desk.new_id(), None, None), content)


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
    content = graded(desk, document, job_requirement(job))
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
    with desk.store.writing(keep=not terms.dry_run) as writer:
        known = known_key(writer, caller, terms)
        if known is not None:
            return replayed(writer, caller, known)
        _open_record(writer, caller, step.record_id, terms)
        return remembered(writer, desk, caller, terms, append_step(writer, desk, caller, step, content))


def retest_document(record: Record, document: Document) -> Document:
    """Return a document with the names of the record that it is measured for.

    Raises:
        InvalidRecordError: it names another link, job or external id.
    """
    own = {"label": record.label, "job": record.job_id}
    for name, value in own.items():
        if document.get(name, value) != value:
            detail = f"The record's {name} is {value}; correct that first, or leave it out."
            raise InvalidRecordError(f"/{name}", detail, document[name])
    ids = {**record.external_ids, **document.get("external_ids", {})}
    return {**document, **own, **({"external_ids": ids} if ids else {})}


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
    content = graded(desk, retest_document(record, document), job_requirement(job))
    return _add(desk, caller, Step(Kind.RETESTED, record_id, newest, reason), content, terms)


def stored_document(reader: Reader, record_id: str, number: int) -> Document:
    """Return the measurement of a revision as it was sent; an erased person is left out.

    Raises:
        NotFoundError: there is no such revision.
    """
    parted = reader.measurement(record_id, number)
    if parted is None:
        raise NotFoundError("revision", f"{number} of record {record_id}")
    document = join(parted)
    tester = document.get("tested_by")
    if tester is not None:
        party = reader.party(tester)
        if party is None or party.name is None:
            del document["tested_by"]
        else:
            document["tested_by"] = party.name
    return document


def merged(target: Any, patch: Any) -> Any:
    """Return a document with a merge patch applied (RFC 7396)."""
    if not isinstance(patch, Mapping):
        return patch
    result = dict(target) if isinstance(target, Mapping) else {}
    for name, value in patch.items():
        if value is None:
            result.pop(name, None)
        else:
            result[name] = merged(result.get(name), value)
    return result


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
        content = graded(desk, document, job_requirement(job))
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
    content = Graded(parted, curves_digest(parted.curves), verdict, tester_id=newest.tester_id)
    return _add(desk, caller, Step(Kind.WITHDRAWN, record_id, newest, reason), content, terms)
