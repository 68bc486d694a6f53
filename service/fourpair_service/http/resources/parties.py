"""/v1/parties: people and customers, who can be forgotten."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from flask import Response
from flask.views import MethodView

from fourpair_service.http.kit import StrictBlueprint
from fourpair_service.http.operation import answered, operate
from fourpair_service.http.record_documents import party_document
from fourpair_service.http.revalidation import tagged_by_content
from fourpair_service.http.schemas.job_answers import PartyListSchema, PartySchema
from fourpair_service.http.schemas.queries import WriteQuery
from fourpair_service.http.services import services
from fourpair_service.records.job_commands import erase_party
from fourpair_service.records.keys import Scope

blueprint = StrictBlueprint("parties", __name__, url_prefix="/v1", description="People and customers")


@blueprint.route("/parties")
class Parties(MethodView):
    """People and customers."""

    @operate(blueprint, "listParties", scope=Scope.ADMIN, answer=PartyListSchema, problems=(304,))
    def get(self, query: Mapping[str, Any]) -> Response:
        """List people and customers."""
        found = [party_document(party) for party in services().desk.store.parties()]
        return tagged_by_content(answered({"parties": found}))


@blueprint.route("/parties/<party_id>")
class OneParty(MethodView):
    """A person or customer."""

    @operate(
        blueprint, "eraseParty", scope=Scope.ADMIN, query=WriteQuery, answer=PartySchema, problems=(404,)
    )
    def delete(self, query: Mapping[str, Any], party_id: str) -> Response:
        """Forget the name of a person or customer; records refer to the id and stay valid."""
        return answered(party_document(erase_party(services().desk, party_id, dry_run=query["dry_run"])))
