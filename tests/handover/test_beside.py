"""While papers are made, whatever else waits goes on."""

from __future__ import annotations

import threading
import time

from fourpair_service import background
from fourpair_service.app import create_app
from fourpair_service.background import Background
from fourpair_service.config import Settings
from fourpair_service.http.services import NAME
from fourpair_service.storage.sqlite import SqliteStore
from handover.job import sample, sent


def until(is_so):
    for _ in range(200):
        if is_so():
            return True
        time.sleep(0.05)
    return False


def test_runs_are_carried_on_while_papers_are_made(tmp_path, monkeypatch):
    store = SqliteStore(tmp_path / "records.db")
    app = create_app(store=store)
    client, goes_on, may_end = app.test_client(), threading.Event(), threading.Event()
    goes_on.set()
    sent(client.post("/v1/jobs", json={"id": "hall", "name": "Hall"}))
    sent(client.post("/v1/records", json=sample("0A-01-clean-pass", label="A", job="hall")))
    really_write = background.write_handover

    def slowly(*arguments):
        may_end.wait(20)
        really_write(*arguments)

    monkeypatch.setattr(background, "write_handover", slowly)
    work = Background(Settings(), app.extensions[NAME].desk, go_on=goes_on.is_set)
    thread = threading.Thread(target=work.keep_on, args=(lambda _: time.sleep(0.02),))
    thread.start()
    try:
        papers = client.post("/v1/jobs/hall/handovers").headers["Location"]
        assert until(lambda: client.get(papers).get_json()["state"] == "running")
        run = client.post("/v1/assessments?job=hall", json={"power_type": 1}).headers["Location"]
        assert until(lambda: client.get(run).get_json()["state"] == "done")
        assert client.get(papers).get_json()["state"] == "running"

        may_end.set()
        assert until(lambda: client.get(papers).get_json()["state"] == "done")
        assert client.get(f"{papers}/file").data.startswith(b"%PDF")
    finally:
        may_end.set()
        goes_on.clear()
        thread.join()
        work.close()
        store.close()
