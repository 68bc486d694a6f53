"""POST /v1/grade: one measurement in, one verdict out, nothing stored."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final, NamedTuple

from flask import Response, current_app, request
from flask.views import MethodView

from fourpair_service.config import Settings
from fourpair_service.domain.limits import Basis
from fourpair_service.domain.link import Configuration
from fourpair_service.http.assessment import Detail
from fourpair_service.http.binary_body import MEDIA_TYPE as BINARY
from fourpair_service.http.binary_body import read_binary
from fourpair_service.http.body_stream import check_coding, inflate_zstd
from fourpair_service.http.document_body import read_document
from fourpair_service.http.grading import GradeRequest, graded
from fourpair_service.http.json_body import (
    BodyTooLargeError,
    UnreadableBodyError,
    UnsupportedBodyError,
    inflate,
)
from fourpair_service.http.kit import StrictBlueprint
from fourpair_service.http.schemas.document_limits import DocumentLimits
from fourpair_service.http.schemas.fields import Choice, Text
from fourpair_service.http.schemas.measurement import MeasurementSchema, RequirementRequest
from fourpair_service.http.schemas.sheets import SHEET_CONTENT, SHEET_FIELDS
from fourpair_service.http.schemas.strict import StrictSchema
from fourpair_service.http.schemas.verdict import GradeAnswerSchema
from fourpair_service.http.services import services
from fourpair_service.http.sheets import asked_form, sheet_response, source_of
from fourpair_service.http.sweeps_csv import read_sweeps_csv
from fourpair_service.http.touchstone import TouchstoneFile
from fourpair_service.reports.sheet.form import MEDIA

MULTIPART: Final = "multipart/form-data"
MEASUREMENT_PART: Final = "measurement"
SWEEP_PART: Final = "sweep"
CSV_ENDING: Final = ".csv"
NO_PARTS: Final = " (a Content-Type whose boundary is not that of the body leaves a form without parts)"

MULTIPART_BODY: Final = {
    "type": "object",
    "required": [MEASUREMENT_PART, SWEEP_PART],
    "properties": {
        MEASUREMENT_PART: {"type": "string", "contentMediaType": "application/json"},
        SWEEP_PART: {
            "type": "array",
            "minItems": 1,
            "items": {"type": "string", "contentMediaType": "application/octet-stream"},
        },
    },
}

blueprint = StrictBlueprint(
    "grade", __name__, url_prefix="/v1", description="Grading without keeping anything"
)


BINARY_BODY: Final = {
    "type": "string",
    "format": "binary",
    "description": (
        "FPS1, the length of the head (4 bytes, least first), the head {document, lists: [{paths below "
        "sweeps, count, type: int16, int32, float32 or float64, decimals}]}, and the numbers of all lists"
    ),
}
# Besides JSON: Touchstone or CSV files beside the document, and numbers as bytes.
OTHER_FORMS: Final[dict[str, Any]] = {BINARY: BINARY_BODY, MULTIPART: MULTIPART_BODY}
LINK_BODY: Final = {
    "required": True,
    "content": {
        "application/json": {"schema": MeasurementSchema},
        **{kind: {"schema": schema} for kind, schema in OTHER_FORMS.items()},
    },
}
SHEET: Final = ("format", *SHEET_FIELDS)


class GradeQuery(StrictSchema):
    """The requirement, where it does not stand in the document, and the form of the answer."""

    rule_set = Text(
        metadata={"description": "id of a rule set, or TIA or ISO for the newest of that standard"}
    )
    category = Text(metadata={"description": "category or class"})
    configuration = Choice(Configuration)
    minimum_basis = Choice(Basis)
    coverage = Choice(("strict", "advisory"))
    assessment = Choice(
        Detail,
        metadata={
            "description": "how much to say beside the verdict: suspected faults (usual), or all: what the link can carry, powering and the port; along adds distances on any link"
        },
    )


class GradeOrSheetQuery(GradeQuery):
    """The same, and a sheet in place of JSON where one is wanted."""

    format = Choice(
        ("json", *MEDIA),
        metadata={"description": "a sheet of the link in place of JSON; goes before the Accept header"},
    )
    extent, language, length_unit = (SHEET_FIELDS[name] for name in ("extent", "language", "length_unit"))
    paper, picture, width_px = (SHEET_FIELDS[name] for name in ("paper", "picture", "width_px"))


def body_bytes(settings: Settings) -> bytes:
    """Return the request's body, inflated within the limits.

    Raises:
        BodyTooLargeError, UnsupportedBodyError, UnreadableBodyError: as they say.
    """
    coding = check_coding(request.headers.get("Content-Encoding", "identity"))
    if request.content_length is not None and request.content_length > settings.max_body_bytes:
        raise BodyTooLargeError(
            f"The body has {request.content_length} bytes; at most {settings.max_body_bytes} are read."
        )
    raw = request.get_data(cache=False)
    if len(raw) > settings.max_body_bytes:
        raise BodyTooLargeError(f"The body has over {settings.max_body_bytes} bytes, more than is read.")
    if coding == "identity":
        return raw
    unpack = inflate if coding == "gzip" else inflate_zstd
    return unpack(raw, most=settings.max_body_bytes, ratio=settings.max_inflate_ratio)


class SentForm(NamedTuple):
    """What a form with files holds.

    Attributes:
        sent: the document as it stands in the form.
        document: the same with the sweeps of a CSV file in it.
        files: all of them, as they were sent.
        touchstone: those that are still to be read.
    """

    sent: Any
    document: Any
    files: tuple[TouchstoneFile, ...]
    touchstone: tuple[TouchstoneFile, ...]


def sent_form(settings: Settings) -> SentForm:
    """Return what a form holds.

    Raises:
        UnreadableBodyError, BodyTooLargeError: its parts are not the right ones, or cannot be read.
    """
    request.max_content_length = settings.max_part_bytes
    request.max_form_memory_size = settings.max_body_bytes
    parts = request.files.getlist(MEASUREMENT_PART)
    text = request.form.get(MEASUREMENT_PART)
    # A part may come without a name, which the form keeps as None.
    names: set[str | None] = {*request.files, *request.form}
    if unknown := names - {MEASUREMENT_PART, SWEEP_PART}:
        first = min(name or "" for name in unknown)
        said = f"The part {first!r} is not known" if first else "A part has no name"
        raise UnreadableBodyError(
            f"{said}; send one part {MEASUREMENT_PART!r} with the document and parts {SWEEP_PART!r} "
            f"with the files."
        )
    if len(parts) + (text is not None) != 1:
        got = len(parts) + (text is not None)
        raise UnreadableBodyError(
            f"Send exactly one part {MEASUREMENT_PART!r} with the document as JSON; the form has "
            f"{got or 'none'}{NO_PARTS if not got else ''}."
        )
    raw = parts[0].read() if parts else (text or "").encode()
    files = tuple(sent_file(part, settings) for part in request.files.getlist(SWEEP_PART))
    if not files:
        raise UnreadableBodyError(f"Send at least one part {SWEEP_PART!r} with a Touchstone or CSV file.")
    document = read_document(raw)
    whole, left = with_tables(document, files, settings)
    return SentForm(document, whole, files, left)


def with_tables(
    document: Any, files: Sequence[TouchstoneFile], settings: Settings
) -> tuple[Any, tuple[TouchstoneFile, ...]]:
    """Return a document with the sweeps of a CSV file in it, where there is one, and the files that are left.

    Raises:
        ServiceError: the table cannot be read, or sweeps come in several places.
    """
    tables = [file for file in files if file.name.casefold().endswith(CSV_ENDING)]
    if not tables:
        return document, tuple(files)
    return _with_tables(document, tables, settings), tuple(file for file in files if file not in tables)


def _with_tables(document: Any, tables: Sequence[TouchstoneFile], settings: Settings) -> Any:
    """Return a document with the sweeps of CSV files in it."""
    if not isinstance(document, dict):
        return document
    if len(tables) > 1 or "sweeps" in document:
        detail = "Sweeps come in one place: in the document, or in one CSV file that holds them all."
        raise UnreadableBodyError(detail, "/sweeps")
    most = settings.max_curves * settings.max_points
    sweeps = read_sweeps_csv(tables[0].name, tables[0].content, points=most)
    return {**{n: v for n, v in document.items() if n != "frequency_mhz"}, "sweeps": sweeps}


def sent_file(part: Any, settings: Settings) -> TouchstoneFile:
    """Return a file of a form.

    Raises:
        BodyTooLargeError: as it says.
    """
    content = part.read(settings.max_part_bytes + 1)
    if len(content) > settings.max_part_bytes:
        raise BodyTooLargeError(f"{part.filename} is larger than {settings.max_part_bytes} bytes.")
    return TouchstoneFile(part.filename or "", content)


def sent(settings: Settings) -> tuple[Any, tuple[TouchstoneFile, ...]]:
    """Return the document that was sent, and the files beside it."""
    kind = request.mimetype
    if kind == "application/json":
        return read_document(body_bytes(settings)), ()
    if kind == BINARY:
        return read_binary(body_bytes(settings), curves=settings.max_curves, points=settings.max_points), ()
    if kind == MULTIPART:
        form = sent_form(settings)
        return form.document, form.touchstone
    got = repr(kind) if kind else "none"
    raise UnsupportedBodyError(f"The content type is {got}; send application/json, {MULTIPART} or {BINARY}.")


@blueprint.route("/grade")
class Grade(MethodView):
    """Grading of one measurement."""

    @blueprint.arguments(GradeOrSheetQuery, location="query")
    @blueprint.response(200, GradeAnswerSchema)
    @blueprint.alt_response(400, description="The body cannot be read")
    @blueprint.alt_response(413, description="The body is too large")
    @blueprint.alt_response(415, description="The kind of body is not supported")
    @blueprint.doc(operationId="gradeMeasurement", responses=SHEET_CONTENT, requestBody=LINK_BODY)
    def post(self, query: Mapping[str, Any]) -> Response:
        """Grade one measurement.

        The requirement stands in the document or in the query. Nothing is stored. The
        answer is JSON, or the link sheet as HTML, PDF, text or one of its pictures.
        """
        own = services()
        document, files = sent(own.settings)
        form = None if query.get("format") == "json" else asked_form(query, otherwise=None)
        detail = Detail(query.get("assessment", Detail.FAULTS if form is None else Detail.ALL))
        asked = {n: value for n, value in query.items() if n not in ("assessment", *SHEET)}
        limits = DocumentLimits(curves=own.settings.max_curves, points_per_curve=own.settings.max_points)
        request_ = GradeRequest(document, RequirementRequest(**asked), files, detail)
        found = graded(request_, own.catalogue, limits=limits, now=own.clock())
        if form is not None:
            return sheet_response(source_of(found, document.get("notes")), form)
        return Response(current_app.json.dumps(found.answer), content_type="application/json")
