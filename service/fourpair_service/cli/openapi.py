"""``fourpair-service openapi``: the interface as it is committed."""

from __future__ import annotations

import sys
from argparse import Namespace, _SubParsersAction
from pathlib import Path
from typing import Any

from fourpair_service.app import create_app
from fourpair_service.config import Settings
from fourpair_service.http.resources.pages import description, description_yaml


def add_to(commands: _SubParsersAction[Any]) -> None:
    """Add the command."""
    parser = commands.add_parser("openapi", help="print the OpenAPI document, or check a file against it")
    parser.add_argument("--check", type=Path, help="fail where this file differs")
    parser.set_defaults(run=run)


def run(options: Namespace, settings: Settings) -> int:
    """Print the document, or compare a file with it."""
    with create_app(Settings()).app_context():
        text = description_yaml(description())
    if options.check is None:
        print(text, end="")
        return 0
    if options.check.read_text() == text:
        return 0
    print(f"{options.check} is out of date: fourpair-service openapi > {options.check}", file=sys.stderr)
    return 1
