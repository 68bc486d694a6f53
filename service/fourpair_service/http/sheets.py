"""Link sheets in the form that is asked for, of a kept record or of what was just graded."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from flask import Response, request

from fourpair_service.domain.grading.margin_curves import MarginCurve, margin_curves
from fourpair_service.http.assessment import Detail, carrying
from fourpair_service.http.grading import Graded, GradeRequest, graded
from fourpair_service.http.query_errors import InvalidQueryError, NotAcceptableError
from fourpair_service.http.record_grader import requirement_request
from fourpair_service.http.schemas.document_limits import DocumentLimits
from fourpair_service.http.schemas.measurement import read_measurement
from fourpair_service.records.assessments import assessment_at, said_beside
from fourpair_service.records.documents import stored_document, with_cords
from fourpair_service.records.model import Job, Record, Revision
from fourpair_service.records.ports import Reader
from fourpair_service.reports.language import LengthUnit, Tongue
from fourpair_service.reports.paper import PaperSize
from fourpair_service.reports.sheet.build import link_sheet
from fourpair_service.reports.sheet.form import (
    PAGES,
    PICTURES,
    WIDTH_PX,
    Extent,
    NoSuchPictureError,
    SheetForm,
    written,
)
from fourpair_service.reports.sheet.html import content_policy
from fourpair_service.reports.sheet.model import Provenance, SheetSource
from fourpair_service.rulesets.catalogue import Catalogue
from fourpair_service.rulesets.errors import UnknownRuleSetError

NOT_KEPT: Final = Provenance()


def asked_form(query: Mapping[str, Any], *, otherwise: str | None) -> SheetForm | None:
    """Return the form that the query or else the Accept header asks for.

    Args:
        query: as it was read.
        otherwise: the form where nothing is asked for; ``None``: then it is no sheet.

    Raises:
        NotAcceptableError: no form of ours is accepted, and one must be given.
        InvalidQueryError: the parts do not fit each other.
    """
    picture = query.get("picture")
    media = query.get("format") or (_accepted_page(otherwise) if picture is None else _accepted_picture())
    if media is None:
        return None
    _check_parts(query, media)
    return SheetForm(
        media,
        Extent(query.get("extent", Extent.SHEET)),
        Tongue(query.get("language", Tongue.ENGLISH)),
        LengthUnit(query.get("length_unit", LengthUnit.METRES)),
        PaperSize(query.get("paper", PaperSize.A4)),
        picture,
        query.get("width_px", WIDTH_PX),
    )


def _check_parts(query: Mapping[str, Any], media: str) -> None:
    picture, extent = query.get("picture"), query.get("extent")
    if (media in PICTURES) != (picture is not None):
        detail = "format=svg and png give one picture: say which with picture=wires, run or margin-next; others take none."
        raise InvalidQueryError("/query/picture", detail, picture)
    if extent == Extent.RECEIPT and media not in ("pdf", "text"):
        raise InvalidQueryError("/query/extent", "A receipt is given as format=pdf or text.", extent)
    if "width_px" in query and media != "png":
        detail = "Only a PNG has a width in pixels: ask for format=png, or leave the width out."
        raise InvalidQueryError("/query/width_px", detail, query["width_px"])


def _accepted_page(otherwise: str | None) -> str | None:
    ours = [*PAGES.values()] if otherwise is not None else ["application/json", *PAGES.values()]
    best = request.accept_mimetypes.best_match(ours)
    found = next((name for name, kind in PAGES.items() if kind == best), None)
    if found is None and otherwise is not None and request.accept_mimetypes:
        raise NotAcceptableError(f"A sheet is given as {', '.join(PAGES.values())}; ask for one of these.")
    return found or otherwise


def _accepted_picture() -> str:
    """Return the kind of picture that is accepted; SVG where none is named."""
    if not request.accept_mimetypes:
        return "svg"
    best = request.accept_mimetypes.best_match([*PICTURES.values()])
    if best is None:
        kinds = ", ".join(PICTURES.values())
        raise NotAcceptableError(f"A picture is given as {kinds}; ask for one of these.")
    return next(name for name, kind in PICTURES.items() if kind == best)


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
    reader: Reader,
    record: Record,
    revision: Revision,
    catalogue: Catalogue,
    limits: DocumentLimits,
    then: Job | None = None,
    as_of: int | None = None,
) -> SheetSource:
    """Return what the sheet of a revision is made from: its verdict as it was given.

    Where the rule set that judged it is not known any more, or is another one under
    the same name, the sheet has no curves.

    Args:
        reader: of the store.
        record: it is one of.
        revision: as it was kept.
        catalogue: of the rule sets.
        limits: of measurement documents.
        then: its job, where not as it stands now.
        as_of: the ``seq`` whose assessment is wanted, where not that of now.
    """
    job = then or reader.job(revision.job_id)
    document = with_cords(stored_document(reader, record.id, revision.number), job)
    verdict = reader.verdict(record.id, revision.number) or {}
    said = said_beside(assessment_at(reader, record.id, revision.number, as_of))
    assessment = None if said is None else dict(said)
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
    sheet = link_sheet(source, form.words)
    try:
        content = written(sheet, form)
    except NoSuchPictureError as error:
        raise InvalidQueryError("/query/picture", str(error), form.picture) from error
    response = Response(content, content_type=f"{form.kind}; charset=utf-8" if form.is_text else form.kind)
    if form.media == "html":
        response.headers["Content-Security-Policy"] = content_policy()
    if form.media == "pdf":
        response.headers.set("Content-Disposition", "inline", filename=f"{form.extent}.pdf")
    response.headers["Content-Language"] = form.tongue
    response.vary.add("Accept")
    return response
