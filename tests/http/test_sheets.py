"""Link sheets over HTTP: forms, languages, headers, and that the kept verdict is what is shown."""

from __future__ import annotations

import io
import json
import shutil
import subprocess
from datetime import UTC, datetime
from pathlib import Path

import pypdf
import pytest
from PIL import Image

from fourpair_service.app import create_app
from fourpair_service.reports.sheet.html import sheet_html
from fourpair_service.storage.sqlite import SqliteStore
from reports.sheets import LINKS, answer_of, sheet_of

ROOT = Path(__file__).resolve().parents[2]
JOB = "alder-row-clinic"
BROWSER = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
FULLEST = ("0A-05-split-pair", "0A-08-open-pair", "1A-08-screened-class-ea")


def sample(name="1A-01-bad-far-connector", **changes):
    return {**json.loads((ROOT / "samples" / "links" / f"{name}.json").read_bytes()), **changes}


@pytest.fixture
def app(tmp_path):
    store = SqliteStore(tmp_path / "records.db")
    yield create_app(clock=lambda: datetime(2026, 12, 1, tzinfo=UTC), store=store)
    store.close()


@pytest.fixture
def client(app):
    client = app.test_client()
    body = {"id": JOB, "name": "Clinic <1>", "customer": "Alder Row", "site": "Row 4"}
    assert client.post("/v1/jobs", json=body).status_code == 201
    return client


@pytest.fixture
def record(client):
    made = client.post("/v1/records", json=sample())
    assert made.status_code == 201, made.get_json()
    return made.get_json()["record"]


def words_of(response):
    assert response.status_code == 200, response.get_json()
    return pypdf.PdfReader(io.BytesIO(response.data)).pages[0].extract_text()


def test_a_record_has_a_sheet_with_its_provenance(client, record):
    page = client.get(f"/v1/records/{record['id']}/sheet")
    text = page.get_data(as_text=True)

    assert page.content_type == "text/html; charset=utf-8"
    assert "Clinic &lt;1&gt;" in text and "Alder Row" in text and "Row 4" in text
    assert record["id"] in text
    verdict = client.get(f"/v1/records/{record['id']}/verdict").get_json()
    revision = client.get(f"/v1/records/{record['id']}/revisions/1").get_json()
    assert revision["verdict_digest"] in text
    worst = next(p for p in verdict["parameters"] if p["outcome"] == "fail")["worst_margin"]
    assert f"<td>{worst['margin_db']:.2f}</td>" in text
    assert "As it is now, up to 1 Gbit/s: 10BASE-T" in text


def test_a_sheet_runs_nothing_and_asks_nobody(client, record):
    page = client.get(f"/v1/records/{record['id']}/sheet")

    policy = page.headers["Content-Security-Policy"]
    assert policy.startswith("default-src 'none'; style-src 'sha256-")
    assert "unsafe" not in policy
    assert "http:" not in page.get_data(as_text=True).replace("http://www.w3.org/2000/svg", "")


@pytest.mark.parametrize(
    ("accept", "kind"),
    [("application/pdf", "application/pdf"), ("text/plain", "text/plain"), ("text/html", "text/html")],
)
def test_the_accept_header_chooses_the_form(client, record, accept, kind):
    answer = client.get(f"/v1/records/{record['id']}/sheet", headers={"Accept": accept})
    graded = client.post("/v1/grade", json=sample(), headers={"Accept": accept})

    assert answer.mimetype == graded.mimetype == kind
    assert "Accept" in answer.headers["Vary"]


def test_grading_answers_json_unless_a_sheet_is_asked_for(client):
    assert client.post("/v1/grade", json=sample()).mimetype == "application/json"
    anything = client.post("/v1/grade", json=sample(), headers={"Accept": "*/*"})
    assert anything.mimetype == "application/json"
    forced = client.post("/v1/grade?format=json", json=sample(), headers={"Accept": "text/html"})
    assert forced.mimetype == "application/json"


def test_no_other_form_is_given(client, record):
    answer = client.get(f"/v1/records/{record['id']}/sheet", headers={"Accept": "image/png"})

    assert answer.status_code == 406


