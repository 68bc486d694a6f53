"""``fourpair-service complete``: what records of earlier releases support, so that search finds them."""

from __future__ import annotations

import json
import signal
import sys
from argparse import Namespace, _SubParsersAction
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from fourpair_service.app import new_id, now, record_grader
from fourpair_service.cli.existing import existing_store
from fourpair_service.config import Settings
from fourpair_service.http.assessment import Detail
from fourpair_service.http.record_grader import RecordGrader
from fourpair_service.records.completing import Completed, complete
from fourpair_service.records.desk import Desk

DONE, REFUSED, NOT_NOW = 0, 3, 75


def add_to(commands: _SubParsersAction[Any]) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "complete",
        help="work out what records of earlier releases support, so that search finds them; regrade does it too",
        epilog=(
            f"One line of JSON tells the result, and one on standard error each record that stays as it was. Exit "
            f"status: {DONE} done, {REFUSED} done and some records could not be graded again, {NOT_NOW} told to "
            "end (run it again: it goes on), 2 an error."
        ),
    )
    parser.add_argument(
        "--again", action="store_true", help="look at every record, also where an earlier run has been"
    )
    parser.set_defaults(run=run)


def completed(
    desk: Desk, grader: RecordGrader, go_on: Callable[[], bool], *, again: bool = False
) -> Completed:
    """Keep with every record the names of what its link supports, saying nothing else anew."""
    return complete(desk, replace(grader, detail=Detail.NONE, is_kept=True), again=again, go_on=go_on)


def run(options: Namespace, settings: Settings) -> int:
    """Complete records and print one line of JSON."""
    told_to_end: list[bool] = []
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: told_to_end.append(True))
    grader = record_grader(settings)
    desk = Desk(existing_store(settings), now, new_id, grader)
    found = completed(desk, grader, lambda: not told_to_end, again=options.again)
    for each in found.refused:
        print(f"{each.record_id}: {each.detail}", file=sys.stderr)
    line = {
        "command": "complete",
        "result": "done" if found.is_ended else "interrupted",
        "records": found.records,
        "completed": found.completed,
        "refused": len(found.refused),
    }
    print(json.dumps(line))
    if not found.is_ended:
        return NOT_NOW
    return REFUSED if found.refused else DONE
