"""``fourpair-service work``: carry runs on and send messages, until it is told to end."""

from __future__ import annotations

import logging
import os
import signal
import sys
import time
from argparse import Namespace, _SubParsersAction
from typing import Any

from fourpair_service.app import new_id, now, record_grader
from fourpair_service.background import Background
from fourpair_service.cli.existing import existing_store
from fourpair_service.config import Settings
from fourpair_service.records.desk import Desk


def add_to(commands: _SubParsersAction[Any]) -> None:
    """Add the command."""
    parser = commands.add_parser("work", help="carry runs on and send messages; 'serve' starts one by itself")
    parser.add_argument("--once", action="store_true", help="do what waits, and end")
    parser.add_argument("--beside", type=int, metavar="PID", help="end when that process has ended")
    parser.set_defaults(run=run)


def run(options: Namespace, settings: Settings) -> int:
    """Carry on what waits until told to end."""
    told_to_end: list[bool] = []
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: told_to_end.append(True))
    logging.basicConfig(stream=sys.stderr, level=logging.INFO, format="%(name)s %(message)s")

    def go_on() -> bool:
        return not told_to_end and (options.beside is None or os.getppid() == options.beside)

    desk = Desk(existing_store(settings), now, new_id, record_grader(settings))
    work = Background(settings, desk, go_on)
    try:
        if options.once:
            work.round()
        else:
            work.keep_on(time.sleep)
    finally:
        work.close()
    return 0
