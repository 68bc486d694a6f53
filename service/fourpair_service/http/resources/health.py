"""Whether the service lives, and whether it can work."""

from __future__ import annotations

from flask import Response, current_app
from flask.views import MethodView
from marshmallow import Schema, fields

from fourpair_service.http.kit import StrictBlueprint
from fourpair_service.http.services import services
from fourpair_service.records.errors import StoreFullError

blueprint = StrictBlueprint("health", __name__, description="For whoever operates the service")


class StateSchema(Schema):
    """A state in a word, and what it rests on."""

    status = fields.String(required=True)
    rule_sets = fields.Integer()
    store = fields.Dict(keys=fields.String())


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
    @blueprint.alt_response(503, description="It cannot work; the detail says why")
    @blueprint.doc(operationId="getReadiness")
    def get(self) -> Response:
        """Prove that the store can be written and has room, and that the rule sets are loaded."""
        own = services()
        own.desk.store.prove_writing()
        facts = own.desk.store.facts()
        free = facts.get("free_bytes")
        if isinstance(free, int) and free < own.settings.min_free_bytes:
            raise StoreFullError(
                f"The disk under the store has {free} bytes left; below {own.settings.min_free_bytes} the "
                "service is not ready. Free some room."
            )
        rule_sets = sum(1 for _ in own.catalogue)
        return _answer({"status": "ready", "rule_sets": rule_sets, "store": facts})


def _answer(document: dict[str, object]) -> Response:
    return Response(current_app.json.dumps(document), content_type="application/json")
