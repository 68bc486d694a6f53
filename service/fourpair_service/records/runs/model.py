"""A run over many records: what is asked of which, and how far it has come."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field, fields
from enum import StrEnum
from typing import Any, Final

from fourpair_service.records.curves import Document
from fourpair_service.records.model import Assessment
from fourpair_service.records.search import Filter

RUNS: Final = "runs"
OPEN_RUNS: Final = "runs-open"
SETS: Final = frozenset({"visible_jobs", "outcomes"})


class RunKind(StrEnum):
    """What a run does with its records."""

    REGRADE = "regrade"
    ASSESSMENT = "assessment"


class RunState(StrEnum):
    """How far a run has come."""

    WAITING = "waiting"
    RUNNING = "running"
    STOPPED = "stopped"
    DONE = "done"


@dataclass(frozen=True, slots=True)
class Question:
    """What is asked of each record; one of the last four.

    Attributes:
        keep: an assessment is kept beside the revision, where it can be searched by.
        rule_set: re-grade under this one.
        supersedes: ids of all that it supersedes, near and far.
        requirement: would it meet this one?
        application: would it run this Ethernet application?
        power_type: would it carry power of this type (1 to 4)?
    """

    kind: RunKind
    keep: bool = False
    rule_set: str | None = None
    supersedes: tuple[str, ...] = ()
    requirement: Document | None = None
    application: str | None = None
    power_type: int | None = None


@dataclass(frozen=True, slots=True)
class Run:
    """A run; see :class:`Question` for what it asks.

    Attributes:
        wanted: which records.
        dry_run: everything is found out, and no record moves.
        nightly: begun by the nightly command, which carries on with it.
        total: how many records fit when it began.
        last_row: later records are left to the next run.
        position: row of the last record that is settled.
        counts: of settled records by what was found.
        moves: of changed records, by ``outcome before > outcome after``; of assessed ones, by answer.
        holder: who is carrying it on, until ``held_until`` unless that is renewed.
    """

    id: str
    question: Question
    wanted: Filter
    actor: str
    created_at: str
    dry_run: bool = False
    nightly: bool = False
    reason: str | None = None
    state: RunState = RunState.WAITING
    total: int = 0
    last_row: int = 0
    position: int = 0
    counts: Mapping[str, int] = field(default_factory=dict)
    moves: Mapping[str, int] = field(default_factory=dict)
    holder: str | None = None
    held_until: str | None = None
    finished_at: str | None = None

    @property
    def drawer(self) -> str:
        """Where what was found lies."""
        return f"run {self.id}"

    @property
    def seen(self) -> int:
        """How many records are settled."""
        return sum(self.counts.values())


class Found(StrEnum):
    """What a run finds of a record."""

    CHANGED = "changed"
    UNCHANGED = "unchanged"
    NOT_CONCERNED = "not_concerned"
    ANSWERED = "answered"
    REFUSED = "refused"


@dataclass(frozen=True, slots=True)
class Examined:
    """What was found of one record, at one revision of it.

    Attributes:
        finding: what is told of it; ``None`` where there is nothing to tell.
        move: for the counts by outcome or answer.
        verdict: the new one, where it has changed.
        assessment: beside it, or to be kept.
    """

    record_id: str
    row: int
    revision: int
    found: Found
    finding: Document | None = None
    move: str | None = None
    verdict: Document | None = None
    assessment: Assessment | None = None


def finding_key(row: int) -> str:
    """Return where in its drawer a run keeps what it found of a row."""
    return f"{row:016d}"


def filter_document(wanted: Filter) -> Document:
    """Return a filter as a document, without what does not matter."""
    own = {name: getattr(wanted, name) for name in (f.name for f in fields(Filter))}
    told = {name: sorted(v) if isinstance(v, frozenset) else v for name, v in own.items() if v is not None}
    return told if wanted.withdrawn is not None else {**told, "withdrawn": None}


def filter_of(document: Mapping[str, Any]) -> Filter:
    """Return the filter of a document."""
    own: dict[str, Any] = {n: frozenset(v) if n in SETS else v for n, v in document.items()}
    return Filter(**own)


def run_document(run: Run) -> Document:
    """Return a run as a document to be kept."""
    return {**asdict(run), "wanted": filter_document(run.wanted)}


def run_of(document: Mapping[str, Any]) -> Run:
    """Return the run of a document."""
    asked: Mapping[str, Any] = document["question"]
    supersedes: Sequence[str] = asked["supersedes"]
    question = Question(**{**asked, "kind": RunKind(asked["kind"]), "supersedes": tuple(supersedes)})
    return Run(
        **{
            **document,
            "question": question,
            "wanted": filter_of(document["wanted"]),
            "state": RunState(document["state"]),
        }
    )
