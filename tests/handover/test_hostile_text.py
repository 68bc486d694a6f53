"""Text from outside stays text, whatever is in it: read back from every form.

What the interface refuses (controls, marks that turn text, 10,000 characters) may still lie in a store that
was filled in another way; so the job is made by the commands beneath it.
"""

from __future__ import annotations

import csv
import io
import json
import re
import zipfile

import openpyxl
import pypdf
import pytest

from fourpair_service.app import create_app
from fourpair_service.http.services import NAME
from fourpair_service.records import job_commands
from fourpair_service.records.desk import Caller, Terms
from fourpair_service.records.model import ScheduledLink
from fourpair_service.storage.memory import MemoryStore
from handover.job import NOW, again, sample, sent

ANYONE = Caller("tester")
HTML = "<script>alert(1)</script>"
FORMULA = '=HYPERLINK("http://example.invalid","x")'
TURNED = "abc\u202egnp.exe\u2066"
CONTROLS = "a\x00b\x07c\x1b[31md\r\ne"
EMOJI = "🧬🧬 outlet"
HEBREW = "חדר 5"
LONG = "long " * 2000
MISSING = (FORMULA + " 2", TURNED, CONTROLS, LONG, "-1+1")
RECORDED = (HTML, FORMULA, "+1", EMOJI, HEBREW, "x" * 200)
REASON = "=1+2 <b>bold</b> 🧬"
JOB = "hostile"


@pytest.fixture(scope="module")
def client():
    store = MemoryStore()
    app = create_app(clock=lambda: NOW, store=store)
    desk = app.extensions[NAME].desk
    schedule = tuple(ScheduledLink(label) for label in (*MISSING, *RECORDED))
    values = {"name": LONG + HTML, "customer": FORMULA, "site": TURNED, "schedule": schedule}
    job_commands.create_job(desk, ANYONE, JOB, values, Terms())
    client = app.test_client()
    for label in RECORDED:
        document = sample("0A-05-split-pair", label=label, job=JOB, notes=f"{HTML}\n{FORMULA}\n{EMOJI}")
        document["ends"] = {"near": {"place": HTML}, "far": {"place": FORMULA}}
        record = sent(client.post("/v1/records", json=document))["record"]["id"]
    good = {**document, **sample("0A-01-clean-pass", label=label, job=JOB)}
    again(client, record, f"retests?reason={REASON.replace('+', '%2B')}", good)
    return client


def file(client, query):
    answer = client.get(f"/v1/jobs/{JOB}/handover?{query}")
    assert answer.status_code == 200, answer.get_json()
    return answer.data


@pytest.mark.parametrize("query", ["", "&language=de&paper=letter"])
def test_a_pdf_shows_it_as_it_is_and_runs_nothing(client, query):
    reader = pypdf.PdfReader(io.BytesIO(file(client, f"format=pdf{query}")))
    text = re.sub(r"\s+", "", "".join(page.extract_text() for page in reader.pages))

    assert HTML in text and FORMULA.replace(" ", "") in text
    assert "[U+1F9EC]" in text
    assert "abc�gnp.exe�" in text
    assert "a�b�c�[31md" in text
    assert "\u202e" not in text and "\x00" not in text
    titles = [mark.title for mark in reader.outline[-1]]
    assert set(titles) >= {HTML, FORMULA, EMOJI, HEBREW}
    assert reader.metadata.title.count("long") < 30
    assert reader.xmp_metadata.dc_title == {"x-default": reader.metadata.title}
    root = reader.trailer["/Root"]
    # Where it opens is a place on the first page, nothing that is run.
    assert root["/OpenAction"][1] == "/FitH" and "/AA" not in root
    assert not any("/Annots" in page for page in reader.pages)


@pytest.mark.parametrize("per_link", ["row", "sheet"])
def test_a_workbook_holds_text_and_no_formula(client, per_link):
    content = file(client, f"format=xlsx&per_link={per_link}")
    book = openpyxl.load_workbook(io.BytesIO(content))
    cells = [cell for sheet in book for row in sheet.iter_rows() for cell in row if cell.value is not None]

    assert {"s", "n", "d", "b", "inlineStr"} >= {cell.data_type for cell in cells}
    texts = {cell.value for cell in cells if isinstance(cell.value, str)}
    assert {HTML, FORMULA, EMOJI, HEBREW, "+1", "-1+1"} <= texts
    assert "abc�gnp.exe�" in texts
    assert any(text.startswith("a�b�c�[31md e") for text in texts)
    assert not any(re.search(r"[\x00-\x08\x0b-\x1f\u202a-\u202e\u2066-\u2069]", text) for text in texts)
    assert max(map(len, texts)) <= 32_767
    with zipfile.ZipFile(io.BytesIO(content)) as parts:
        assert not any("hyperlink" in name.lower() or "external" in name.lower() for name in parts.namelist())
        sheets = [parts.read(name) for name in parts.namelist() if "worksheets/" in name]
    assert all(b"<f>" not in sheet and b"<hyperlink" not in sheet for sheet in sheets)
    assert all(len(name) <= 31 and not re.search(r"[\[\]:*?/\\]", name) for name in book.sheetnames)


@pytest.mark.parametrize("table", ["links", "results"])
def test_a_csv_begins_no_cell_as_a_formula(client, table):
    text = file(client, f"format=csv&table={table}").decode()
    rows = list(csv.DictReader(io.StringIO(text, newline="")))

    labels = {row["label"] for row in rows}
    assert {HTML, f"'{FORMULA}", "'+1", EMOJI, HEBREW} <= labels
    cells = [cell for row in rows for cell in row.values() if cell]
    for cell in cells:
        number = re.fullmatch(r"-?\d+(\.\d+)?(e-?\d+)?", cell)
        assert number or not cell.startswith(("=", "+", "-", "@", "\t", "\r")), cell


def test_an_archive_has_safe_paths_and_the_text_as_it_was(client):
    archive = zipfile.ZipFile(io.BytesIO(file(client, "format=zip")))
    manifest = json.loads(archive.read("manifest.json"))

    assert all(re.fullmatch(r"[A-Za-z0-9._/-]+", name) and ".." not in name for name in archive.namelist())
    assert {link["label"] for link in manifest["links"]} == set(RECORDED)
    assert set(manifest["missing"]) == set(MISSING)
    folder = next(link["folder"] for link in manifest["links"] if link["label"] == HTML)
    assert json.loads(archive.read(f"{folder}/measurement.json"))["notes"] == f"{HTML}\n{FORMULA}\n{EMOJI}"
