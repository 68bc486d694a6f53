"""Whether the service lives, and whether it can work."""

from __future__ import annotations

from flask import Response, current_app
from flask.views import MethodView
from marshmallow import Schema, fields

from fourpair_service.http.kit import StrictBlueprint
from fourpair_service.http.services import services

blueprint = StrictBlueprint("health", __name__, description="For whoever operates the service")


class StateSchema(Schema):
    """A state in a word, and what it rests on."""

    status = fields.String(required=True)
    rule_sets = fields.Integer()


@blueprint.route("/livez")
class Live(MethodView):
    """The process answers."""

    @blueprint.response(200, StateSchema)
    @blueprint.doc(operationId="getLiveness")
    def get(self) -> Response:
        """Say that the process lives; touches nothing."""
        return _answer({"status": "alive"})


@blueprint.route("/readyz")
class Ready(MethodView):
    """The service can grade."""

    @blueprint.response(200, StateSchema)
    @blueprint.doc(operationId="getReadiness")
    def get(self) -> Response:
        """Say that the rule sets are loaded and grading can be asked for."""
        return _answer({"status": "ready", "rule_sets": sum(1 for _ in services().catalogue)})


def _answer(document: dict[str, object]) -> Response:
    return Response(current_app.json.dumps(document), content_type="application/json")
