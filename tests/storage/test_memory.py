from __future__ import annotations

import pytest

from fourpair_service.storage.memory import MemoryStore
from storage.contract import RecordStoreContract


class TestMemoryStore(RecordStoreContract):
    @pytest.fixture
    def store(self):
        return MemoryStore()
