"""What the resources need of the application that they run in."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, cast

from flask import current_app

from fourpair_service.config import Settings
from fourpair_service.records.desk import Desk
from fourpair_service.rulesets.catalogue import Catalogue

if TYPE_CHECKING:
    from fourpair_service.http.auth import KeyUses
    from fourpair_service.http.metrics import Metrics
    from fourpair_service.http.rate_limit import RateLimit
    from fourpair_service.http.running import Running

NAME = "fourpair"


@dataclass(frozen=True, slots=True)
class Services:
    """Settings, rule sets, clocks and the desk of one application.

    Attributes:
        monotonic: seconds on a clock that only goes forward. [s]
        sleep: waits so many seconds.
    """

    settings: Settings
    catalogue: Catalogue
    clock: Callable[[], datetime]
    desk: Desk
    rate_limit: RateLimit
    key_uses: KeyUses
    running: Running
    metrics: Metrics
    monotonic: Callable[[], float]
    sleep: Callable[[float], None]


def services() -> Services:
    """Return what the running application was made with."""
    return cast(Services, current_app.extensions[NAME])
