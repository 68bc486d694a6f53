"""What can be read of the records of links."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from urllib.parse import quote

import requests

from fourpair._kept import Record, Revision
from fourpair._listing import Listing
from fourpair._measurement import Measurement
from fourpair._models import Verdict
from fourpair._sealing import chain_breaks, content_breaks
from fourpair._sheet_query import sheet_query
from fourpair._told import told
from fourpair._transport import Send, operation

Document = Mapping[str, Any]


def record_path(*parts: str) -> str:
    """Return the address of a record, or of something of it."""
    return "/".join(("/v1/records", *(quote(part, safe="") for part in parts)))


def _record(answer: requests.Response) -> Record:
    document = answer.json()
    shown = told(Revision, document["revision"])
    return told(Record, document["record"], etag=answer.headers.get("ETag"), shown=shown, response=answer)


class RecordReading:
    """Records, as a client reads them."""

    def __init__(self, send: Send) -> None:
        self._send = send

    @operation("getRecord")
    def get(self, record_id: str, *, as_of: int | None = None) -> Record:
        """Return where a record stands; ``shown`` is its newest revision, or the newest at a ``seq``.

        Raises:
            NotFoundError: there is none, or the key does not see it.

        >>> client.records.get(record.id).shown.kind
        'submitted'
        """
        return _record(self._send("GET", record_path(record_id), params={"as_of": as_of}))

    @operation("getRecordByExternalId")
    def find(self, system: str, external_id: str) -> Record:
        """Return the record that has an external id.

        Raises:
            NotFoundError: there is none.

        >>> client.records.find("costing", "J-1").label
        'A-01'
        """
        return _record(self._send("GET", record_path("by-external-id", system, external_id)))

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

        >>> [(found.label, found.failing) for found in client.records.list(job="clinic", outcome="fail")]
        [('A-02', ('wire_map:reversed_pair:12',))]
        """
        return Listing(self._send, "/v1/records", filters, "records", lambda each: told(Record, each))

    @operation("listRevisions")
    def revisions(self, record_id: str) -> tuple[Revision, ...]:
        """Return the whole chain of a record.

        >>> [(each.number, each.kind) for each in client.records.revisions(record.id)]
        [(1, 'submitted')]
        """
        document = self._send("GET", record_path(record_id, "revisions")).json()
        return tuple(told(Revision, each) for each in document["revisions"])

    @operation("getRevision")
    def revision(self, record_id: str, number: int) -> Revision:
        """Return one revision of a record.

        Raises:
            NotFoundError: it has none of that number.

        >>> client.records.revision(record.id, 1).outcome
        'pass'
        """
        answer = self._send("GET", record_path(record_id, "revisions", str(number)))
        return told(Revision, answer.json(), response=answer)

    @operation("getRevisionVerdict")
    def revision_verdict(self, record_id: str, number: int) -> Verdict:
        """Return the verdict of one revision, as it was given.

        >>> client.records.revision_verdict(record.id, 1).outcome
        'pass'
        """
        answer = self._send("GET", record_path(record_id, "revisions", str(number), "verdict"))
        return Verdict.from_document(answer.json(), response=answer)

    @operation("getRevisionMeasurement")
    def revision_measurement(self, record_id: str, number: int) -> Measurement:
        """Return the measurement of one revision, as it was sent.

        >>> client.records.revision_measurement(record.id, 1).label
        'A-01'
        """
        path = record_path(record_id, "revisions", str(number), "measurement")
        return Measurement(self._send("GET", path, params={"format": "json"}).json())

    @operation("getVerdict")
    def verdict(self, record_id: str, *, as_of: int | None = None) -> Verdict:
        """Return the newest verdict, or the newest at a ``seq``.

        >>> verdict = client.records.verdict(bad.id)
        >>> verdict.outcome, verdict.wire_map["findings"][0]["kind"]
        ('fail', 'reversed_pair')
        """
        answer = self._send("GET", record_path(record_id, "verdict"), params={"as_of": as_of})
        return Verdict.from_document(answer.json(), response=answer)

    @operation("getMeasurement")
    def measurement(self, record_id: str, *, as_of: int | None = None) -> Measurement:
        """Return the newest measurement as it was sent, or the newest at a ``seq``.

        >>> client.records.measurement(record.id)["configuration"]
        'permanent_link'
        """
        query = {"as_of": as_of, "format": "json"}
        return Measurement(self._send("GET", record_path(record_id, "measurement"), params=query).json())

    def measurement_csv(self, record_id: str, *, as_of: int | None = None) -> str:
        """Return the curves of the newest measurement as CSV, one row for each point.

        >>> client.records.measurement_csv(client.records.create(link).record.id).splitlines()[0]
        'parameter,end,pairs,frequency_mhz,value_db,re,im'
        """
        query = {"as_of": as_of, "format": "csv"}
        return self._send("GET", record_path(record_id, "measurement"), params=query).text

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
        width_px: int | None = None,
    ) -> bytes:
        """Return the link sheet of a record: the page that a customer understands.

        Args:
            record_id: of the record.
            as_of: a ``seq`` of the feed; the newest where not given.
            media: ``"pdf"``, ``"html"``, ``"text"``, or of one picture ``"svg"`` or ``"png"``.
            extent: ``"sheet"``, or ``"receipt"`` for half a page.
            language: ``"en"`` or ``"de"``.
            length_unit: ``"m"`` or ``"ft"``.
            paper: ``"a4"`` or ``"letter"``.
            picture: which: ``"wires"``, ``"run"``, or ``"margin-next"`` and the like.
            width_px: of a PNG, 100 to 4000.

        Raises:
            NotFoundError: there is no such record.
            InvalidDocumentError: there is no such form.

        >>> client.records.sheet(record.id, media="text").decode().splitlines()[0]
        'A-01: PASS'
        """
        drawn = sheet_query(
            media,
            extent=extent,
            language=language,
            length_unit=length_unit,
            paper=paper,
            picture=picture,
            width_px=width_px,
        )
        query = {"as_of": as_of, **drawn}
        return self._send("GET", record_path(record_id, "sheet"), params=query).content

    def verify(self, record_id: str) -> tuple[str, ...]:
        """Walk the chain of a record and make its digests again from what is shown.

        Returns:
            A sentence for each break; empty where everything is as it was sealed.

        Raises:
            NotFoundError: there is no such record.

        >>> client.records.verify(record.id)
        ()
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

        >>> sorted(client.records.assessment(bad.id))
        ['diagnosis', 'supported', 'version']
        """
        answer = self._send("GET", record_path(record_id, "assessment"), params={"as_of": as_of})
        found: Document = answer.json()["assessment"]
        return found
