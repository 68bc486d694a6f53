"""``client.jobs``: contracts, and what a shop asks of them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any
from urllib.parse import quote

import requests

from fourpair._kept_jobs import Attachment, Billing, Job, JobFault, Quantity, Schedule, Summary
from fourpair._listing import Listing
from fourpair._told import told
from fourpair._transport import MERGE_PATCH, Send, asked, operation, tag_header


def _path(job_id: str, *parts: str) -> str:
    return "/".join(("/v1/jobs", quote(job_id, safe=""), *(quote(part, safe="") for part in parts)))


def _job(answer: requests.Response) -> Job:
    return told(Job, answer.json(), etag=answer.headers.get("ETag"), response=answer)


def _target(job: Job | str, *parts: str) -> tuple[str, dict[str, str]]:
    if isinstance(job, str):
        return _path(job, *parts), tag_header(None)
    return _path(job.id, *parts), tag_header(job.etag)


class Jobs:
    """Jobs, as a client reads and writes them.

    A write takes a :class:`Job` as it was read, and is refused where the job has
    moved on since; or its id, to write whatever is there.

    >>> client.jobs.get("clinic").name
    'Clinic'
    """

    def __init__(self, send: Send) -> None:
        self._send = send

    @operation("createJob")
    def create(
        self,
        job_id: str | None = None,
        *,
        name: str,
        dry_run: bool = False,
        idempotency_key: str | None = None,
        **values: Any,
    ) -> Job:
        """Make a job.

        Args:
            job_id: its id in addresses; one is made where none is given.
            name: what people call it.
            dry_run: check, keep nothing.
            idempotency_key: one is made where none is given.
            values: as in the contract: ``customer``, ``site``, ``requirement``,
                ``schedule``, ``marginal_pass_billable`` and the others.

        Raises:
            ConflictError: the id is in use.
            InvalidDocumentError: a value is not valid.

        >>> job = client.jobs.create(
        ...     "depot", name="Depot", requirement={"rule_set": "TIA", "category": "6A"}, customer="Alder Row"
        ... )
        >>> job.id, job.requirement
        ('depot', {'rule_set': 'TIA', 'category': '6A'})
        """
        document = {"name": name, **values, **asked(id=job_id)}
        query = {"dry_run": dry_run}
        return _job(self._send("POST", "/v1/jobs", params=query, document=document, key=idempotency_key))

    @operation("getJob")
    def get(self, job_id: str, *, as_of: int | None = None) -> Job:
        """Return a job as it stands, or stood when the feed had reached ``as_of``.

        Raises:
            NotFoundError: there is none, or the key does not see it.

        >>> job = client.jobs.get("clinic")
        >>> job.name, job.revision
        ('Clinic', 1)
        """
        return _job(self._send("GET", _path(job_id), params={"as_of": as_of}))

    @operation("listJobs")
    def list(self, *, limit: int | None = None, cursor: str | None = None) -> Listing[Job]:
        """Return all jobs, read in pages of ``limit`` as they are needed, from a ``cursor`` on.

        >>> [job.id for job in client.jobs.list()]
        ['clinic']
        """
        query = {"limit": limit, "cursor": cursor}
        return Listing(self._send, "/v1/jobs", query, "jobs", lambda each: told(Job, each))

    @operation("changeJob")
    def change(
        self,
        job: Job | str,
        changes: Mapping[str, Any],
        *,
        dry_run: bool = False,
        idempotency_key: str | None = None,
    ) -> Job:
        """Change fields of a job by a merge patch; ``None`` takes a field away.

        Raises:
            StaleError: the job has moved on since it was read.

        >>> job = client.jobs.change(client.jobs.get("clinic"), {"site": "Alder Row 3"})
        >>> job.site, job.revision
        ('Alder Row 3', 2)
        """
        path, headers = _target(job)
        return _job(
            self._send(
                "PATCH",
                path,
                params={"dry_run": dry_run},
                document=changes,
                content_type=MERGE_PATCH,
                headers=headers,
                key=idempotency_key,
            )
        )

    @operation("acceptJob")
    def accept(
        self, job: Job | str, *, by: str, on: str, dry_run: bool = False, idempotency_key: str | None = None
    ) -> Job:
        """Note who took the job over, and on which day (``2026-11-30``).

        Raises:
            StaleError: the job has moved on since it was read.

        >>> client.jobs.accept("clinic", by="M. Elder", on="2026-01-30").acceptance["on"]
        '2026-01-30'
        """
        path, headers = _target(job, "acceptance")
        query, document = {"dry_run": dry_run}, {"by": by, "on": on}
        return _job(
            self._send("POST", path, params=query, document=document, headers=headers, key=idempotency_key)
        )

    @operation("getSchedule")
    def schedule(self, job_id: str) -> Schedule:
        """Return the links that must exist.

        >>> len(client.jobs.schedule("clinic").schedule)
        3
        """
        answer = self._send("GET", _path(job_id, "schedule"), params={"format": "json"})
        return told(Schedule, answer.json(), response=answer)

    @operation("putSchedule")
    def set_schedule(
        self,
        job: Job | str,
        links: Iterable[Mapping[str, Any]] | str,
        *,
        dry_run: bool = False,
        idempotency_key: str | None = None,
    ) -> Schedule:
        """Replace the links that must exist.

        Args:
            job: as it was read, or its id.
            links: each with ``label`` and ``item_code``, or all of them as CSV text
                whose first line says ``label,item_code``.
            dry_run: check and say what would change, keep nothing.
            idempotency_key: one is made where none is given.

        Raises:
            InvalidDocumentError: a line is not valid; ``pointers`` says which.
            StaleError: the job has moved on since it was read.

        >>> done = client.jobs.set_schedule("clinic", [{"label": "A-01", "item_code": "outlet"}, {"label": "A-09"}])
        >>> [(line["label"], line["result"]) for line in done.lines], done.removed
        ([('A-01', 'same'), ('A-09', 'added')], ('A-02', 'A-03'))
        """
        path, headers = _target(job, "schedule")
        body: dict[str, Any] = (
            {"content": links.encode(), "content_type": "text/csv"}
            if isinstance(links, str)
            else {"document": {"schedule": [dict(link) for link in links]}}
        )
        query = {"dry_run": dry_run}
        answer = self._send("PUT", path, params=query, headers=headers, key=idempotency_key, **body)
        return told(Schedule, answer.json(), response=answer)

    @operation("listAttachments")
    def attachments(self, job_id: str) -> tuple[Attachment, ...]:
        """Return the documents of a job, without their bytes.

        >>> client.jobs.attachments("clinic")
        ()
        """
        document = self._send("GET", _path(job_id, "attachments")).json()
        return tuple(told(Attachment, each) for each in document["attachments"])

    @operation("addAttachment")
    def attach(
        self,
        job_id: str,
        name: str,
        content: bytes,
        *,
        media_type: str = "application/octet-stream",
        dry_run: bool = False,
        idempotency_key: str | None = None,
    ) -> Attachment:
        """Keep a document of a job: a plan, a photograph, a signed sheet.

        Raises:
            TooLargeError: it is over a limit of the service.

        >>> kept = client.jobs.attach("clinic", "plan.pdf", b"%PDF...", media_type="application/pdf")
        >>> kept.name, kept.size
        ('plan.pdf', 7)
        """
        answer = self._send(
            "POST",
            _path(job_id, "attachments"),
            params={"name": name, "dry_run": dry_run},
            content=content,
            content_type=media_type,
            key=idempotency_key,
        )
        return told(Attachment, answer.json(), response=answer)

    @operation("getAttachment")
    def attachment(self, job_id: str, attachment_id: str) -> bytes:
        """Return the bytes of a document.

        Raises:
            NotFoundError: there is none.

        >>> kept = client.jobs.attach("clinic", "note.txt", b"Ladder needed", media_type="text/plain")
        >>> client.jobs.attachment("clinic", kept.id)
        b'Ladder needed'
        """
        return self._send("GET", _path(job_id, "attachments", attachment_id)).content

    @operation("getSummary")
    def summary(self, job_id: str, *, as_of: int | None = None) -> Summary:
        """Return where a job stands, or stood when the feed had reached ``as_of``.

        >>> summary = client.jobs.summary("clinic")
        >>> summary.links, summary.counts, summary.missing
        (2, {'pass': 1, 'marginal_pass': 0, 'marginal_fail': 0, 'fail': 1, 'incomplete': 0}, ('A-03',))
        """
        answer = self._send("GET", _path(job_id, "summary"), params={"as_of": as_of})
        return told(Summary, answer.json(), response=answer)

    @operation("getBilling")
    def billing(self, job_id: str, *, since: int = 0, until: int | None = None) -> Billing:
        """Return signed quantities by item code for a period of the feed.

        Args:
            job_id: of the job.
            since: the ``until`` of what was billed last; 0 for everything.
            until: a ``seq``; the newest where not given.

        >>> billing = client.jobs.billing("clinic")
        >>> billing.totals, client.jobs.billing("clinic", since=billing.until).totals
        ((Quantity(item_code='outlet', quantity=1),), ())
        """
        answer = self._send("GET", _path(job_id, "billing"), params={"since": since, "until": until})
        document = answer.json()
        sums = {name: tuple(told(Quantity, q) for q in document[name]) for name in ("totals", "billable")}
        return told(Billing, document, response=answer, **sums)

    @operation("listJobFaults")
    def faults(self, job_id: str, *, include_closed: bool = False) -> tuple[JobFault, ...]:
        """Return what is to be mended, under keys that stay across retests.

        >>> before = client.jobs.faults("clinic")
        >>> written = client.records.retest(bad, link.with_changes(label="A-02"), reason="pins put right")
        >>> [fault.label for fault in before], client.jobs.faults("clinic")
        (['A-02'], ())
        """
        query = {"state": "all" if include_closed else "open"}
        document = self._send("GET", _path(job_id, "faults"), params=query).json()
        return tuple(told(JobFault, each) for each in document["faults"])
