"""``fourpair-service serve``."""

from __future__ import annotations

import sys
from argparse import Namespace, _SubParsersAction
from typing import Any

from fourpair_service import server
from fourpair_service.config import Settings


def add_to(commands: _SubParsersAction[Any]) -> None:
    """Add the command."""
    parser = commands.add_parser("serve", help="run the service; settings come from the environment")
    parser.set_defaults(run=run)


def run(options: Namespace, settings: Settings) -> int:
    """Run the service until it is told to stop."""

    def started(url: str) -> None:
        hint = "; Ctrl-C stops it" if sys.stdout.isatty() else ""
        print(f"fourpair listens at {url}; docs at {url}/docs{hint}", flush=True)

    server.serve(settings, started, log=sys.stderr)
    return 0
