"""POST /v1/grade/stream: many measurements in, one a line; a verdict for each comes back, in order."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from flask import Response
from flask.views import MethodView

from fourpair_service.http.assessment import Detail
from fourpair_service.http.grading import GradeRequest, grade_document
from fourpair_service.http.kit import StrictBlueprint
from fourpair_service.http.line_stream import LINES_IN, LINES_OUT, REFUSALS, answer_lines
from fourpair_service.http.resources.grade import GradeQuery
from fourpair_service.http.schemas.document_limits import DocumentLimits
from fourpair_service.http.schemas.measurement import RequirementRequest
from fourpair_service.http.services import services
from fourpair_service.records.curves import Document

blueprint = StrictBlueprint(
    "grade-stream", __name__, url_prefix="/v1", description="Grading many, one a line"
)


@blueprint.route("/grade/stream")
class GradeStream(MethodView):
    """Grading of many measurements."""

    @blueprint.arguments(GradeQuery, location="query")
    @blueprint.response(
        200, description="One object a line: an answer as of POST /v1/grade or a problem, and an end"
    )
    @blueprint.alt_response(415, description=REFUSALS[415])
    @blueprint.alt_response(503, description=REFUSALS[503])
    @blueprint.doc(
        operationId="gradeStream",
        requestBody={"required": True, "content": LINES_IN},
        responses=LINES_OUT,
    )
    def post(self, query: Mapping[str, Any]) -> Response:
        """Grade many measurements, one a line, each answered in its place; nothing is stored.

        A line that cannot be graded gets a problem in its place and the stream goes
        on. The last line is the end, with the number of lines: without it, the stream was cut.
        """
        own = services()
        asked = RequirementRequest(**{n: value for n, value in query.items() if n != "assessment"})
        detail = Detail(query.get("assessment", Detail.FAULTS))
        limits = DocumentLimits(curves=own.settings.max_curves, points_per_curve=own.settings.max_points)

        def graded(document: Any) -> tuple[str, Document]:
            request = GradeRequest(document, asked, detail=detail)
            return "graded", grade_document(request, own.catalogue, limits=limits, now=own.clock())

        return answer_lines(graded, words=("graded", "problems"))
