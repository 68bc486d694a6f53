"""One link with its history, two of its revisions side by side, and their sheets."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from flask import Blueprint, Response, request
from werkzeug.exceptions import NotFound

from fourpair_service.http.auth import caller, needs
from fourpair_service.http.office.framing import Frame, frame, shown
from fourpair_service.http.office.job_pages import last_seq
from fourpair_service.http.resources.records import revision_at
from fourpair_service.http.revalidation import tagged_by_content
from fourpair_service.http.schemas.document_limits import DocumentLimits
from fourpair_service.http.services import services
from fourpair_service.http.sheets import record_source, sheet_response
from fourpair_service.records.desk import visible_record, visible_revision, visible_revisions
from fourpair_service.records.keys import Scope
from fourpair_service.records.model import Record, Revision
from fourpair_service.records.ports import Reader
from fourpair_service.reports.language import Tongue, printable
from fourpair_service.reports.office.links import comparison, revision_lines
from fourpair_service.reports.office.page import LABEL_CHARACTERS
from fourpair_service.reports.sheet.build import link_sheet
from fourpair_service.reports.sheet.form import SheetForm
from fourpair_service.reports.sheet.model import SheetSource

MOST_DIGITS: Final = 6


def document_limits() -> DocumentLimits:
    """Return what a document may hold, by the settings."""
    settings = services().settings
    return DocumentLimits(curves=settings.max_curves, points_per_curve=settings.max_points)


def _source(reader: Reader, record: Record, revision: Revision) -> SheetSource:
    return record_source(reader, record, revision, services().catalogue, document_limits())


def _asked_number(name: str) -> int | None:
    """Return the revision that the query names; ``None`` where it names none.

    Raises:
        NotFound: that is no number of a revision.
    """
    given = request.args.get(name, "")
    if not given:
        return None
    if not (given.isascii() and given.isdigit() and len(given) <= MOST_DIGITS):
        raise NotFound
    return int(given)


def _testers(reader: Reader, revisions: Sequence[Revision]) -> dict[str, str | None]:
    parties = [reader.party(party_id) for party_id in {r.tester_id for r in revisions} if party_id]
    return {party.id: party.name for party in parties if party is not None}


@needs(Scope.READ)
def show_link(record_id: str) -> Response:
    """Show a link as its newest revision has it, with its history."""
    with services().desk.store.reading() as reader:
        record = visible_record(reader, caller(), record_id)
        revisions = visible_revisions(reader, caller(), record_id)
        around = frame(last_seq(reader), record=record.id)
        source = _source(reader, record, revision_at(reader, record, None))
        testers, job = _testers(reader, revisions), reader.job(record.job_id)
    return shown(
        "link.html",
        around,
        record=record.id,
        label=printable(record.label, LABEL_CHARACTERS),
        job_id=record.job_id,
        job_name=printable(job.name if job else record.job_id, LABEL_CHARACTERS),
        sheet=link_sheet(source, around.words),
        revisions=revision_lines(revisions, testers, around.words),
    )


@needs(Scope.READ)
def show_comparison(record_id: str) -> Response:
    """Show two revisions of a link side by side; the last two where none are named.

    Raises:
        NotFound: the record has not two revisions.
    """
    with services().desk.store.reading() as reader:
        record = visible_record(reader, caller(), record_id)
        revisions = visible_revisions(reader, caller(), record_id)
        if len(revisions) < 2:
            raise NotFound
        numbers = (
            _asked_number("before") or revisions[-2].number,
            _asked_number("after") or revisions[-1].number,
        )
        chosen = [visible_revision(reader, caller(), record_id, number) for number in numbers]
        around = frame()
        before, after = (_source(reader, record, revision) for revision in chosen)
        lines = revision_lines(revisions, _testers(reader, revisions), around.words)
    by_number = {line.number: line for line in lines}
    return shown(
        "compare.html",
        around,
        record=record.id,
        label=printable(record.label, LABEL_CHARACTERS),
        chosen=numbers,
        revisions=lines,
        lines=[by_number[number] for number in numbers],
        compared=comparison(before, after, around.words),
    )


def _sheet(record_id: str, media: str, around: Frame) -> Response:
    number = _asked_number("revision")
    with services().desk.store.reading() as reader:
        record = visible_record(reader, caller(), record_id)
        number = record.revision if number is None else number
        source = _source(reader, record, visible_revision(reader, caller(), record_id, number))
    words = around.words
    form = SheetForm(media, tongue=Tongue(words.code), length_unit=words.length_unit)
    response = sheet_response(source, form)
    response.vary.update(("Accept-Language", "Cookie"))
    return tagged_by_content(response)


@needs(Scope.READ)
def show_sheet(record_id: str) -> Response:
    """Show the link sheet of a revision, the newest where none is named."""
    return _sheet(record_id, "html", frame())


@needs(Scope.READ)
def show_sheet_pdf(record_id: str) -> Response:
    """Give the same as PDF."""
    return _sheet(record_id, "pdf", frame())


def add_to(blueprint: Blueprint) -> None:
    """Put the pages at their addresses."""
    blueprint.add_url_rule("/records/<record_id>", "link", show_link)
    blueprint.add_url_rule("/records/<record_id>/compare", "compare", show_comparison)
    blueprint.add_url_rule("/records/<record_id>/sheet", "sheet", show_sheet)
    blueprint.add_url_rule("/records/<record_id>/sheet.pdf", "sheet_pdf", show_sheet_pdf)
