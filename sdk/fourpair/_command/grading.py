"""``fourpair grade``."""

from __future__ import annotations

from argparse import Namespace, _SubParsersAction
from pathlib import Path
from typing import Any

from fourpair._client import Client
from fourpair._command.output import DONE, FAILS, INCOMPLETE, Output
from fourpair._measurement import Measurement

STATUS = {
    "pass": DONE,
    "marginal_pass": DONE,
    "incomplete": INCOMPLETE,
    "marginal_fail": FAILS,
    "fail": FAILS,
}


def add_to(commands: _SubParsersAction[Any]) -> None:
    """Add the command."""
    parser = commands.add_parser("grade", help="grade measurement documents; nothing is kept")
    parser.add_argument("files", nargs="+", type=Path, metavar="FILE", help="a measurement document (JSON)")
    parser.add_argument(
        "--touchstone",
        action="append",
        type=Path,
        default=[],
        metavar="FILE",
        help="sent as it is; the document says what it holds",
    )
    parser.add_argument("--rule-set", help="id of an edition, or TIA or ISO, in place of what the file says")
    parser.add_argument("--category", help="category or class, in place of what the file says")
    parser.set_defaults(run=run)


def _asking(measurement: Measurement, options: Namespace) -> Measurement:
    """Return the measurement with what the person asks for in place of its own."""
    asked = {"rule_set": options.rule_set, "category": options.category}
    asked = {name: value for name, value in asked.items() if value is not None}
    if not asked:
        return measurement
    return measurement.with_changes(requirement={**measurement.get("requirement", {}), **asked})


def run(client: Client, options: Namespace, output: Output) -> int:
    """Grade every file, write the verdicts, return the status of the worst."""
    worst = DONE
    files = {path.name: path.read_bytes() for path in options.touchstone} or None
    for path in options.files:
        verdict = client.grade(_asking(Measurement.from_json(path), options), touchstone=files)
        worst = max(worst, STATUS.get(verdict.outcome, FAILS))
        output.value({"verdict": verdict.raw, "assessment": verdict.assessment}, verdict.summary() + "\n")
    return worst
