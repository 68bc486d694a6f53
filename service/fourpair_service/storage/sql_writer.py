"""One transaction of a store that speaks SQL."""

from __future__ import annotations

import json
from abc import abstractmethod
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from typing import Any, Final

import orjson

from fourpair_service.records.curves import Document, Parted
from fourpair_service.records.failures import fault_states
from fourpair_service.records.headline import (
    check_append,
    check_job,
    job_change,
    record_after,
    record_change,
    supported,
)
from fourpair_service.records.integrity import canonical_json
from fourpair_service.records.keys import ApiKey
from fourpair_service.records.label_order import label_key
from fourpair_service.records.model import (
    Assessment,
    Attachment,
    Change,
    ChangeKind,
    FaultState,
    IdempotencyEntry,
    Job,
    Party,
    Record,
    Revision,
)
from fourpair_service.storage import rows
from fourpair_service.storage.packing import packed
from fourpair_service.storage.rows import columns, insertion
from fourpair_service.storage.sql_reader import SqlReader

PUT_RECORD: Final = insertion("record", (*columns(Record), "label_order"))
MOVED: Final = (*(name for name in columns(Record) if name not in ("row", "id")), "label_order")
MOVE_RECORD: Final = (
    f"UPDATE record SET {', '.join(f'{n} = :{n}' for n in MOVED)} WHERE id = :id AND revision = :revision - 1"
)
PUT_REVISION: Final = insertion("revision", ("seq", *columns(Revision)))
PUT_CONTENT: Final = insertion("content", ("seq", "verdict", "rest", "curves", "curves_seq"))
PUT_CHANGE: Final = insertion("change", columns(Change))
PUT_FAULT: Final = insertion("fault", columns(FaultState), replacing=("key",))
PUT_PARTY: Final = insertion("party", columns(Party), replacing=("id",))
PUT_ATTACHMENT: Final = insertion("attachment", columns(Attachment))
PUT_ENTRY: Final = insertion("idempotency", columns(IdempotencyEntry))
PUT_KEY: Final = insertion("api_key", columns(ApiKey), replacing=("id",))
PUT_JOB: Final = insertion("job", ("id", "seq", "revision"), replacing=("id",))
PUT_ASSESSMENT: Final = insertion(
    "assessment", ("record_id", "number", "version", "document"), replacing=("record_id", "number")
)
PUT_IN: Final = insertion("drawer", ("name", "key", "document"), replacing=("name", "key"))


COUNT_UP: Final = (
    "INSERT INTO tally VALUES (?, ?, 1) "
    "ON CONFLICT (job_id, outcome) DO UPDATE SET links = tally.links + excluded.links"
)
COUNT_DOWN: Final = "UPDATE tally SET links = links - 1 WHERE job_id = ? AND outcome = ?"


