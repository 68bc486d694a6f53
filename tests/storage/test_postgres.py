from __future__ import annotations

import pytest

from fourpair_service.storage.postgres import PostgresStore
from postgres_server import SERVICE, database, url
from storage.contract import RecordStoreContract


@pytest.mark.postgresql
class TestPostgresStore(RecordStoreContract):
    @pytest.fixture
    def store(self):
        with database() as name:
            store = PostgresStore(url(name, SERVICE))
            yield store
            store.close()
