"""``client.regrades`` and ``client.assessments``: many records looked at again, beside the service."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Mapping
from typing import Any
from urllib.parse import quote

from fourpair._listing import Listing
from fourpair._run_values import Finding, Run, RunGoesOnError
from fourpair._told import told
from fourpair._transport import NO_TIMEOUT, Send, operation

# How often a run that goes on is asked how far it is. [s]
ASK_EVERY_S = 2.0
# How long a run is waited for where nothing else is said. [s]
WAIT_TIMEOUT_S = 3600.0


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

        >>> run = client.assessments.wait(client.assessments.start({"power_type": 4}))
        >>> client.assessments.findings_as("csv", run).splitlines()[0][:12]
        'record,label'
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

        >>> client.assessments.wait(client.assessments.start({"power_type": 4}), timeout_s=60).state
        'done'
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

        >>> run = client.assessments.start({"power_type": 4})
        >>> [(each.state, each.settled) for each in client.assessments.progress(run)]
        [('waiting', 0), ('done', 2)]
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
    """Verdicts under a rule set that supersedes the one they rest on.

    >>> client.regrades.wait(client.regrades.start("tia-568.2-d-2018-example", dry_run=True)).counts
    {'changed': 1, 'unchanged': 1, 'not_concerned': 0, 'answered': 0, 'refused': 0}
    """

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

        >>> run = client.regrades.start("tia-568.2-d-2018-example", reason="checked limits", job="clinic")
        >>> run.state, run.asked["rule_set"], run.records
        ('waiting', 'tia-568.2-d-2018-example', 2)
        """
        document = {"rule_set": under, "reason": reason}
        return self._start(document, filters, dry_run=dry_run, key=idempotency_key)

    @operation("getRegrade")
    def get(self, run: Run | str) -> Run:
        """Return how far a run has come.

        Raises:
            NotFoundError: there is none.

        >>> run = client.regrades.start("tia-568.2-d-2018-example", dry_run=True)
        >>> client.regrades.get(run.id).state
        'waiting'
        """
        return self._read(run)

    @operation("listRegrades")
    def list(self, *, limit: int | None = None, cursor: str | None = None) -> Listing[Run]:
        """Return all runs, in the order in which they began.

        >>> run = client.regrades.start("tia-568.2-d-2018-example", dry_run=True)
        >>> [each.dry_run for each in client.regrades.list()]
        [True]
        """
        return self._listed({"limit": limit, "cursor": cursor})

    @operation("listRegradeFindings")
    def findings(
        self, run: Run | str, *, limit: int | None = None, cursor: str | None = None
    ) -> Listing[Finding]:
        """Return which records change: from what, to what, by how much and because of which limits.

        >>> run = client.regrades.wait(client.regrades.start("tia-568.2-d-2018-example", dry_run=True))
        >>> for found in client.regrades.findings(run):
        ...     print(found.label, found.outcome_before, found.outcome_after, found.change_db)
        A-01 pass incomplete 0.0
        """
        return self._found(run, {"limit": limit, "cursor": cursor})

    @operation("stopRegrade")
    def stop(self, run: Run | str, *, idempotency_key: str | None = None) -> Run:
        """Stop a run between two records; what is settled stays.

        Raises:
            ConflictError: it does not run.

        >>> client.regrades.stop(client.regrades.start("tia-568.2-d-2018-example")).state
        'stopped'
        """
        return self._told(run, "stop", idempotency_key)

    @operation("resumeRegrade")
    def resume(self, run: Run | str, *, idempotency_key: str | None = None) -> Run:
        """Go on with a run that was stopped.

        Raises:
            ConflictError: it was not stopped.

        >>> stopped = client.regrades.stop(client.regrades.start("tia-568.2-d-2018-example"))
        >>> client.regrades.wait(client.regrades.resume(stopped)).state
        'done'
        """
        return self._told(run, "resume", idempotency_key)


class Assessments(_Runs):
    """What the links of many records would meet, run or carry; no record moves.

    >>> client.assessments.start({"power_type": 4}, job="clinic").records
    2
    """

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

        >>> run = client.assessments.start({"application": "10GBASE-T"}, outcome="pass")
        >>> run.asked["application"], run.records
        ('10GBASE-T', 1)
        """
        document = {**question, "keep": keep}
        return self._start(document, filters, dry_run=dry_run, key=idempotency_key)

    @operation("getAssessmentRun")
    def get(self, run: Run | str) -> Run:
        """Return how far a run has come.

        Raises:
            NotFoundError: there is none.

        >>> client.assessments.get(client.assessments.start({"power_type": 4})).state
        'waiting'
        """
        return self._read(run)

    @operation("listAssessments")
    def list(self, *, limit: int | None = None, cursor: str | None = None) -> Listing[Run]:
        """Return all runs, in the order in which they began.

        >>> run = client.assessments.start({"power_type": 4})
        >>> [each.id == run.id for each in client.assessments.list()]
        [True]
        """
        return self._listed({"limit": limit, "cursor": cursor})

    @operation("listAssessmentFindings")
    def findings(
        self, run: Run | str, *, limit: int | None = None, cursor: str | None = None
    ) -> Listing[Finding]:
        """Return what each record answers.

        >>> run = client.assessments.wait(client.assessments.start({"application": "1000BASE-T"}))
        >>> [(found.label, found.answer) for found in client.assessments.findings(run)]
        [('A-01', 'supported'), ('A-02', 'not_evaluated')]
        """
        return self._found(run, {"limit": limit, "cursor": cursor})

    @operation("stopAssessment")
    def stop(self, run: Run | str, *, idempotency_key: str | None = None) -> Run:
        """Stop a run between two records; what is settled stays.

        Raises:
            ConflictError: it does not run.

        >>> client.assessments.stop(client.assessments.start({"power_type": 4})).state
        'stopped'
        """
        return self._told(run, "stop", idempotency_key)

    @operation("resumeAssessment")
    def resume(self, run: Run | str, *, idempotency_key: str | None = None) -> Run:
        """Go on with a run that was stopped.

        Raises:
            ConflictError: it was not stopped.

        >>> stopped = client.assessments.stop(client.assessments.start({"power_type": 4}))
        >>> client.assessments.wait(client.assessments.resume(stopped)).state
        'done'
        """
        return self._told(run, "resume", idempotency_key)
