"""``fourpair-service faults``: plain help for every fault, without a server."""

from __future__ import annotations

from argparse import Namespace, _SubParsersAction
from typing import Any

from fourpair_service.config import InvalidSettingError, Settings
from fourpair_service.domain.diagnosis.faults import FAULT_KINDS, FaultCode
from fourpair_service.reports.fault_pages import fault_pages
from fourpair_service.reports.verdict_text import columns


def add_to(commands: _SubParsersAction[Any]) -> None:
    """Add the command."""
    parser = commands.add_parser("faults", help="explain a fault, or list all of them")
    parser.add_argument("code", nargs="?", metavar="CODE", help="for example split_pair")
    parser.set_defaults(run=run)


def run(options: Namespace, settings: Settings) -> int:
    """Print the help of one fault, or the list of all."""
    if options.code is None:
        for line in columns([(code.value, kind.title) for code, kind in FAULT_KINDS.items()]):
            print(line)
        return 0
    if options.code not in tuple(FaultCode):
        raise InvalidSettingError(
            f"There is no fault {options.code!r}; fourpair-service faults lists all of them."
        )
    print(fault_pages()[FaultCode(options.code)].text())
    return 0
