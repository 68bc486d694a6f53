"""A job and its records as they stood at a moment of the feed."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from fourpair_service.records.errors import NotFoundError
from fourpair_service.records.headline import record_after
from fourpair_service.records.model import Change, Job, Record
from fourpair_service.records.ports import Reader


def job_at(reader: Reader, job_id: str, seq: int) -> Job:
    """Return a job as the feed had it at ``seq``.

    Raises:
        NotFoundError: there was no such job then.
    """
    changes = reader.job_changes(job_id, until=seq)
    numbers = [change.number for change in changes if change.record_id is None]
    job = reader.job_revision(job_id, numbers[-1]) if numbers else None
    if job is None:
        raise NotFoundError("job", f"{job_id} as of {seq}")
    return job


def _newest(changes: Iterable[Change]) -> dict[str, Change]:
    """Return the last of these entries of each record."""
    return {change.record_id: change for change in changes if change.record_id is not None}


def records_at(reader: Reader, job_id: str, seq: int) -> list[Record]:
    """Return the records that belonged to a job at ``seq``, withdrawn ones too, in the order of creation.

    What is taken from an assessment (applications, power types) is left out: it has no past.
    """
    found = [
        _record(reader, change)
        for change in _newest(reader.job_changes(job_id, until=seq)).values()
        if change.job_id == job_id
    ]
    return sorted(found, key=lambda record: record.row)


def _record(reader: Reader, change: Change) -> Record:
    record_id = change.record_id or ""
    then, first = reader.revision(record_id, change.number), reader.revision(record_id, 1)
    verdict, now = reader.verdict(record_id, change.number), reader.record(record_id)
    assert then is not None and first is not None and now is not None, "what the feed names is there"
    told = record_after(None, then, verdict or {}, None, change.seq)
    return replace(told, row=now.row, first_outcome=first.outcome, created_at=first.at)
