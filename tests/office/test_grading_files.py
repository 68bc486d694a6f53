"""Files on the office screen: graded as the interface grades them, refused in words, never kept."""

from __future__ import annotations

import io
import json
import re

import pypdf
import pytest
from werkzeug.datastructures import FileStorage, MultiDict
from werkzeug.test import encode_multipart

from fourpair_service.config import Settings
from fourpair_service.http.measurement_csv import measurement_csv
from fourpair_service.records.keys import Scope
from fourpair_service.rulesets.catalogue import Catalogue
from office.office_screen import LINKS, Markup, Office, form_token, sample

MEASURED = LINKS.parent / "measured"
TOUCHSTONE = [(name, (MEASURED / name).read_bytes()) for name in ("CABLE1_TX_pair.s4p", "CABLE1_RX_pair.s4p")]
BOTH = {"against": "tia-568.2-d-2018|6", "configuration": "permanent_link"}


def part(name, content):
    return FileStorage(io.BytesIO(content if isinstance(content, bytes) else content.encode()), name)


def sent(browser, *files, form="page", query="", **values):
    """Send the form in one piece: the test client would leave its own file of a large one open."""
    token = form_token(browser.text("/office/grade"))
    data = {"files": [part(*file) for file in files], "form": form, "form_token": token, **values}
    boundary, body = encode_multipart(MultiDict(data))
    kind = f"multipart/form-data; boundary={boundary}"
    return browser.client.post(f"/office/grade{query}", data=body, content_type=kind)


def graded_by_the_interface(office, told, files):
    form = {"measurement": json.dumps(told), "sweep": [part(*file) for file in files]}
    boundary, body = encode_multipart(MultiDict(form))
    kind = f"multipart/form-data; boundary={boundary}"
    return office.open.post("/v1/grade", data=body, content_type=kind).get_json()


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


def test_touchstone_files_beside_a_document_are_graded_as_the_interface_does(office):
    told = {
        "configuration": "channel",
        "requirement": {"rule_set": "TIA", "category": "6"},
        "label": "CABLE1",
    }
    told |= {"touchstone": {"pairs": ["12", "36"]}}
    answer = sent(office.browser(), ("cable.json", json.dumps(told)), *TOUCHSTONE)
    graded = graded_by_the_interface(office, told, TOUCHSTONE)

    assert answer.status_code == 200
    assert graded["verdict_digest"] in answer.get_data(as_text=True)


def test_a_table_alone_is_graded_by_what_the_form_says(office):
    table = measurement_csv(sample())
    answer = sent(office.browser(), ("sweeps.CSV", table), **BOTH)
    told = {"configuration": "permanent_link", "requirement": {"rule_set": "TIA", "category": "6"}}
    graded = graded_by_the_interface(office, told, [("sweeps.csv", table)])

    assert answer.status_code == 200
    page = answer.get_data(as_text=True)
    assert graded["verdict_digest"] in page and "INCOMPLETE" in page


def test_the_sheet_comes_as_pdf_in_the_language_of_the_page(office):
    answer = sent(office.browser(), document(), form="pdf", query="?lang=de")
    theirs = office.open.post(
        "/v1/grade?format=pdf&language=de", json=sample("1A-01-bad-far-connector"), headers={"Accept": "*/*"}
    )

    assert answer.mimetype == "application/pdf"
    assert answer.data == theirs.data
    assert "NICHT BESTANDEN" in pypdf.PdfReader(io.BytesIO(answer.data)).pages[0].extract_text()


