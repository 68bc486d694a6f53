"""The command line of the service."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence

from fourpair_service.cli import (
    complete,
    demo,
    faults,
    grade,
    grant,
    handover,
    keeping,
    keys,
    openapi,
    regrade,
    serve,
    what_if,
    work,
)
from fourpair_service.config import Settings
from fourpair_service.errors import ServiceError

COMMANDS = (
    serve,
    grade,
    what_if,
    faults,
    demo,
    keys,
    grant,
    handover,
    keeping,
    regrade,
    complete,
    work,
    openapi,
)


def run(arguments: Sequence[str]) -> int:
    """Run one command and return its exit status; errors come as a sentence."""
    parser = argparse.ArgumentParser(prog="fourpair-service", description="Grade four-pair cabling links.")
    commands = parser.add_subparsers(required=True, metavar="command")
    for module in COMMANDS:
        module.add_to(commands)
    options = parser.parse_args(arguments)
    try:
        return int(options.run(options, Settings.from_environment(os.environ)))
    except (ServiceError, OSError) as error:
        print(f"fourpair-service: {error}", file=sys.stderr)
        return 2
