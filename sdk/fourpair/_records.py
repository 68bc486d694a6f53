"""``client.records``: the certification records of links."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any
from urllib.parse import quote

import requests

from fourpair._kept import BatchItem, Record, Revision, Written
from fourpair._listing import Listing
from fourpair._measurement import Measurement, checked
from fourpair._models import Verdict
from fourpair._sealing import chain_breaks, content_breaks
from fourpair._told import told
from fourpair._transport import MERGE_PATCH, NDJSON, Send, encoded, operation, tag_header
from fourpair._uploading import MOST_BYTES, MOST_ITEMS, Upload

Document = Mapping[str, Any]
Sent = Mapping[str, Any] | Measurement


def _path(*parts: str) -> str:
    return "/".join(("/v1/records", *(quote(part, safe="") for part in parts)))


def _record(answer: requests.Response) -> Record:
    document = answer.json()
    shown = told(Revision, document["revision"])
    return told(Record, document["record"], etag=answer.headers.get("ETag"), shown=shown, response=answer)


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
        return _path(record, *parts), tag_header(None)
    return _path(record.id, *parts), tag_header(record.etag)


class Records:
    """Records, as a client reads and writes them.

    Every write takes ``dry_run`` (the same checks and verdict, nothing kept) and
    ``idempotency_key`` (one is made where none is given, and sent again on every
    try). A write takes a :class:`Record` as it was read, and is refused where it has
    moved on since; or its id, to write whatever is there.
    """

    def __init__(self, send: Send) -> None:
        self._send = send

    @operation("createRecord")
    def create(
        self,
        measurement: Sent,
        *,
        dry_run: bool = False,
        assessment: str | None = None,
        idempotency_key: str | None = None,
    ) -> Written:
        """Grade a link and keep its record; the document names its ``job`` and ``label``.

        Raises:
            ConflictError: another record has its label or external id.
            InvalidMeasurementError: it cannot be right, and was not sent.
            InvalidDocumentError: the document is not valid.
            NotFoundError: there is no such job.
        """
        query = {"dry_run": dry_run, "assessment": assessment}
        document = checked(measurement)
        return _written(
            self._send("POST", "/v1/records", params=query, document=document, key=idempotency_key)
        )

    @operation("upsertRecord")
    def upsert(
        self,
        system: str,
        external_id: str,
        measurement: Sent,
        *,
        etag: str | None = None,
        dry_run: bool = False,
        assessment: str | None = None,
        idempotency_key: str | None = None,
    ) -> Written:
        """Make the record of an external id, or retest it; the same once more changes nothing.

        Raises:
            ConflictError: another record has its label.
            InvalidMeasurementError: it cannot be right, and was not sent.
            InvalidDocumentError: the document is not valid.
            StaleError: ``etag`` is given and no longer the newest.
        """
        return _written(
            self._send(
                "PUT",
                _path("by-external-id", system, external_id),
                params={"dry_run": dry_run, "assessment": assessment},
                document=checked(measurement),
                headers={"If-Match": etag} if etag else {},
                key=idempotency_key,
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

    @operation("getRecord")
    def get(self, record_id: str, *, as_of: int | None = None) -> Record:
        """Return where a record stands; ``shown`` is its newest revision, or the newest at a ``seq``.

        Raises:
            NotFoundError: there is none, or the key does not see it.
        """
        return _record(self._send("GET", _path(record_id), params={"as_of": as_of}))

    @operation("getRecordByExternalId")
    def find(self, system: str, external_id: str) -> Record:
        """Return the record that has an external id.

        Raises:
            NotFoundError: there is none.
        """
        return _record(self._send("GET", _path("by-external-id", system, external_id)))

    @operation("listRecords")
    def list(self, **filters: Any) -> Listing[Record]:
        """Return records, read in pages as they are needed.

        After an error, go on with the same listing, or later with its ``cursor``.

        Args:
            filters: as in the contract: ``job``, ``label_prefix``, ``outcome`` (one or
                several), ``category``, ``category_met``, ``margin_min_db``,
                ``margin_max_db``, ``tested_by``, ``tested_from``, ``tested_to``,
                ``external_system``, ``external_id``, ``fault``, ``withdrawn``,
                ``sort``, ``limit`` (a page), ``cursor`` and the others.
        """
        return Listing(self._send, "/v1/records", filters, "records", lambda each: told(Record, each))

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
        reason: str | None = None,
        dry_run: bool = False,
        assessment: str | None = None,
        idempotency_key: str | None = None,
    ) -> Written:
        """Keep a new measurement of the same link.

        Raises:
            StaleError: the record has moved on.
            ConflictError: it is withdrawn.
            InvalidMeasurementError: it cannot be right, and was not sent.
        """
        path, headers = _target(record, "retests")
        query = {"reason": reason, "dry_run": dry_run, "assessment": assessment}
        document = checked(measurement)
        return _written(
            self._send("POST", path, params=query, document=document, headers=headers, key=idempotency_key)
        )

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

    @operation("listRevisions")
    def revisions(self, record_id: str) -> tuple[Revision, ...]:
        """Return the whole chain of a record."""
        document = self._send("GET", _path(record_id, "revisions")).json()
        return tuple(told(Revision, each) for each in document["revisions"])

    @operation("getRevision")
    def revision(self, record_id: str, number: int) -> Revision:
        """Return one revision of a record.

        Raises:
            NotFoundError: it has none of that number.
        """
        answer = self._send("GET", _path(record_id, "revisions", str(number)))
        return told(Revision, answer.json(), response=answer)

    @operation("getRevisionVerdict")
    def revision_verdict(self, record_id: str, number: int) -> Verdict:
        """Return the verdict of one revision, as it was given."""
        answer = self._send("GET", _path(record_id, "revisions", str(number), "verdict"))
        return Verdict.from_document(answer.json(), response=answer)

    @operation("getRevisionMeasurement")
    def revision_measurement(self, record_id: str, number: int) -> Measurement:
        """Return the measurement of one revision, as it was sent."""
        path = _path(record_id, "revisions", str(number), "measurement")
        return Measurement(self._send("GET", path, params={"format": "json"}).json())

    @operation("getVerdict")
    def verdict(self, record_id: str, *, as_of: int | None = None) -> Verdict:
        """Return the newest verdict, or the newest at a ``seq``."""
        answer = self._send("GET", _path(record_id, "verdict"), params={"as_of": as_of})
        return Verdict.from_document(answer.json(), response=answer)

    @operation("getMeasurement")
    def measurement(self, record_id: str, *, as_of: int | None = None) -> Measurement:
        """Return the newest measurement as it was sent, or the newest at a ``seq``."""
        query = {"as_of": as_of, "format": "json"}
        return Measurement(self._send("GET", _path(record_id, "measurement"), params=query).json())

    def measurement_csv(self, record_id: str, *, as_of: int | None = None) -> str:
        """Return the curves of the newest measurement as CSV, one row for each point."""
        query = {"as_of": as_of, "format": "csv"}
        return self._send("GET", _path(record_id, "measurement"), params=query).text

    @operation("getSheet")
    def sheet(
        self,
        record_id: str,
        *,
        as_of: int | None = None,
        media: str = "pdf",
        extent: str | None = None,
        language: str | None = None,
        length_unit: str | None = None,
        paper: str | None = None,
        picture: str | None = None,
    ) -> bytes:
        """Return the link sheet of a record: the page that a customer understands.

        Args:
            record_id: of the record.
            as_of: a ``seq`` of the feed; the newest where not given.
            media: ``"pdf"``, ``"html"``, ``"text"`` or ``"svg"``.
            extent: ``"sheet"``, or ``"receipt"`` for half a page.
            language: ``"en"`` or ``"de"``.
            length_unit: ``"m"`` or ``"ft"``.
            paper: ``"a4"`` or ``"letter"``.
            picture: of an SVG: ``"wires"``, ``"run"``, or ``"margin-next"`` and the like.

        Raises:
            NotFoundError: there is no such record.
            InvalidDocumentError: there is no such form.
        """
        query = {
            "as_of": as_of,
            "format": media,
            "extent": extent,
            "language": language,
            "length_unit": length_unit,
            "paper": paper,
            "picture": picture,
        }
        return self._send("GET", _path(record_id, "sheet"), params=query).content

    def verify(self, record_id: str) -> tuple[str, ...]:
        """Walk the chain of a record and make its digests again from what is shown.

        Returns:
            A sentence for each break; empty where everything is as it was sealed.

        Raises:
            NotFoundError: there is no such record.
        """
        record, revisions = self.get(record_id), self.revisions(record_id)
        broken = list(chain_breaks(record, revisions))
        for each in revisions:
            measurement = self.revision_measurement(record_id, each.number)
            verdict = self.revision_verdict(record_id, each.number)
            broken += content_breaks(each, measurement.document, verdict.raw)
        return tuple(broken)

    @operation("getAssessment")
    def assessment(self, record_id: str, *, as_of: int | None = None) -> Document:
        """Return what is said beside the newest verdict: suspected faults, and more where it was asked for.

        Raises:
            NotFoundError: nothing was kept beside it.
        """
        answer = self._send("GET", _path(record_id, "assessment"), params={"as_of": as_of})
        found: Document = answer.json()["assessment"]
        return found