def test_a_sheet_in_german_feet_and_letter(client, record):
    query = "format=pdf&language=de&length_unit=ft&paper=letter"
    answer = client.get(f"/v1/records/{record['id']}/sheet?{query}")
    words = words_of(answer)

    assert answer.headers["Content-Language"] == "de"
    assert "NICHT BESTANDEN" in words and "Länge (ft)" in words
    box = pypdf.PdfReader(io.BytesIO(answer.data)).pages[0].mediabox
    assert [round(float(x)) for x in (box.width, box.height)] == [612, 792]


def test_the_receipt_has_the_answers_and_no_table(client, record):
    text = client.get(f"/v1/records/{record['id']}/sheet?extent=receipt&format=text").get_data(as_text=True)

    assert "What must be done?" in text
    assert "ACR-N" not in text
    assert "What must be done?" in words_of(
        client.get(f"/v1/records/{record['id']}/sheet?extent=receipt&format=pdf")
    )
    refused = client.get(f"/v1/records/{record['id']}/sheet?extent=receipt&format=html")
    assert refused.status_code == 422
    assert refused.get_json()["errors"][0]["pointer"] == "/query/extent"


@pytest.mark.parametrize("picture", ["wires", "run", "margin-next"])
def test_each_picture_comes_alone(client, record, picture):
    answer = client.get(f"/v1/records/{record['id']}/sheet?format=svg&picture={picture}")

    assert answer.mimetype == "image/svg+xml"
    assert answer.data.startswith(b"<?xml")


def test_a_picture_comes_as_png_of_the_width_asked_for(client, record):
    url = f"/v1/records/{record['id']}/sheet?picture=margin-next"
    answer = client.get(f"{url}&format=png&width_px=480&language=de")
    image = Image.open(io.BytesIO(answer.data))

    assert answer.content_type == "image/png"
    assert image.size[0] == 480
    assert image.text["Title"] == "NEXT"
    assert answer.data == client.get(f"{url}&format=png&width_px=480&language=de").data
    assert Image.open(io.BytesIO(client.get(f"{url}&format=png").data)).size[0] == 1000
    graded = client.post("/v1/grade?format=png&picture=margin-next&width_px=480&language=de", json=sample())
    assert graded.data == answer.data


def test_the_accept_header_chooses_the_kind_of_a_picture(client, record):
    url = f"/v1/records/{record['id']}/sheet?picture=wires"

    assert client.get(url).mimetype == "image/svg+xml"
    assert client.get(url, headers={"Accept": "image/png"}).mimetype == "image/png"
    assert client.get(url, headers={"Accept": "image/webp,image/png;q=0.9,*/*;q=0.1"}).mimetype == "image/png"
    assert client.get(url, headers={"Accept": "application/pdf"}).status_code == 406
    posted = client.post("/v1/grade?picture=wires", json=sample(), headers={"Accept": "image/png"})
    assert posted.mimetype == "image/png"


@pytest.mark.parametrize(
    ("query", "pointer"),
    [
        ("format=png", "/query/picture"),
        ("format=png&picture=nothing", "/query/picture"),
        ("format=png&picture=wires&width_px=99", "/query/width_px"),
        ("format=png&picture=wires&width_px=4001", "/query/width_px"),
        ("format=png&picture=wires&width_px=1e3", "/query/width_px"),
        ("format=svg&picture=wires&width_px=500", "/query/width_px"),
        ("format=pdf&width_px=500", "/query/width_px"),
    ],
)
def test_a_png_that_cannot_be_had_says_why(client, record, query, pointer):
    answers = [
        client.get(f"/v1/records/{record['id']}/sheet?{query}"),
        client.post(f"/v1/grade?{query}", json=sample()),
    ]

    for answer in answers:
        assert answer.status_code == 422
        assert answer.get_json()["errors"][0]["pointer"] == pointer


def test_a_picture_that_there_is_not_says_which_there_are(client, record):
    answer = client.get(f"/v1/records/{record['id']}/sheet?format=svg&picture=margin-fext")
    none = client.get(f"/v1/records/{record['id']}/sheet?format=svg")

    assert answer.status_code == none.status_code == 422
    assert "margin-next" in answer.get_json()["errors"][0]["detail"]


