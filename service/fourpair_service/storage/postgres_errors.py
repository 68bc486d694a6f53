"""What PostgreSQL says, in words that help whoever runs the service."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Final

import psycopg
from psycopg import errors

from fourpair_service.records.errors import (
    StoreBusyError,
    StoreCorruptError,
    StoreError,
    StoreFullError,
    StoreReadOnlyError,
)

BUSY: Final = "Others are writing to {name} for too long; try again."
ERRORS: Final[tuple[tuple[type[psycopg.Error], type[StoreError], str], ...]] = (
    (errors.LockNotAvailable, StoreBusyError, BUSY),
    (errors.DeadlockDetected, StoreBusyError, BUSY),
    (errors.SerializationFailure, StoreBusyError, BUSY),
    (errors.TooManyConnections, StoreBusyError, "{name} takes no more connections; use fewer workers."),
    (errors.DiskFull, StoreFullError, "There is no room left for {name}; nothing was stored. Free some."),
    (
        errors.InsufficientPrivilege,
        StoreReadOnlyError,
        "{name} refuses it ({error}); 'fourpair-service grant ROLE' by its owner gives what the service needs.",
    ),
    (errors.ReadOnlySqlTransaction, StoreReadOnlyError, "{name} is read-only; is it a standby?"),
    (errors.DataCorrupted, StoreCorruptError, "{name} is damaged ({error}); restore the newest backup."),
    (
        psycopg.OperationalError,
        StoreBusyError,
        "{name} cannot be reached ({error}); nothing of the request was stored. Is the server up?",
    ),
)


def plain_error(error: psycopg.Error, name: str) -> StoreError:
    """Return the error of ours for one of PostgreSQL's."""
    first = (str(error).strip() or type(error).__name__).splitlines()[0]
    for kind, own, sentence in ERRORS:
        if isinstance(error, kind):
            return own(sentence.format(name=name, error=first))
    return StoreError(f"The store {name} failed: {first}.")


@contextmanager
def plain_errors(name: str) -> Iterator[None]:
    """Tell every error of PostgreSQL inside the block in words of ours.

    Raises:
        StoreError: as it fits.
    """
    try:
        yield
    except psycopg.Error as error:
        raise plain_error(error, name) from error
