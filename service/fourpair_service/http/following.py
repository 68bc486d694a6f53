"""Waiting readers of the feed, kept apart from the workers that grade.

A worker has one request thread. A reader that waits would hold it, so the worker
hands the reader's connection over to one thread of its process, which looks at
the feed a few times a second for all of them together and answers each when there
is something for it, or when its time is over.
"""

from __future__ import annotations

import contextlib
import errno
import select
import socket
import sys
import threading
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from io import BytesIO
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from _typeshed.wsgi import StartResponse, WSGIApplication, WSGIEnvironment

from fourpair_service.http.resources.changes import HANDED_OVER, NAP_S, TAKE_WAITING

MOST_WAITING: Final = 500
SEND_TIMEOUT_S: Final = 5.0
CONNECTION: Final = "gunicorn.socket"


class GivenAway(Iterable[bytes]):
    """The body of an answer that another thread will send: the server lets go of the connection."""

    def __iter__(self) -> Iterator[bytes]:
        """Tell the server that nothing can be sent, which it takes for a reader that went away."""
        raise BrokenPipeError(errno.EPIPE, "handed over")


class HandingOver:
    """WSGI middleware that leaves unanswered what was handed over."""

    def __init__(self, app: WSGIApplication) -> None:
        self._app = app

    def __call__(self, environ: WSGIEnvironment, start_response: StartResponse) -> Iterable[bytes]:
        """Answer a request, unless its connection now belongs to the followers."""
        body = self._app(environ, start_response)
        return GivenAway() if environ.get(HANDED_OVER) else body


@dataclass(slots=True)
class Waiting:
    """A reader that waits.

    Attributes:
        seen: the last ``seq`` when it came.
        until_s: on the clock of the followers. [s]
    """

    connection: socket.socket
    environ: dict[str, Any]
    seen: int
    until_s: float


class Followers:
    """All waiting readers of one process.

    Args:
        app: answers them in the end.
        last_seq: tells how far the feed has come.
        monotonic: seconds on a clock that only goes forward. [s]
    """

    def __init__(
        self, app: WSGIApplication, last_seq: Callable[[], int], monotonic: Callable[[], float]
    ) -> None:
        self._app, self._last_seq, self._monotonic = app, last_seq, monotonic
        self._waiting: list[Waiting] = []
        self._lock = threading.Lock()
        self._thread: threading.Thread | None = None

    def take(self, environ: WSGIEnvironment, wait_s: int, seen: int) -> bool:
        """Take over a reader's connection; ``False`` where no more can wait."""
        given: socket.socket = environ[CONNECTION]
        with self._lock:
            if len(self._waiting) >= MOST_WAITING:
                return False
            own: dict[str, Any] = {name: value for name, value in environ.items() if isinstance(value, str)}
            own |= {"wsgi.version": (1, 0), "wsgi.url_scheme": environ["wsgi.url_scheme"]}
            # Detached, not duplicated: whatever the server does to its socket no longer reaches the reader.
            connection = socket.socket(fileno=given.detach())
            self._waiting.append(Waiting(connection, own, seen, self._monotonic() + wait_s))
            if self._thread is None:
                self._thread = threading.Thread(target=self._run, name="followers", daemon=True)
                self._thread.start()
        return True

    def _run(self) -> None:
        while True:
            with self._lock:
                waiting = list(self._waiting)
                if not waiting:
                    self._thread = None
                    return
            gone = self._gone(waiting)
            last, now_s = self._last_seq(), self._monotonic()
            for each in waiting:
                if each.connection in gone:
                    self._drop(each)
                elif last > each.seen or now_s >= each.until_s:
                    self._answer(each, is_over=now_s >= each.until_s)

    @staticmethod
    def _gone(waiting: list[Waiting]) -> set[socket.socket]:
        """Sleep a little; return the connections whose readers went away meanwhile."""
        poll = select.poll()
        by_number = {each.connection.fileno(): each.connection for each in waiting}
        for number in by_number:
            poll.register(number, select.POLLRDHUP | select.POLLHUP | select.POLLERR)
        threading.Event().wait(NAP_S)
        return {by_number[number] for number, _ in poll.poll(0)}

    def _drop(self, each: Waiting) -> None:
        with self._lock:
            self._waiting.remove(each)
        each.connection.close()

    def _answer(self, each: Waiting, *, is_over: bool) -> None:
        environ = {
            **each.environ,
            "wsgi.input": BytesIO(),
            "wsgi.errors": sys.stderr,
            "wsgi.multithread": True,
            "wsgi.multiprocess": True,
            "wsgi.run_once": False,
            # An entry of a job that the reader does not see woke it: it goes on waiting.
            TAKE_WAITING: lambda *_: not is_over,
        }
        head: list[str] = []

        def start(status: str, headers: list[tuple[str, str]], *_: Any) -> Callable[[bytes], object]:
            head[:] = [f"HTTP/1.1 {status}", *(f"{name}: {value}" for name, value in headers)]
            return head.append  # type: ignore[return-value]

        body = self._app(environ, start)
        if environ.get(HANDED_OVER):
            each.seen = self._last_seq()
            return
        content = b"".join(body)
        with contextlib.suppress(OSError):
            each.connection.settimeout(SEND_TIMEOUT_S)
            each.connection.sendall(
                "\r\n".join([*head, "Connection: close", "", ""]).encode("latin-1") + content
            )
        self._drop(each)
