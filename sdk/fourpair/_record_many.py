"""Keeping many records at once."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

from fourpair._errors import InvalidMeasurementError
from fourpair._kept import BatchItem
from fourpair._lines import answered_lines, refused_here
from fourpair._measurement import Measurement, checked
from fourpair._told import told
from fourpair._transport import NDJSON, Send, encoded, operation
from fourpair._uploading import MOST_BYTES, MOST_ITEMS, Upload

Document = Mapping[str, Any]
Sent = Mapping[str, Any] | Measurement


class RecordMany:
    """Records, as a client keeps many of them."""

    _send: Send

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

        >>> [item.result for item in client.records.batch([link, link.with_changes(label="A-04")])]
        ['created', 'created']
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

        >>> [(item.label, item.outcome) for item in client.records.upsert_many([link])]
        [('A-03', 'pass')]
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

        >>> sent = (link.with_changes(label=f"B-{number}") for number in range(3))
        >>> [(item.label, item.result) for item in client.records.upload(sent, most_items=2, threads=2)]
        [('B-0', 'created'), ('B-1', 'created'), ('B-2', 'created')]
        """
        query = {"mode": mode, "dry_run": dry_run, "assessment": assessment}
        upload = Upload(
            lambda lines, key: self._batch(lines, query, key), checkpoint, most_items, most_bytes, threads
        )
        for item in upload.run(measurements):
            if progress is not None:
                progress(item.index + 1)
            yield item
