"""``client.records``: the certification records of links."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

import requests

from fourpair._errors import InvalidMeasurementError
from fourpair._kept import BatchItem, Record, Revision, Written
from fourpair._lines import answered_lines, refused_here
from fourpair._measurement import Measurement, checked
from fourpair._models import Verdict
from fourpair._record_reading import RecordReading, record_path
from fourpair._sent import TouchstoneSource, sent
from fourpair._told import told
from fourpair._transport import MERGE_PATCH, NDJSON, encoded, operation, tag_header
from fourpair._uploading import MOST_BYTES, MOST_ITEMS, Upload

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


class Records(RecordReading):
    """Records, as a client reads and writes them.

    Every write takes ``dry_run`` (the same checks and verdict, nothing kept) and
    ``idempotency_key`` (one is made where none is given, and sent again on every
    try). A write takes a :class:`Record` as it was read, and is refused where it has
    moved on since; or its id, to write whatever is there.
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

    @operation("upsertRecords")
    def batch(
        self,
        measurements: Iterable[Sent],
        *,
        mode: str = "partial",
        dry_run: bool = False,
        assessment: str | None = None,
        idempotency_key: str | None = None,
    ) -> tuple[BatchItem, ...]:
        """Make or retest up to 1000 records in one transaction; ``upload`` sends any number.

        Args:
            measurements: each names its ``job`` and ``label``.
            mode: ``"partial"`` keeps what can be kept, ``"atomic"`` all or nothing.
            dry_run: check and grade, keep nothing.
            assessment: how much to keep beside the verdicts.
            idempotency_key: one is made where none is given.

        Raises:
            ConflictError: ``"atomic"``, and an item cannot be kept.
            InvalidMeasurementError: one cannot be right; nothing was sent.
        """
        lines = b"\n".join(encoded(checked(each)) for each in measurements)
        query = {"mode": mode, "dry_run": dry_run, "assessment": assessment}
        return self._batch(lines, query, idempotency_key)

    def _batch(self, lines: bytes, query: Document, key: str | None) -> tuple[BatchItem, ...]:
        answer = self._send(
            "POST", "/v1/records:batch", params=query, content=lines, content_type=NDJSON, key=key
        )
        return tuple(told(BatchItem, item) for item in answer.json()["items"])

    @operation("streamRecords")
    def upsert_many(
        self,
        measurements: Iterable[Sent],
        *,
        dry_run: bool = False,
        assessment: str | None = None,
    ) -> Iterator[BatchItem]:
        """Make or retest any number of records, each kept by itself; yield what became of each, in order.

        Measurements are taken as they are needed and sent by the dozen. What was cut can
        be sent again: the same measurement once more changes nothing. ``upload`` is faster
        for thousands, and remembers how far it got.

        Args:
            measurements: each names its ``job`` and ``label``.
            dry_run: check and grade, keep nothing.
            assessment: how much to keep beside the verdicts.

        Raises:
            TransportError: no answer arrived, or it was cut.
        """
        query = {"dry_run": dry_run, "assessment": assessment}
        lines = answered_lines(self._send, "/v1/records:stream", query, measurements)
        for index, (measurement, line) in enumerate(lines):
            if isinstance(line, InvalidMeasurementError):
                yield refused_here(index, measurement, line)
            else:
                yield told(BatchItem, {**line, "index": index})

    def upload(
        self,
        measurements: Iterable[Sent],
        *,
        mode: str = "partial",
        dry_run: bool = False,
        assessment: str | None = None,
        checkpoint: str | Path | None = None,
        most_items: int = MOST_ITEMS,
        most_bytes: int = MOST_BYTES,
        threads: int = 1,
        progress: Callable[[int], None] | None = None,
    ) -> Iterator[BatchItem]:
        """Make or retest any number of records, sent in parts; yield what became of each, in order.

        What was not answered is sent again with the same key; what the service had
        to refuse is yielded and not sent again. Stop it and start it again with the
        same ``checkpoint``: it goes on after the last part that was answered.

        Args:
            measurements: any iterable, also a generator: parts are read as they are sent.
            mode: ``"partial"`` keeps what can be kept, ``"atomic"`` each part whole or not at all.
            dry_run: check and grade, keep nothing.
            assessment: how much to keep beside the verdicts.
            checkpoint: file that remembers how far it got; it is removed at the end.
            most_items: of a part.
            most_bytes: of a part. [bytes]
            threads: how many parts are under way at once.
            progress: told how many measurements have been answered so far.

        Raises:
            ConflictError: ``"atomic"``, and an item of a part cannot be kept.
            InvalidSettingError: the checkpoint belongs to other measurements.
        """
        query = {"mode": mode, "dry_run": dry_run, "assessment": assessment}
        upload = Upload(
            lambda lines, key: self._batch(lines, query, key), checkpoint, most_items, most_bytes, threads
        )
        for item in upload.run(measurements):
            if progress is not None:
                progress(item.index + 1)
            yield item

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
        """
        path, headers = _target(record, "withdrawal")
        query, document = {"dry_run": dry_run}, {"reason": reason}
        return _written(
            self._send("POST", path, params=query, document=document, headers=headers, key=idempotency_key)
        )
