"""What may go wrong between a service and whoever uses it."""

from __future__ import annotations

import random
import threading
from collections.abc import Iterable, Iterator, Sequence
from typing import TypeVar

T = TypeVar("T")

TROUBLES = ("none", "rate_limited", "unavailable", "lost_request", "lost_answer", "slow", "duplicated")
"""What may happen to a request.

``rate_limited``: answered with 429. ``unavailable``: answered with 503. ``lost_request``: it
never arrives. ``lost_answer``: it is carried out, and the connection breaks. ``slow``: it is
carried out, and the client stops waiting. ``duplicated``: it arrives twice.
"""
DELIVERY_TROUBLES = ("none", "lost", "lost_answer", "duplicated", "late", "dropped")
"""What may happen to a message to a receiver.

``lost``: it never arrives, and the service tries again. ``lost_answer``: it arrives, and the
service tries again. ``duplicated``: it arrives twice at once. ``late``: it arrives after the next
one. ``dropped``: something on the way takes it and says that it has arrived.
"""


class Script:
    """Troubles in order, one for each that asks; then none. Shared by threads.

    >>> script = Script(["slow"], TROUBLES)
    >>> script.next(), script.next(), script.asked
    ('slow', 'none', 2)
    """

    def __init__(self, troubles: Iterable[str], known: Sequence[str]) -> None:
        self._troubles, self._known = iter(troubles), known
        self._lock = threading.Lock()
        self.asked = 0

    def next(self) -> str:
        """Return the next trouble.

        Raises:
            ValueError: there is no such trouble.
        """
        with self._lock:
            self.asked += 1
            trouble = next(self._troubles, "none")
        if trouble not in self._known:
            raise ValueError(f"There is no trouble {trouble!r}; there are {', '.join(self._known)}")
        return trouble


def troubled(seed: int, *, share: float = 0.4, kinds: Sequence[str] = TROUBLES[1:]) -> Iterator[str]:
    """Yield troubles at random without end, the same for the same seed.

    Args:
        seed: of the random numbers.
        share: of requests that meet with trouble, 0 to 1.
        kinds: which troubles.

    >>> from itertools import islice
    >>> list(islice(troubled(1, share=0.5), 4))
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
