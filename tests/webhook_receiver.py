"""A receiver of webhooks on loopback, which checks signatures with the library of the standard."""

from __future__ import annotations

import json
import ssl
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from ipaddress import ip_network
from typing import Any

from standardwebhooks.webhooks import Webhook, WebhookVerificationError

LOOPBACK = (ip_network("127.0.0.0/8"),)


@dataclass
class Receiver:
    """What has arrived, and what is answered.

    Attributes:
        secret: messages must be signed with it, where one is given.
        status: of the answer to a message.
    """

    secret: str | None = None
    status: Callable[[dict[str, Any]], int] = lambda message: 204
    headers: dict[str, str] = field(default_factory=dict)
    arrived: list[dict[str, Any]] = field(default_factory=list)
    refused: list[str] = field(default_factory=list)
    requests: list[dict[str, str]] = field(default_factory=list)
    url: str = ""

    @property
    def seqs(self) -> list[int]:
        """The numbers of the changes that were taken, in the order of arrival."""
        return [message["data"]["seq"] for message in self.arrived]

    def take(self, headers: dict[str, str], body: bytes) -> int:
        """Return the status that answers a message."""
        self.requests.append(headers)
        if self.secret is not None:
            try:
                Webhook(self.secret).verify(body, headers)
            except WebhookVerificationError as error:
                self.refused.append(str(error))
                return 401
        message = json.loads(body)
        status = self.status(message)
        if 200 <= status < 300:
            self.arrived.append({**message, "id": headers["webhook-id"]})
        return status


@contextmanager
def receiving(context: ssl.SSLContext | None = None, **how: Any) -> Iterator[Receiver]:
    """Run a receiver on a free port of loopback."""
    receiver = Receiver(**how)

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["Content-Length"]))
            status = receiver.take({k.lower(): v for k, v in self.headers.items()}, body)
            self.send_response(status)
            for name, value in receiver.headers.items():
                self.send_header(name, value)
            self.send_header("Content-Length", "0")
            self.end_headers()

        def log_message(self, *_: Any) -> None:
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    if context is not None:
        server.socket = context.wrap_socket(server.socket, server_side=True)
    scheme = "http" if context is None else "https"
    receiver.url = f"{scheme}://localhost:{server.server_port}/hook?from=fourpair"
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02})
    thread.start()
    try:
        yield receiver
    finally:
        server.shutdown()
        thread.join()
        server.server_close()
