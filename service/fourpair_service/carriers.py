"""Where the records of a run are looked at: in this process, or in several of this machine.

A process of its own opens the store and loads the rule sets once, and then reads,
decodes and grades; what it gives back is small.
"""

from __future__ import annotations

import multiprocessing
import os
import socket
from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from functools import lru_cache
from typing import Final

from fourpair_service.app import record_grader
from fourpair_service.config import Settings
from fourpair_service.records.runs.carrying import Carrier, InPlace
from fourpair_service.records.runs.examining import Bench, Chunk, examine_chunk
from fourpair_service.records.runs.model import Examined
from fourpair_service.storage.opening import IN_MEMORY, open_store

# Chunks under way for each process: one that is worked on, one that waits.
AHEAD: Final = 2


@lru_cache(maxsize=1)
def bench_of(settings: Settings) -> Bench:
    """Return where this process looks at records; made once."""
    grader = record_grader(settings)
    return Bench(open_store(settings.store), grader.for_question, grader)


def examine_there(settings: Settings, chunk: Chunk) -> Sequence[Examined]:
    """Return what is found of a chunk; runs in any process that reaches the store."""
    return examine_chunk(bench_of(settings), chunk)


class LocalPool:
    """Looks at chunks in processes of this machine.

    Args:
        settings: of the service, for the processes.
    """

    def __init__(self, settings: Settings) -> None:
        self._settings = settings
        # A fresh interpreter, so that no thread, lock or connection is inherited.
        context = multiprocessing.get_context("spawn")
        self._pool = ProcessPoolExecutor(settings.grading_processes, mp_context=context)

    def carry(self, chunks: Iterable[Chunk]) -> Iterator[Sequence[Examined]]:
        """Yield what is found of each chunk, in order; a few chunks are taken ahead."""
        under_way: deque[Future[Sequence[Examined]]] = deque()
        for chunk in chunks:
            under_way.append(self._pool.submit(examine_there, self._settings, chunk))
            if len(under_way) >= AHEAD * self._settings.grading_processes:
                yield under_way.popleft().result()
        while under_way:
            yield under_way.popleft().result()

    def close(self) -> None:
        """End the processes."""
        self._pool.shutdown(cancel_futures=True)


def carrier_for(settings: Settings, bench: Bench) -> Carrier:
    """Return where records are looked at by these settings.

    Args:
        settings: of the service.
        bench: of this process, where nothing else is to be used.
    """
    if settings.grading_processes == 1 or settings.store == IN_MEMORY:
        return InPlace(bench)
    return LocalPool(settings)


def holder() -> str:
    """Return the name under which this process holds a run."""
    return f"{socket.gethostname()}:{os.getpid()}"


def is_gone(name: str) -> bool:
    """Return whether the process of a name has certainly ended: only this machine's can be looked for."""
    host, _, number = name.rpartition(":")
    if host != socket.gethostname() or not number.isdigit():
        return False
    try:
        os.kill(int(number), 0)
    except ProcessLookupError:
        return True
    except PermissionError:
        return False
    return False
