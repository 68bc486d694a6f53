"""What can be wrong with a value of the domain."""

from __future__ import annotations

from fourpair_service.errors import ServiceError


class InvalidMeasurementError(ServiceError):
    """A measurement contradicts itself or physics.

    Attributes:
        pointer: JSON pointer of the offending part within the measurement.
        detail: what is wrong with it and what to do.
        value: the offending value, short enough to print.
    """

    code = "invalid-measurement"

    def __init__(self, pointer: str, detail: str, value: object = None) -> None:
        super().__init__(f"{pointer}: {detail}")
        self.pointer, self.detail, self.value = pointer, detail, value


class InvalidRequirementError(ServiceError):
    """A requirement names something that the rule set or measurement does not have."""

    code = "invalid-requirement"

    def __init__(self, pointer: str, detail: str, value: object = None) -> None:
        super().__init__(detail)
        self.pointer, self.detail, self.value = pointer, detail, value
