"""What SQLite says, in words that help whoever runs the service."""

from __future__ import annotations

import sqlite3
import zlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any, Final, TypeVar

import zstandard

from fourpair_service.records.errors import (
    ContentUnreadableError,
    StoreBusyError,
    StoreCorruptError,
    StoreError,
    StoreFullError,
    StoreReadOnlyError,
)

T = TypeVar("T")

PRIMARY_CODE: Final = 0xFF

# Result codes: https://www.sqlite.org/rescode.html
ERRORS: Final[dict[int, tuple[type[StoreError], str]]] = {
    sqlite3.SQLITE_BUSY: (StoreBusyError, "Others are writing to {path} for too long; try again."),
    sqlite3.SQLITE_LOCKED: (StoreBusyError, "Others are writing to {path} for too long; try again."),
    sqlite3.SQLITE_FULL: (StoreFullError, "There is no room left for {path}; nothing was stored. Free some."),
    sqlite3.SQLITE_READONLY: (StoreReadOnlyError, "{path} cannot be written; check its owner and its mode."),
    sqlite3.SQLITE_CANTOPEN: (
        StoreReadOnlyError,
        "{path} cannot be opened; check that its directory exists and may be written.",
    ),
    sqlite3.SQLITE_PERM: (StoreReadOnlyError, "{path} may not be used; check its owner and its mode."),
    sqlite3.SQLITE_CORRUPT: (
        StoreCorruptError,
        "{path} is damaged ({error}). Keep it aside, restore the newest backup, and look for a failing disk.",
    ),
    sqlite3.SQLITE_NOTADB: (
        StoreCorruptError,
        "{path} is no store of this service ({error}). Check the path; if it is right, restore a backup.",
    ),
    sqlite3.SQLITE_IOERR: (StoreError, "The disk under {path} failed ({error}); nothing was stored."),
}


def plain_error(error: sqlite3.Error, path: str) -> StoreError:
    """Return the error of ours for one of SQLite's."""
    code = getattr(error, "sqlite_errorcode", 0) & PRIMARY_CODE
    kind, sentence = ERRORS.get(code, (StoreError, "The store {path} failed: {error}."))
    return kind(sentence.format(path=path, error=error))


# What the readers of stored documents raise over bytes that are not what was written.
UNREADABLE: Final = (KeyError, TypeError, ValueError, RuntimeError, zlib.error, zstandard.ZstdError)


def made(make: Callable[[Any], T], row: Any, path: str) -> T:
    """Return what is made of a row.

    Raises:
        ContentUnreadableError: its documents are no longer what was written.
    """
    try:
        return make(row)
    except UNREADABLE as error:
        raise ContentUnreadableError(
            f"Something stored in {path} cannot be read any more ({type(error).__name__}: {error}). "
            "'fourpair-service verify' says what; keep the store aside and restore the newest backup."
        ) from error


@contextmanager
def plain_errors(path: str) -> Iterator[None]:
    """Tell every error of SQLite inside the block in words of ours.

    Raises:
        StoreError: as it fits.
    """
    try:
        yield
    except sqlite3.Error as error:
        raise plain_error(error, path) from error
