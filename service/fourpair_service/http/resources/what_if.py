"""POST /v1/what-if: a link under other circumstances, predicted and never judged; nothing stored."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from flask import Response, current_app
from flask.views import MethodView

from fourpair_service.domain.applications.what_if import WhatIf
from fourpair_service.http.grading import GradeRequest
from fourpair_service.http.kit import StrictBlueprint
from fourpair_service.http.predicting import WhatIfRequest, what_if_answer
from fourpair_service.http.resources.grade import LINK_BODY, sent
from fourpair_service.http.schemas.document_limits import DocumentLimits
from fourpair_service.http.schemas.measurement import RequirementRequest
from fourpair_service.http.schemas.what_if import WhatIfAnswerSchema, WhatIfQuery
from fourpair_service.http.services import services

CHANGES: Final = tuple(WhatIf.__dataclass_fields__)

blueprint = StrictBlueprint("what-if", __name__, url_prefix="/v1", description="Predictions, never verdicts")


@blueprint.route("/what-if")
class Prediction(MethodView):
    """Prediction of one link."""

    @blueprint.arguments(WhatIfQuery, location="query")
    @blueprint.response(200, WhatIfAnswerSchema)
    @blueprint.alt_response(400, description="The body cannot be read")
    @blueprint.alt_response(413, description="The body is too large")
    @blueprint.alt_response(415, description="The kind of body is not supported")
    @blueprint.doc(operationId="predictLink", requestBody=LINK_BODY)
    def post(self, query: Mapping[str, Any]) -> Response:
        """Predict one link at another temperature, with more cord, or without what stands at a place.

        At least one change is needed; several are made in this order: the place, the
        temperature, the cords. The answer has margins and no outcome. Nothing is stored.
        """
        own = services()
        document, files = sent(own.settings)
        asked = {name: value for name, value in query.items() if name not in CHANGES}
        change = WhatIf(**{name: value for name, value in query.items() if name in CHANGES})
        limits = DocumentLimits(curves=own.settings.max_curves, points_per_curve=own.settings.max_points)
        answer = what_if_answer(
            WhatIfRequest(GradeRequest(document, RequirementRequest(**asked), files), change),
            own.catalogue,
            limits=limits,
        )
        return Response(current_app.json.dumps(answer), content_type="application/json")
