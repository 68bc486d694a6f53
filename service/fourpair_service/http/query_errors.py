"""What can be wrong with a query, or with the form that is asked for."""

from __future__ import annotations

from fourpair_service.errors import ServiceError


class InvalidQueryError(ServiceError):
    """A query parameter asks for something that there is not.

    Attributes:
        pointer: the parameter, as ``/query/name``.
        value: what was asked for.
    """

    code = "invalid-query"

    def __init__(self, pointer: str, detail: str, value: object) -> None:
        super().__init__(detail)
        self.pointer, self.detail, self.value = pointer, detail, value


class NotAcceptableError(ServiceError):
    """The Accept header asks for a form that this address does not give."""

    code = "not-acceptable"


class UnknownFaultError(ServiceError):
    """An address names a fault that there is not."""

    code = "unknown-fault"
