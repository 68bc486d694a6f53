"""The real service in the process of a test: no socket, a clock that stands still, ids in a row.

It needs ``pip install 'fourpair[service]'``. Time moves only where a client waits, so
that retries and rate limits are tried out in no time.

>>> from fourpair.testing import service
>>> with service() as running, running.client() as client:
...     job = client.jobs.create(name="Clinic")
...     job.id, job.changed_at
('id-00001', '2026-01-01T00:00:00.000000Z')

Bad days are tried out by a script of troubles, one for each request that is sent:

>>> with service(troubles=["unavailable", "lost_answer"]) as running, running.client() as client:
...     client.jobs.create("clinic", name="Clinic").id
...     running.requests_sent, len(list(client.changes.list()))
'clinic'
(3, 1)
"""

from __future__ import annotations

import itertools
import json
import random
import threading
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from io import BytesIO
from typing import TYPE_CHECKING, Any, TypeVar
from urllib.parse import urlsplit

import requests
from requests.adapters import BaseAdapter

from fourpair._client import Client

if TYPE_CHECKING:
    from _typeshed.wsgi import WSGIApplication

T = TypeVar("T")

URL = "http://fourpair.test"
START = datetime(2026, 1, 1, tzinfo=UTC)
TROUBLES = ("none", "rate_limited", "unavailable", "lost_request", "lost_answer", "slow", "duplicated")
"""What may happen to a request.

``rate_limited``: answered with 429. ``unavailable``: answered with 503. ``lost_request``: it
never arrives. ``lost_answer``: it is carried out, and the connection breaks. ``slow``: it is
carried out, and the client stops waiting. ``duplicated``: it arrives twice.
"""
_REFUSALS = {"rate_limited": 429, "unavailable": 503}
_CARRIED_OUT_UNSEEN = {"lost_answer": requests.ConnectionError, "slow": requests.ReadTimeout}


class Clock:
    """A clock that moves only where somebody waits; shared by threads.

    >>> clock = Clock(START)
    >>> clock.sleep(90)
    >>> clock.now().isoformat(), clock.monotonic()
    ('2026-01-01T00:01:30+00:00', 90.0)
    """

    def __init__(self, start: datetime) -> None:
        self._start = start
        self._moved_s = 0.0
        self._lock = threading.Lock()

    def now(self) -> datetime:
        """Return the present moment."""
        return self._start + timedelta(seconds=self.monotonic())

    def monotonic(self) -> float:
        """Return how far it has moved. [s]."""
        with self._lock:
            return self._moved_s

    def sleep(self, seconds: float) -> None:
        """Move on instead of waiting."""
        with self._lock:
            self._moved_s += seconds


class InProcess(BaseAdapter):
    """Hands the requests of a session to a WSGI application, through a script of troubles."""

    def __init__(self, app: WSGIApplication, troubles: Iterable[str] = ()) -> None:
        super().__init__()
        self._app = app
        self._troubles = iter(troubles)
        self._lock = threading.Lock()
        self.requests_sent = 0

    def _next_trouble(self) -> str:
        with self._lock:
            self.requests_sent += 1
            trouble = next(self._troubles, "none")
        if trouble not in TROUBLES:
            raise ValueError(f"There is no trouble {trouble!r}; there are {', '.join(TROUBLES)}")
        return trouble

    def send(self, request: requests.PreparedRequest, *_: Any, **__: Any) -> requests.Response:
        """Return the answer of the application, or what the script has in store."""
        trouble = self._next_trouble()
        if trouble in _REFUSALS:
            return _refusal(request, _REFUSALS[trouble])
        if trouble == "lost_request":
            raise requests.ConnectionError("the request was lost, as the script says", request=request)
        if trouble == "duplicated":
            self._carried_out(request)
        answer = self._carried_out(request)
        if trouble in _CARRIED_OUT_UNSEEN:
            raise _CARRIED_OUT_UNSEEN[trouble]("the answer was lost, as the script says", request=request)
        return answer

    def _carried_out(self, request: requests.PreparedRequest) -> requests.Response:
        from werkzeug.test import EnvironBuilder, run_wsgi_app  # noqa: PLC0415 - of the service's extra

        parts = urlsplit(request.url or "")
        body = request.body or b""
        builder = EnvironBuilder(
            path=str(parts.path),
            query_string=str(parts.query),
            base_url=URL,
            method=request.method or "GET",
            headers=list(request.headers.items()),
            data=body.encode() if isinstance(body, str) else body,
        )
        body_parts, status, headers = run_wsgi_app(self._app, builder.get_environ(), buffered=True)
        code, _, reason = status.partition(" ")
        return _answer(request, int(code), reason, dict(headers), b"".join(body_parts))

    def close(self) -> None:
        """There is nothing to give back."""


