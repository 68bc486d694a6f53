"""Runs over many records as documents, lines and tables."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

from fourpair_service.records.curves import Document
from fourpair_service.records.ports import Reader
from fourpair_service.records.runs.model import Found, Run, RunKind, filter_document, finding_key

PAGE: Final = 500

FINDING: Final = ("record", "label", "job", "revision", "refused")
CHANGE: Final = (
    "rule_set_before",
    "rule_set_after",
    "outcome_before",
    "outcome_after",
    "headroom_before_db",
    "headroom_after_db",
    "change_db",
    "basis_before",
    "basis_after",
    "provisional_before",
    "provisional_after",
)
ANSWER: Final = ("outcome", "answer", "headroom_db", "provisional", "text")
CAUSE: Final = (
    "parameter",
    "end",
    "pairs",
    "unit",
    "margin_before",
    "margin_after",
    "limit_before",
    "limit_after",
    "frequency_before_mhz",
    "frequency_after_mhz",
    "source",
)
PLACE: Final = ("parameter", "end", "pairs", "frequency_mhz", "margin_db")


def run_answer(run: Run) -> Document:
    """Return a run as it is told."""
    asked = run.question
    requirement = asked.requirement
    return {
        "id": run.id,
        "state": run.state.value,
        "dry_run": run.dry_run,
        "asked": {
            "rule_set": asked.rule_set,
            "requirement": None if requirement is None else dict(requirement),
            "application": asked.application,
            "power_type": asked.power_type,
            "keep": asked.keep,
        },
        "filter": {n: v for n, v in filter_document(run.wanted).items() if n != "visible_jobs"},
        "reason": run.reason,
        "actor": run.actor,
        "created_at": run.created_at,
        "finished_at": run.finished_at,
        "records": run.total,
        "settled": run.seen,
        "counts": {found.value: run.counts.get(found.value, 0) for found in Found},
        "moves": [_move(name, count) for name, count in sorted(run.moves.items())],
    }


def _move(name: str, count: int) -> Document:
    before, _, after = name.rpartition(" > ")
    return {"before": before or None, "after": after, "records": count}


def finding_document(kind: RunKind, found: Mapping[str, Any]) -> Document:
    """Return what was found of one record, with every field."""
    own = CHANGE if kind is RunKind.REGRADE else ANSWER
    told = {name: found.get(name) for name in (*FINDING, *own)}
    if kind is RunKind.REGRADE:
        return {**told, "categories": found.get("categories", []), "because": found.get("because", [])}
    return {**told, "because": found.get("because")}


def findings(reader: Reader, run: Run, after: str) -> Iterator[Document]:
    """Yield everything behind a place that a run had found when it was read, a page of it in memory."""
    last = finding_key(run.position)
    page = reader.drawer(run.drawer, after=after, limit=PAGE)
    while page and page[0][0] <= last:
        yield from (finding_document(run.question.kind, found) for key, found in page if key <= last)
        page = reader.drawer(run.drawer, after=page[-1][0], limit=PAGE)


def table_header(kind: RunKind) -> list[str]:
    """Return the columns of the table of findings."""
    own, because = (CHANGE, CAUSE) if kind is RunKind.REGRADE else (ANSWER, PLACE)
    return [*FINDING, *own, *(f"because_{name}" for name in because)]


def table_row(kind: RunKind, found: Document) -> Sequence[object]:
    """Return one finding as a row; of several causes the first, which decides."""
    own, names = (CHANGE, CAUSE) if kind is RunKind.REGRADE else (ANSWER, PLACE)
    because = found["because"]
    if isinstance(because, list):
        because = because[0] if because else None
    return [*(found[n] for n in (*FINDING, *own)), *((because or {}).get(n) for n in names)]
