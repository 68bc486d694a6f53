"""Handovers over HTTP: forms, refusals, and jobs that have little to hand over."""

from __future__ import annotations

import io

import pypdf

from fourpair_service.app import create_app
from fourpair_service.config import Settings
from fourpair_service.http.line_stream import STREAMS
from fourpair_service.storage.memory import MemoryStore
from fourpair_service.streams import StreamPlaces
from handover.job import JOB, NOW, sample, sent

EDITION = 'id = "own"\nextends = "tia-568.2-d-2018"\ntitle = "Own limits"\n'


def words_of(answer):
    assert answer.status_code == 200, answer.get_json()
    return [page.extract_text() for page in pypdf.PdfReader(io.BytesIO(answer.data)).pages]


def test_a_handover_is_a_file_to_be_saved(papers):
    answer = papers.asked("format=pdf")

    assert answer.content_type == "application/pdf"
    assert answer.headers["Content-Disposition"] == f"attachment; filename={JOB}.pdf"
    assert answer.headers["Content-Length"] == str(len(answer.data))
    assert answer.headers["ETag"]


def test_the_accept_header_chooses_and_refuses(papers):
    url = f"/v1/jobs/{JOB}/handover"

    assert papers.client.get(url, headers={"Accept": "application/pdf"}).mimetype == "application/pdf"
    assert papers.client.get(url, headers={"Accept": "image/png"}).status_code == 406
    assert papers.client.get(f"{url}?format=docx").status_code == 422
    assert papers.client.get("/v1/jobs/nothing/handover").status_code == 404


def test_a_job_without_links_says_so():
    client = create_app(store=MemoryStore(), clock=lambda: NOW).test_client()
    sent(client.post("/v1/jobs", json={"id": "bare", "name": "Bare"}))
    pages = words_of(client.get("/v1/jobs/bare/handover"))

    assert "The job has no links yet" in pages[0]
    assert len(pages) == 2


def test_a_link_whose_rule_set_is_gone_keeps_its_place_and_its_numbers(tmp_path):
    (tmp_path / "own.toml").write_text(EDITION)
    store = MemoryStore()
    client = create_app(Settings(limits_directory=tmp_path), store=store, clock=lambda: NOW).test_client()
    sent(client.post("/v1/jobs", json={"id": "kept", "name": "Kept"}))
    document = sample("0A-01-clean-pass", label="K1", job="kept")
    document["requirement"] = {"rule_set": "own", "category": "6"}
    sent(client.post("/v1/records", json=document))

    later = create_app(Settings(), store=store, clock=lambda: NOW).test_client()
    pages = words_of(later.get("/v1/jobs/kept/handover"))
    verdict = later.get("/v1/records?job=kept").get_json()["records"][0]
    assert "Own limits" in pages[0]
    assert pages[-1].startswith("K1")
    assert f"{verdict['headroom_db']:.2f}" in pages[1]


def test_where_no_worker_may_be_kept_the_papers_are_refused_for_now_and_none_is_held(papers):
    places = StreamPlaces(1)
    url, own = f"/v1/jobs/{JOB}/handover?format=csv", {"environ_overrides": {STREAMS: places}}
    try:
        give_back = places.take()
        refused = papers.client.get(url, **own)
        give_back()
        papers.client.get(url, **own).close()
        missing = papers.client.get("/v1/jobs/nothing/handover", **own)

        assert (refused.status_code, refused.get_json()["code"]) == (503, "streams-full")
        assert "Retry-After" in refused.headers
        assert missing.status_code == 404
        free = places.take()
        assert free is not None
        free()
    finally:
        places.close()
