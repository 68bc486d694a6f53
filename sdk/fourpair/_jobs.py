"""``client.jobs``: contracts, and what a shop asks of them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any
from urllib.parse import quote

import requests

from fourpair._kept import Billing, Job, JobFault, Quantity, Summary, told
from fourpair._transport import JSON, MERGE_PATCH, Send, asked, encoded, key_header, pages, tag_header


def _path(job_id: str, *parts: str) -> str:
    return "/".join(("/v1/jobs", quote(job_id, safe=""), *parts))


def _job(response: requests.Response) -> Job:
    return told(Job, response.json(), etag=response.headers.get("ETag"))


class Jobs:
    """Jobs, as a client reads and writes them."""

    def __init__(self, send: Send) -> None:
        self._send = send

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
        """
        document = {"name": name, **values, **asked(id=job_id)}
        headers = {**JSON, **key_header(idempotency_key)}
        query = asked(dry_run=dry_run)
        return _job(self._send("POST", "/v1/jobs", params=query, data=encoded(document), headers=headers))

    def get(self, job_id: str) -> Job:
        """Return a job as it stands.

        Raises:
            NotFoundError: there is none, or the key does not see it.
        """
        return _job(self._send("GET", _path(job_id)))

    def list(self) -> Iterator[Job]:
        """Yield all jobs, fetching pages as they are needed."""
        for document in pages(self._send, "/v1/jobs", {}, "jobs"):
            yield told(Job, document)

    def change(self, job: Job | str, changes: Mapping[str, Any], *, dry_run: bool = False) -> Job:
        """Change fields of a job by a merge patch; ``None`` takes a field away.

        Raises:
            StaleError: the job has moved on since it was read.
        """
        job_id, etag = (job, None) if isinstance(job, str) else (job.id, job.etag)
        headers = {**MERGE_PATCH, **tag_header(etag)}
        query = asked(dry_run=dry_run)
        return _job(self._send("PATCH", _path(job_id), params=query, data=encoded(changes), headers=headers))

    def accept(self, job: Job | str, *, by: str, on: str) -> Job:
        """Note who took the job over, and on which day (``2026-11-30``)."""
        job_id, etag = (job, None) if isinstance(job, str) else (job.id, job.etag)
        headers = {**JSON, **tag_header(etag), **key_header(None)}
        body = encoded({"by": by, "on": on})
        return _job(self._send("POST", _path(job_id, "acceptance"), data=body, headers=headers))

    def summary(self, job_id: str) -> Summary:
        """Return where a job stands."""
        return told(Summary, self._send("GET", _path(job_id, "summary")).json())

    def billing(self, job_id: str, *, since: int = 0, until: int | None = None) -> Billing:
        """Return signed quantities by item code for a period of the feed."""
        query = asked(since=since, until=until)
        document = self._send("GET", _path(job_id, "billing"), params=query).json()
        totals = tuple(Quantity(**each) for each in document["totals"])
        return told(Billing, document, totals=totals)

    def faults(self, job_id: str, *, include_closed: bool = False) -> tuple[JobFault, ...]:
        """Return what is to be mended, under keys that stay across retests."""
        query = {"state": "all" if include_closed else "open"}
        document = self._send("GET", _path(job_id, "faults"), params=query).json()
        return tuple(told(JobFault, each) for each in document["faults"])
