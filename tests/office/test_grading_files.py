"""Files on the office screen: graded as the interface grades them, refused in words, never kept."""

from __future__ import annotations

import io
import json

import pypdf
import pytest

from fourpair_service.config import Settings
from fourpair_service.http.measurement_csv import measurement_csv
from fourpair_service.records.keys import Scope
from office.office_screen import Markup, Office, sample
from touchstone_writer import TOUCHSTONE

BOTH = {"against": "tia-568.2-d-2018|6", "configuration": "permanent_link"}


def part(name, content):
    return (io.BytesIO(content if isinstance(content, bytes) else content.encode()), name)


def sent(browser, *files, form="page", query="", **values):
    data = {"files": [part(*file) for file in files], "form": form, **values}
    return browser.post("/office/grade", f"/office/grade{query}", data)


def document(name="1A-01-bad-far-connector", **changes):
    return ("link.json", json.dumps(sample(name, **changes)))


def test_a_document_is_graded_as_the_interface_does_and_nothing_is_kept(office):
    answer = sent(office.browser(), document())
    verdict = office.open.post("/v1/grade", json=sample("1A-01-bad-far-connector")).get_json()
    page = Markup(answer.get_data(as_text=True)).text

    assert answer.status_code == 200
    assert "Result for 1A-01 FAIL" in page
    assert verdict["verdict_digest"] in page
    worst = next(p for p in verdict["verdict"]["parameters"] if p["outcome"] == "fail")["worst_margin"]
    assert f" {worst['margin_db']:.2f} " in page
    assert "Nothing is kept." in page
    assert office.open.get("/v1/records").get_json()["records"] == []
    assert office.open.get("/v1/changes").get_json()["last_seq"] == 0
