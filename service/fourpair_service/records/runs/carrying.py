"""Carrying a run out: looking in parallel, settling in order, one transaction for each chunk.

A chunk's new revisions, findings and counts and the place that the run has reached
are one transaction, so that a kill anywhere loses and doubles nothing; and a record
that was re-graded is no longer concerned, so that a second run over it finds nothing.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from datetime import timedelta
from typing import Final, Protocol

from fourpair_service.errors import ServiceError
from fourpair_service.records.appending import Graded, Step, append_step
from fourpair_service.records.assessments import replace_assessment
from fourpair_service.records.desk import Caller, Desk
from fourpair_service.records.errors import RunHeldError, StoreError
from fourpair_service.records.integrity import curves_digest
from fourpair_service.records.model import Kind
from fourpair_service.records.ports import Writer
from fourpair_service.records.runs.commands import keep_run, known_run
from fourpair_service.records.runs.examining import Bench, Chunk, GraderFor, examine, examine_chunk
from fourpair_service.records.runs.model import Examined, Found, Run, RunState, finding_key
from fourpair_service.records.search import Position, Sort
from fourpair_service.records.times import instant, lies_ahead

CHUNK: Final = 16
# How long a run stays with whoever carries it on after the last sign of life.
HELD_FOR: Final = timedelta(seconds=60)
# Clocks of several machines differ a little.
LONGEST_HOLD: Final = 2 * HELD_FOR


class Carrier(Protocol):
    """Looks at chunks of records, here or elsewhere."""

    def carry(self, chunks: Iterable[Chunk]) -> Iterator[Sequence[Examined]]:
        """Yield what is found of each chunk, in the order of the chunks; takes no more of them than it needs."""
        ...


class InPlace:
    """Looks at chunks one after the other in this process."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench

    def carry(self, chunks: Iterable[Chunk]) -> Iterator[Sequence[Examined]]:
        """Yield what is found of each chunk."""
        for chunk in chunks:
            yield examine_chunk(self._bench, chunk)


def _chunks(desk: Desk, run: Run) -> Iterator[Chunk]:
    after = Position(run.position, run.position)
    while True:
        page = desk.store.records(run.wanted, Sort(), after=after, limit=CHUNK)
        page = [record for record in page if record.row <= run.last_row]
        if not page:
            return
        yield Chunk(run.question, tuple(record.id for record in page))
        after = Position(page[-1].row, page[-1].row)


def claim(
    writer: Writer,
    desk: Desk,
    run_id: str,
    holder: str,
    is_gone: Callable[[str], bool] = lambda holder: False,
) -> Run | None:
    """Take a run over, unless somebody alive has it; ``None`` where it was stopped or has ended.

    Raises:
        RunHeldError: somebody else is carrying it on.
    """
    now, run = desk.clock(), known_run(writer, run_id)
    if run is None or run.state not in (RunState.WAITING, RunState.RUNNING):
        return None
    held = run.holder not in (None, holder) and lies_ahead(run.held_until, now, LONGEST_HOLD)
    if held and not is_gone(run.holder or ""):
        raise RunHeldError(run.id, run.holder or "", run.held_until or "")
    taken = replace(run, state=RunState.RUNNING, holder=holder, held_until=instant(now + HELD_FOR))
    return keep_run(writer, taken)


def _moved(writer: Writer, desk: Desk, run: Run, found: Examined) -> None:
    """Append the new verdict to the record."""
    newest = writer.revision(found.record_id, found.revision)
    parted = writer.measurement(found.record_id, found.revision)
    assert newest is not None and parted is not None and found.verdict is not None, "it was just read"
    content = Graded(
        parted, curves_digest(parted.curves), found.verdict, found.assessment, tester_id=newest.tester_id
    )
    step = Step(Kind.REGRADED, found.record_id, newest, run.reason)
    append_step(writer, desk, Caller(run.actor), step, content)


def _settled(writer: Writer, desk: Desk, run: Run, grader_for: GraderFor, found: Examined) -> Examined:
    """Carry out what was found of one record, or found anew where the record has moved on since."""
    record = writer.record(found.record_id)
    assert record is not None, "no record is ever dropped"
    if record.revision != found.revision or record.withdrawn:
        found = examine(Bench(writer, grader_for, desk.grade), run.question, record)
    if run.dry_run:
        return found
    try:
        if found.found is Found.CHANGED:
            with writer.attempt():
                _moved(writer, desk, run, found)
        elif found.assessment is not None and found.found is Found.ANSWERED:
            replace_assessment(writer, found.record_id, found.revision, found.assessment)
    except StoreError:
        raise
    except ServiceError as error:
        told = {**(found.finding or {}), "refused": str(error), "code": error.code}
        return replace(found, found=Found.REFUSED, finding=told, move=None)
    return found


def _settle(
    desk: Desk, run_id: str, holder: str, grader_for: GraderFor, examined: Sequence[Examined]
) -> Run | None:
    """Settle a chunk; ``None`` where the run was stopped or taken over meanwhile."""
    with desk.store.writing() as writer:
        run = known_run(writer, run_id)
        if run is None or run.state is not RunState.RUNNING or run.holder != holder:
            return None
        counts, moves = Counter(run.counts), Counter(run.moves)
        for each in examined:
            found = _settled(writer, desk, run, grader_for, each)
            counts[found.found.value] += 1
            if found.move is not None:
                moves[found.move] += 1
            if found.finding is not None:
                writer.put_in(run.drawer, finding_key(found.row), found.finding)
        return keep_run(
            writer,
            replace(
                run,
                position=examined[-1].row,
                counts=dict(counts),
                moves=dict(moves),
                held_until=instant(desk.clock() + HELD_FOR),
            ),
        )


def _ended(desk: Desk, run_id: str, holder: str, state: RunState) -> None:
    """Let go of a run that has come to its end, or that somebody else may go on with."""
    with desk.store.writing() as writer:
        run = known_run(writer, run_id)
        if run is not None and run.state is RunState.RUNNING and run.holder == holder:
            at = desk.now() if state is RunState.DONE else None
            keep_run(writer, replace(run, state=state, holder=None, held_until=None, finished_at=at))


def carry_on(
    desk: Desk,
    run: Run,
    carrier: Carrier,
    grader_for: GraderFor,
    *,
    holder: str,
    go_on: Callable[[], bool] = lambda: True,
) -> Run:
    """Carry a claimed run on until it has ended, was stopped, or ``go_on`` says no.

    Args:
        desk: where it is done.
        run: as :func:`claim` gave it.
        carrier: looks at the records.
        grader_for: grades a record that has moved on between looking and settling.
        holder: who carries it on.
        go_on: asked after each chunk; the run can be claimed again afterwards.

    Returns:
        The run as it stands then.
    """
    for examined in carrier.carry(_chunks(desk, run)):
        if not examined:
            continue
        if _settle(desk, run.id, holder, grader_for, examined) is None:
            break
        if not go_on():
            _ended(desk, run.id, holder, RunState.WAITING)
            break
    else:
        _ended(desk, run.id, holder, RunState.DONE)
    found = known_run(desk.store, run.id)
    assert found is not None, "no run is ever dropped"
    return found
