"""Runs over many records, and what they find, as values."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from fourpair._errors import FourpairError
from fourpair._told import Told

GOING_ON = frozenset({"waiting", "running", "stopping"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Run(Told):
    """A run over many records, and how far it has come.

    Attributes:
        state: whether it waits, runs, was stopped or is done.
        asked: what is asked of each record.
        filter: which records it is about, in the words of ``records.list``.
        records: how many it is about.
        settled: of how many the answer is known.
        counts: of the settled records, by what was found.
        moves: how many records went from one outcome to another, or to an answer.

    >>> run = client.assessments.wait(client.assessments.start({"application": "1000BASE-T"}))
    >>> run.state, run.records, run.settled, run.goes_on
    ('done', 2, 2, False)
    """

    id: str
    state: str
    dry_run: bool = False
    asked: Mapping[str, Any] = field(default_factory=dict)
    filter: Mapping[str, Any] = field(default_factory=dict)
    reason: str | None = None
    actor: str = ""
    created_at: str | None = None
    finished_at: str | None = None
    records: int = 0
    settled: int = 0
    counts: Mapping[str, int] = field(default_factory=dict)
    moves: tuple[Mapping[str, Any], ...] = ()

    @property
    def goes_on(self) -> bool:
        """Whether more will be settled without a further word."""
        return self.finished_at is None and self.state in GOING_ON


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding(Told):
    """What was found of one record.

    Attributes:
        record: its id.
        revision: which one was looked at.
        refused: why it could not be graded; ``None`` where it could.
        outcome_before, outcome_after: of a re-grading.
        change_db: by how much the smallest margin moved, positive for more of it. [dB]
        because: the limits that make the difference; of an assessment, what limits the answer.
        answer: of an assessment: ``supported``, ``conditional``, ``not_supported`` and so on.
        headroom_db: of an assessment. [dB]
        text: of an assessment, as a sentence.

    >>> run = client.assessments.wait(client.assessments.start({"application": "1000BASE-T"}))
    >>> [(found.label, found.answer) for found in client.assessments.findings(run)]
    [('A-01', 'supported'), ('A-02', 'not_evaluated')]
    """

    record: str
    label: str
    job: str
    revision: int
    refused: str | None = None
    outcome_before: str | None = None
    outcome_after: str | None = None
    change_db: float | None = None
    because: Any = None
    outcome: str | None = None
    answer: str | None = None
    headroom_db: float | None = None
    text: str | None = None


class RunGoesOnError(FourpairError, TimeoutError):
    """A run was still going on when the time to wait for it was over.

    Attributes:
        run: how far it was then.

    >>> run = client.assessments.start({"power_type": 4})
    >>> try:
    ...     client.with_options(sleep=running.clock.sleep).assessments.wait(run, timeout_s=60)
    ... except RunGoesOnError as error:
    ...     error.run.state
    'waiting'
    """

    retryable = True

    def __init__(self, message: str, run: Run) -> None:
        super().__init__(message)
        self.run = run
