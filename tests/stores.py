"""Every kind of store, for tests of what stands above them."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from fourpair_service.storage.opening import IN_MEMORY
from postgres_server import SERVICE, database, url

LASTING = ("sqlite", pytest.param("postgresql", marks=pytest.mark.postgresql))
KINDS = ("memory", *LASTING)


@contextmanager
def store_name(kind: str, directory: Path) -> Iterator[str]:
    """Give the name of a new, empty store of a kind."""
    if kind == "memory":
        yield IN_MEMORY
    elif kind == "sqlite":
        yield str(directory / "records.db")
    else:
        with database() as name:
            yield url(name, SERVICE)
