"""Reading from a store that speaks SQL: queries in the part of it that SQLite and PostgreSQL share."""

from __future__ import annotations

import json
from abc import abstractmethod
from collections.abc import Callable, Mapping, Sequence
from typing import Any, TypeVar

import orjson

from fourpair_service.records.curves import Document, Parted
from fourpair_service.records.keys import ApiKey
from fourpair_service.records.model import (
    Assessment,
    Attachment,
    Change,
    FaultState,
    IdempotencyEntry,
    Job,
    Party,
    PartyKind,
    Record,
    Revision,
)
from fourpair_service.records.search import Filter, Group, GroupBy, Position, Sort
from fourpair_service.records.transfer import job_of
from fourpair_service.storage import rows, sql_search
from fourpair_service.storage.packing import unpacked

T = TypeVar("T")
# Values by place and by name, as both drivers give them.
Row = Any

RECORD = f"{rows.RECORDS} WHERE"
CONTENT = "FROM content JOIN revision USING (seq) WHERE record_id = ? AND number = ?"
JOB = "SELECT document FROM job_revision JOIN job ON job.id = job_id WHERE "


def _party(row: Row) -> Party:
    return Party(row["id"], PartyKind(row["kind"]), row["name"], row["erased_at"])


def _attachment(row: Row) -> Attachment:
    return Attachment(**{name: row[name] for name in rows.columns(Attachment)})


def _fault(row: Row) -> FaultState:
    return FaultState(**dict(row))


def _entry(row: Row) -> IdempotencyEntry:
    values = dict(row)
    values["answer"] = None if values["answer"] is None else json.loads(values["answer"])
    return IdempotencyEntry(**values)


def _job(row: Row) -> Job:
    return job_of(json.loads(row["document"]))


