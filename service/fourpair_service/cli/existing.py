"""The store that the settings name, which must be there already."""

from __future__ import annotations

from pathlib import Path

from fourpair_service.config import InvalidSettingError, Settings
from fourpair_service.records.errors import StoreReadOnlyError
from fourpair_service.records.ports import Store
from fourpair_service.storage.opening import IN_MEMORY, is_file, open_store


def existing_store(settings: Settings) -> Store:
    """Return the store that the settings name.

    Raises:
        InvalidSettingError: it is memory, which another process cannot reach.
        StoreError: there is none, or it cannot be opened.
    """
    if settings.store == IN_MEMORY:
        raise InvalidSettingError("FOURPAIR_STORE is :memory:, which one process alone sees; give it a file.")
    if is_file(settings.store) and not Path(settings.store).is_file():
        raise StoreReadOnlyError(f"There is no store {settings.store}; FOURPAIR_STORE says where it is.")
    return open_store(settings.store)
