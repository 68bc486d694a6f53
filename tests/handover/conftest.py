"""One job with every kind of link, and its papers."""

from __future__ import annotations

import io
from functools import lru_cache

import pypdf
import pytest

from fourpair_service.app import create_app
from fourpair_service.storage.sqlite import SqliteStore
from handover.job import JOB, NOW, filled


class Papers:
    """A service with the job, and what it answers."""

    def __init__(self, app):
        self.client = app.test_client()
        self.asked = lru_cache(self._asked)

    def _asked(self, query):
        return self.client.get(f"/v1/jobs/{JOB}/handover?{query}")

    def file(self, query):
        answer = self.asked(query)
        assert answer.status_code == 200, answer.get_json()
        return answer.data

    def pdf(self, query="format=pdf"):
        return pypdf.PdfReader(io.BytesIO(self.file(query)))

    def records(self):
        found = self.client.get(f"/v1/records?job={JOB}&limit=1000").get_json()["records"]
        return {record["label"]: record for record in found}

    def verdict(self, label):
        return self.client.get(f"/v1/records/{self.records()[label]['id']}/verdict").get_json()


@pytest.fixture(scope="session")
def papers(tmp_path_factory):
    store = SqliteStore(tmp_path_factory.mktemp("handover") / "records.db")
    app = create_app(clock=lambda: NOW, store=store)
    filled(app.test_client())
    yield Papers(app)
    store.close()


@pytest.fixture
def pages(papers):
    """Give the lines of each page, as they stand beside each other."""

    @lru_cache
    def read(query="format=pdf"):
        return [page.extract_text(extraction_mode="layout") for page in papers.pdf(query).pages]

    return read
