"""Webhooks and feed as one row of changes: each once, in order, with no gap."""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import TYPE_CHECKING

from fourpair._kept import Change

if TYPE_CHECKING:
    from fourpair._changes import Changes
    from fourpair.webhooks import Message


Deal = Callable[[Change], object]
"""Deals with one change; what it returns is not looked at."""


class Inbox:
    """Takes messages of webhooks in any order, some twice, some never; deals with each change once, in order.

    A message only says that there is something: what it is, and what was missed before
    it, is read from the feed, so that whatever the network does changes nothing. What
    came before or twice asks nothing of the service. Call ``catch_up`` at the start and
    now and then: no later message tells of one that was lost last.

    Args:
        changes: ``client.changes``.
        deal: called with each change, in order. Where it fails, the same change comes again.
        after: the last ``seq`` that was dealt with; keep ``inbox.after`` with what you do.
        job: only changes of this job.
        wanted: only changes of which this is true, such as those a subscription asks for.

    >>> dealt = []
    >>> inbox = client.changes.inbox(dealt.append, after=1)
    >>> inbox.catch_up(), [change.label for change in dealt], inbox.after
    (2, ['A-01', 'A-02'], 3)
    """

    def __init__(
        self,
        changes: Changes,
        deal: Deal,
        *,
        after: int = 0,
        job: str | None = None,
        wanted: Callable[[Change], bool] = lambda change: True,
    ) -> None:
        self._changes, self._deal, self._job, self._wanted = changes, deal, job, wanted
        self._lock = threading.Lock()
        self.after = after

    def receive(self, message: Message) -> int:
        """Deal with a message and with what was missed before it; return with how many changes.

        >>> inbox = client.changes.inbox(print, after=3)
        >>> inbox.receive(Message("m-1", "record.submitted", {"seq": 2}, {}))
        0
        """
        with self._lock:
            if message.seq is None or message.seq <= self.after:
                return 0
            return self._caught_up()

    def catch_up(self) -> int:
        """Deal with everything in the feed that was not dealt with yet; return with how many changes.

        >>> inbox = client.changes.inbox(lambda change: print(change.kind), after=2)
        >>> inbox.catch_up()
        record.submitted
        1
        """
        with self._lock:
            return self._caught_up()

    def _caught_up(self) -> int:
        return sum(self._dealt(change) for change in self._changes.list(after=self.after, job=self._job))

    def _dealt(self, change: Change) -> int:
        is_wanted = (self._job is None or self._job in (change.job, change.previous_job)) and self._wanted(
            change
        )
        if is_wanted:
            self._deal(change)
        self.after = change.seq
        return int(is_wanted)
