"""From a setting to a store."""

from __future__ import annotations

from typing import Final

from fourpair_service.records.ports import Store
from fourpair_service.storage.memory import MemoryStore
from fourpair_service.storage.sqlite import SqliteStore

IN_MEMORY: Final = ":memory:"


def is_file(name: str) -> bool:
    """Return whether a store of this name is a file of its own."""
    return name != IN_MEMORY


def open_store(name: str) -> Store:
    """Return the store of a name: a file, or memory.

    Raises:
        StoreError: it cannot be opened.
    """
    return MemoryStore() if name == IN_MEMORY else SqliteStore(name)
