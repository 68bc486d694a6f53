"""Handovers of jobs in the form that is asked for, for the service and its command line."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from fourpair_service.http.schemas.document_limits import DocumentLimits
from fourpair_service.http.sheets import record_source
from fourpair_service.records.errors import NotFoundError
from fourpair_service.records.model import Job, Record
from fourpair_service.records.ports import Reader
from fourpair_service.records.views.handover import plan
from fourpair_service.reports.handover.model import Handover, Progress
from fourpair_service.reports.handover.pdf import write_pdf
from fourpair_service.reports.language import LengthUnit, Tongue, language
from fourpair_service.reports.paper import PaperSize
from fourpair_service.reports.sheet.model import SheetSource
from fourpair_service.rulesets.catalogue import Catalogue

MEDIA: Final = {
    "pdf": "application/pdf",
}


@dataclass(frozen=True, slots=True)
class HandoverForm:
    """In which form a handover is asked for.

    Attributes:
        media: a name in ``MEDIA``.
    """

    media: str
    tongue: Tongue = Tongue.ENGLISH
    length_unit: LengthUnit = LengthUnit.METRES
    paper: PaperSize = PaperSize.A4


def asked_handover(asked: Mapping[str, Any]) -> HandoverForm:
    """Return the form that words ask for; what is left out is as usual."""
    return HandoverForm(
        asked["format"],
        Tongue(asked.get("language") or Tongue.ENGLISH),
        LengthUnit(asked.get("length_unit") or LengthUnit.METRES),
        PaperSize(asked.get("paper") or PaperSize.A4),
    )


WRITERS: Final[dict[str, Callable[[Handover, Path], None]]] = {
    "pdf": write_pdf,
}


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
        job: as it stands.
        form: as it is asked for.
        target: file that is written.
        catalogue: of the rule sets.
        limits: of measurement documents.
        progress: told how many links are done, of how many.
    """

    def source(record: Record) -> SheetSource:
        revision = reader.revision(record.id, record.revision)
        if revision is None:
            raise NotFoundError("revision", f"{record.revision} of record {record.id}")
        return record_source(reader, record, revision, catalogue, limits)

    words = language(form.tongue, form.length_unit)
    handover = Handover(plan(reader, job), reader, words, form.paper, source, progress)
    WRITERS[form.media](handover, target)
