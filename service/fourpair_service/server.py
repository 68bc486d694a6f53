"""The production server: one request thread in each process."""

from __future__ import annotations

import errno
import gc
import ipaddress
import logging
import os
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING, Any, Final, TextIO

from flask import Flask
from gunicorn.app.base import BaseApplication

from fourpair_service.app import create_app
from fourpair_service.background import Background
from fourpair_service.config import InvalidSettingError, Settings
from fourpair_service.http.following import Followers
from fourpair_service.http.line_stream import STREAMS
from fourpair_service.http.request_log import LOGGER
from fourpair_service.http.resources.changes import TAKE_WAITING
from fourpair_service.http.services import NAME, Services
from fourpair_service.storage.opening import IN_MEMORY
from fourpair_service.streams import StreamPlaces

if TYPE_CHECKING:
    from _typeshed.wsgi import StartResponse, WSGIApplication, WSGIEnvironment


NEW_OBJECTS_UNTIL_SEARCH: Final = 50_000


def check_address(settings: Settings, *, has_keys: bool) -> None:
    """Refuse to be reachable from elsewhere without keys.

    Raises:
        InvalidSettingError: the address is not loopback, there are no keys, and it was not allowed.
    """
    try:
        is_local = ipaddress.ip_address(settings.host).is_loopback
    except ValueError:
        is_local = settings.host == "localhost"
    if not is_local and not has_keys and not settings.allow_open:
        raise InvalidSettingError(
            f"FOURPAIR_HOST is {settings.host!r}, which others can reach, and there are no keys yet. "
            "Make one with 'fourpair-service keys make', or listen on 127.0.0.1, or set "
            "FOURPAIR_ALLOW_OPEN=1 if a proxy in front asks for credentials."
        )


BIND_PROBLEMS: Final = {
    errno.EADDRINUSE: "another program listens there already, perhaps another fourpair-service. Stop it, or take "
    "another port: FOURPAIR_PORT=0 takes one that is free.",
    errno.EADDRNOTAVAIL: "this machine has no such address. Set FOURPAIR_HOST to one of its own, or to 127.0.0.1.",
    errno.EACCES: "this user may not listen there. Set FOURPAIR_PORT to 1024 or above.",
}


def check_port(settings: Settings) -> None:
    """Refuse to start where nobody can listen, before workers are made that would try again and again.

    Raises:
        InvalidSettingError: the port is taken, or the address is not of this machine.
    """
    where = f"{settings.host}, port {settings.port}"
    try:
        family, *_, address = socket.getaddrinfo(settings.host, settings.port, type=socket.SOCK_STREAM)[0]
        with socket.socket(family) as probe:
            # As the server itself binds: what is left of closed connections does not count.
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            probe.bind(address)
    except socket.gaierror:
        raise InvalidSettingError(
            f"FOURPAIR_HOST is {settings.host!r}, which is neither an address nor a name that is known here. "
            "Set it to an address of this machine, or to 127.0.0.1."
        ) from None
    except OSError as error:
        what = BIND_PROBLEMS.get(error.errno or 0, f"{error.strerror}.")
        raise InvalidSettingError(f"Cannot listen at {where}: {what}") from None


def log_to(target: TextIO) -> None:
    """Write a line of JSON for each request."""
    handler = logging.StreamHandler(target)
    handler.setFormatter(logging.Formatter("%(message)s"))
    LOGGER.addHandler(handler)
    LOGGER.setLevel(logging.INFO)
    LOGGER.propagate = False


class Server(BaseApplication):  # type: ignore[misc]
    """The service under gunicorn.

    Args:
        settings: address, workers, limits.
        app: what it serves; made before the workers are.
        started: told the URL once the service listens.
    """

    def __init__(self, settings: Settings, app: Flask, started: Callable[[str], None]) -> None:
        self._settings, self._app, self._started = settings, app, started
        self._background: subprocess.Popen[bytes] | None = None
        # One worker at least stays free of streams, where there is another.
        self._streams = StreamPlaces(max(1, self._workers - 1))
        super().__init__()

    def load_config(self) -> None:
        """Tell gunicorn how to run."""
        self.cfg.set("bind", f"{self._settings.host}:{self._settings.port}")
        self.cfg.set("workers", self._workers)
        self.cfg.set("worker_class", "sync")
        self.cfg.set("preload_app", True)
        self.cfg.set("loglevel", "warning")
        self.cfg.set("when_ready", self._ready)
        self.cfg.set("on_exit", self._exit)
        self.cfg.set("post_worker_init", self._born)

    @property
    def _workers(self) -> int:
        # What is kept in memory is kept by one process.
        return 1 if self._settings.store == IN_MEMORY else self._settings.workers

    def load(self) -> WSGIApplication:
        """Return the application, with waiting readers kept apart from the workers."""
        services: Services = self._app.extensions[NAME]
        store = services.desk.store

        def last_seq() -> int:
            last = store.last_change()
            return last.seq if last else 0

        followers = Followers(self._app, last_seq, services.monotonic)

        def application(environ: WSGIEnvironment, start_response: StartResponse) -> Iterable[bytes]:
            environ[TAKE_WAITING] = followers.take
            environ[STREAMS] = self._streams
            return self._app(environ, start_response)

        return application

    def _ready(self, server: Any) -> None:
        _spare_the_collector()
        host, port = server.LISTENERS[0].sock.getsockname()[:2]
        if self._settings.background and self._settings.store != IN_MEMORY:
            command = [sys.executable, "-m", "fourpair_service", "work", "--beside", str(os.getpid())]
            own = os.environ | {"FOURPAIR_STORE": self._settings.store}
            self._background = subprocess.Popen(command, env=own)
        self._started(f"http://{host}:{port}")

    def _exit(self, server: Any) -> None:
        self._streams.close()
        if self._background is not None:
            self._background.terminate()

    def _born(self, worker: Any) -> None:
        self._streams.alive = worker.notify
        if self._settings.store == IN_MEMORY and self._settings.background:
            self._work_here()

    def _work_here(self) -> None:
        """Work beside the requests, where nobody else sees the store."""
        services: Services = self._app.extensions[NAME]
        work = Background(self._settings, services.desk)
        threading.Thread(target=work.keep_on, args=(time.sleep,), daemon=True).start()


def _spare_the_collector() -> None:
    """Keep what was loaded before the workers are made out of every later search for garbage.

    A graded link makes thousands of small objects and no cycles, so the usual 700 new
    ones are no reason to search.
    """
    gc.collect()
    gc.freeze()
    gc.set_threshold(NEW_OBJECTS_UNTIL_SEARCH, *gc.get_threshold()[1:])


def serve(settings: Settings, started: Callable[[str], None], *, log: TextIO | None) -> None:
    """Run the service until it is told to stop.

    Args:
        settings: address, workers, limits, store.
        started: told the URL once the service listens.
        log: where a line for each request goes, if anywhere.
    """
    app = create_app(settings)
    store = app.extensions[NAME].desk.store
    check_address(settings, has_keys=store.has_api_keys())
    check_port(settings)
    # No open file crosses the fork: each worker opens its own.
    store.close()
    if log is not None:
        log_to(log)
    Server(settings, app, started).run()
