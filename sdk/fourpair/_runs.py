"""``client.regrades`` and ``client.assessments``: many records looked at again, beside the service."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import quote

from fourpair._errors import FourpairError
from fourpair._listing import Listing
from fourpair._told import Told, told
from fourpair._transport import NO_TIMEOUT, Send, operation

# How often a run that goes on is asked how far it is. [s]
ASK_EVERY_S = 2.0
# How long a run is waited for where nothing else is said. [s]
WAIT_TIMEOUT_S = 3600.0
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
    """

    retryable = True

    def __init__(self, message: str, run: Run) -> None:
        super().__init__(message)
        self.run = run


class _Runs:
    """What both kinds of runs have in common."""

    _path: str

    def __init__(
        self,
        send: Send,
        sleep: Callable[[float], None] = time.sleep,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self._send, self._sleep, self._monotonic = send, sleep, monotonic

    def _at(self, run: Run | str, *parts: str) -> str:
        name = run if isinstance(run, str) else run.id
        return "/".join((self._path, quote(name, safe=""), *parts))

    def _start(
        self, document: Mapping[str, Any], filters: Mapping[str, Any], *, dry_run: bool, key: str | None
    ) -> Run:
        query = {**filters, "dry_run": dry_run}
        said = {name: value for name, value in document.items() if value is not None}
        answer = self._send("POST", self._path, params=query, document=said, key=key)
        return told(Run, answer.json(), response=answer)

    def _read(self, run: Run | str) -> Run:
        answer = self._send("GET", self._at(run))
        return told(Run, answer.json(), response=answer)

    def _told(self, run: Run | str, word: str, key: str | None) -> Run:
        answer = self._send("POST", self._at(run, word), key=key)
        return told(Run, answer.json(), response=answer)

    def _listed(self, query: Mapping[str, Any]) -> Listing[Run]:
        return Listing(self._send, self._path, query, "runs", lambda each: told(Run, each))

    def _found(self, run: Run | str, query: Mapping[str, Any]) -> Listing[Finding]:
        path = self._at(run, "findings")
        return Listing(self._send, path, query, "findings", lambda each: told(Finding, each))

    def findings_as(self, form: str, run: Run | str) -> str:
        """Return what was found as a table or as lines, as the service writes it.

        Args:
            form: ``"csv"``, or ``"ndjson"`` for a finding a line.
            run: or its id.

        Raises:
            NotFoundError: there is no such run.
        """
        return self._send("GET", self._at(run, "findings"), params={"format": form}).text

    def wait(self, run: Run | str, *, every_s: float = ASK_EVERY_S, timeout_s: float = WAIT_TIMEOUT_S) -> Run:
        """Return a run once it goes on no more: done, or stopped.

        Args:
            run: or its id.
            every_s: how often to ask. [s]
            timeout_s: how long to wait; ``NO_TIMEOUT`` for as long as it takes. [s]

        Raises:
            RunGoesOnError: it went on beyond that, and still does; its ``run`` says how far it is.
        """
        found = list(self.progress(run, every_s=every_s, timeout_s=timeout_s))[-1]
        if found.goes_on:
            raise RunGoesOnError(
                f"Run {found.id} is {found.state} with {found.settled} of {found.records} records settled "
                f"after {timeout_s:g} s, and goes on: wait again, with a longer timeout_s, or stop it.",
                found,
            )
        return found

    def progress(
        self, run: Run | str, *, every_s: float = ASK_EVERY_S, timeout_s: float = NO_TIMEOUT
    ) -> Iterator[Run]:
        """Yield a run as it stands, again and again, until it goes on no more or the time is over.

        Args:
            run: or its id.
            every_s: how often to ask. [s]
            timeout_s: how long to go on asking. [s]
        """
        last_s = self._monotonic() + timeout_s
        while True:
            now = self._read(run)
            yield now
            left_s = last_s - self._monotonic()
            if not now.goes_on or left_s <= 0:
                return
            self._sleep(min(every_s, left_s))


class Regrades(_Runs):
    """Verdicts under a rule set that supersedes the one they rest on."""

    _path = "/v1/regrades"

    @operation("startRegrade")
    def start(
        self,
        under: str,
        /,
        *,
        reason: str | None = None,
        dry_run: bool = False,
        idempotency_key: str | None = None,
        **filters: Any,
    ) -> Run:
        """Begin to grade records again; with ``dry_run`` no record moves.

        Args:
            under: id of a rule set that supersedes others.
            reason: why, for the history of the records.
            dry_run: find out everything, move nothing.
            idempotency_key: one is made where none is given.
            filters: which records, as of ``records.list``: ``job``, ``outcome``, ``rule_set`` and the others.

        Raises:
            InvalidDocumentError: the rule set supersedes none, or a filter is not valid.
            ConflictError: a run of the kind is under way.
        """
        document = {"rule_set": under, "reason": reason}
        return self._start(document, filters, dry_run=dry_run, key=idempotency_key)

    @operation("getRegrade")
    def get(self, run: Run | str) -> Run:
        """Return how far a run has come.

        Raises:
            NotFoundError: there is none.
        """
        return self._read(run)

    @operation("listRegrades")
    def list(self, *, limit: int | None = None, cursor: str | None = None) -> Listing[Run]:
        """Return all runs, in the order in which they began."""
        return self._listed({"limit": limit, "cursor": cursor})

    @operation("listRegradeFindings")
    def findings(
        self, run: Run | str, *, limit: int | None = None, cursor: str | None = None
    ) -> Listing[Finding]:
        """Return which records change: from what, to what, by how much and because of which limits."""
        return self._found(run, {"limit": limit, "cursor": cursor})

    @operation("stopRegrade")
    def stop(self, run: Run | str, *, idempotency_key: str | None = None) -> Run:
        """Stop a run between two records; what is settled stays.

        Raises:
            ConflictError: it does not run.
        """
        return self._told(run, "stop", idempotency_key)

    @operation("resumeRegrade")
    def resume(self, run: Run | str, *, idempotency_key: str | None = None) -> Run:
        """Go on with a run that was stopped.

        Raises:
            ConflictError: it was not stopped.
        """
        return self._told(run, "resume", idempotency_key)


class Assessments(_Runs):
    """What the links of many records would meet, run or carry; no record moves."""

    _path = "/v1/assessments"

    @operation("startAssessment")
    def start(
        self,
        question: Mapping[str, Any],
        /,
        *,
        keep: bool | None = None,
        dry_run: bool = False,
        idempotency_key: str | None = None,
        **filters: Any,
    ) -> Run:
        """Begin to ask many records one thing.

        Args:
            question: exactly one of ``{"requirement": {"rule_set": …, "category": …}}``,
                ``{"application": "10GBASE-T"}`` and ``{"power_type": 4}``.
            keep: keep what the links carry beside their revisions, to be searched by.
            dry_run: keep nothing.
            idempotency_key: one is made where none is given.
            filters: which records, as of ``records.list``: ``job``, ``application`` and the others.

        Raises:
            InvalidDocumentError: not exactly one thing is asked, or a filter is not valid.
        """
        document = {**question, "keep": keep}
        return self._start(document, filters, dry_run=dry_run, key=idempotency_key)

    @operation("getAssessmentRun")
    def get(self, run: Run | str) -> Run:
        """Return how far a run has come.

        Raises:
            NotFoundError: there is none.
        """
        return self._read(run)

    @operation("listAssessments")
    def list(self, *, limit: int | None = None, cursor: str | None = None) -> Listing[Run]:
        """Return all runs, in the order in which they began."""
        return self._listed({"limit": limit, "cursor": cursor})

    @operation("listAssessmentFindings")
    def findings(
        self, run: Run | str, *, limit: int | None = None, cursor: str | None = None
    ) -> Listing[Finding]:
        """Return what each record answers."""
        return self._found(run, {"limit": limit, "cursor": cursor})

    @operation("stopAssessment")
    def stop(self, run: Run | str, *, idempotency_key: str | None = None) -> Run:
        """Stop a run between two records; what is settled stays.

        Raises:
            ConflictError: it does not run.
        """
        return self._told(run, "stop", idempotency_key)

    @operation("resumeAssessment")
    def resume(self, run: Run | str, *, idempotency_key: str | None = None) -> Run:
        """Go on with a run that was stopped.

        Raises:
            ConflictError: it was not stopped.
        """
        return self._told(run, "resume", idempotency_key)