@pytest.mark.parametrize(
    ("files", "values", "said"),
    [
        ([], {}, "Choose at least one file."),
        ([document(), document()], {}, "Choose one measurement document (.json) at most; 2 were sent."),
        (
            [("a.csv", "frequency_mhz,insertion_loss 12 db\n1,2\n")],
            {},
            "Sweeps without a document need to know",
        ),
        (
            [("a.csv", "frequency_mhz,insertion_loss 12 db\n1,2\n")],
            {"against": "made|up", "configuration": "permanent_link"},
            "Sweeps without a document need to know",
        ),
        ([("a.json", "{")], {}, "This could not be graded"),
        ([("a.json", b"\xff\xfe\x00")], {}, "This could not be graded"),
        ([("a.json", "[]")], {}, "Expected an object"),
        ([("a.json", "3")], BOTH, "Expected an object"),
        ([document(configuration="<img src=x>")], {}, "/configuration"),
        ([document(), ("a.s4p", "nonsense")], {}, "Sweeps stand in the document and in files"),
        ([("a.s4p", b"\x00\x01nonsense")], BOTH, "This could not be graded"),
        ([("a.exe", b"MZ")], BOTH, "This could not be graded"),
        ([document()], {"configuration": "channel"}, "The link was measured as permanent_link"),
        ([document()], {"against": "iso-11801-1-2017|EA"}, "The document asks for"),
    ],
)
def test_what_cannot_be_graded_is_said_beside_the_form(office, files, values, said):
    answer = sent(office.browser(), *files, **values)
    page = Markup(answer.get_data(as_text=True))

    assert answer.status_code in (400, 422)
    assert "This could not be graded" in page.text and said in page.text
    assert "form_token" in answer.get_data(as_text=True), "the form is there again"
    assert "img" not in {tag for tag, _ in page.elements}
    assert "Traceback" not in page.text


def test_what_was_chosen_besides_the_files_stays_chosen(office):
    page = sent(office.browser(), ("a.csv", "nonsense"), **BOTH).get_data(as_text=True)

    assert '<option value="tia-568.2-d-2018|6" selected>' in page
    assert '<option value="permanent_link" selected>' in page


def test_in_german_the_details_of_the_service_are_marked_as_english(office):
    page = sent(office.browser(), ("a.json", "{"), query="?lang=de").get_data(as_text=True)

    assert "Das ließ sich nicht beurteilen" in page
    assert '<p lang="en">' in page or '<ul lang="en">' in page


def test_every_rule_set_and_category_that_has_limits_can_be_chosen(office):
    page = office.browser().text("/office/grade")
    known = {
        f"{rule_set.id}|{name}"
        for rule_set in Catalogue.load()
        if rule_set.gradable
        for name, category in rule_set.categories.items()
        if category.missing is None
    }

    assert set(re.findall(r'<option value="([^"]*[|][^"]*)"', page)) == known


def test_files_that_are_too_large_are_refused_in_words():
    office = Office(Settings(max_body_bytes=4096, max_part_bytes=8192))
    browser = office.browser()
    whole = sent(browser, ("a.json", " " * 20_000))
    one = sent(browser, ("a.json", " " * 5_000))
    page = whole.get_data(as_text=True)

    assert (whole.status_code, one.status_code) == (413, 413)
    assert "The files are too large" in page
    assert "4096 bytes" in one.get_data(as_text=True)


def test_a_key_that_only_reads_can_grade_nothing(office):
    key, other = office.key("reader", Scope.READ), office.key("grader", Scope.GRADE)
    reader, grader = office.browser(key), office.browser(other)

    assert reader.post("/office", "/office/grade", {}).status_code == 403
    assert sent(grader, document()).status_code == 200


def test_names_and_values_of_hostile_files_stay_text(office):
    name = "<script>alert(1)</script>.json"
    answer = sent(office.browser(), (name, json.dumps(sample(label="<script>alert(2)</script>"))))
    refused = sent(office.browser(), (name, '{"<script>alert(3)</script>": "<script>alert(4)</script>"}'))

    for page in (answer, refused):
        scripts = [a for tag, a in Markup(page.get_data(as_text=True)).elements if tag == "script"]
        assert [a.get("src") for a in scripts] == ["/office/files/office.js"]
    assert "&lt;script&gt;alert(2)" in answer.get_data(as_text=True)
