"""What can be wrong with a Touchstone file."""

from __future__ import annotations

from fourpair_service.errors import ServiceError


class UnreadableTouchstoneError(ServiceError):
    """A file that cannot be read as scattering parameters of a link.

    Attributes:
        file_name: as it was sent.
        line: counted from 1; ``None`` where it is the file as a whole.
        detail: what is wrong there and what to do.
    """

    code = "unreadable-touchstone"

    def __init__(self, file_name: str, line: int | None, detail: str) -> None:
        place = file_name if line is None else f"{file_name}, line {line}"
        super().__init__(f"{place}: {detail}")
        self.file_name, self.line, self.detail = file_name, line, detail
