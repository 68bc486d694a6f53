"""``fourpair-service what-if``: predictions without a server."""

from __future__ import annotations

import json
from argparse import Namespace, _SubParsersAction
from pathlib import Path
from typing import Any

from fourpair_service.cli.grade import add_requirement, asked_of, asking
from fourpair_service.config import Settings
from fourpair_service.domain.applications.what_if import WhatIf
from fourpair_service.errors import ServiceError
from fourpair_service.http.grading import GradeRequest
from fourpair_service.http.json_body import read_json
from fourpair_service.http.predicting import WhatIfRequest, what_if_answer
from fourpair_service.http.schemas.document_limits import DocumentLimits
from fourpair_service.reports.prediction_text import prediction_text
from fourpair_service.rulesets.catalogue import Catalogue


def add_to(commands: _SubParsersAction[Any]) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "what-if",
        help="predict a link in the heat, with more cord, or without a connector; never a verdict",
    )
    parser.add_argument("file", type=Path, metavar="FILE")
    parser.add_argument("--temperature", type=float, metavar="C", help="temperature of the cable")
    parser.add_argument("--cord", type=float, metavar="M", help="metres of stranded cord to add")
    parser.add_argument(
        "--without", type=float, metavar="M", help="think away what stands at a place, from the near end"
    )
    add_requirement(parser)
    parser.add_argument("--json", action="store_true", help="one JSON document")
    parser.set_defaults(run=run)


def run(options: Namespace, settings: Settings) -> int:
    """Print the prediction."""
    limits = DocumentLimits(curves=settings.max_curves, points_per_curve=settings.max_points)
    try:
        document = asking(read_json(options.file.read_bytes()), asked_of(options))
        change = WhatIf(options.temperature, options.cord, options.without)
        request = WhatIfRequest(GradeRequest(document), change, under="")
        answer = what_if_answer(request, Catalogue.load(settings.limits_directory), limits=limits)
    except ServiceError as error:
        raise ServiceError(f"{options.file}: {error}") from error
    print(json.dumps(answer) if options.json else prediction_text(answer))
    return 0
