"""A small file beside the store, through which all processes that serve it know of each other.

Locks of single bytes say what is going on, and the system drops those of a process
that dies. A few kilobytes of shared memory hold what must be counted together. Nothing
in it needs to outlive a restart, so it is neither backed up nor flushed.
"""

from __future__ import annotations

import contextlib
import fcntl
import mmap
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Final

SUFFIX: Final = "-shared"
MODE: Final = 0o600


class SharedFile:
    """Locks and memory that all processes see which opened the same path.

    A lock belongs to a process: threads of one process must agree among themselves.
    The file stays open, since closing it anywhere in a process drops all its locks.

    Args:
        path: of the file; made when it does not exist.
        size: of the memory. [bytes]

    Raises:
        OSError: it cannot be opened, or there is no room for it.
    """

    def __init__(self, path: str | Path, size: int) -> None:
        self._file = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, MODE)
        # A hole in the file would end the process on a full disk as soon as it is written to.
        os.posix_fallocate(self._file, 0, size)
        self.memory = mmap.mmap(self._file, size)

    def try_lock(self, place: int) -> bool:
        """Take the lock of a byte; return whether no other process has it."""
        try:
            fcntl.lockf(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB, 1, place)
        except OSError:
            return False
        return True

    def unlock(self, place: int) -> None:
        """Let go of the lock of a byte."""
        fcntl.lockf(self._file, fcntl.LOCK_UN, 1, place)

    @contextlib.contextmanager
    def locked(self, place: int) -> Iterator[None]:
        """Hold the lock of a byte, once whoever has it lets go."""
        fcntl.lockf(self._file, fcntl.LOCK_EX, 1, place)
        try:
            yield
        finally:
            self.unlock(place)


class OwnMemory:
    """The same for a process that shares with nobody."""

    def __init__(self, size: int) -> None:
        self.memory = bytearray(size)

    def try_lock(self, place: int) -> bool:
        """Return that no other process has the lock."""
        return True

    def unlock(self, place: int) -> None:
        """Do nothing: nobody was kept out."""

    @contextlib.contextmanager
    def locked(self, place: int) -> Iterator[None]:
        """Keep out nobody."""
        yield


Shared = SharedFile | OwnMemory


def shared_beside(store: str | None, size: int) -> Shared:
    """Return what the processes of a store share; without a file, or room for it, what one has alone."""
    if store is not None:
        with contextlib.suppress(OSError):
            return SharedFile(f"{store}{SUFFIX}", size)
    return OwnMemory(size)
