"""Timing of contenders in turns, so that a busy neighbour slows all of them alike."""

from __future__ import annotations

import gc
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from statistics import median
from typing import Any


@dataclass(frozen=True, slots=True)
class Times:
    """What each contender took, one entry a round. [s]."""

    rounds: Mapping[str, tuple[float, ...]]

    def best_s(self, name: str) -> float:
        """Return the shortest time of a contender. [s]."""
        return min(self.rounds[name])

    def ratio(self, name: str, base: str) -> float:
        """Return how many times as long as ``base`` a contender takes at its best."""
        return self.best_s(name) / self.best_s(base)

    def median_ratio(self, name: str, base: str) -> float:
        """Return the median over the rounds of the ratio within each."""
        return median(one / of for one, of in zip(self.rounds[name], self.rounds[base], strict=True))


def contest(contenders: Mapping[str, Callable[[], Any]], rounds: int, repeats: int = 3) -> Times:
    """Run all contenders in turns.

    The time is that of the processor spent in this thread, page faults included,
    and not that of the clock on the wall: what neighbours take is left out, and
    what they do to the caches is met by many rounds.

    Args:
        contenders: by name; what they return is dropped within the time, as in use.
        rounds: how often each is measured.
        repeats: calls in a row of which the shortest counts, so that each is
            measured with its own data in the caches and not its neighbour's.
    """
    times: dict[str, list[float]] = {name: [] for name in contenders}
    for work in contenders.values():
        work()
    gc.collect()
    for _ in range(rounds):
        for name, work in contenders.items():
            times[name].append(min(_once(work) for _ in range(repeats)))
    return Times({name: tuple(taken) for name, taken in times.items()})


def _once(work: Callable[[], Any]) -> float:
    start = time.thread_time()
    work()
    return time.thread_time() - start
