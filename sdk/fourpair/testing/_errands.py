"""What the service does beside its answers, done when a test says so."""

from __future__ import annotations

import threading
from typing import Any

HOLDER = "test"


class Errands:
    """Runs and messages of a service in this process.

    Args:
        settings: of the service.
        desk: over its store.
        send: sends one message.
    """

    def __init__(self, settings: Any, desk: Any, send: Any) -> None:
        from fourpair_service.background import Background  # noqa: PLC0415 - the service is an extra
        from fourpair_service.records.subscriptions.delivering import Deliverer  # noqa: PLC0415
        from fourpair_service.webhooks.signing import signed_headers  # noqa: PLC0415

        self._background = Background(settings, desk, name=HOLDER)
        self._deliverer = Deliverer(desk, send, signed_headers, HOLDER)
        self._store = desk.store
        self._going = threading.Lock()

    def carry_runs(self) -> None:
        """Carry every run to its end, unless another thread is at it."""
        if self._going.acquire(blocking=False):
            try:
                self._background.runs()
            finally:
                self._going.release()

    def round(self) -> int:
        """Carry on what waits, and send what may be sent now; return how many times one was sent."""
        self.carry_runs()
        tried = 0
        while sent := sum(self._deliverer.deliver(each.id) for each in self._deliverer.waiting()):
            tried += sent
        return tried

    def messages_wait(self) -> bool:
        """Return whether a message is to be sent, now or later."""
        from fourpair_service.records.subscriptions.commands import all_subscriptions  # noqa: PLC0415
        from fourpair_service.records.subscriptions.model import SubscriptionState  # noqa: PLC0415

        active = (s for s in all_subscriptions(self._store) if s.state is SubscriptionState.ACTIVE)
        return any(self._store.drawer(each.pending, limit=1) for each in active)