class SqlWriter(SqlReader):
    """A block of writing; see :class:`~fourpair_service.records.ports.Writer`."""

    @abstractmethod
    def _run(self, sql: str, values: Any = ()) -> int:
        """Carry out a statement and return how many rows it changed."""

    @abstractmethod
    def _run_each(self, sql: str, values: Sequence[Any]) -> None:
        """Carry out a statement for each of some values."""

    @contextmanager
    def attempt(self) -> Iterator[None]:
        """Return a part of the block whose effects are undone when it raises."""
        self._run("SAVEPOINT attempt")
        try:
            yield
        except BaseException:
            self._run("ROLLBACK TO attempt")
            self._run("RELEASE attempt")
            raise
        self._run("RELEASE attempt")

    def _next_seq(self) -> int:
        last = self._one(lambda row: int(row[0]), "SELECT ifnull(max(seq), 0) FROM change")
        return (last or 0) + 1

    def append(
        self, revision: Revision, measurement: Parted, verdict: Document, assessment: Assessment | None
    ) -> Change:
        """Keep a sealed revision with its documents, move its record and tell the feed.

        Raises:
            RevisionConflictError, LabelTakenError, ExternalIdTakenError: as they say.
        """
        before = self.record(revision.record_id)
        check_append(self, revision, before)
        seq = self._next_seq()
        record = record_after(before, revision, verdict, assessment, seq)
        change = record_change(before, revision, seq)
        self._run(PUT_REVISION, {"seq": seq, **rows.row_of(revision)})
        self._put_content(seq, before, measurement, verdict)
        self._run(PUT_CHANGE, rows.row_of(change))
        own = {**rows.row_of(record), "label_order": label_key(record.label)}
        self._run(MOVE_RECORD if before else PUT_RECORD, own)
        self._count(before, record)
        self._index(record, before)
        if assessment is not None:
            self._keep_assessment(revision.record_id, revision.number, assessment)
        for fault in fault_states(
            self.faults_of(record.id) if before else (),
            record.id,
            verdict,
            seq=seq,
            withdrawn=record.withdrawn,
        ):
            self._run(PUT_FAULT, rows.row_of(fault))
        return change

    def _put_content(self, seq: int, before: Record | None, measurement: Parted, verdict: Document) -> None:
        own = rows.content_row(seq, measurement, verdict)
        if before is not None:
            # A correction or withdrawal measures nothing anew: the curves are kept once.
            sql = "SELECT curves_seq FROM content WHERE seq = ?"
            kept = self._one(lambda row: int(row[0]), sql, before.seq)
            sql = "SELECT 1 FROM content WHERE seq = ? AND curves = ?"
            if kept and self._one(lambda row: True, sql, kept, own["curves"]):
                own |= {"curves": None, "curves_seq": kept}
        self._run(PUT_CONTENT, own)

    def _count(self, before: Record | None, record: Record) -> None:
        gone, come = (
            None if each is None or each.withdrawn else (each.job_id, each.outcome)
            for each in (before, record)
        )
        if gone == come:
            return
        if gone is not None:
            self._run(COUNT_DOWN, gone)
        if come is not None:
            self._run(COUNT_UP, come)

    def _index(self, record: Record, before: Record | None) -> None:
        if before is not None:
            self._run("DELETE FROM record_external_id WHERE record_id = ?", (record.id,))
        ids = [(system, value, record.id) for system, value in record.external_ids.items()]
        if ids:
            self._run_each("INSERT INTO record_external_id VALUES (?, ?, ?)", ids)
        self._index_traits(record, is_new=before is None)

    def _index_traits(self, record: Record, *, is_new: bool) -> None:
        if not is_new:
            self._run("DELETE FROM record_trait WHERE record_row = ?", (record.row,))
        traits = [(record.row, kind, value) for kind in rows.TRAITS for value in getattr(record, kind)]
        if traits:
            self._run_each("INSERT INTO record_trait VALUES (?, ?, ?)", traits)

    def put_job(self, job: Job, kind: ChangeKind) -> Change:
        """Keep a new revision of a job and tell the feed.

        Raises:
            JobExistsError, RevisionConflictError, ExternalIdTakenError: as they say.
        """
        check_job(self, job, self.job(job.id))
        previous = self._one(lambda row: int(row[0]), "SELECT seq FROM job WHERE id = ?", job.id)
        seq = self._next_seq()
        change = job_change(job, kind, previous_seq=previous, seq=seq)
        document = canonical_json(rows.job_document(job)).decode()
        self._run("INSERT INTO job_revision VALUES (?, ?, ?)", (job.id, job.revision, document))
        self._run(PUT_JOB, {"id": job.id, "seq": seq, "revision": job.revision})
        self._run("DELETE FROM job_external_id WHERE job_id = ?", (job.id,))
        for system, value in job.external_ids.items():
            self._run("INSERT INTO job_external_id VALUES (?, ?, ?)", (system, value, job.id))
        self._run(PUT_CHANGE, rows.row_of(change))
        return change

    def _keep_assessment(self, record_id: str, number: int, assessment: Assessment) -> None:
        content = packed(assessment.document)
        own = {"record_id": record_id, "number": number, "version": assessment.version, "document": content}
        self._run(PUT_ASSESSMENT, own)

    def put_assessment(self, record_id: str, number: int, assessment: Assessment) -> None:
        """Keep an assessment beside a revision; no chain, no feed."""
        self._keep_assessment(record_id, number, assessment)
        record = self.record(record_id)
        if record is not None and record.revision == number:
            record = replace(record, **supported(assessment))
            own = rows.row_of(record)
            sql = "UPDATE record SET applications = ?, power_types = ? WHERE id = ?"
            self._run(sql, (own["applications"], own["power_types"], record_id))
            self._index_traits(record, is_new=False)

    def put_party(self, party: Party) -> None:
        """Keep or replace a party."""
        self._run(PUT_PARTY, rows.row_of(party))

    def put_attachment(self, attachment: Attachment, content: bytes) -> None:
        """Keep an attachment and, once, its bytes."""
        self._run(PUT_ATTACHMENT, rows.row_of(attachment))
        sql = "INSERT INTO attachment_content VALUES (?, ?) ON CONFLICT (digest) DO NOTHING"
        self._run(sql, (attachment.digest, content))

    def put_idempotency(self, entry: IdempotencyEntry, *, forget_before: str | None = None) -> None:
        """Keep what became of a key, and forget what is older than an instant."""
        if forget_before is not None:
            self._run("DELETE FROM idempotency WHERE at < ?", (forget_before,))
        answer = None if entry.answer is None else json.dumps(entry.answer)
        self._run(PUT_ENTRY, {**rows.row_of(entry), "answer": answer})

    def put_api_key(self, key: ApiKey) -> None:
        """Keep or replace an API key."""
        self._run(PUT_KEY, rows.key_row(key))

    def put_in(self, name: str, key: str, document: Document) -> None:
        """Keep or replace a document of a drawer."""
        self._run(PUT_IN, {"name": name, "key": key, "document": orjson.dumps(document).decode()})

    def take_out(self, name: str, key: str) -> None:
        """Drop a document of a drawer, where it is there."""
        self._run("DELETE FROM drawer WHERE name = ? AND key = ?", (name, key))
