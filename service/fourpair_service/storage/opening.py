"""From a setting to a store."""

from __future__ import annotations

import re
from typing import Final

from fourpair_service.records.errors import StoreError
from fourpair_service.records.ports import Store
from fourpair_service.storage.memory import MemoryStore
from fourpair_service.storage.sqlite import SqliteStore

IN_MEMORY: Final = ":memory:"
POSTGRES: Final = ("postgresql://", "postgres://")


def is_file(name: str) -> bool:
    """Return whether a store of this name is a file of its own."""
    return name != IN_MEMORY and not name.startswith(POSTGRES)


def shown(url: str) -> str:
    """Return the address of a store without its password.

    >>> shown("postgresql://app:word@db/fourpair?host=/run")
    'postgresql://app@db/fourpair'
    """
    return re.sub(r"(//[^:/@]*):[^@/]*@", r"\1@", url).partition("?")[0]


def open_store(name: str) -> Store:
    """Return the store of a name: a file, the URL of a PostgreSQL database, or memory.

    Raises:
        StoreError: it cannot be opened.
    """
    if name == IN_MEMORY:
        return MemoryStore()
    if not name.startswith(POSTGRES):
        return SqliteStore(name)
    try:
        from fourpair_service.storage.postgres import PostgresStore  # noqa: PLC0415 - only who uses it needs psycopg
    except ImportError:
        raise StoreError(
            "FOURPAIR_STORE names a PostgreSQL database and psycopg is not there: pip install 'fourpair[postgresql]'."
        ) from None
    return PostgresStore(name)
