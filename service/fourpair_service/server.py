"""The production server: one request thread in each process."""

from __future__ import annotations

import ipaddress
from collections.abc import Callable
from typing import Any

from flask import Flask
from gunicorn.app.base import BaseApplication

from fourpair_service.app import create_app
from fourpair_service.config import InvalidSettingError, Settings


def check_address(settings: Settings) -> None:
    """Refuse to be reachable from elsewhere without a word from whoever runs it.

    Raises:
        InvalidSettingError: the address is not loopback and was not allowed.
    """
    try:
        is_local = ipaddress.ip_address(settings.host).is_loopback
    except ValueError:
        is_local = settings.host == "localhost"
    if not is_local and not settings.allow_open:
        raise InvalidSettingError(
            f"FOURPAIR_HOST is {settings.host!r}, which others can reach, and there are no keys yet. "
            f"Listen on 127.0.0.1, or set FOURPAIR_ALLOW_OPEN=1 if a proxy in front asks for credentials."
        )


class Server(BaseApplication):  # type: ignore[misc]
    """The service under gunicorn.

    Args:
        settings: address, workers, limits.
        started: told the URL once the service listens.
    """

    def __init__(self, settings: Settings, started: Callable[[str], None]) -> None:
        self._settings, self._started = settings, started
        super().__init__()

    def load_config(self) -> None:
        """Tell gunicorn how to run."""
        self.cfg.set("bind", f"{self._settings.host}:{self._settings.port}")
        self.cfg.set("workers", self._settings.workers)
        self.cfg.set("worker_class", "sync")
        self.cfg.set("preload_app", True)
        self.cfg.set("loglevel", "warning")
        self.cfg.set("when_ready", self._ready)

    def load(self) -> Flask:
        """Return the application; made once, before the workers."""
        return create_app(self._settings)

    def _ready(self, server: Any) -> None:
        host, port = server.LISTENERS[0].sock.getsockname()[:2]
        self._started(f"http://{host}:{port}")


def serve(settings: Settings, started: Callable[[str], None]) -> None:
    """Run the service until it is told to stop."""
    check_address(settings)
    Server(settings, started).run()