def test_the_same_revision_gives_the_same_bytes_and_is_known_again(client, record):
    first = client.get(f"/v1/records/{record['id']}/sheet?format=pdf")
    second = client.get(f"/v1/records/{record['id']}/sheet?format=pdf")
    tag = {"If-None-Match": first.headers["ETag"]}

    assert first.data == second.data
    assert client.get(f"/v1/records/{record['id']}/sheet?format=pdf", headers=tag).status_code == 304


def test_a_kept_link_carries_on_its_sheet_what_it_carries_with_the_cords_of_its_job(client):
    def carried(answer):
        text = answer.get_data(as_text=True)
        return text[text.index("What will it carry?") : text.index("What must be done?")]

    patch = {"cords": {"near_m": 60}}
    assert client.patch(f"/v1/jobs/{JOB}", json=patch, headers={"If-Match": "*"}).status_code == 200
    document = sample("0A-01-clean-pass")
    made = client.post("/v1/records", json=document)
    assert made.status_code == 201, made.get_json()

    kept = carried(client.get(f"{made.headers['Location']}/sheet?format=text"))
    alone = carried(client.post("/v1/grade?format=text", json=document))
    assert kept == carried(client.post("/v1/grade?format=text", json={**document, **patch})) != alone


def test_an_older_revision_keeps_its_sheet_and_a_withdrawn_one_says_so(client, record):
    url = f"/v1/records/{record['id']}"
    before = client.get(f"{url}/sheet?format=text").get_data(as_text=True)
    headers = {"If-Match": client.get(url).headers["ETag"]}
    again = client.post(f"{url}/retests", json=sample("0A-01-clean-pass", label="1A-01"), headers=headers)
    assert again.status_code in (200, 201), again.get_json()

    now = client.get(f"{url}/sheet?format=text").get_data(as_text=True)
    then = client.get(f"{url}/sheet?format=text&as_of={record['seq']}").get_data(as_text=True)
    assert now.startswith("1A-01: PASS")
    assert then.startswith("1A-01: FAIL")
    assert [line for line in then.splitlines() if "feed" not in line] == [
        line for line in before.splitlines() if "feed" not in line
    ]

    headers = {"If-Match": client.get(url).headers["ETag"]}
    assert client.post(f"{url}/withdrawal", json={"reason": "demolished"}, headers=headers).status_code == 200
    assert "WITHDRAWN" in client.get(f"{url}/sheet?format=text").get_data(as_text=True)


def test_there_is_no_sheet_of_a_record_that_there_is_not(client):
    assert client.get("/v1/records/nothing/sheet").status_code == 404


def test_a_summary_has_a_sheet_without_curves(client):
    answer = client.post("/v1/grade?format=html", json=sample("2A-03-summary-only"))

    assert answer.status_code == 200
    assert "margin-next" not in answer.get_data(as_text=True)


def printed(page, folder, size):
    source, target = folder / "page.html", folder / "page.pdf"
    source.write_text(page.replace("@page {", f"@page {{ size: {size};"), encoding="utf-8")
    options = ("--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--no-pdf-header-footer")
    command = [BROWSER, *options, f"--user-data-dir={folder / 'profile'}", f"--print-to-pdf={target}"]
    subprocess.run([*command, source.as_uri()], check=True, capture_output=True, timeout=120)
    return pypdf.PdfReader(target)


@pytest.mark.browser
@pytest.mark.parametrize("size", ["a4", "letter"])
@pytest.mark.parametrize("name", FULLEST)
def test_a_browser_prints_the_fullest_sheets_on_one_page(tmp_path, name, size):
    path = next(path for path in LINKS if path.stem == name)
    page = sheet_html(sheet_of(answer_of(json.loads(path.read_bytes()))))

    reader = printed(page, tmp_path, size)
    assert len(reader.pages) == 1
    assert round(float(reader.pages[0].mediabox.width)) == {"a4": 595, "letter": 612}[size]
