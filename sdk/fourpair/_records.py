"""``client.records``: the certification records of links."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any
from urllib.parse import quote

import requests

from fourpair._kept import BatchItem, Record, Revision, Written, told
from fourpair._models import Verdict
from fourpair._transport import (
    JSON,
    MERGE_PATCH,
    NDJSON,
    Send,
    asked,
    encoded,
    key_header,
    pages,
    tag_header,
)

Document = Mapping[str, Any]

# A batch is sent in parts that stay below both. [bytes]
MOST_ITEMS = 50
MOST_BYTES = 8 * 1024 * 1024


def _path(*parts: str) -> str:
    return "/".join(("/v1/records", *(quote(part, safe="") for part in parts)))


def _etag(response: requests.Response) -> str | None:
    return response.headers.get("ETag")


def _written(response: requests.Response, key: str | None) -> Written:
    document = response.json()
    return Written(
        record=told(Record, document["record"], etag=_etag(response)),
        revision=told(Revision, document["revision"]),
        verdict=Verdict.from_document(document["verdict"], response.headers.get("X-Request-Id")),
        result=document["result"],
        dry_run=document["dry_run"],
        replayed="Idempotent-Replayed" in response.headers,
        idempotency_key=key,
    )


def _parts(lines: Iterable[bytes]) -> Iterator[list[bytes]]:
    part: list[bytes] = []
    size = 0
    for line in lines:
        if part and (len(part) >= MOST_ITEMS or size + len(line) > MOST_BYTES):
            yield part
            part, size = [], 0
        part.append(line)
        size += len(line)
    if part:
        yield part


class Records:
    """Records, as a client reads and writes them.

    Every write takes ``dry_run`` (the same checks and verdict, nothing kept) and,
    where it is a POST or PUT, ``idempotency_key`` (one is made where none is given).
    """

    def __init__(self, send: Send) -> None:
        self._send = send

    def _post(
        self, path: str, document: Document, key: str | None, headers: Document | None = None, **query: Any
    ) -> Written:
        own = key_header(key)
        response = self._send(
            "POST",
            path,
            params=asked(**query),
            data=encoded(document),
            headers={**JSON, **own, **(headers or {})},
        )
        return _written(response, own["Idempotency-Key"].strip('"'))

    def create(
        self,
        measurement: Document,
        *,
        dry_run: bool = False,
        assessment: str | None = None,
        idempotency_key: str | None = None,
    ) -> Written:
        """Grade a link and keep its record; the document names its ``job`` and ``label``.

        Raises:
            ConflictError: another record has its label or external id.
            InvalidDocumentError: the document is not valid.
            NotFoundError: there is no such job.
        """
        return self._post("/v1/records", measurement, idempotency_key, dry_run=dry_run, assessment=assessment)

    def upsert(
        self,
        system: str,
        external_id: str,
        measurement: Document,
        *,
        etag: str | None = None,
        dry_run: bool = False,
        idempotency_key: str | None = None,
    ) -> Written:
        """Make the record of an external id, or retest it; the same once more changes nothing.

        Raises:
            ConflictError: another record has its label.
            InvalidDocumentError: the document is not valid.
            StaleError: ``etag`` is given and no longer the newest.
        """
        own = key_header(idempotency_key)
        response = self._send(
            "PUT",
            _path("by-external-id", system, external_id),
            params=asked(dry_run=dry_run),
            data=encoded(measurement),
            headers={**JSON, **own, **({"If-Match": etag} if etag else {})},
        )
        return _written(response, own["Idempotency-Key"].strip('"'))

    def upload(
        self, measurements: Iterable[Document], *, mode: str = "partial", dry_run: bool = False
    ) -> Iterator[BatchItem]:
        """Make or retest many records, sent in parts; yield what became of each.

        Args:
            measurements: any iterable, also a generator: a part is read at a time.
            mode: ``"partial"`` keeps what can be kept, ``"atomic"`` each part whole or not at all.
            dry_run: check and grade, keep nothing.

        Raises:
            ConflictError: ``"atomic"``, and an item of a part cannot be kept.
        """
        sent = 0
        for part in _parts(encoded(document) for document in measurements):
            response = self._send(
                "POST",
                "/v1/records:batch",
                params=asked(mode=mode, dry_run=dry_run),
                data=b"\n".join(part),
                headers={**NDJSON, **key_header(None)},
            )
            for item in response.json()["items"]:
                yield told(BatchItem, item, index=sent + item["index"])
            sent += len(part)

    def get(self, record_id: str) -> Record:
        """Return where a record stands.

        Raises:
            NotFoundError: there is none, or the key does not see it.
        """
        response = self._send("GET", _path(record_id))
        return told(Record, response.json()["record"], etag=_etag(response))

    def find(self, system: str, external_id: str) -> Record:
        """Return the record that has an external id.

        Raises:
            NotFoundError: there is none.
        """
        response = self._send("GET", _path("by-external-id", system, external_id))
        return told(Record, response.json()["record"], etag=_etag(response))

    def list(self, **filters: Any) -> Iterator[Record]:
        """Yield records, fetching pages as they are needed.

        Args:
            filters: as in the contract: ``job``, ``label_prefix``, ``outcome``, ``category``,
                ``category_met``, ``margin_min_db``, ``margin_max_db``, ``tested_by``,
                ``tested_from``, ``tested_to``, ``external_system``, ``external_id``,
                ``fault``, ``withdrawn``, ``sort``, ``limit`` (a page) and the others.
        """
        for document in pages(self._send, "/v1/records", asked(**filters), "records"):
            yield told(Record, document)

    def revisions(self, record_id: str) -> tuple[Revision, ...]:
        """Return the whole chain of a record."""
        document = self._send("GET", _path(record_id, "revisions")).json()
        return tuple(told(Revision, each) for each in document["revisions"])

    def revision(self, record_id: str, *, as_of: int) -> Revision:
        """Return the newest revision that the feed had reached at ``as_of``."""
        document = self._send("GET", _path(record_id), params=asked(as_of=as_of)).json()
        return told(Revision, document["revision"])

    def verdict(self, record_id: str, *, as_of: int | None = None) -> Verdict:
        """Return the newest verdict, or the newest at a ``seq``."""
        response = self._send("GET", _path(record_id, "verdict"), params=asked(as_of=as_of))
        return Verdict.from_document(response.json(), response.headers.get("X-Request-Id"))

    def measurement(self, record_id: str, *, as_of: int | None = None) -> Document:
        """Return the measurement as it was sent."""
        found: Document = self._send("GET", _path(record_id, "measurement"), params=asked(as_of=as_of)).json()
        return found

    def retest(
        self,
        record: Record | str,
        measurement: Document,
        *,
        reason: str | None = None,
        dry_run: bool = False,
        idempotency_key: str | None = None,
    ) -> Written:
        """Keep a new measurement of the same link.

        Args:
            record: as it was read, to be refused where it has moved on since; or its id.
            measurement: the document.
            reason: why.
            dry_run: check and grade, keep nothing.
            idempotency_key: one is made where none is given.

        Raises:
            StaleError: the record has moved on.
            ConflictError: it is withdrawn.
        """
        path, headers = _target(record, "retests")
        return self._post(path, measurement, idempotency_key, headers, reason=reason, dry_run=dry_run)

    def correct(
        self, record: Record | str, changes: Document, *, reason: str, dry_run: bool = False
    ) -> Written:
        """Correct label, job, ends, cable, tested_by or notes; ``None`` takes a field away.

        Raises:
            StaleError: the record has moved on.
            InvalidDocumentError: the change touches what was measured.
        """
        path, headers = _target(record)
        response = self._send(
            "PATCH",
            path,
            params=asked(reason=reason, dry_run=dry_run),
            data=encoded(changes),
            headers={**MERGE_PATCH, **headers},
        )
        return _written(response, None)

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
        return self._post(path, {"reason": reason}, idempotency_key, headers, dry_run=dry_run)


def _target(record: Record | str, *parts: str) -> tuple[str, dict[str, str]]:
    if isinstance(record, str):
        return _path(record, *parts), tag_header(None)
    return _path(record.id, *parts), tag_header(record.etag)