def _answer(
    request: requests.PreparedRequest, status: int, reason: str, headers: dict[str, str], body: bytes
) -> requests.Response:
    answer = requests.Response()
    answer.status_code, answer.reason, answer.encoding = status, reason, "utf-8"
    answer.headers.update(headers)
    answer.url, answer.request, answer.raw = request.url or "", request, BytesIO(body)
    return answer


def _refusal(request: requests.PreparedRequest, status: int) -> requests.Response:
    problem = {"title": "As the script says", "status": status, "code": "scripted"}
    headers = {"Content-Type": "application/problem+json", "Retry-After": "1"}
    return _answer(request, status, "Scripted", headers, json.dumps(problem).encode())


class RunningService:
    """The real service in this process.

    Attributes:
        url: of requests that reach it; no other program can.
        app: the WSGI application.
        clock: its clock, and that of its clients.
        store: where it keeps records, in memory.
    """

    url = URL

    def __init__(self, app: Any, clock: Clock, store: Any, troubles: Iterable[str]) -> None:
        self.app, self.clock, self.store = app, clock, store
        self._adapter = InProcess(app, troubles)
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
        return client.with_options(sleep=self.clock.sleep, monotonic=self.clock.monotonic)


@contextmanager
def service(
    *, start: datetime = START, troubles: Iterable[str] = (), requests_per_minute: int = 0
) -> Iterator[RunningService]:
    """Run the real service with an empty store in memory.

    Args:
        start: what its clock shows at first.
        troubles: what happens to each request, in order, of ``TROUBLES``; then nothing more.
        requests_per_minute: of a key; 0 for no limit.

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
    app = create_app(
        Settings(requests_per_minute=requests_per_minute, workers=1),
        clock=clock.now,
        make_id=lambda: f"id-{next(numbers):05d}",
        store=store,
    )
    own = app.extensions["fourpair"]
    app.extensions["fourpair"] = replace(own, monotonic=clock.monotonic, sleep=clock.sleep)
    yield RunningService(app, clock, store, troubles)


def troubled(seed: int, *, share: float = 0.4, kinds: Sequence[str] = TROUBLES[1:]) -> Iterator[str]:
    """Yield troubles at random without end, the same for the same seed.

    Args:
        seed: of the random numbers.
        share: of requests that meet with trouble, 0 to 1.
        kinds: which troubles.

    >>> list(itertools.islice(troubled(1, share=0.5), 4))
    ['rate_limited', 'lost_answer', 'none', 'lost_answer']
    """
    chance = random.Random(seed)
    while True:
        yield chance.choice(kinds) if chance.random() < share else "none"


def disordered(
    items: Iterable[T], seed: int, *, drop: float = 0.2, duplicate: float = 0.2, late: float = 0.3
) -> Iterator[T]:
    """Yield items as an unlucky network delivers them: some lost, some twice, some late.

    Args:
        items: such as the deliveries of a webhook.
        seed: of the random numbers; the same seed gives the same disorder.
        drop: share of those that never arrive.
        duplicate: share of those that arrive twice.
        late: share of those that arrive after later ones.

    >>> list(disordered(range(8), seed=3))
    [0, 1, 3, 5, 6, 6, 2]
    """
    chance = random.Random(seed)
    held: list[T] = []
    for item in items:
        if chance.random() < drop:
            continue
        arriving = [item, item] if chance.random() < duplicate else [item]
        for each in arriving:
            if chance.random() < late:
                held.append(each)
            else:
                yield each
        if held and chance.random() < 0.5:
            yield held.pop(0)
    chance.shuffle(held)
    yield from held
