"""``fourpair-service grade``: verdicts without a server."""

from __future__ import annotations

import json
from argparse import ArgumentParser, ArgumentTypeError, Namespace, _SubParsersAction
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

from fourpair_service.config import Settings
from fourpair_service.errors import ServiceError
from fourpair_service.http.assessment import Detail
from fourpair_service.http.grading import Graded, GradeRequest, graded
from fourpair_service.http.json_body import read_json
from fourpair_service.http.schemas.document_limits import DocumentLimits
from fourpair_service.http.sheets import source_of
from fourpair_service.reports.language import LengthUnit, Tongue
from fourpair_service.reports.paper import PaperSize
from fourpair_service.reports.sheet.build import link_sheet
from fourpair_service.reports.sheet.form import (
    LEAST_WIDTH_PX,
    MOST_WIDTH_PX,
    PICTURES,
    WIDTH_PX,
    Extent,
    NoSuchPictureError,
    SheetForm,
    written,
)
from fourpair_service.reports.verdict_text import answer_text
from fourpair_service.rulesets.catalogue import Catalogue

# The exit status says the worst outcome of all files; 2 is an error.
EXIT_STATUS: Final = {"pass": 0, "marginal_pass": 0, "incomplete": 3, "marginal_fail": 4, "fail": 4}


MEDIA_BY_ENDING: Final = {".pdf": "pdf", ".html": "html", ".txt": "text", ".svg": "svg", ".png": "png"}
LABEL_GAP: Final = "{name}"


def add_to(commands: _SubParsersAction[Any]) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "grade",
        help="grade measurement documents from files",
        epilog="Exit status: 0 all pass, 3 something is incomplete, 4 something fails, 2 an error.",
    )
    parser.add_argument("files", nargs="+", type=Path, metavar="FILE")
    add_requirement(parser)
    parser.add_argument("--along", action="store_true", help="also what lies where along the link")
    parser.add_argument("--json", action="store_true", help="one JSON document a line")
    parser.add_argument(
        "--sheet",
        type=Path,
        metavar="FILE",
        help="write the link sheet, too: FILE ends in .pdf, .html or .txt, or for one of its pictures in "
        ".svg or .png; several files need {name} in it",
    )
    parser.add_argument("--picture", help="which one: wires, run, or margin- and a parameter, as margin-next")
    parser.add_argument("--width-px", type=_width, default=WIDTH_PX, metavar="N", help="width of a PNG")
    parser.add_argument("--receipt", action="store_true", help="half a page in place of the sheet (pdf, txt)")
    parser.add_argument(
        "--language", choices=[t.value for t in Tongue], default=Tongue.ENGLISH.value, help="of the sheet"
    )
    parser.add_argument(
        "--length-unit",
        choices=[u.value for u in LengthUnit],
        default=LengthUnit.METRES.value,
        help="of the sheet",
    )
    parser.add_argument(
        "--paper", choices=[p.value for p in PaperSize], default=PaperSize.A4.value, help="of the sheet"
    )
    parser.set_defaults(run=run)


def _width(text: str) -> int:
    if not text.isdecimal() or not LEAST_WIDTH_PX <= int(text) <= MOST_WIDTH_PX:
        raise ArgumentTypeError(f"{text}: expected a whole number from {LEAST_WIDTH_PX} to {MOST_WIDTH_PX}")
    return int(text)


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
    form = _sheet_form(options)
    worst = 0
    for path in options.files:
        found = _graded(path, asked, catalogue, limits, Detail.ALONG if options.along else Detail.ALL)
        answer = found.answer
        worst = max(worst, EXIT_STATUS[answer["verdict"]["outcome"]])
        print(json.dumps(answer) if options.json else answer_text(answer) + "\n")
        if form is not None:
            _write_sheet(options.sheet, path, found, form)
    return worst


def _graded(
    path: Path, asked: Mapping[str, str], catalogue: Catalogue, limits: DocumentLimits, detail: Detail
) -> Graded:
    try:
        request = GradeRequest(asking(read_json(path.read_bytes()), asked), detail=detail)
        return graded(request, catalogue, limits=limits, now=datetime.now(UTC))
    except ServiceError as error:
        raise ServiceError(f"{path}: {error}") from error


def _sheet_form(options: Namespace) -> SheetForm | None:
    """Return the form of the sheet that is to be written, ``None`` where none is.

    Raises:
        ServiceError: the name of its file tells no form, or is one for several links.
    """
    if options.sheet is None:
        return None
    media = MEDIA_BY_ENDING.get(options.sheet.suffix.lower())
    known = (".pdf", ".txt") if options.receipt else tuple(MEDIA_BY_ENDING)
    if media is None or options.sheet.suffix.lower() not in known:
        raise ServiceError(f"{options.sheet}: end the name of the sheet in one of {', '.join(known)}.")
    if (media in PICTURES) != (options.picture is not None):
        detail = "a picture needs its name, as --picture wires, and an ending of .svg or .png."
        raise ServiceError(f"{options.sheet}: {detail}")
    if len(options.files) > 1 and LABEL_GAP not in options.sheet.name:
        detail = f"every link needs a file of its own; put {LABEL_GAP} into the name."
        raise ServiceError(f"{options.sheet}: {detail}")
    extent = Extent.RECEIPT if options.receipt else Extent.SHEET
    tongue, length_unit = Tongue(options.language), LengthUnit(options.length_unit)
    paper = PaperSize(options.paper)
    return SheetForm(media, extent, tongue, length_unit, paper, options.picture, options.width_px)


def _write_sheet(target: Path, measured: Path, found: Graded, form: SheetForm) -> None:
    # The name of the measured file is one that the disk takes; a label need not be.
    place = target.with_name(target.name.replace(LABEL_GAP, measured.stem))
    try:
        content = written(link_sheet(source_of(found, None), form.words), form)
    except NoSuchPictureError as error:
        raise ServiceError(f"{measured}: {error}") from error
    try:
        place.write_bytes(content if isinstance(content, bytes) else content.encode())
    except OSError as error:
        raise ServiceError(f"{place}: the sheet cannot be written ({error.strerror}).") from error


def asking(document: Any, asked: Mapping[str, str]) -> Any:
    """Return the document with what the person at the command line asks for in place of its own."""
    stated = document.get("requirement", {}) if isinstance(document, dict) else None
    return (
        {**document, "requirement": {**stated, **asked}} if asked and isinstance(stated, dict) else document
    )
