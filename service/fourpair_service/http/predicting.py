"""From what was sent to a prediction: the part that HTTP and the command line share."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from fourpair_service.domain.applications.what_if import WhatIf, predict, what_if_document
from fourpair_service.domain.errors import InvalidRequirementError
from fourpair_service.http.grading import GradeRequest, pointing_into, read_request
from fourpair_service.http.schemas.document_limits import DEFAULT_LIMITS, DocumentLimits
from fourpair_service.rulesets.catalogue import Catalogue
from fourpair_service.rulesets.facts_reader import read_cable_facts

ASKED_AT = "/what_if"


@dataclass(frozen=True, slots=True)
class WhatIfRequest:
    """A link, and what is to be changed about it.

    Attributes:
        under: where what is to be changed stands, for pointers.
    """

    link: GradeRequest
    asked: WhatIf
    under: str = "/query"


def what_if_answer(
    request: WhatIfRequest, catalogue: Catalogue, *, limits: DocumentLimits = DEFAULT_LIMITS
) -> dict[str, Any]:
    """Return the answer to one request: the prediction, and what it was held against.

    Raises:
        ServiceError: whatever is wrong with the document, the files or what is asked.
    """
    link = read_request(request.link, catalogue, limits=limits)
    try:
        with pointing_into(request.link):
            prediction = predict(
                link.measurement,
                request.asked,
                link.rule_set,
                link.requirement,
                read_cable_facts(),
            )
    except InvalidRequirementError as error:
        if not error.pointer.startswith(ASKED_AT):
            raise
        place = request.under + error.pointer.removeprefix(ASKED_AT)
        raise InvalidRequirementError(place, error.detail, error.value) from None
    category = link.rule_set.category(link.requirement.category)
    return what_if_document(prediction) | {
        "rule_set": {
            "id": link.rule_set.id,
            "digest": link.rule_set.digest,
            "title": link.rule_set.title,
            "category_title": category.title,
        }
    }
