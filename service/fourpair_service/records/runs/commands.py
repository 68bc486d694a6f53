"""Starting, stopping and resuming runs."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Final

from fourpair_service.records.desk import Caller, Desk, Subject, Terms, known_key, remember
from fourpair_service.records.errors import NotFoundError, RunFinishedError
from fourpair_service.records.ports import Reader, Writer
from fourpair_service.records.runs.model import (
    OPEN_RUNS,
    RUNS,
    Question,
    Run,
    RunKind,
    RunState,
    run_document,
    run_of,
)
from fourpair_service.records.search import Filter

ID_LENGTH: Final = 8
PAGE: Final = 200


def keep_run(writer: Writer, run: Run) -> Run:
    """Keep a run as it stands."""
    writer.put_in(RUNS, run.id, run_document(run))
    if run.state in (RunState.WAITING, RunState.RUNNING):
        writer.put_in(OPEN_RUNS, run.id, {})
    else:
        writer.take_out(OPEN_RUNS, run.id)
    return run


def known_run(reader: Reader, run_id: str) -> Run | None:
    """Return a run by its id."""
    document = reader.drawn(RUNS, run_id)
    return None if document is None else run_of(document)


def _may_see(caller: Caller, run: Run) -> bool:
    if caller.jobs is None:
        return True
    return run.wanted.visible_jobs is not None and run.wanted.visible_jobs <= caller.jobs


def visible_run(reader: Reader, caller: Caller, kind: RunKind, run_id: str) -> Run:
    """Return a run that the caller may see.

    Raises:
        NotFoundError: there is none, or it is not the caller's to see.
    """
    run = known_run(reader, run_id)
    if run is None or run.question.kind is not kind or not _may_see(caller, run):
        raise NotFoundError(kind.value, run_id)
    return run


def visible_runs(reader: Reader, caller: Caller, kind: RunKind, *, after: str, limit: int) -> list[Run]:
    """Return runs of a kind in the order in which they began, above ``after``."""
    found: list[Run] = []
    page = reader.drawer(RUNS, after=after, limit=PAGE)
    while page and len(found) < limit:
        runs = (run_of(document) for _, document in page)
        found += [run for run in runs if run.question.kind is kind and _may_see(caller, run)]
        page = reader.drawer(RUNS, after=page[-1][0], limit=PAGE)
    return found[:limit]


def past_runs(reader: Reader) -> Iterator[Run]:
    """Yield every run that ever began, the oldest first."""
    page = reader.drawer(RUNS, limit=PAGE)
    while page:
        yield from (run_of(document) for _, document in page)
        page = reader.drawer(RUNS, after=page[-1][0], limit=PAGE)


def open_runs(reader: Reader) -> Sequence[Run]:
    """Return every run that somebody is to carry on, the oldest first."""
    found = (known_run(reader, key) for key, _ in reader.drawer(OPEN_RUNS, limit=PAGE))
    return [run for run in found if run is not None]


def begin(
    writer: Writer,
    desk: Desk,
    actor: str,
    question: Question,
    wanted: Filter,
    *,
    dry_run: bool = False,
    nightly: bool = False,
    reason: str | None = None,
) -> Run:
    """Keep a new run that waits to be carried out."""
    now, last = desk.now(), writer.last_change()
    count = sum(group.links for group in writer.stats(wanted, []))
    plain = "".join(character for character in now if character.isdigit())
    run = Run(
        id=f"{plain}-{desk.new_id()[:ID_LENGTH]}",
        question=question,
        wanted=wanted,
        actor=actor,
        created_at=now,
        dry_run=dry_run,
        nightly=nightly,
        reason=reason,
        total=count,
        last_row=last.seq if last else 0,
    )
    return keep_run(writer, run)


def start_run(
    desk: Desk, caller: Caller, question: Question, wanted: Filter, terms: Terms, *, reason: str | None = None
) -> tuple[Run, bool]:
    """Begin a run, or return the one that the same request began, and whether it is that one.

    A dry run is kept as every other, since its results are to be read; it moves no record.
    """
    asked = replace(terms, dry_run=False)
    with desk.store.writing() as writer:
        known = known_key(writer, caller, asked)
        if known is not None:
            run = known_run(writer, known.subject_id)
            if run is None:
                raise NotFoundError("run", known.subject_id)
            return run, True
        run = begin(writer, desk, caller.actor, question, wanted, dry_run=terms.dry_run, reason=reason)
        remember(writer, desk, caller, asked, Subject("run", run.id, status=202))
        return run, False


def stop_run(desk: Desk, caller: Caller, kind: RunKind, run_id: str) -> Run:
    """Stop a run; what it has settled stays.

    Raises:
        NotFoundError: there is no such run.
        RunFinishedError: it has ended.
    """
    with desk.store.writing() as writer:
        run = visible_run(writer, caller, kind, run_id)
        if run.state is RunState.DONE:
            raise RunFinishedError(run.id)
        return keep_run(writer, replace(run, state=RunState.STOPPED, holder=None, held_until=None))


def resume_run(desk: Desk, caller: Caller, kind: RunKind, run_id: str) -> Run:
    """Let a stopped run go on where it stopped; one that is going on goes on.

    Raises:
        NotFoundError: there is no such run.
        RunFinishedError: it has ended.
    """
    with desk.store.writing() as writer:
        run = visible_run(writer, caller, kind, run_id)
        if run.state is RunState.DONE:
            raise RunFinishedError(run.id)
        if run.state is not RunState.STOPPED:
            return run
        return keep_run(writer, replace(run, state=RunState.WAITING))
