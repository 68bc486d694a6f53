"""The running service: what a test holds of it."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import datetime
from ipaddress import ip_network
from pathlib import Path
from typing import Any

import requests

from fourpair._client import Client
from fourpair.testing._clock import START, Clock
from fourpair.testing._deliveries import Receive, Receivers
from fourpair.testing._errands import Errands
from fourpair.testing._in_process import URL, InProcess

# How far the clock moves before messages are tried again. [s]
STEP_S = 5.0


class RunningService:
    """The real service in this process.

    Attributes:
        url: of requests that reach it; no other program can.
        app: the WSGI application.
        clock: its clock, and that of its clients.
        store: where it keeps records, in memory.
    """

    url = URL

    def __init__(
        self, app: Any, clock: Clock, store: Any, adapter: InProcess, receivers: Receivers, errands: Errands
    ) -> None:
        self.app, self.clock, self.store = app, clock, store
        self._adapter, self._receivers, self._errands = adapter, receivers, errands
        self._key_numbers = itertools.count(1)

    @property
    def requests_sent(self) -> int:
        """How many requests were sent so far, answered or not."""
        return self._adapter.requests_sent

    def make_key(self, name: str, *scopes: str) -> str:
        """Make an API key, after which every request needs one.

        Args:
            name: of whoever it is for.
            scopes: of ``grade``, ``read``, ``write`` and ``admin``.
        """
        from fourpair_service.records.key_commands import KeyGrant, make_key  # noqa: PLC0415
        from fourpair_service.records.keys import Scope  # noqa: PLC0415
        from fourpair_service.records.times import instant  # noqa: PLC0415

        number = next(self._key_numbers)
        made = make_key(
            self.store,
            KeyGrant(name, frozenset(Scope(scope) for scope in scopes)),
            key_id=f"Key{number}",
            randomness=bytes([number]) * 32,
            now=instant(self.clock.now()),
        )
        return made.text

    def session(self) -> requests.Session:
        """Return a ``requests`` session that reaches the service, for code that has no client."""
        session = requests.Session()
        session.mount(self.url, self._adapter)
        return session

    def client(self, **options: Any) -> Client:
        """Return a client of the service; options as of :class:`fourpair.Client`."""
        client = Client(self.url, session=self.session(), **options)
        return client.with_options(sleep=self._wait, monotonic=self.clock.monotonic)

    def _wait(self, seconds: float) -> None:
        """Move the clock on, and the runs with it: whoever waits for one sees it end."""
        self.clock.sleep(seconds)
        self._errands.carry_runs()

    def deliver_to(self, url: str, receive: Receive) -> None:
        """Have messages to a URL delivered to a receiver of this process.

        Args:
            url: as the subscription names it; nothing is sent there.
            receive: takes body and headers, returns a status; ``receiver_of`` makes one of a WSGI
                application. What it raises reaches the test.

        >>> import fourpair.testing
        >>> with fourpair.testing.service() as running, running.client() as client:
        ...     running.deliver_to("https://tickets.example.com/", lambda body, headers: print(body) or 204)
        ...     made = client.subscriptions.create("https://tickets.example.com/")
        ...     message = client.subscriptions.test(made)
        ...     running.carry_on()
        b'{"data":{"subscription":"id-00001"},"timestamp":"2026-01-01T00:00:00.000000Z","type":"test"}'
        1
        """
        self._receivers.put(url, receive)

    def carry_on(self, seconds: float = 0.0) -> int:
        """Do what a service does beside its answers: send messages, carry runs on.

        Runs also go on while a client waits. A message that was refused or lost is
        tried again after 5 s, 30 s and so on, as by the service: give it that time.

        Args:
            seconds: how far the clock may move on while messages wait. [s]

        Returns:
            How many times a message was sent.
        """
        end_s = self.clock.monotonic() + seconds
        tried = self._errands.round()
        while self._errands.messages_wait() and (left_s := end_s - self.clock.monotonic()) > 0:
            self.clock.sleep(min(STEP_S, left_s))
            tried += self._errands.round()
        self._receivers.bring_late()
        return tried


@contextmanager
def service(
    *,
    start: datetime = START,
    troubles: Iterable[str] = (),
    delivery_troubles: Iterable[str] = (),
    requests_per_minute: int = 0,
    limits_directory: str | Path | None = None,
    webhook_networks: Iterable[str] = (),
) -> Iterator[RunningService]:
    """Run the real service with an empty store in memory.

    Args:
        start: what its clock shows at first.
        troubles: what happens to each request, in order, of ``TROUBLES``; then nothing more.
        delivery_troubles: what happens to each message, in order, of ``DELIVERY_TROUBLES``; likewise.
        requests_per_minute: of a key; 0 for no limit.
        limits_directory: of own edition files.
        webhook_networks: networks of the site that receivers may be in, such as ``"10.1.0.0/16"``.

    Raises:
        ImportError: the service is not installed.
    """
    try:
        from fourpair_service.app import create_app  # noqa: PLC0415 - the service is an extra
        from fourpair_service.config import Settings  # noqa: PLC0415
        from fourpair_service.storage.memory import MemoryStore  # noqa: PLC0415
    except ModuleNotFoundError as error:
        raise ImportError(
            f"{error.name} is not installed: fourpair.testing runs the real service; "
            "run pip install 'fourpair[service]'"
        ) from error
    clock = Clock(start)
    numbers = itertools.count(1)
    store = MemoryStore()
    settings = Settings(
        requests_per_minute=requests_per_minute,
        workers=1,
        limits_directory=None if limits_directory is None else Path(limits_directory),
        webhook_networks=tuple(map(ip_network, webhook_networks)),
    )
    app = create_app(
        settings,
        clock=clock.now,
        make_id=lambda: f"id-{next(numbers):05d}",
        store=store,
    )
    own = app.extensions["fourpair"]
    app.extensions["fourpair"] = replace(own, monotonic=clock.monotonic, sleep=clock.sleep)
    receivers = Receivers(delivery_troubles)
    errands = Errands(settings, own.desk, receivers)
    yield RunningService(app, clock, store, InProcess(app, troubles), receivers, errands)
