"""``fourpair watch``."""

from __future__ import annotations

from argparse import Namespace, _SubParsersAction
from pathlib import Path
from typing import Any

from fourpair._client import Client
from fourpair._command.argument_types import whole
from fourpair._command.output import DONE, Output, told
from fourpair._errors import InvalidSettingError
from fourpair._kept import Change
from fourpair._verdict_parts import OUTCOME_WORDS


def add_to(commands: _SubParsersAction[Any]) -> None:
    """Add the command."""
    watch = commands.add_parser("watch", help="follow the change feed, a line for each change")
    watch.add_argument("--job", help="changes of this job alone")
    watch.add_argument(
        "--after",
        type=whole(0),
        metavar="SEQ",
        help="from after this seq; without it, what comes from now on",
    )
    watch.add_argument("--state", type=Path, help="file that remembers the last seq, to go on from there")
    watch.add_argument("--once", action="store_true", help="end when nothing is left")
    watch.set_defaults(run=run)


def _start(client: Client, options: Namespace) -> int:
    if options.state is not None and options.state.exists():
        text = options.state.read_text().strip()
        if not text.isdigit():
            raise InvalidSettingError(f"{options.state} holds {text[:20]!r} and no seq: remove it or mend it")
        return int(text)
    if options.after is not None:
        return int(options.after)
    if options.once:
        return 0
    return client.changes.newest()


def _line(change: Change) -> str:
    outcome = OUTCOME_WORDS.get(change.outcome, change.outcome) if change.outcome else None
    words = [str(change.seq), change.at, change.kind, told(change.job), told(change.label), told(outcome)]
    if change.previous_outcome and change.previous_outcome != change.outcome:
        words.append(f"(was {OUTCOME_WORDS.get(change.previous_outcome)})")
    return "  ".join(words)


def run(client: Client, options: Namespace, output: Output) -> int:
    """Write every change as it comes."""
    after = _start(client, options)
    follow = client.changes.list if options.once else client.changes.follow
    for change in follow(after=after, job=options.job):
        output.value(change.raw, _line(change))
        if options.state is not None:
            beside = options.state.with_name(options.state.name + ".new")
            beside.write_text(f"{change.seq}\n")
            beside.replace(options.state)
    return DONE
