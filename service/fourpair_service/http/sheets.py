"""Link sheets in the form that is asked for, of a kept record or of what was just graded."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final

from flask import Response, request

from fourpair_service.domain.grading.margin_curves import MarginCurve, margin_curves
from fourpair_service.http.assessment import Detail, carrying
from fourpair_service.http.grading import Graded, GradeRequest, graded
from fourpair_service.http.query_errors import InvalidQueryError, NotAcceptableError
from fourpair_service.http.record_grader import requirement_request
from fourpair_service.http.schemas.document_limits import DocumentLimits
from fourpair_service.http.schemas.measurement import read_measurement
from fourpair_service.records.documents import stored_document
from fourpair_service.records.model import Job, Record, Revision
from fourpair_service.records.ports import Reader
from fourpair_service.reports.drawing.as_svg import svg_document
from fourpair_service.reports.drawing.shapes import Picture
from fourpair_service.reports.language import Language, LengthUnit, Tongue, language
from fourpair_service.reports.paper import PaperSize
from fourpair_service.reports.sheet.build import link_sheet
from fourpair_service.reports.sheet.html import content_policy, sheet_html
from fourpair_service.reports.sheet.model import LinkSheet, Provenance, SheetSource
from fourpair_service.reports.sheet.pdf import sheet_pdf
from fourpair_service.reports.sheet.plain import receipt_text, sheet_text
from fourpair_service.reports.sheet.receipt import receipt_pdf
from fourpair_service.rulesets.catalogue import Catalogue
from fourpair_service.rulesets.errors import UnknownRuleSetError

MEDIA: Final = {
    "html": "text/html",
    "pdf": "application/pdf",
    "text": "text/plain",
    "svg": "image/svg+xml",
}
SHEET_VERSION: Final = "1"
NOT_KEPT: Final = Provenance()


class Extent(StrEnum):
    """How much is put on paper."""

    SHEET = "sheet"
    RECEIPT = "receipt"


@dataclass(frozen=True, slots=True)
class SheetForm:
    """In which form a sheet is asked for.

    Attributes:
        media: a name in ``MEDIA``.
        picture: of an SVG, which one.
    """

    media: str
    extent: Extent = Extent.SHEET
    tongue: Tongue = Tongue.ENGLISH
    length_unit: LengthUnit = LengthUnit.METRES
    paper: PaperSize = PaperSize.A4
    picture: str | None = None

    @property
    def words(self) -> Language:
        """The language it is written in."""
        return language(self.tongue, self.length_unit)

    @property
    def seal(self) -> str:
        """What tells one form from another."""
        return "-".join(
            (
                SHEET_VERSION,
                self.media,
                self.extent,
                self.tongue,
                self.length_unit,
                self.paper,
                self.picture or "",
            )
        )


def asked_form(query: Mapping[str, Any], *, otherwise: str | None) -> SheetForm | None:
    """Return the form that the query or else the Accept header asks for.

    Args:
        query: as it was read.
        otherwise: the form where nothing is asked for; ``None``: then it is no sheet.

    Raises:
        NotAcceptableError: no form of ours is accepted, and one must be given.
        InvalidQueryError: the parts do not fit each other.
    """
    media = query.get("format") or _accepted(otherwise)
    if media is None:
        return None
    extent = Extent(query.get("extent", Extent.SHEET))
    picture = query.get("picture")
    if (media == "svg") != (picture is not None):
        detail = "format=svg gives one picture: say which with picture=wires, run or margin-next; others take none."
        raise InvalidQueryError("/query/picture", detail, picture)
    if extent is Extent.RECEIPT and media not in ("pdf", "text"):
        raise InvalidQueryError("/query/extent", "A receipt is given as format=pdf or text.", extent)
    return SheetForm(
        media,
        extent,
        Tongue(query.get("language", Tongue.ENGLISH)),
        LengthUnit(query.get("length_unit", LengthUnit.METRES)),
        PaperSize(query.get("paper", PaperSize.A4)),
        picture,
    )


def _accepted(otherwise: str | None) -> str | None:
    known = [kind for name, kind in MEDIA.items() if name != "svg"]
    ours = known if otherwise is not None else ["application/json", *known]
    best = request.accept_mimetypes.best_match(ours)
    found = next((name for name, kind in MEDIA.items() if kind == best), None)
    if found is None and otherwise is not None and request.accept_mimetypes:
        raise NotAcceptableError(f"A sheet is given as {', '.join(known)}; ask for one of these.")
    return found or otherwise


def source_of(found: Graded, notes: object, provenance: Provenance = NOT_KEPT) -> SheetSource:
    """Return what a sheet of a graded measurement is made from."""
    return SheetSource(
        found.answer["verdict"],
        found.answer["verdict_digest"],
        found.answer.get("assessment"),
        found.measurement,
        _curves(found),
        provenance,
        notes if isinstance(notes, str) else None,
    )


def _curves(found: Graded) -> tuple[MarginCurve, ...]:
    if found.verdict.from_summary:
        return ()
    return margin_curves(found.measurement, found.rule_set, found.verdict.requirement.category)


def record_source(
    reader: Reader, record: Record, revision: Revision, catalogue: Catalogue, limits: DocumentLimits
) -> SheetSource:
    """Return what the sheet of a revision is made from: its verdict as it was given.

    Where the rule set that judged it is not known any more, or is another one under
    the same name, the sheet has no curves.
    """
    job = reader.job(revision.job_id)
    document = stored_document(reader, record.id, revision.number)
    verdict = reader.verdict(record.id, revision.number) or {}
    kept = reader.assessment(record.id, revision.number)
    # One that was kept with assessment=none holds names to be searched by, and says nothing.
    assessment = dict(kept.document) if kept is not None and "diagnosis" in kept.document else None
    provenance = _provenance(reader, record, revision, job)
    notes = document.get("notes")
    own = {name: value for name, value in document.items() if name != "requirement"}
    found = _again(own, verdict, revision, catalogue, limits)
    if found is None:
        measurement, curves = read_measurement(own, limits).measurement, ()
        return SheetSource(
            verdict, revision.verdict_digest, assessment, measurement, curves, provenance, notes
        )
    if assessment is not None and "applications" not in assessment:
        assessment |= carrying(found.measurement, found.verdict, found.rule_set)
    return SheetSource(
        verdict, revision.verdict_digest, assessment, found.measurement, _curves(found), provenance, notes
    )


def _again(
    document: dict[str, Any],
    verdict: Mapping[str, Any],
    revision: Revision,
    catalogue: Catalogue,
    limits: DocumentLimits,
) -> Graded | None:
    """Return a measurement graded by the rule set of its revision, where that is still the same."""
    try:
        rule_set = catalogue.get(revision.rule_set_id)
    except UnknownRuleSetError:
        return None
    if rule_set.digest != revision.rule_set_digest:
        return None
    asked = GradeRequest(document, requirement_request(dict(verdict["requirement"])), detail=Detail.NONE)
    return graded(asked, catalogue, limits=limits)


def _provenance(reader: Reader, record: Record, revision: Revision, job: Job | None) -> Provenance:
    customer = reader.party(job.customer_id) if job and job.customer_id else None
    return Provenance(
        job=job.name if job else revision.job_id,
        customer=customer.name if customer else None,
        site=job.site if job else None,
        record=record.id,
        revision=revision.number,
        seq=record.seq if revision.number == record.revision else None,
        revision_digest=revision.digest,
        at=revision.at,
        withdrawn=revision.kind == "withdrawn",
    )


def sheet_response(source: SheetSource, form: SheetForm) -> Response:
    """Return a sheet in the form that is asked for.

    Raises:
        InvalidQueryError: it has no such picture.
    """
    sheet, words = link_sheet(source, form.words), form.words
    content = written(sheet, words, form)
    kind = MEDIA[form.media]
    response = Response(content, content_type=f"{kind}; charset=utf-8" if form.media != "pdf" else kind)
    if form.media == "html":
        response.headers["Content-Security-Policy"] = content_policy()
    if form.media == "pdf":
        response.headers.set("Content-Disposition", "inline", filename=f"{form.extent}.pdf")
    response.headers["Content-Language"] = form.tongue
    response.vary.add("Accept")
    return response


def written(sheet: LinkSheet, words: Language, form: SheetForm) -> bytes | str:
    """Return a sheet written in a form.

    Raises:
        InvalidQueryError: it has no such picture.
    """
    keep = words.say("receipt.keep")
    if form.extent is Extent.RECEIPT:
        return receipt_pdf(sheet, keep, form.paper) if form.media == "pdf" else receipt_text(sheet, keep)
    if form.media == "pdf":
        return sheet_pdf(sheet, form.paper)
    if form.media == "text":
        return sheet_text(sheet)
    if form.media == "html":
        return sheet_html(sheet)
    return svg_document(_picture(sheet, form.picture or ""))


def _picture(sheet: LinkSheet, name: str) -> Picture:
    pictures = [p for p in (sheet.wires, sheet.run, *sheet.margins) if p is not None]
    for picture in pictures:
        if picture.name == name:
            return picture
    known = ", ".join(picture.name for picture in pictures) or "none at all"
    raise InvalidQueryError("/query/picture", f"This link has no such picture; it has {known}.", name)
