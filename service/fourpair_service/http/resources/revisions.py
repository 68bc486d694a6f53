"""/v1/records/{id}/…: history, verdicts and measurements."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any

from flask import Response, request
from flask.views import MethodView

from fourpair_service.http.auth import caller
from fourpair_service.http.kit import StrictBlueprint
from fourpair_service.http.measurement_csv import measurement_csv
from fourpair_service.http.operation import answered, operate
from fourpair_service.http.query_errors import NotAcceptableError
from fourpair_service.http.record_documents import revision_document
from fourpair_service.http.resources.records import revision_at
from fourpair_service.http.revalidation import tagged_by_content
from fourpair_service.http.schemas.document_limits import DocumentLimits
from fourpair_service.http.schemas.measurement import MeasurementSchema
from fourpair_service.http.schemas.queries import AsOfQuery, FormatQuery, MeasurementQuery
from fourpair_service.http.schemas.record_answers import (
    KeptAssessmentSchema,
    RevisionListSchema,
    RevisionSchema,
)
from fourpair_service.http.schemas.sheets import SHEET_CONTENT, SheetQuery
from fourpair_service.http.schemas.verdict import VerdictSchema
from fourpair_service.http.services import services
from fourpair_service.http.sheets import asked_form, record_source, sheet_response
from fourpair_service.records.desk import record_tag, visible_record, visible_revision, visible_revisions
from fourpair_service.records.documents import stored_document
from fourpair_service.records.errors import NotFoundError
from fourpair_service.records.keys import Scope
from fourpair_service.records.model import Revision
from fourpair_service.records.ports import Reader
from fourpair_service.reports.sheet.form import SheetForm

CSV = "text/csv"
CSV_DOC = {"responses": {200: {"content": {CSV: {"schema": {"type": "string"}}}}}}
GONE = (304, 404)

blueprint = StrictBlueprint("revisions", __name__, url_prefix="/v1", description="What a record was and is")


def asked_format(given: str | None, forms: Mapping[str, str]) -> str:
    """Return the form that is asked for, by the query or else by the Accept header.

    Raises:
        NotAcceptableError: no form of ours is accepted.
    """
    if given is not None:
        return given
    best = request.accept_mimetypes.best_match(list(forms.values()))
    found = next((name for name, kind in forms.items() if kind == best), None)
    if found is None and request.accept_mimetypes:
        raise NotAcceptableError(f"This is given as {' or '.join(forms.values())}; ask for one of these.")
    return found or "json"


@contextmanager
def _at(record_id: str, as_of: int | None) -> Iterator[tuple[Reader, Revision]]:
    with services().desk.store.reading() as reader:
        record = visible_record(reader, caller(), record_id)
        yield reader, revision_at(reader, record, as_of)


@contextmanager
def _numbered(record_id: str, number: int) -> Iterator[tuple[Reader, Revision]]:
    with services().desk.store.reading() as reader:
        yield reader, visible_revision(reader, caller(), record_id, number)


def _verdict(reader: Reader, revision: Revision) -> Response:
    verdict = answered(reader.verdict(revision.record_id, revision.number))
    return tagged_by_content(verdict, record_tag(revision))


def _measurement(reader: Reader, revision: Revision, given: str | None) -> Response:
    document = stored_document(reader, revision.record_id, revision.number)
    form = asked_format(given, {"json": "application/json", "csv": CSV})
    if form == "json":
        response = answered(document)
    else:
        response = Response(measurement_csv(document), content_type=f"{CSV}; charset=utf-8; header=present")
        name = f"{revision.record_id}-{revision.number}.csv"
        response.headers.set("Content-Disposition", "attachment", filename=name)
    response.vary.add("Accept")
    return tagged_by_content(response, record_tag(revision))


def _assessment(reader: Reader, revision: Revision) -> Response:
    found = reader.assessment(revision.record_id, revision.number)
    if found is None:
        raise NotFoundError("assessment", f"of revision {revision.number} of record {revision.record_id}")
    return tagged_by_content(answered({"version": found.version, "assessment": found.document}))


@blueprint.route("/records/<record_id>/revisions")
class Revisions(MethodView):
    """The chain of a record."""

    @operate(blueprint, "listRevisions", scope=Scope.READ, answer=RevisionListSchema, problems=GONE)
    def get(self, query: Mapping[str, Any], record_id: str) -> Response:
        """List the revisions of a record, the first one first; those under a job that the key does not see are left out."""
        with services().desk.store.reading() as reader:
            record = visible_record(reader, caller(), record_id)
            seqs = reader.revision_seqs(record_id)
            found = [
                revision_document(revision, seqs[revision.number])
                for revision in visible_revisions(reader, caller(), record_id)
            ]
        return tagged_by_content(answered({"revisions": found}), record_tag(record))


@blueprint.route("/records/<record_id>/revisions/<int:number>")
class OneRevision(MethodView):
    """One link of a chain."""

    @operate(blueprint, "getRevision", scope=Scope.READ, answer=RevisionSchema, problems=GONE)
    def get(self, query: Mapping[str, Any], record_id: str, number: int) -> Response:
        """Show one revision."""
        with _numbered(record_id, number) as (reader, revision):
            document = revision_document(revision, reader.revision_seqs(record_id)[number])
            return tagged_by_content(answered(document), record_tag(revision))


@blueprint.route("/records/<record_id>/revisions/<int:number>/verdict")
class RevisionVerdict(MethodView):
    """The verdict of one revision."""

    @operate(blueprint, "getRevisionVerdict", scope=Scope.READ, answer=VerdictSchema, problems=GONE)
    def get(self, query: Mapping[str, Any], record_id: str, number: int) -> Response:
        """Show the verdict of one revision, as it was given."""
        with _numbered(record_id, number) as (reader, revision):
            return _verdict(reader, revision)


@blueprint.route("/records/<record_id>/revisions/<int:number>/measurement")
class RevisionMeasurement(MethodView):
    """The measurement of one revision."""

    @operate(
        blueprint,
        "getRevisionMeasurement",
        scope=Scope.READ,
        query=FormatQuery,
        answer=MeasurementSchema,
        problems=(*GONE, 406),
        doc=CSV_DOC,
    )
    def get(self, query: Mapping[str, Any], record_id: str, number: int) -> Response:
        """Give the measurement of one revision as it was sent, to the last digit."""
        with _numbered(record_id, number) as (reader, revision):
            return _measurement(reader, revision, query.get("format"))


@blueprint.route("/records/<record_id>/verdict")
class NewestVerdict(MethodView):
    """The verdict of a record."""

    @operate(blueprint, "getVerdict", scope=Scope.READ, query=AsOfQuery, answer=VerdictSchema, problems=GONE)
    def get(self, query: Mapping[str, Any], record_id: str) -> Response:
        """Show the newest verdict alone, or the newest at a moment of the feed."""
        with _at(record_id, query.get("as_of")) as (reader, revision):
            return _verdict(reader, revision)


@blueprint.route("/records/<record_id>/measurement")
class NewestMeasurement(MethodView):
    """The measurement of a record."""

    @operate(
        blueprint,
        "getMeasurement",
        scope=Scope.READ,
        query=MeasurementQuery,
        answer=MeasurementSchema,
        problems=(*GONE, 406),
        doc=CSV_DOC,
    )
    def get(self, query: Mapping[str, Any], record_id: str) -> Response:
        """Give the newest measurement as it was sent, as JSON or CSV."""
        with _at(record_id, query.get("as_of")) as (reader, revision):
            return _measurement(reader, revision, query.get("format"))


@blueprint.route("/records/<record_id>/assessment")
class NewestAssessment(MethodView):
    """What is said beside the verdict."""

    @operate(
        blueprint,
        "getAssessment",
        scope=Scope.READ,
        query=AsOfQuery,
        answer=KeptAssessmentSchema,
        problems=(304, 404),
    )
    def get(self, query: Mapping[str, Any], record_id: str) -> Response:
        """Show what is said beside the newest verdict; it has its own version and may get better."""
        with _at(record_id, query.get("as_of")) as (reader, revision):
            return _assessment(reader, revision)


@blueprint.route("/records/<record_id>/sheet")
class RecordSheet(MethodView):
    """The page that is handed over for a link."""

    @operate(
        blueprint,
        "getSheet",
        scope=Scope.READ,
        query=SheetQuery,
        answer={"type": "string"},
        answer_kind="text/html",
        problems=(*GONE, 406),
        doc={"responses": SHEET_CONTENT},
    )
    def get(self, query: Mapping[str, Any], record_id: str) -> Response:
        """Give the link sheet or its receipt as HTML, PDF, text, or one of its pictures as SVG or PNG.

        The same revision gives the same bytes for as long as what is said beside its verdict stays.
        """
        form = asked_form(query, otherwise="html") or SheetForm("html")
        own = services()
        limits = DocumentLimits(curves=own.settings.max_curves, points_per_curve=own.settings.max_points)
        with own.desk.store.reading() as reader:
            record = visible_record(reader, caller(), record_id)
            revision = revision_at(reader, record, query.get("as_of"))
            source = record_source(reader, record, revision, own.catalogue, limits)
        response = sheet_response(source, form)
        return tagged_by_content(response, record_tag(revision))
