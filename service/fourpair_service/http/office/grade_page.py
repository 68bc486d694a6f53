"""Files in, a verdict on a page or a sheet as PDF out; nothing is kept."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from flask import Blueprint, Response, request

from fourpair_service.domain.link import Configuration
from fourpair_service.errors import ServiceError
from fourpair_service.http.assessment import Detail
from fourpair_service.http.auth import needs
from fourpair_service.http.document_body import read_document
from fourpair_service.http.grading import Graded, GradeRequest, graded
from fourpair_service.http.json_body import BodyTooLargeError
from fourpair_service.http.office.framing import GRADING, Frame, frame, shown
from fourpair_service.http.office.link_pages import document_limits
from fourpair_service.http.problems import document_of_error
from fourpair_service.http.resources.grade import sent_file, with_tables
from fourpair_service.http.schemas.measurement import RequirementRequest
from fourpair_service.http.services import services
from fourpair_service.http.sheets import sheet_response, source_of
from fourpair_service.http.touchstone import TouchstoneFile
from fourpair_service.reports.language import Language, Tongue, printable
from fourpair_service.reports.sheet.build import link_sheet
from fourpair_service.reports.sheet.form import SheetForm
from fourpair_service.reports.sheet.saying import category_title

FILES: Final = "files"
DOCUMENT_ENDING: Final = ".json"
BETWEEN: Final = "|"
SHOWN_CHARACTERS: Final = 300
MOST_ERRORS: Final = 20


@dataclass(frozen=True, slots=True)
class Asked:
    """What the form says besides its files.

    Attributes:
        against: rule set and category, as the form writes them; nothing: as the document says.
        configuration: likewise.
    """

    against: str
    configuration: str

    @property
    def is_whole(self) -> bool:
        """Whether sweeps without a document can be graded by it."""
        return bool(self.against and self.configuration)

    def request(self) -> RequirementRequest:
        """Return it as it is asked of the grading."""
        rule_set, _, category = self.against.partition(BETWEEN)
        configuration = Configuration(self.configuration) if self.configuration else None
        return RequirementRequest(rule_set or None, category or None, configuration)


@dataclass(frozen=True, slots=True)
class Edition:
    """A rule set to choose from, its categories as value and text."""

    title: str
    categories: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class ErrorLine:
    """One thing that is wrong with what was sent."""

    at: str
    detail: str
    value: str


@dataclass(frozen=True, slots=True)
class Refused:
    """Why nothing could be graded.

    Attributes:
        said: in the language of the page.
        detail: of the service, in English; likewise ``errors``.
    """

    said: tuple[str, ...]
    status: int
    detail: str = ""
    errors: tuple[ErrorLine, ...] = ()


class FormIncomplete(Exception):  # noqa: N818 - it says what the form is
    """The form lacks something; named in the catalogue of texts."""

    def __init__(self, name: str, **gaps: str) -> None:
        super().__init__(name)
        self.name, self.gaps = name, gaps


def _editions(words: Language) -> tuple[Edition, ...]:
    return tuple(
        Edition(
            printable(rule_set.title),
            tuple(
                (f"{rule_set.id}{BETWEEN}{name}", category_title(printable(category.title), words))
                for name, category in rule_set.categories.items()
                if category.missing is None
            ),
        )
        for rule_set in services().catalogue
        if rule_set.gradable
    )


def _asked(editions: Sequence[Edition]) -> Asked:
    known = {value for edition in editions for value, _ in edition.categories}
    against, configuration = request.form.get("against", ""), request.form.get("configuration", "")
    return Asked(
        against if against in known else "", configuration if configuration in set(Configuration) else ""
    )


def _form_page(around: Frame, asked: Asked, refused: Refused | None = None) -> Response:
    words = around.words
    return shown(
        "grade.html",
        around,
        refused.status if refused else 200,
        editions=_editions(words),
        configurations=[(str(c), words.say(f"configuration.{c}")) for c in Configuration],
        asked=asked,
        refused=refused,
    )


@needs(*GRADING)
def show_form() -> Response:
    """Show the form."""
    return _form_page(frame(), Asked("", ""))


def _sent(asked: Asked) -> tuple[Any, tuple[TouchstoneFile, ...]]:
    """Return the document and the sweeps beside it.

    Raises:
        FormIncomplete: nothing, or too little, or two documents were sent.
        ServiceError: the files cannot be read.
    """
    settings = services().settings
    files = [sent_file(part, settings) for part in request.files.getlist(FILES) if part.filename]
    documents = [file for file in files if file.name.casefold().endswith(DOCUMENT_ENDING)]
    if not files:
        raise FormIncomplete("no_file")
    if len(documents) > 1:
        raise FormIncomplete("two_documents", count=str(len(documents)))
    if not documents and not asked.is_whole:
        raise FormIncomplete("needs_configuration")
    if documents and len(documents[0].content) > settings.max_body_bytes:
        raise BodyTooLargeError(
            f"{documents[0].name} has over {settings.max_body_bytes} bytes, more than is read."
        )
    document = read_document(documents[0].content) if documents else {"configuration": asked.configuration}
    return with_tables(document, [file for file in files if file not in documents], settings)


def _graded(asked: Asked) -> tuple[Graded, object]:
    own = services()
    document, files = _sent(asked)
    wanted = GradeRequest(document, asked.request(), files, Detail.ALL, asked_under="/form")
    found = graded(wanted, own.catalogue, limits=document_limits(), now=own.clock())
    return found, document.get("notes")


def _refused(error: ServiceError, words: Language) -> Refused:
    document = document_of_error(error)
    errors = tuple(
        ErrorLine(
            printable(entry.get("pointer") or "", SHOWN_CHARACTERS),
            printable(entry.get("detail") or "", SHOWN_CHARACTERS),
            "" if entry.get("value") is None else printable(entry["value"], SHOWN_CHARACTERS),
        )
        for entry in document.get("errors", ())[:MOST_ERRORS]
    )
    detail = "" if errors else printable(document["detail"], SHOWN_CHARACTERS)
    return Refused((), document["status"], detail, errors)


@needs(*GRADING)
def take_files() -> Response:
    """Grade what was sent and show it, or give its sheet as PDF."""
    around = frame()
    words = around.words
    asked = _asked(_editions(words))
    try:
        found, notes = _graded(asked)
    except FormIncomplete as error:
        said = words.say(f"office_grade.{error.name}", **error.gaps)
        return _form_page(around, asked, Refused((said,), 422))
    except ServiceError as error:
        return _form_page(around, asked, _refused(error, words))
    source = source_of(found, notes)
    if request.form.get("form") == "pdf":
        return sheet_response(
            source, SheetForm("pdf", tongue=Tongue(words.code), length_unit=words.length_unit)
        )
    return shown("graded.html", around, sheet=link_sheet(source, words))


def add_to(blueprint: Blueprint) -> None:
    """Put the pages at their addresses."""
    blueprint.add_url_rule("/grade", "grade", show_form, methods=["GET"])
    blueprint.add_url_rule("/grade", "take_files", take_files, methods=["POST"])
