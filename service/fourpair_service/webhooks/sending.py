"""One POST to a checked receiver: no redirects, no proxies, bounded in time and bytes."""

from __future__ import annotations

import contextlib
import http.client
import socket
import ssl
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from fourpair_service.records.subscriptions.model import Answer
from fourpair_service.webhooks.targets import Network, Target, TargetRefusedError, checked

CONNECT_S: Final = 5.0
# From the first byte sent to the last one read, however slowly they come. [s]
TOTAL_S: Final = 20.0
MOST_BYTES: Final = 65_536


class _PinnedConnection(http.client.HTTPConnection):
    """A connection to the address that was checked, in the name of the host."""

    def __init__(self, target: Target, context: ssl.SSLContext | None, connect_s: float) -> None:
        super().__init__(target.host, target.port, timeout=connect_s)
        self._target, self._context = target, context

    def connect(self) -> None:
        """Connect to the checked address; the certificate must be the host's."""
        made = socket.create_connection((self._target.address, self._target.port), self.timeout)
        self.sock = made
        if self._context is not None:
            self.sock = self._context.wrap_socket(made, server_hostname=self._target.host)


def _cut(connection: http.client.HTTPConnection, was_cut: threading.Event) -> None:
    # Said first: whoever reads goes on as soon as the connection ends.
    was_cut.set()
    if connection.sock is not None:
        with contextlib.suppress(OSError):
            connection.sock.shutdown(socket.SHUT_RDWR)


@dataclass(frozen=True, slots=True)
class Sender:
    """Sends messages.

    Attributes:
        allowed: networks of the site.
        authorities: file of the certificate authorities to trust; the system's where none is given.
        resolve: as :func:`socket.getaddrinfo`.
    """

    allowed: Sequence[Network] = ()
    authorities: Path | None = None
    resolve: Callable[..., Any] = socket.getaddrinfo
    connect_s: float = CONNECT_S
    total_s: float = TOTAL_S
    _contexts: dict[str, ssl.SSLContext] = field(default_factory=dict)

    def _context(self) -> ssl.SSLContext:
        if "https" not in self._contexts:
            self._contexts["https"] = ssl.create_default_context(
                cafile=None if self.authorities is None else str(self.authorities)
            )
        return self._contexts["https"]

    def __call__(self, url: str, body: bytes, headers: Mapping[str, str]) -> Answer:
        """Return what a receiver answered, or why nothing came of it; never raises."""
        began = time.monotonic()

        def answer(**told: Any) -> Answer:
            return Answer(duration_ms=round(1000 * (time.monotonic() - began)), **told)

        try:
            target = checked(url, self.allowed, self.resolve)
        except TargetRefusedError as error:
            return answer(error=str(error))
        connection = _PinnedConnection(
            target, self._context() if target.scheme == "https" else None, self.connect_s
        )
        was_cut = threading.Event()
        timer = threading.Timer(self.total_s, _cut, (connection, was_cut))
        timer.daemon = True
        timer.start()
        try:
            own = {**headers, "Host": target.host_header, "User-Agent": "fourpair", "Connection": "close"}
            connection.request("POST", target.path, body=body, headers=own)
            response = connection.getresponse()
            response.read(MOST_BYTES)
            if was_cut.is_set():
                # What was cut off reads as an early end.
                raise TimeoutError
            return answer(status=response.status, retry_after_s=_seconds(response.headers.get("Retry-After")))
        except ssl.SSLCertVerificationError as error:
            return answer(error=f"Its certificate is not that of {target.host}: {error.verify_message}.")
        except (OSError, http.client.HTTPException) as error:
            if was_cut.is_set():
                return answer(error=f"It was not through within {self.total_s:g} s.")
            if isinstance(error, TimeoutError):
                return answer(error=f"It did not answer within {self.connect_s:g} s.")
            return answer(error=f"It cannot be reached ({error}).")
        finally:
            timer.cancel()
            connection.close()


def _seconds(text: str | None) -> int | None:
    return int(text) if text is not None and text.isascii() and text.isdigit() and len(text) < 9 else None
