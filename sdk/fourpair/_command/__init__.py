"""The command line ``fourpair``: a service, from a terminal or a script."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence

from fourpair._client import DEFAULT_URL, Client
from fourpair._command import completion, following, grading, papers, reading, totals, writing
from fourpair._command.argument_types import seconds
from fourpair._command.output import INTERRUPTED, REFUSED, STATUSES, UNREACHED, Output
from fourpair._errors import FourpairError

PARTS = (grading, writing, reading, papers, following, totals, completion)


def parser() -> argparse.ArgumentParser:
    """Return the parser of the whole command line."""
    top = argparse.ArgumentParser(
        prog="fourpair",
        description="Grade links with a fourpair service, keep their records and follow them.",
        epilog=STATUSES + " The key is read from FOURPAIR_API_KEY. "
        "Grading without a server: fourpair-service grade.",
    )
    top.add_argument("--url", help=f"of the service; FOURPAIR_URL, else {DEFAULT_URL}")
    top.add_argument(
        "--timeout", type=seconds, default=30.0, metavar="SECONDS", help="wait so long for an answer (30)"
    )
    top.add_argument("--json", action="store_true", help="lines of JSON in place of text and tables")
    commands = top.add_subparsers(required=True, metavar="command", dest="command")
    for part in PARTS:
        part.add_to(commands)
    for command in commands.choices.values():
        # Also after the command, where it is looked for first.
        command.add_argument("--json", action="store_true", default=argparse.SUPPRESS, help=argparse.SUPPRESS)
        command.epilog = STATUSES
    return top


def run(arguments: Sequence[str]) -> int:
    """Carry out one command and return its exit status; errors come as sentences."""
    options = parser().parse_args(arguments)
    output = Output(sys.stdout, sys.stderr, as_json=options.json)
    try:
        if options.command == "completion":
            return completion.run(options, output, parser())
        with Client(options.url, read_timeout_s=options.timeout) as client:
            return int(options.run(client, options, output))
    except KeyboardInterrupt:
        return INTERRUPTED
    except BrokenPipeError:
        # Whoever read the output has seen enough.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except FourpairError as error:
        output.complain(error)
        return UNREACHED if error.retryable else REFUSED
    except OSError as error:
        output.complain(error)
        return REFUSED


def main() -> int:
    """Run the command line of this process."""
    return run(sys.argv[1:])
