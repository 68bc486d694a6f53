"""Many links at once, and one link by whatever name the other system has for it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

from fourpair_service.errors import ServiceError
from fourpair_service.records.appending import (
    Graded,
    Step,
    Written,
    append_step,
    graded_for,
    named,
    packed,
    remembered,
    replayed,
    submit_graded,
)
from fourpair_service.records.curves import Document
from fourpair_service.records.desk import (
    Caller,
    Desk,
    Subject,
    Terms,
    check_tag,
    known_key,
    record_tag,
    remember,
    visible_job,
)
from fourpair_service.records.documents import external_ids_of, retest_document
from fourpair_service.records.errors import ExternalIdTakenError, InvalidRecordError, StoreError
from fourpair_service.records.integrity import measurement_digest
from fourpair_service.records.model import IdempotencyEntry, Kind, Record
from fourpair_service.records.ports import Reader, Writer

ATOMIC: Final = "atomic"
PARTIAL: Final = "partial"


@dataclass(frozen=True, slots=True)
class ExternalId:
    """What another system calls a link."""

    system: str
    value: str


@dataclass(frozen=True, slots=True)
class ItemResult:
    """What became of one item of a batch: one of ``written`` and ``error``."""

    index: int
    written: Written | None = None
    error: ServiceError | None = None


@dataclass(frozen=True, slots=True)
class BatchResult:
    """What became of a batch.

    Attributes:
        kept: whether anything of it was kept.
        known: what the same request gave before, where it came again.
    """

    items: tuple[ItemResult, ...]
    kept: bool
    known: IdempotencyEntry | None = None


def _existing(reader: Reader, job_id: str, label: str, external: ExternalId | None) -> Record | None:
    if external is not None:
        found = reader.record_with_external_id(external.system, external.value)
        if found is not None:
            return found
    return reader.record_labelled(job_id, label)


def _with_external_id(document: Document, external: ExternalId | None) -> Document:
    if external is None:
        return document
    ids = external_ids_of(document)
    if ids.setdefault(external.system, external.value) != external.value:
        detail = f"The address says {external.value}; leave it out or say the same."
        raise InvalidRecordError(f"/external_ids/{external.system}", detail, ids[external.system])
    return {**document, "external_ids": ids}


def _first_external_id(document: Document) -> ExternalId | None:
    ids = sorted(external_ids_of(document).items())
    return next((ExternalId(system, value) for system, value in ids), None)


@dataclass(frozen=True, slots=True)
class Upsert:
    """A graded item that is either new or a retest of what is there."""

    content: Graded
    external: ExternalId | None


def _prepared(desk: Desk, caller: Caller, document: Document, external: ExternalId | None) -> Upsert:
    document = _with_external_id(document, external)
    label, job_id = named(document, "label"), named(document, "job")
    job = visible_job(desk.store, caller, job_id)
    external = external or _first_external_id(document)
    known = _existing(desk.store, job_id, label, external)
    if known is not None and caller.sees(known.job_id):
        document = retest_document(known, document)
    content = graded_for(desk, document, job)
    if known is None or not _same(desk.store, known, content):
        content = packed(desk, content)
    return Upsert(content, external)


def _same(reader: Reader, record: Record, content: Graded) -> bool:
    rest = dict(content.parted.rest)
    if record.tester_id is not None:
        party = reader.party(record.tester_id)
        if party is None or rest.get("tested_by") != party.name:
            return False
        rest["tested_by"] = record.tester_id
    return record.measurement_digest == measurement_digest(rest, content.curves_digest)


def _carried_out(writer: Writer, desk: Desk, caller: Caller, upsert: Upsert, terms: Terms) -> Written:
    rest = upsert.content.parted.rest
    record = _existing(writer, rest["job"], rest["label"], upsert.external)
    if record is None:
        if terms.expected is not None:
            check_tag("Record", rest["label"], actual="none", expected=terms.expected)
        return submit_graded(writer, desk, caller, upsert.content)
    if not caller.sees(record.job_id) and upsert.external is not None:
        own = upsert.external
        raise ExternalIdTakenError(own.system, own.value, "a record that this key does not see")
    check_tag("Record", record.id, actual=record_tag(record), expected=terms.expected)
    # What was prepared for another state of the record must still be about this one.
    retest_document(record, rest)
    newest, verdict = writer.revision(record.id, record.revision), writer.verdict(record.id, record.revision)
    assert newest is not None and verdict is not None, "a record has its newest revision"
    if _same(writer, record, upsert.content):
        return Written(record, newest, verdict, None)
    return append_step(writer, desk, caller, Step(Kind.RETESTED, record.id, newest, None), upsert.content)


def upsert(
    desk: Desk, caller: Caller, document: Document, terms: Terms, external: ExternalId | None = None
) -> Written:
    """Make the record of a link, or retest the one that has its external id or label.

    The same measurement once more changes nothing.

    Raises:
        NotFoundError: there is no such job.
        InvalidRecordError: it lacks a name, or contradicts the record that is there.
        ServiceError: it cannot be graded, or its names are taken.
    """
    known = known_key(desk.store, caller, terms)
    if known is not None:
        return replayed(desk.store, caller, known)
    prepared = _prepared(desk, caller, document, external)
    with desk.store.writing(keep=not terms.dry_run) as writer:
        known = known_key(writer, caller, terms)
        if known is not None:
            return replayed(writer, caller, known)
        written = _carried_out(writer, desk, caller, prepared, terms)
        return remembered(writer, desk, caller, terms, written)


class _UndoneError(Exception):
    """Takes back an atomic batch of which an item failed."""


def _prepared_items(
    desk: Desk, caller: Caller, documents: Sequence[Document | ServiceError]
) -> list[Upsert | ServiceError]:
    prepared: list[Upsert | ServiceError] = []
    for document in documents:
        if isinstance(document, ServiceError):
            prepared.append(document)
            continue
        try:
            prepared.append(_prepared(desk, caller, document, None))
        except ServiceError as error:
            prepared.append(error)
    return prepared


def _item(
    writer: Writer, desk: Desk, caller: Caller, index: int, prepared: Upsert | ServiceError
) -> ItemResult:
    if isinstance(prepared, ServiceError):
        return ItemResult(index, error=prepared)
    try:
        with writer.attempt():
            return ItemResult(index, written=_carried_out(writer, desk, caller, prepared, Terms()))
    except StoreError:
        raise
    except ServiceError as error:
        return ItemResult(index, error=error)


def batch(
    desk: Desk,
    caller: Caller,
    documents: Sequence[Document | ServiceError],
    terms: Terms,
    *,
    mode: str,
    told: Callable[[Sequence[ItemResult]], Document],
) -> BatchResult:
    """Upsert many links in one transaction.

    Args:
        desk: where it is done.
        caller: who asks.
        terms: how it is to be done.
        documents: measurement documents, or why one could not be read.
        mode: ``atomic`` keeps all or nothing; ``partial`` keeps what can be kept.
        told: makes the answer that a repetition of the request gets.

    Raises:
        StoreError: the store failed; nothing was kept.
    """
    known = known_key(desk.store, caller, terms)
    if known is not None:
        return BatchResult((), kept=True, known=known)
    prepared = _prepared_items(desk, caller, documents)
    items: list[ItemResult] = []
    try:
        with desk.store.writing(keep=not terms.dry_run) as writer:
            known = known_key(writer, caller, terms)
            if known is not None:
                return BatchResult((), kept=True, known=known)
            items = [_item(writer, desk, caller, i, each) for i, each in enumerate(prepared)]
            if mode == ATOMIC and any(item.error for item in items):
                raise _UndoneError
            subject = Subject("batch", desk.new_id(), status=200, answer=told(items))
            remember(writer, desk, caller, terms, subject)
    except _UndoneError:
        return BatchResult(tuple(items), kept=False)
    return BatchResult(tuple(items), kept=not terms.dry_run)
