"""What can be wrong with who asks."""

from __future__ import annotations

from fourpair_service.errors import ServiceError


class KeyMissingError(ServiceError):
    """The service asks for a key and none was sent."""

    code = "key-missing"

    def __init__(self) -> None:
        super().__init__("This service asks for a key: send it as 'Authorization: Bearer fpk_...'.")


class ScopeMissingError(ServiceError):
    """The key may not do this."""

    code = "scope-missing"

    def __init__(self, needed: str, held: str) -> None:
        super().__init__(f"This needs the scope {needed}; the key has {held}. Ask for a key that may do it.")
        self.needed, self.held = needed, held


class RateLimitedError(ServiceError):
    """The key asks more often than it may.

    Attributes:
        retry_after_s: how long to wait. [s]
    """

    code = "rate-limited"

    def __init__(self, per_minute: int, retry_after_s: int) -> None:
        times = "once" if per_minute == 1 else f"{per_minute} times"
        super().__init__(f"This key may ask {times} a minute; wait {retry_after_s} s.")
        self.per_minute, self.retry_after_s = per_minute, retry_after_s
