"""One record looked at again: pure reading and grading, which any process may do."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from fourpair_service.errors import ServiceError
from fourpair_service.records.curves import Document, join
from fourpair_service.records.desk import Grader, Grading
from fourpair_service.records.documents import with_cords
from fourpair_service.records.errors import StoreError
from fourpair_service.records.model import Assessment, Record
from fourpair_service.records.ports import Reader
from fourpair_service.records.runs.comparing import difference
from fourpair_service.records.runs.model import Examined, Found, Question, RunKind

# The grader for a question: what a link carries is worked out only where that is asked.
GraderFor = Callable[[Question], Grader]
ASIDE: Final = frozenset({"requirement", "tested_by"})
NOT_EVALUATED: Final = "not_evaluated"


@dataclass(frozen=True, slots=True)
class Held:
    """A measurement, what it is to be held against, and the verdict that there is."""

    document: Document
    asked: Document
    verdict: Mapping[str, Any]


# Tells of which measurements it is certain that grading finds what their verdicts say.
Standing = Callable[[Sequence[Held]], Sequence[bool]]


@dataclass(frozen=True, slots=True)
class Bench:
    """Where records are looked at: a store to read from, and how to grade.

    Attributes:
        grade: with all that is kept beside a verdict; for one that has changed.
        standing: spares the grading of what stands; ``None`` grades everything.
    """

    reader: Reader
    grader_for: GraderFor
    grade: Grader
    standing: Standing | None = None


@dataclass(frozen=True, slots=True)
class Chunk:
    """Some records of a run, to be looked at together."""

    question: Question
    record_ids: tuple[str, ...]


def measured_document(reader: Reader, record: Record) -> Document:
    """Return a measurement to be graded: its sweeps in arrays, without its own requirement and who tested."""
    parted = reader.measurement(record.id, record.revision)
    assert parted is not None, "a revision has its measurement"
    document = join(parted, as_arrays=True)
    return {name: value for name, value in document.items() if name not in ASIDE}


def _end_to_end(bench: Bench, record: Record, document: Document) -> Document:
    """Return a measurement with the cords that decide what it carries; no verdict knows them."""
    return with_cords(document, bench.reader.job(record.job_id))


def same_requirement(verdict: Mapping[str, Any], **other: Any) -> Document:
    """Return what a verdict was asked for, or the same with something else."""
    return {n: v for n, v in {**verdict["requirement"], **other}.items() if v is not None}


def _told(record: Record, **more: Any) -> Document:
    return {
        "record": record.id,
        "label": record.label,
        "job": record.job_id,
        "revision": record.revision,
        **more,
    }


def is_concerned(question: Question, record: Record) -> bool:
    """Return whether a run looks into a record at all."""
    if record.withdrawn:
        return False
    return question.kind is not RunKind.REGRADE or record.rule_set_id in question.supersedes


def _held(bench: Bench, question: Question, record: Record) -> Held:
    before = bench.reader.verdict(record.id, record.revision)
    assert before is not None, "a revision has its verdict"
    return Held(
        measured_document(bench.reader, record), same_requirement(before, rule_set=question.rule_set), before
    )


def _unchanged(record: Record) -> Examined:
    return Examined(record.id, record.row, record.revision, Found.UNCHANGED)


def _regraded(bench: Bench, question: Question, record: Record, held: Held) -> Examined:
    found = difference(held.verdict, bench.grader_for(question)(held.document, held.asked).verdict)
    if found is None:
        return _unchanged(record)
    grading = bench.grade(_end_to_end(bench, record, held.document), held.asked)
    return Examined(
        record.id,
        record.row,
        record.revision,
        Found.CHANGED,
        _told(record, **found),
        f"{found['outcome_before']} > {found['outcome_after']}",
        grading.verdict,
        grading.assessment,
    )


def _place(point: Mapping[str, Any] | None) -> Document | None:
    if not point:
        return None
    return {name: point.get(name) for name in ("parameter", "end", "pairs", "frequency_mhz", "margin_db")}


def _requirement_met(grading: Grading) -> Document:
    verdict = grading.verdict
    reasons = verdict.get("reasons") or [None]
    return {
        "answer": verdict["outcome"],
        "headroom_db": verdict["headroom_db"],
        "because": _place(verdict.get("headroom")),
        "provisional": bool(verdict.get("provisional")),
        "text": reasons[0],
    }


def _row(rows: Iterable[Mapping[str, Any]], name: str, value: Any) -> Mapping[str, Any]:
    return next((row for row in rows if row[name] == value), {})


def _application_run(assessment: Assessment | None, name: str) -> Document:
    carried = (assessment.document if assessment else {}).get("applications") or {}
    row = _row(carried.get("applications", ()), "application", name)
    text = row.get("text") or [None]
    return {
        "answer": row.get("state", NOT_EVALUATED),
        "headroom_db": row.get("headroom_db"),
        "because": _place(row.get("limiting")),
        "provisional": bool(row.get("provisional", True)),
        "text": " ".join([text[0], *row.get("conditions", ())]) if text[0] else None,
    }


def _power_carried(assessment: Assessment | None, power_type: int) -> Document:
    powering = (assessment.document if assessment else {}).get("powering") or {}
    row = _row(powering.get("types", ()), "type", power_type)
    available = [
        each["available_w"] for each in row.get("available_w", ()) if each["available_w"] is not None
    ]
    highest = row.get("highest_class")
    text = None
    if row:
        text = (
            f"Highest class that arrives: {'none' if highest is None else highest}"
            f"{f', {max(available):.1f} W at the device' if available else ''}."
        )
    return {
        "answer": row.get("state", NOT_EVALUATED),
        "headroom_db": None,
        "because": None,
        "provisional": row.get("basis") != "published",
        "text": text,
    }


def _answer(question: Question, grading: Grading) -> Document:
    if question.application is not None:
        return _application_run(grading.assessment, question.application)
    if question.power_type is not None:
        return _power_carried(grading.assessment, question.power_type)
    return _requirement_met(grading)


def _assessed(bench: Bench, question: Question, record: Record) -> Examined:
    asked = question.requirement
    if asked is None:
        verdict = bench.reader.verdict(record.id, record.revision)
        assert verdict is not None, "a revision has its verdict"
        asked = same_requirement(verdict)
    document = _end_to_end(bench, record, measured_document(bench.reader, record))
    grading = bench.grader_for(question)(document, asked)
    answer = _answer(question, grading)
    return Examined(
        record.id,
        record.row,
        record.revision,
        Found.ANSWERED,
        _told(record, outcome=record.outcome, **answer),
        answer["answer"],
        assessment=grading.assessment if question.keep else None,
    )


def _looked_at(bench: Bench, question: Question, record: Record, held: Held | None) -> Examined:
    try:
        if question.kind is not RunKind.REGRADE:
            return _assessed(bench, question, record)
        return _regraded(bench, question, record, held or _held(bench, question, record))
    except StoreError:
        raise  # of the store that is away, not of the record
    except ServiceError as error:
        told = _told(record, refused=str(error), code=error.code)
        return Examined(record.id, record.row, record.revision, Found.REFUSED, told)


def examine(bench: Bench, question: Question, record: Record) -> Examined:
    """Return what a run finds of a record; an error of grading is a finding too.

    Raises:
        StoreError: the store failed; nothing is known of the record then.
    """
    return examine_all(bench, question, [record])[0]


def examine_all(bench: Bench, question: Question, records: Sequence[Record]) -> list[Examined]:
    """Return what a run finds of each record; those that are graded again are looked at together first."""
    held: dict[str, Held] = {}
    standing: frozenset[str] = frozenset()
    if question.kind is RunKind.REGRADE and bench.standing is not None:
        concerned = [record for record in records if is_concerned(question, record)]
        held = {record.id: _held(bench, question, record) for record in concerned}
        stands = bench.standing([*held.values()])
        standing = frozenset(name for name, is_so in zip(held, stands, strict=True) if is_so)
    found = []
    for record in records:
        if not is_concerned(question, record):
            found.append(Examined(record.id, record.row, record.revision, Found.NOT_CONCERNED))
        elif record.id in standing:
            found.append(_unchanged(record))
        else:
            found.append(_looked_at(bench, question, record, held.get(record.id)))
    return found


def examine_chunk(bench: Bench, chunk: Chunk) -> list[Examined]:
    """Return what a run finds of each record of a chunk, in its order."""
    found = (bench.reader.record(record_id) for record_id in chunk.record_ids)
    return examine_all(bench, chunk.question, [record for record in found if record is not None])
