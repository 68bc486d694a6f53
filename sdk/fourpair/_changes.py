"""``client.changes``: the change feed."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from fourpair._following import Deal, Inbox
from fourpair._kept import Change
from fourpair._told import told
from fourpair._transport import Send, operation

# What a follower asks the service to wait for news. [s]
WAIT_S = 20
# How much longer than that an answer may take. [s]
GRACE_S = 15.0


class Changes:
    """The change feed, as a client follows it.

    >>> client.changes.newest()
    3
    """

    def __init__(self, send: Send) -> None:
        self._send = send

    @operation("listChanges")
    def page(
        self, *, after: int = 0, job: str | None = None, limit: int | None = None, wait_s: int | None = None
    ) -> tuple[tuple[Change, ...], int]:
        """Return some entries after a ``seq``, and the ``seq`` to ask on with.

        Args:
            after: the last ``seq`` that was dealt with.
            job: only entries of this job.
            limit: how many at most.
            wait_s: how long the service may wait for the first one. [s]

        >>> found, after = client.changes.page(limit=2)
        >>> [change.kind for change in found], after
        (['job.created', 'record.submitted'], 2)
        """
        query = {"after": after, "job": job, "limit": limit, "wait": wait_s}
        patience = None if wait_s is None else wait_s + GRACE_S
        document = self._send("GET", "/v1/changes", params=query, read_timeout_s=patience).json()
        return tuple(told(Change, each) for each in document["changes"]), document["next_after"]

    def list(self, *, after: int = 0, job: str | None = None) -> Iterator[Change]:
        """Yield what there is after a ``seq``, in order, and end.

        >>> [(change.seq, change.label) for change in client.changes.list(after=1, job="clinic")]
        [(2, 'A-01'), (3, 'A-02')]
        """
        while True:
            found, reached = self.page(after=after, job=job)
            yield from found
            if not found:
                return
            after = reached

    def newest(self) -> int:
        """Return the last ``seq`` there is; 0 before the first.

        >>> client.changes.newest()
        3
        """
        return int(self._send("GET", "/v1/changes", params={"limit": 1}).json()["last_seq"])

    def follow(self, *, after: int = 0, job: str | None = None, wait_s: int = WAIT_S) -> Iterator[Change]:
        """Yield what there is after a ``seq`` and whatever comes, without end.

        Keep the ``seq`` of the last change you dealt with: going on from there
        misses nothing and repeats nothing.

        >>> follower = client.changes.follow(after=1)
        >>> next(follower).label, next(follower).label
        ('A-01', 'A-02')
        """
        while True:
            found, after = self.page(after=after, job=job, wait_s=wait_s)
            yield from found

    def inbox(
        self,
        deal: Deal,
        *,
        after: int = 0,
        job: str | None = None,
        wanted: Callable[[Change], bool] = lambda change: True,
    ) -> Inbox:
        """Return what takes webhook deliveries as they come and deals with each change once, in order.

        >>> from fourpair.testing import service
        >>> with service() as running, running.client() as client:
        ...     inbox = client.changes.inbox(lambda change: print(change.seq, change.kind))
        ...     job = client.jobs.create("clinic", name="Clinic")
        ...     inbox.catch_up()
        1 job.created
        1
        """
        return Inbox(self, deal, after=after, job=job, wanted=wanted)
