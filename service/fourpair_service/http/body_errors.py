"""What can be wrong with a body that is no measurement."""

from __future__ import annotations

from collections.abc import Sequence

from fourpair_service.errors import ServiceError
from fourpair_service.http.schemas.document_errors import FieldError, InvalidDocumentError


class InvalidBodyError(InvalidDocumentError):
    """A body that is no measurement and not valid."""

    code = "invalid-body"


class BatchRefusedError(ServiceError):
    """An atomic batch of which an item cannot be kept.

    Attributes:
        errors: what is wrong with which item.
    """

    code = "batch-refused"

    def __init__(self, errors: Sequence[FieldError]) -> None:
        super().__init__(
            f"{len(errors)} of the records cannot be kept, so none was. The first: {errors[0].detail}"
        )
        self.errors = tuple(errors)


class StreamsFullError(ServiceError):
    """As many streams are open as there may be."""

    code = "streams-full"

    def __init__(self) -> None:
        super().__init__(
            "As many streams are open as there may be at once; the others must be free to answer."
        )