class SqlReader:
    """What a store and a block of writing have in common; see :class:`~fourpair_service.records.ports.Reader`."""

    @abstractmethod
    def _all(self, make: Callable[[Row], T], sql: str, *values: Any) -> list[T]:
        """Return what is made of each row that a query gives."""

    @abstractmethod
    def _one(self, make: Callable[[Row], T], sql: str, *values: Any) -> T | None:
        """Return what is made of the first row that a query gives."""

    def packed(self, measurement: Parted) -> Parted:
        """Return a measurement with its curves made ready to be kept."""
        return rows.packed_measurement(measurement)

    def record(self, record_id: str) -> Record | None:
        """Return where a record stands."""
        return self._one(rows.record_of, f"{RECORD} id = ?", record_id)

    def record_labelled(self, job_id: str, label: str) -> Record | None:
        """Return the record of a link that is not withdrawn."""
        sql = f"{RECORD} job_id = ? AND label = ? AND kind <> 'withdrawn'"
        return self._one(rows.record_of, sql, job_id, label)

    def record_with_external_id(self, system: str, value: str) -> Record | None:
        """Return the record that has an external id and is not withdrawn."""
        found = "SELECT record_id FROM record_external_id WHERE system = ? AND value = ?"
        sql = f"{RECORD} id IN ({found}) AND kind <> 'withdrawn'"
        return self._one(rows.record_of, sql, system, value)

    def records(self, wanted: Filter, sort: Sort, *, after: Position | None, limit: int) -> Sequence[Record]:
        """Return a page; its cost does not grow with its depth."""
        sql, values = sql_search.page(wanted, sort, after=after, limit=limit)
        return self._all(rows.record_of, sql, *values)

    def stats(self, wanted: Filter, by: Sequence[GroupBy]) -> Sequence[Group]:
        """Return counts and worst headroom by group, sorted by the groups' values."""
        sql, values = sql_search.groups(wanted, by)
        found = self._all(lambda row: Group(tuple(row[:-2]), row[-2], row[-1]), sql, *values)
        return [group for group in found if group.links]

    def revision(self, record_id: str, number: int) -> Revision | None:
        """Return one revision."""
        sql = "SELECT * FROM revision WHERE record_id = ? AND number = ?"
        return self._one(rows.revision_of, sql, record_id, number)

    def revisions(self, record_id: str) -> Sequence[Revision]:
        """Return all revisions, the first one first."""
        sql = "SELECT * FROM revision WHERE record_id = ? ORDER BY number"
        return self._all(rows.revision_of, sql, record_id)

    def revision_seqs(self, record_id: str) -> Mapping[int, int]:
        """Return the ``seq`` of each revision by its number."""
        sql = "SELECT number, seq FROM revision WHERE record_id = ?"
        return dict(self._all(lambda row: (int(row[0]), int(row[1])), sql, record_id))

    def revision_as_of(self, record_id: str, seq: int) -> Revision | None:
        """Return the newest revision that the feed had reached at ``seq``."""
        sql = "SELECT * FROM revision WHERE record_id = ? AND seq <= ? ORDER BY number DESC LIMIT 1"
        return self._one(rows.revision_of, sql, record_id, seq)

    def verdict(self, record_id: str, number: int) -> Document | None:
        """Return the verdict of a revision."""
        return self._one(lambda r: unpacked(r["verdict"]), f"SELECT verdict {CONTENT}", record_id, number)

    def measurement(self, record_id: str, number: int) -> Parted | None:
        """Return the measurement of a revision, people by id."""
        sql = (
            "SELECT own.rest, measured.curves FROM revision JOIN content AS own USING (seq) "
            "JOIN content AS measured ON measured.seq = own.curves_seq WHERE record_id = ? AND number = ?"
        )
        return self._one(rows.measurement_of, sql, record_id, number)

    def assessment(self, record_id: str, number: int) -> Assessment | None:
        """Return the newest assessment of a revision."""
        sql = "SELECT version, document FROM assessment WHERE record_id = ? AND number = ?"
        return self._one(lambda r: Assessment(r["version"], unpacked(r["document"])), sql, record_id, number)

    def last_change(self) -> Change | None:
        """Return the newest entry of the feed."""
        return self._one(rows.change_of, "SELECT * FROM change ORDER BY seq DESC LIMIT 1")

    def changes(self, *, after: int, limit: int, jobs: frozenset[str] | None = None) -> Sequence[Change]:
        """Return entries above ``after`` in order; of these jobs, where given."""
        if jobs is None:
            sql = "SELECT * FROM change WHERE seq > ? ORDER BY seq LIMIT ?"
            return self._all(rows.change_of, sql, after, limit)
        marks = ", ".join("?" * len(jobs))
        sql = (
            f"SELECT * FROM change WHERE seq > ? AND (job_id IN ({marks}) OR previous_job_id IN ({marks})) "
            "ORDER BY seq LIMIT ?"
        )
        return self._all(rows.change_of, sql, after, *jobs, *jobs, limit)

    def job_changes(self, job_id: str, *, until: int | None = None) -> Sequence[Change]:
        """Return every entry that touched a job, up to and with ``until``."""
        sql = (
            "SELECT * FROM change WHERE job_id = ? AND seq <= ? UNION ALL "
            "SELECT * FROM change WHERE previous_job_id = ? AND previous_job_id <> job_id AND seq <= ? ORDER BY seq"
        )
        last = 2**62 if until is None else until
        return self._all(rows.change_of, sql, job_id, last, job_id, last)

    def job(self, job_id: str) -> Job | None:
        """Return a job as it stands."""
        return self._one(_job, f"{JOB} job_id = ? AND number = revision", job_id)

    def job_revision(self, job_id: str, number: int) -> Job | None:
        """Return a job as it once stood."""
        return self._one(_job, f"{JOB} job_id = ? AND number = ?", job_id, number)

    def jobs(self, *, after: str, limit: int, visible: frozenset[str] | None = None) -> Sequence[Job]:
        """Return jobs by id, above ``after``."""
        seen = sorted(visible or ())
        condition = "" if visible is None else f" AND job_id IN ({', '.join('?' * len(seen))})"
        sql = f"{JOB} number = revision AND job_id > ?{condition} ORDER BY job_id LIMIT ?"
        return self._all(_job, sql, after, *seen, limit)

    def job_with_external_id(self, system: str, value: str) -> Job | None:
        """Return the job that has an external id."""
        found = "SELECT job_id FROM job_external_id WHERE system = ? AND value = ?"
        return self._one(_job, f"{JOB} number = revision AND job_id = ({found})", system, value)

    def party(self, party_id: str) -> Party | None:
        """Return a person or customer."""
        return self._one(_party, "SELECT * FROM party WHERE id = ?", party_id)

    def party_named(self, kind: PartyKind, name: str) -> Party | None:
        """Return who has this name and was not erased."""
        return self._one(_party, "SELECT * FROM party WHERE kind = ? AND name = ?", kind.value, name)

    def parties(self) -> Sequence[Party]:
        """Return all of them by id."""
        return self._all(_party, "SELECT * FROM party ORDER BY id")

    def attachments(self, job_id: str) -> Sequence[Attachment]:
        """Return the attachments of a job in the order they came."""
        return self._all(_attachment, "SELECT * FROM attachment WHERE job_id = ? ORDER BY rowid", job_id)

    def attachment_content(self, digest: str) -> bytes | None:
        """Return the bytes of an attachment."""
        sql = "SELECT content FROM attachment_content WHERE digest = ?"
        return self._one(lambda row: bytes(row["content"]), sql, digest)

    def idempotency(self, owner: str, key: str) -> IdempotencyEntry | None:
        """Return what became of a key."""
        return self._one(_entry, "SELECT * FROM idempotency WHERE owner = ? AND key = ?", owner, key)

    def idempotency_entries(self) -> Sequence[IdempotencyEntry]:
        """Return all of them by owner and key."""
        return self._all(_entry, "SELECT * FROM idempotency ORDER BY owner, key")

    def api_key(self, key_id: str) -> ApiKey | None:
        """Return an API key."""
        return self._one(rows.key_of, "SELECT * FROM api_key WHERE id = ?", key_id)

    def api_keys(self) -> Sequence[ApiKey]:
        """Return all of them by id."""
        return self._all(rows.key_of, "SELECT * FROM api_key ORDER BY id")

    def has_api_keys(self) -> bool:
        """Return whether a key was ever made."""
        return self._one(lambda row: True, "SELECT 1 FROM api_key LIMIT 1") is not None

    def faults_of(self, record_id: str) -> Sequence[FaultState]:
        """Return the faults that a record ever showed, the oldest first."""
        return self._all(
            _fault, "SELECT * FROM fault WHERE record_id = ? ORDER BY opened_seq, key", record_id
        )

    def job_faults(self, job_id: str) -> Sequence[FaultState]:
        """Return the faults of every record that now belongs to a job, the oldest first."""
        sql = (
            "SELECT fault.* FROM fault JOIN record ON record.id = fault.record_id "
            "WHERE job_id = ? ORDER BY opened_seq, key"
        )
        return self._all(_fault, sql, job_id)

    def drawers(self) -> Sequence[str]:
        """Return the names of the drawers that hold something, sorted."""
        return self._all(lambda row: str(row[0]), "SELECT DISTINCT name FROM drawer ORDER BY name")

    def drawer(self, name: str, *, after: str = "", limit: int) -> Sequence[tuple[str, Document]]:
        """Return documents of a drawer with their keys, by key, above ``after``."""
        sql = "SELECT key, document FROM drawer WHERE name = ? AND key > ? ORDER BY key LIMIT ?"
        return self._all(lambda row: (row[0], orjson.loads(row[1])), sql, name, after, limit)

    def drawn(self, name: str, key: str) -> Document | None:
        """Return one document of a drawer."""
        sql = "SELECT document FROM drawer WHERE name = ? AND key = ?"
        return self._one(lambda row: orjson.loads(row[0]), sql, name, key)
