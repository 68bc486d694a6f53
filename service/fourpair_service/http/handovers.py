"""Handovers of jobs in the form that is asked for, for the service and its command line."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import Any, Final

from fourpair_service.http.query_errors import InvalidQueryError
from fourpair_service.http.schemas.document_limits import DocumentLimits
from fourpair_service.http.sheets import record_source
from fourpair_service.records.errors import NotFoundError
from fourpair_service.records.model import Job, Record
from fourpair_service.records.ports import Reader
from fourpair_service.records.views.handover import plan
from fourpair_service.records.views.past import job_at
from fourpair_service.reports.handover.archive import write_archive
from fourpair_service.reports.handover.model import Handover, Progress
from fourpair_service.reports.handover.pdf import write_pdf
from fourpair_service.reports.handover.tables import write_links_csv, write_results_csv
from fourpair_service.reports.handover.workbook import write_sheets_workbook, write_workbook
from fourpair_service.reports.language import LengthUnit, Tongue, language
from fourpair_service.reports.paper import PaperSize
from fourpair_service.reports.sheet.model import SheetSource
from fourpair_service.rulesets.catalogue import Catalogue

MEDIA: Final = {
    "pdf": "application/pdf",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "csv": "text/csv",
    "zip": "application/zip",
}


class PerLink(StrEnum):
    """What a workbook has for each link."""

    ROW = "row"
    SHEET = "sheet"


class CsvTable(StrEnum):
    """Which table a CSV is."""

    LINKS = "links"
    RESULTS = "results"


@dataclass(frozen=True, slots=True)
class HandoverForm:
    """In which form a handover is asked for.

    Attributes:
        media: a name in ``MEDIA``.
        as_of: a ``seq`` of the feed; now where there is none.
        per_link: of a workbook.
        table: of a CSV.
    """

    media: str
    tongue: Tongue = Tongue.ENGLISH
    length_unit: LengthUnit = LengthUnit.METRES
    paper: PaperSize = PaperSize.A4
    per_link: PerLink = PerLink.ROW
    table: CsvTable = CsvTable.LINKS
    as_of: int | None = None


def asked_handover(asked: Mapping[str, Any]) -> HandoverForm:
    """Return the form that words ask for; what is left out is as usual.

    Raises:
        InvalidQueryError: the parts do not fit each other.
    """
    for name, media in (("per_link", "xlsx"), ("table", "csv")):
        if asked.get(name) and asked["format"] != media:
            raise InvalidQueryError(
                f"/query/{name}", f"Only format={media} has this; leave it out.", asked[name]
            )
    return HandoverForm(
        asked["format"],
        Tongue(asked.get("language") or Tongue.ENGLISH),
        LengthUnit(asked.get("length_unit") or LengthUnit.METRES),
        PaperSize(asked.get("paper") or PaperSize.A4),
        PerLink(asked.get("per_link") or PerLink.ROW),
        CsvTable(asked.get("table") or CsvTable.LINKS),
        None if asked.get("as_of") is None else int(asked["as_of"]),
    )


def check_reached(reader: Reader, job: Job, as_of: int | None) -> None:
    """Refuse a moment that has no papers, or whose papers could still become others.

    Raises:
        InvalidQueryError: the feed has not come so far.
        NotFoundError: there was no such job then.
    """
    if as_of is None:
        return
    last = reader.last_change()
    seq = last.seq if last else 0
    if as_of > seq:
        detail = f"The feed has come to {seq}: ask for that or for less, or leave as_of out for now."
        raise InvalidQueryError("/query/as_of", detail, as_of)
    job_at(reader, job.id, as_of)


def form_words(form: HandoverForm) -> dict[str, str]:
    """Return a form as the words that ask for it."""
    words = {
        "format": form.media,
        "language": form.tongue.value,
        "length_unit": form.length_unit.value,
        "paper": form.paper.value,
    }
    own = {"xlsx": {"per_link": form.per_link.value}, "csv": {"table": form.table.value}}
    then = {} if form.as_of is None else {"as_of": str(form.as_of)}
    return words | own.get(form.media, {}) | then


def writer_of(form: HandoverForm) -> Callable[[Handover, Path], None]:
    """Return what writes a handover in a form."""
    if form.media == "xlsx":
        return write_workbook if form.per_link is PerLink.ROW else write_sheets_workbook
    if form.media == "csv":
        return write_links_csv if form.table is CsvTable.LINKS else write_results_csv
    return write_archive if form.media == "zip" else write_pdf


def write_handover(
    reader: Reader,
    job: Job,
    form: HandoverForm,
    target: Path,
    catalogue: Catalogue,
    limits: DocumentLimits,
    progress: Progress = lambda done, total: None,
) -> None:
    """Write the handover of a job into a file; the same state gives the same bytes.

    Args:
        reader: sees one state of the store for as long as this takes.
        job: as it stands, whatever moment is asked for.
        form: as it is asked for.
        target: file that is written.
        catalogue: of the rule sets.
        limits: of measurement documents.
        progress: told how many links are done, of how many.

    Raises:
        InvalidQueryError: the feed has not come to the moment that is asked for.
        NotFoundError: there was no such job then.
    """
    check_reached(reader, job, form.as_of)
    planned = plan(reader, job, form.as_of)

    def source(record: Record) -> SheetSource:
        revision = reader.revision(record.id, record.revision)
        if revision is None:
            raise NotFoundError("revision", f"{record.revision} of record {record.id}")
        return record_source(reader, record, revision, catalogue, limits, planned.job, form.as_of)

    words = language(form.tongue, form.length_unit)
    handover = Handover(planned, reader, words, form.paper, source, progress)
    writer_of(form)(handover, target)
