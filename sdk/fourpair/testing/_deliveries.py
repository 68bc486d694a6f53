"""Receivers of messages in the process of a test."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import TYPE_CHECKING, Any

from fourpair.testing._troubles import DELIVERY_TROUBLES, Script

if TYPE_CHECKING:
    from _typeshed.wsgi import WSGIApplication

Receive = Callable[[bytes, Mapping[str, str]], int]
"""Takes body and headers of a message, returns the status that the receiver answers with."""
TAKEN = 202
_TRIED_AGAIN = frozenset({"lost", "lost_answer"})
_ARRIVALS = {"none": 1, "lost": 0, "lost_answer": 1, "duplicated": 2, "late": 0, "dropped": 0}


def receiver_of(app: WSGIApplication, path: str = "/") -> Receive:
    """Return what hands messages to a WSGI application, such as one of Flask.

    Args:
        app: the application.
        path: where it takes messages.

    >>> def app(environ, start_response):
    ...     start_response("204 No Content", [])
    ...     return []
    >>> receiver_of(app)(b"{}", {"webhook-id": "1"})
    204
    """

    def receive(body: bytes, headers: Mapping[str, str]) -> int:
        from werkzeug.test import EnvironBuilder, run_wsgi_app  # noqa: PLC0415 - of the service's extra

        builder = EnvironBuilder(path=path, method="POST", headers=list(headers.items()), data=body)
        _, status, _ = run_wsgi_app(app, builder.get_environ(), buffered=True)
        return int(status.partition(" ")[0])

    return receive


class Receivers:
    """Sends messages to receivers of this process, through a script of troubles."""

    def __init__(self, troubles: Iterable[str] = ()) -> None:
        self._script = Script(troubles, DELIVERY_TROUBLES)
        self._by_url: dict[str, Receive] = {}
        self._late: list[tuple[str, bytes, Mapping[str, str]]] = []

    def put(self, url: str, receive: Receive) -> None:
        """Take note of a receiver; one that was there is replaced."""
        self._by_url[url] = receive

    def __call__(self, url: str, body: bytes, headers: Mapping[str, str]) -> Any:
        """Return what the service hears of a message; as its own sender."""
        from fourpair_service.records.subscriptions.model import Answer  # noqa: PLC0415 - an extra

        receive = self._by_url.get(url)
        if receive is None:
            return Answer(error=f"No receiver has {url}: give one to deliver_to.")
        trouble = self._script.next()
        status = TAKEN
        for _ in range(_ARRIVALS[trouble]):
            status = receive(body, headers)
        if trouble == "late":
            self._late.append((url, body, headers))
        elif _ARRIVALS[trouble]:
            self.bring_late(url)
        if trouble in _TRIED_AGAIN:
            return Answer(error="It was lost, as the script says.")
        return Answer(status=status)

    def bring_late(self, url: str | None = None) -> None:
        """Let what is late arrive: of one receiver, or of all."""
        arriving = [each for each in self._late if url in (None, each[0])]
        self._late = [each for each in self._late if each not in arriving]
        for address, body, headers in arriving:
            self._by_url[address](body, headers)
