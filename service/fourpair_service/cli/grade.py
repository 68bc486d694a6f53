"""``fourpair-service grade``: verdicts without a server."""

from __future__ import annotations

import json
from argparse import ArgumentParser, Namespace, _SubParsersAction
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

from fourpair_service.config import Settings
from fourpair_service.domain.verdict_document import Document
from fourpair_service.errors import ServiceError
from fourpair_service.http.assessment import Detail
from fourpair_service.http.grading import GradeRequest, grade_document
from fourpair_service.http.json_body import read_json
from fourpair_service.http.schemas.document_limits import DocumentLimits
from fourpair_service.reports.verdict_text import answer_text
from fourpair_service.rulesets.catalogue import Catalogue

# The exit status says the worst outcome of all files; 2 is an error.
EXIT_STATUS: Final = {"pass": 0, "marginal_pass": 0, "incomplete": 3, "marginal_fail": 4, "fail": 4}


def add_to(commands: _SubParsersAction[Any]) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "grade",
        help="grade measurement documents from files",
        epilog="Exit status: 0 all pass, 3 something is incomplete, 4 something fails, 2 an error.",
    )
    parser.add_argument("files", nargs="+", type=Path, metavar="FILE")
    add_requirement(parser)
    parser.add_argument("--json", action="store_true", help="one JSON document a line")
    parser.set_defaults(run=run)


def add_requirement(parser: ArgumentParser) -> None:
    """Add what the person at the command line may ask for in place of what a file says."""
    parser.add_argument("--standard", help="TIA, ISO or the id of a rule set; in place of what the file says")
    parser.add_argument("--category", help="category or class, in place of what the file says")


def asked_of(options: Namespace) -> dict[str, str]:
    """Return what the person at the command line asks for."""
    chosen = {"rule_set": options.standard, "category": options.category}
    return {name: value for name, value in chosen.items() if value is not None}


def run(options: Namespace, settings: Settings) -> int:
    """Grade every file, print the verdicts, return the status of the worst."""
    catalogue = Catalogue.load(settings.limits_directory)
    asked = asked_of(options)
    limits = DocumentLimits(curves=settings.max_curves, points_per_curve=settings.max_points)
    worst = 0
    for path in options.files:
        answer = _graded(path, asked, catalogue, limits)
        worst = max(worst, EXIT_STATUS[answer["verdict"]["outcome"]])
        print(json.dumps(answer) if options.json else answer_text(answer) + "\n")
    return worst


def _graded(path: Path, asked: Mapping[str, str], catalogue: Catalogue, limits: DocumentLimits) -> Document:
    try:
        request = GradeRequest(asking(read_json(path.read_bytes()), asked), detail=Detail.ALL)
        return grade_document(request, catalogue, limits=limits, now=datetime.now(UTC))
    except ServiceError as error:
        raise ServiceError(f"{path}: {error}") from error


def asking(document: Any, asked: Mapping[str, str]) -> Any:
    """Return the document with what the person at the command line asks for in place of its own."""
    stated = document.get("requirement", {}) if isinstance(document, dict) else None
    return (
        {**document, "requirement": {**stated, **asked}} if asked and isinstance(stated, dict) else document
    )
