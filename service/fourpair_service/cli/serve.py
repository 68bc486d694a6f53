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
    server.serve(
        settings,
        lambda url: print(f"fourpair listens at {url}; docs at {url}/docs", flush=True),
        log=sys.stderr,
    )
    return 0
