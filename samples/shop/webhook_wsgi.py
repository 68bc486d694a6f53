"""A receiver of webhooks without any framework, for any WSGI server.

    FOURPAIR_WEBHOOK_SECRET=whsec_... python webhook_wsgi.py

Like ``webhook_flask``: each change once and in order, gaps read from the feed.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable
from typing import Any
from wsgiref.simple_server import make_server

from fourpair import Client, Inbox
from fourpair.webhooks import InvalidMessageError, verify

LARGEST_BYTES = 100_000


class Receiver:
    """The WSGI application.

    Args:
        inbox: ``client.changes.inbox(...)``: what is done with changes.
        secrets: of the subscription; two while one is rotated.
    """

    def __init__(self, inbox: Inbox, secrets: list[str]) -> None:
        self._inbox, self._secrets = inbox, secrets

    def __call__(self, environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
        """Answer one message."""
        length = environ.get("CONTENT_LENGTH") or "0"
        if environ["REQUEST_METHOD"] != "POST" or not length.isdigit() or int(length) > LARGEST_BYTES:
            return self._answer(start_response, "400 Bad Request", b"Send a delivery of a webhook.\n")
        body = environ["wsgi.input"].read(int(length))
        headers = {
            name.removeprefix("HTTP_").replace("_", "-"): value
            for name, value in environ.items()
            if name.startswith("HTTP_")
        }
        try:
            message = verify(body, headers, self._secrets)
        except InvalidMessageError as error:
            return self._answer(start_response, "400 Bad Request", f"{error}\n".encode())
        self._inbox.receive(message)
        return self._answer(start_response, "204 No Content", b"")

    @staticmethod
    def _answer(start_response: Callable[..., Any], status: str, body: bytes) -> list[bytes]:
        start_response(
            status, [("Content-Type", "text/plain; charset=utf-8"), ("Content-Length", str(len(body)))]
        )
        return [body]


if __name__ == "__main__":
    with Client() as service:
        changes = service.changes.inbox(print, after=service.changes.newest())
        receiver = Receiver(changes, os.environ["FOURPAIR_WEBHOOK_SECRET"].split())
        with make_server("127.0.0.1", 8751, receiver) as server:
            server.serve_forever()
