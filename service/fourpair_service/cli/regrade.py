"""``fourpair-service regrade``: by night, every record under the rule set that supersedes its own."""

from __future__ import annotations

import json
import signal
import time
from argparse import Namespace, _SubParsersAction
from collections import Counter
from dataclasses import replace
from datetime import datetime
from typing import Any, Final

from fourpair_service.app import new_id, now, record_grader
from fourpair_service.background import Background
from fourpair_service.carriers import is_gone
from fourpair_service.cli.complete import completed
from fourpair_service.cli.existing import existing_store
from fourpair_service.config import Settings
from fourpair_service.records.completing import Completed
from fourpair_service.records.desk import Desk
from fourpair_service.records.errors import InvalidQueryError, RunHeldError
from fourpair_service.records.ports import Reader, Writer
from fourpair_service.records.runs.carrying import claim
from fourpair_service.records.runs.commands import begin, open_runs, past_runs
from fourpair_service.records.runs.model import Question, Run, RunKind, RunState
from fourpair_service.records.search import Filter
from fourpair_service.records.times import instant
from fourpair_service.rulesets.catalogue import Catalogue

ACTOR: Final = "nightly"
DONE, UNGRADED, WORSE, NOT_NOW = 0, 3, 4, 75
PASSING: Final = frozenset({"pass", "marginal_pass"})
LAST: Final = "last"
PAGE: Final = 1000


def add_to(commands: _SubParsersAction[Any]) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "regrade",
        help="grade records again under the rule sets that supersede theirs; for the night",
        epilog=(
            f"One line of JSON tells the result. Exit status: {DONE} done, {UNGRADED} done and some records could "
            f"not be graded, {WORSE} done and some that passed pass no longer, {NOT_NOW} another one is at work "
            "or this one was told to end (run it again), 2 an error."
        ),
    )
    parser.add_argument(
        "--rule-set", action="append", help="only under this one; without: every one that supersedes"
    )
    parser.add_argument(
        "--since",
        help="only records changed at or after this time (RFC 3339), or 'last': since the last run that ended "
        "began, and all where there was none under the rule set",
    )
    parser.add_argument("--job", help="only the records of this job")
    parser.add_argument("--reason", default="nightly re-grading", help="why, for the records' history")
    parser.add_argument("--dry-run", action="store_true", help="find out what would change; move nothing")
    parser.set_defaults(run=run)


def _questions(catalogue: Catalogue, names: list[str] | None) -> list[Question]:
    chosen = [catalogue.get(name) for name in names] if names else catalogue.superseding()
    return [Question(RunKind.REGRADE, rule_set=r.id, supersedes=catalogue.all_superseded(r)) for r in chosen]


def _since_run(reader: Reader, run: Run) -> str:
    """Return from when on a record has changed since a run began, by the feed and not by the clock alone.

    What came after it may be dated before it, where the clock was set back.
    """
    earliest, page = run.created_at, reader.changes(after=run.last_row, limit=PAGE)
    while page:
        earliest = min(earliest, *(change.at for change in page))
        page = reader.changes(after=page[-1].seq, limit=PAGE)
    return earliest


def _since(writer: Writer, question: Question, given: str | None) -> str | None:
    if given is None:
        return None
    if given == LAST:
        ended = (r for r in past_runs(writer) if r.nightly and not r.dry_run and r.state is RunState.DONE)
        under = [run for run in ended if run.question.rule_set == question.rule_set]
        return _since_run(writer, max(under, key=lambda run: run.last_row)) if under else None
    try:
        moment = datetime.fromisoformat(given)
    except ValueError:
        moment = None
    if moment is None or moment.tzinfo is None:
        raise InvalidQueryError(
            "--since", f"{given!r} is neither 'last' nor a time with an offset, as 2026-03-04T22:00:00Z"
        )
    return instant(moment)


def _claimed(options: Namespace, desk: Desk, name: str, questions: list[Question]) -> list[Run]:
    """Return the runs to carry on, the unfinished ones of an earlier night first; nobody else gets in between."""
    with desk.store.writing() as writer:
        mine = [run for run in open_runs(writer) if run.nightly and run.dry_run == options.dry_run]
        asked = {run.question.rule_set for run in mine}
        for question in questions:
            if question.rule_set in asked:
                continue
            wanted = Filter(job_id=options.job, changed_from=_since(writer, question, options.since))
            more = {"dry_run": options.dry_run, "nightly": True, "reason": options.reason}
            mine.append(begin(writer, desk, ACTOR, question, wanted, **more))
        taken = (claim(writer, desk, run.id, name, is_gone) for run in mine)
        return [run for run in taken if run is not None]


def _line(runs: list[Run], told: Completed, *, result: str, seconds: float, dry_run: bool) -> str:
    counts, moves = Counter[str](), Counter[str]()
    for each in runs:
        counts.update(each.counts)
        moves.update(each.moves)
    return json.dumps(
        {
            "command": "regrade",
            "result": result,
            "dry_run": dry_run,
            "rule_sets": [each.question.rule_set for each in runs],
            "runs": [each.id for each in runs],
            "records": sum(each.seen for each in runs),
            **{name: counts[name] for name in ("changed", "unchanged", "not_concerned", "refused")},
            "moves": dict(moves),
            "completed": told.completed,
            "not_completed": len(told.refused),
            "seconds": round(seconds, 3),
        }
    )


def _status(runs: list[Run], told: Completed) -> int:
    if not told.is_ended or any(each.state is not RunState.DONE for each in runs):
        return NOT_NOW
    for each in runs:
        for move in each.moves:
            before, _, after = move.partition(" > ")
            if before in PASSING and after not in PASSING:
                return WORSE
    return UNGRADED if told.refused or any(each.counts.get("refused") for each in runs) else DONE


def run(options: Namespace, settings: Settings) -> int:
    """Grade records again and print one line of JSON."""
    began, told_to_end = time.monotonic(), []
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: told_to_end.append(True))
    grader = record_grader(settings)
    questions = _questions(grader.catalogue, options.rule_set)
    desk = Desk(existing_store(settings), now, new_id, grader)
    work = Background(replace(settings, background=True), desk, go_on=lambda: not told_to_end)
    try:
        runs = _claimed(options, desk, work.name, questions)
        runs = [each if told_to_end else work.carry(each) for each in runs]
        told = Completed(is_ended=True) if options.dry_run else completed(desk, grader, work.go_on)
    except RunHeldError as error:
        print(json.dumps({"command": "regrade", "result": "held", "detail": str(error)}))
        return NOT_NOW
    finally:
        work.close()
    status = _status(runs, told)
    result = "interrupted" if status == NOT_NOW else "done"
    seconds = time.monotonic() - began
    print(_line(runs, told, result=result, seconds=seconds, dry_run=options.dry_run))
    return status
