from __future__ import annotations

import pytest

from fourpair_service.storage.sqlite import SqliteStore
from storage.contract import RecordStoreContract


class TestSqliteStore(RecordStoreContract):
    @pytest.fixture
    def store(self, tmp_path):
        store = SqliteStore(tmp_path / "records.db")
        yield store
        store.close()
