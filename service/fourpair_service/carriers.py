"""Where the records of a run are looked at: in this process, in several of this machine, or on a cluster.

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
from typing import Any, Final

from fourpair_service.app import record_grader
from fourpair_service.config import Settings
from fourpair_service.errors import ServiceError
from fourpair_service.records.runs.carrying import Carrier, InPlace
from fourpair_service.records.runs.examining import Bench, Chunk, examine_chunk
from fourpair_service.records.runs.model import Examined
from fourpair_service.storage.opening import IN_MEMORY, open_store

# Chunks under way for each process: one that is worked on, one that waits.
AHEAD: Final = 2
# How long a scheduler may take to answer. [s]
ANSWER_WITHIN_S: Final = 10


class ClusterError(ServiceError):
    """The cluster cannot be used."""

    code = "cluster-failed"


@lru_cache(maxsize=1)
def bench_of(settings: Settings) -> Bench:
    """Return where this process looks at records; made once."""
    grader = record_grader(settings)
    return Bench(open_store(settings.store), grader.for_question, grader, grader.standing)


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


class Cluster:
    """Looks at chunks on a Dask distributed cluster, whose workers reach the same store and limits.

    Args:
        settings: of the service; its ``cluster`` is the address of the scheduler.

    Raises:
        ClusterError: distributed is not there, or no scheduler answers.
    """

    def __init__(self, settings: Settings) -> None:
        try:
            import distributed  # noqa: PLC0415 - only who uses a cluster needs it
        except ImportError:
            raise ClusterError(
                "FOURPAIR_CLUSTER is set and Dask is not there: pip install 'fourpair[cluster]'."
            ) from None
        self._settings = settings
        connect: Any = distributed.Client
        try:
            self._client = connect(settings.cluster, timeout=ANSWER_WITHIN_S, set_as_default=False)
        except (OSError, ValueError) as error:
            raise ClusterError(f"No scheduler answers at {settings.cluster} ({error}).") from error

    def carry(self, chunks: Iterable[Chunk]) -> Iterator[Sequence[Examined]]:
        """Yield what is found of each chunk, in order; a few chunks for each thread are taken ahead."""
        ahead = AHEAD * max(1, sum(self._client.nthreads().values()))
        under_way: deque[Any] = deque()
        for chunk in chunks:
            # What is found depends on the store as it is now: a chunk is looked at anew each time.
            under_way.append(self._client.submit(examine_there, self._settings, chunk, pure=False))
            if len(under_way) >= ahead:
                yield under_way.popleft().result()
        while under_way:
            yield under_way.popleft().result()

    def close(self) -> None:
        """Let go of the cluster."""
        self._client.close()


def carrier_for(settings: Settings, bench: Bench) -> Carrier:
    """Return where records are looked at by these settings.

    Args:
        settings: of the service.
        bench: of this process, where nothing else is to be used.
    """
    if settings.store == IN_MEMORY:
        return InPlace(bench)
    if settings.cluster:
        return Cluster(settings)
    if settings.grading_processes == 1:
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
