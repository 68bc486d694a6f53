"""What the resources need of the application that they run in."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import cast

from flask import current_app

from fourpair_service.config import Settings
from fourpair_service.rulesets.catalogue import Catalogue

NAME = "fourpair"


@dataclass(frozen=True, slots=True)
class Services:
    """Settings, rule sets and the clock of one application."""

    settings: Settings
    catalogue: Catalogue
    clock: Callable[[], datetime]


def services() -> Services:
    """Return what the running application was made with."""
    return cast(Services, current_app.extensions[NAME])
