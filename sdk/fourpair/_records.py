"""``client.records``: the certification records of links."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import requests

from fourpair._kept import Record, Revision, Written
from fourpair._measurement import Measurement, checked
from fourpair._models import Verdict
from fourpair._record_many import RecordMany
from fourpair._record_reading import RecordReading, record_path
from fourpair._sent import TouchstoneSource, sent
from fourpair._told import told
from fourpair._transport import MERGE_PATCH, operation, tag_header

Document = Mapping[str, Any]
Sent = Mapping[str, Any] | Measurement


def _written(answer: requests.Response) -> Written:
    document = answer.json()
    revision = told(Revision, document["revision"])
    return Written(
        record=told(Record, document["record"], etag=answer.headers.get("ETag"), shown=revision),
        revision=revision,
        verdict=Verdict.from_document(document["verdict"], response=answer),
        result=document["result"],
        dry_run=document["dry_run"],
        replayed="Idempotent-Replayed" in answer.headers,
        idempotency_key=answer.request.headers.get("Idempotency-Key", "").strip('"') or None,
        raw=document,
        response=answer,
    )


def _target(record: Record | str, *parts: str) -> tuple[str, dict[str, str]]:
    if isinstance(record, str):
        return record_path(record, *parts), tag_header(None)
    return record_path(record.id, *parts), tag_header(record.etag)


class Records(RecordReading, RecordMany):
    """Records, as a client reads and writes them.

    Every write takes ``dry_run`` (the same checks and verdict, nothing kept) and
    ``idempotency_key`` (one is made where none is given, and sent again on every
    try). A write takes a :class:`Record` as it was read, and is refused where it has
    moved on since; or its id, to write whatever is there.

    >>> [record.label for record in client.records.list(job="clinic")]
    ['A-01', 'A-02']
    """

    @operation("createRecord")
    def create(
        self,
        measurement: Sent,
        *,
        touchstone: Mapping[str, TouchstoneSource] | None = None,
        dry_run: bool = False,
        assessment: str | None = None,
        idempotency_key: str | None = None,
    ) -> Written:
        """Grade a link and keep its record; the document names its ``job`` and ``label``.

        Args:
            measurement: a :class:`Measurement` or its document.
            touchstone: Touchstone files by name, as of ``grade``; the record keeps them as sweeps of
                its document.
            dry_run: check and grade, keep nothing.
            assessment: how much to keep beside the verdict, as of ``grade``.
            idempotency_key: one is made where none is given.

        Raises:
            ConflictError: another record has its label or external id.
            InvalidMeasurementError: it cannot be right, and was not sent.
            InvalidDocumentError: the document is not valid.
            NotFoundError: there is no such job.

        >>> written = client.records.create(link)
        >>> written.result, written.record.label, written.verdict.outcome
        ('created', 'A-03', 'pass')
        >>> client.records.create(link.with_changes(label="A-04"), dry_run=True).record.outcome
        'pass'
        """
        query = {"dry_run": dry_run, "assessment": assessment}
        body = sent(checked(measurement), touchstone)
        return _written(self._send("POST", "/v1/records", params=query, key=idempotency_key, **body))

    @operation("upsertRecord")
    def upsert(
        self,
        system: str,
        external_id: str,
        measurement: Sent,
        *,
        touchstone: Mapping[str, TouchstoneSource] | None = None,
        etag: str | None = None,
        dry_run: bool = False,
        assessment: str | None = None,
        idempotency_key: str | None = None,
    ) -> Written:
        """Make the record of an external id, or retest it; the same once more changes nothing.

        Args:
            system: name of the other system.
            external_id: of the link there.
            measurement: as of ``create``.
            touchstone: as of ``create``.
            etag: of the record, where it must not have moved on.
            dry_run: as of ``create``.
            assessment: as of ``create``.
            idempotency_key: as of ``create``.

        Raises:
            ConflictError: another record has its label.
            InvalidMeasurementError: it cannot be right, and was not sent.
            InvalidDocumentError: the document is not valid.
            StaleError: ``etag`` is given and no longer the newest.

        >>> [client.records.upsert("costing", "J-3", link).result for _ in range(2)]
        ['created', 'unchanged']
        """
        return _written(
            self._send(
                "PUT",
                record_path("by-external-id", system, external_id),
                params={"dry_run": dry_run, "assessment": assessment},
                headers={"If-Match": etag} if etag else {},
                key=idempotency_key,
                **sent(checked(measurement), touchstone),
            )
        )

    @operation("correctRecord")
    def correct(
        self,
        record: Record | str,
        changes: Document,
        *,
        reason: str,
        dry_run: bool = False,
        idempotency_key: str | None = None,
    ) -> Written:
        """Correct label, job, ends, cable, tested_by or notes; ``None`` takes a field away.

        Raises:
            StaleError: the record has moved on.
            InvalidDocumentError: the change touches what was measured.

        >>> client.records.correct(record, {"label": "A-11"}, reason="sticker was wrong").record.label
        'A-11'
        """
        path, headers = _target(record)
        answer = self._send(
            "PATCH",
            path,
            params={"reason": reason, "dry_run": dry_run},
            document=changes,
            content_type=MERGE_PATCH,
            headers=headers,
            key=idempotency_key,
        )
        return _written(answer)

    @operation("retestRecord")
    def retest(
        self,
        record: Record | str,
        measurement: Sent,
        *,
        touchstone: Mapping[str, TouchstoneSource] | None = None,
        reason: str | None = None,
        dry_run: bool = False,
        assessment: str | None = None,
        idempotency_key: str | None = None,
    ) -> Written:
        """Keep a new measurement of the same link.

        Args:
            record: as it was read, or its id.
            measurement: as of ``create``.
            touchstone: as of ``create``.
            reason: why it was tested again.
            dry_run: as of ``create``.
            assessment: as of ``create``.
            idempotency_key: as of ``create``.

        Raises:
            StaleError: the record has moved on.
            ConflictError: it is withdrawn.
            InvalidMeasurementError: it cannot be right, and was not sent.

        >>> written = client.records.retest(bad, link.with_changes(label="A-02"), reason="pins put right")
        >>> bad.outcome, written.record.outcome, written.revision.number
        ('fail', 'pass', 2)
        """
        path, headers = _target(record, "retests")
        query = {"reason": reason, "dry_run": dry_run, "assessment": assessment}
        body = sent(checked(measurement), touchstone)
        return _written(self._send("POST", path, params=query, headers=headers, key=idempotency_key, **body))

    @operation("withdrawRecord")
    def withdraw(
        self,
        record: Record | str,
        *,
        reason: str,
        dry_run: bool = False,
        idempotency_key: str | None = None,
    ) -> Written:
        """Take a record out of the count; its chain stays.

        Raises:
            StaleError: the record has moved on.
            ConflictError: it is withdrawn already.

        >>> client.records.withdraw(bad, reason="outlet was given up").record.withdrawn
        True
        """
        path, headers = _target(record, "withdrawal")
        query, document = {"dry_run": dry_run}, {"reason": reason}
        return _written(
            self._send("POST", path, params=query, document=document, headers=headers, key=idempotency_key)
        )
