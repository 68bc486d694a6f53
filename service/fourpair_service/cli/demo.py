"""``fourpair-service demo``: the whole job on the samples, through HTTP and the SDK."""

from __future__ import annotations

import json
import multiprocessing
from argparse import Namespace, _SubParsersAction
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

from fourpair import Client
from fourpair_service import server
from fourpair_service.config import InvalidSettingError, Settings
from fourpair_service.reports.next_step import next_step
from fourpair_service.reports.verdict_text import columns, deciding, headroom_text
from fourpair_service.storage.opening import IN_MEMORY

SAMPLES: Final = Path(__file__).resolve().parents[3] / "samples" / "links"
START_TIMEOUT_S: Final = 30
TRY_IT: Final = (
    "To try it: 'fourpair-service demo --keep', and open the address that it shows with /docs or /office; "
    "'fourpair-service serve' keeps records."
)
OUTCOMES: Final = {
    "pass": "passes",
    "marginal_pass": "passes* (close to the limit)",
    "marginal_fail": "fails* (close to the limit)",
    "fail": "fails",
    "incomplete": "incomplete",
}


def add_to(commands: _SubParsersAction[Any]) -> None:
    """Add the command."""
    parser = commands.add_parser("demo", help="start the service, grade every sample, show the verdicts")
    parser.add_argument("--keep", action="store_true", help="stay up afterwards, until Ctrl-C")
    parser.add_argument("--samples", type=Path, default=SAMPLES, help="directory of measurement documents")
    parser.set_defaults(run=run)


def run(options: Namespace, settings: Settings) -> int:
    """Start the service on a free loopback port, grade the samples, print a table."""
    files = sorted(options.samples.glob("*.json"))
    if not files:
        raise InvalidSettingError(f"There are no samples in {options.samples}; run this from a checkout.")
    context = multiprocessing.get_context("spawn")
    receiver, sender = context.Pipe(duplex=False)
    own = replace(settings, host="127.0.0.1", port=0, workers=1, store=IN_MEMORY)
    process = context.Process(target=_serve, args=(own, sender))
    process.start()
    try:
        if not receiver.poll(START_TIMEOUT_S):
            raise InvalidSettingError("The service did not start.")
        url = receiver.recv()
        with Client(url) as client:
            _show(client, files)
        if options.keep:
            print(f"\nThe interface, to read and to try: {url}/docs\nThe office screen: {url}/office")
            print("The service stays up; Ctrl-C stops it.", flush=True)
            process.join()
        else:
            print(f"\nThe service of this demo has ended. {TRY_IT}")
    except KeyboardInterrupt:
        pass
    finally:
        process.terminate()
        process.join()
    return 0


def _serve(settings: Settings, sender: Any) -> None:
    # The table is for a person: no log of requests between its lines.
    server.serve(settings, sender.send, log=None)


def _show(client: Client, files: list[Path]) -> None:
    rows: list[tuple[str, ...]] = [("link", "outcome", "headroom", "what decides it", "what to do")]
    notices: dict[str, None] = {}
    for path in files:
        verdict = client.grade(json.loads(path.read_bytes()))
        notices |= dict.fromkeys(verdict.notices)
        rows.append(
            (
                verdict.label or path.stem,
                OUTCOMES[verdict.outcome],
                headroom_text(verdict.raw),
                deciding(verdict.raw),
                next_step(verdict.raw, verdict.diagnosis.get("faults", ())),
            )
        )
    for notice in notices:
        print(notice)
    print()
    for line in columns(rows):
        print(line)
