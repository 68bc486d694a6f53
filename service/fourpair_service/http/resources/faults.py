"""GET /v1/faults: plain help for every fault that can be suspected."""

from __future__ import annotations

from html import escape
from typing import Final

from flask import Response, request
from flask.views import MethodView

from fourpair_service.domain.diagnosis.faults import FaultCode
from fourpair_service.http.kit import StrictBlueprint
from fourpair_service.http.operation import MEANINGS, answered
from fourpair_service.http.query_errors import UnknownFaultError
from fourpair_service.http.resources.pages import page
from fourpair_service.http.revalidation import tagged_by_content
from fourpair_service.http.schemas.assessment import FaultListSchema, FaultPageSchema
from fourpair_service.reports.fault_pages import FaultPage, fault_pages

KINDS: Final = ("application/json", "text/html", "text/plain")
TEXTS: Final = {kind: {"schema": {"type": "string"}} for kind in KINDS[1:]}

blueprint = StrictBlueprint(
    "faults", __name__, url_prefix="/v1/faults", description="Plain help for every fault"
)


@blueprint.route("")
class Faults(MethodView):
    """All faults."""

    @blueprint.response(200, FaultListSchema)
    @blueprint.alt_response(304, description=MEANINGS[304])
    @blueprint.doc(operationId="listFaults")
    def get(self) -> Response:
        """Return the help of every fault, in the order in which faults are named."""
        pages = [own.document() for own in fault_pages().values()]
        return tagged_by_content(answered({"faults": pages}))


@blueprint.route("/<code>")
class Fault(MethodView):
    """One fault."""

    @blueprint.response(200, FaultPageSchema)
    @blueprint.alt_response(304, description=MEANINGS[304])
    @blueprint.alt_response(404, description="There is no such fault")
    @blueprint.doc(operationId="explainFault", responses={200: {"content": TEXTS}})
    def get(self, code: str) -> Response:
        """Return the help of one fault, as JSON, as a page or as plain text."""
        if code not in tuple(FaultCode):
            raise UnknownFaultError(f"There is no fault {code!r}; GET /v1/faults lists them.")
        response = _told(fault_pages()[FaultCode(code)])
        response.vary.add("Accept")
        return tagged_by_content(response)


def _told(own: FaultPage) -> Response:
    kind = request.accept_mimetypes.best_match(KINDS, default=KINDS[0])
    if kind == "text/plain":
        return Response(own.text() + "\n", content_type="text/plain; charset=utf-8")
    return page(own.title, fault_html(own)) if kind == "text/html" else answered(own.document())


def fault_html(own: FaultPage) -> str:
    """Return the help of a fault as the body of a page."""
    blocks = [f"<p>{escape(own.what)}</p>"]
    document = own.document()
    headings = (
        ("First", [document["first"]]),
        ("How it happens", own.how_it_happens),
        ("How to repair it", own.repair),
        ("In the words of the standards", [own.standard]),
        ("Caution", [own.caution] if own.caution else []),
    )
    for heading, lines in headings:
        if lines:
            items = "".join(f"<li>{escape(line)}</li>" for line in lines)
            blocks.append(f"<h2>{heading}</h2><ul>{items}</ul>")
    links = "".join(f'<li><a href="/v1/faults/{c}">{c}</a></li>' for c in document["could_also_be"])
    if links:
        blocks.append(f"<h2>What looks alike</h2><ul>{links}</ul>")
    return "".join(blocks)
