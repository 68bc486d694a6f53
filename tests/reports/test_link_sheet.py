"""What is on paper is what the verdict says, in every form and language, on one page."""

from __future__ import annotations

import io
import json
import re
from xml.etree import ElementTree

import pypdf
import pytest

from fourpair_service.reports.language import LengthUnit, Tongue
from fourpair_service.reports.paper import PaperSize
from fourpair_service.reports.sheet.html import sheet_html
from fourpair_service.reports.sheet.pdf import sheet_pdf
from fourpair_service.reports.sheet.plain import receipt_text, sheet_text
from fourpair_service.reports.sheet.receipt import receipt_pdf
from reports.sheets import LINKS, ROOT, answer_of, sheet_of

MEASURED = [*LINKS, ROOT / "samples" / "measured" / "cable1.json"]
FEET = 3.280839895
HOSTILE = {
    "markup": "<script>alert(1)</script><img src=x onerror=alert(2)>",
    "entity": "{{ 7 * 7 }} {% raw %} &lt;b&gt;",
    "formula": '=HYPERLINK("http://evil.example","x")',
    "turned": "left\u200f\u200eright",
    "hebrew": "\u05e9\u05dc\u05d5\u05dd abc",
    "emoji": "room \U0001f600\U0001f9ec 1",
    "long": "W" * 190,
    "hyphens": "un\u00adbro\u00adken " * 20,
    "braces": "{0.__class__} {label} %s %(x)d",
}


@pytest.fixture(scope="module")
def graded_samples():
    return {path.stem: answer_of(json.loads(path.read_bytes())) for path in MEASURED}


def pdf_of(content):
    return pypdf.PdfReader(io.BytesIO(content))


def pdf_words(content):
    return "\n".join(page.extract_text() for page in pdf_of(content).pages)


def two_decimals(value):
    return f"{value:.2f}" if abs(value) < 10 else f"{value:.1f}"


def numbers_of(verdict):
    """Every number of the table of numbers, as it must stand on paper, parameter by parameter."""
    for result in verdict["parameters"]:
        point = result["worst_margin"]
        if point is not None:
            fields = ("margin", "measured", "limit")
            values = [point[f"{field}_{result['unit']}"] for field in fields]
            yield result["title"], [two_decimals(value) for value in values if value is not None]


def html_rows(page):
    rows = re.findall(r"<tr[^>]*>(.*?)</tr>", page)
    return [re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row) for row in rows][1:]


@pytest.mark.parametrize("name", [path.stem for path in MEASURED])
def test_the_numbers_in_the_pdf_are_those_of_the_verdict(graded_samples, name):
    found = graded_samples[name]
    words = pdf_words(sheet_pdf(sheet_of(found))).split("The numbers", 1)[1].split()

    at = 0
    for title, numbers in numbers_of(found.answer["verdict"]):
        for number in numbers:
            assert number in words[at:], (title, number)
            at += words[at:].index(number) + 1


@pytest.mark.parametrize("name", [path.stem for path in MEASURED])
def test_the_numbers_in_the_page_are_those_of_the_verdict(graded_samples, name):
    found = graded_samples[name]
    rows = html_rows(sheet_html(sheet_of(found)))
    verdict = found.answer["verdict"]

    assert len(rows) == len(verdict["parameters"])
    for row, result in zip(rows, verdict["parameters"], strict=True):
        point, unit = result["worst_margin"], result["unit"]
        told = ["–" if point is None or point[f"{f}_{unit}"] is None else two_decimals(point[f"{f}_{unit}"])  # noqa: RUF001
                for f in ("margin", "measured", "limit")]  # fmt: skip
        assert row[3:6] == told
        assert row[2] == {None: "shown", "marginal_pass": "pass*", "marginal_fail": "fail*"}.get(
            result["outcome"], result["outcome"]
        )


def test_feet_and_a_decimal_comma_change_how_a_number_is_written_and_nothing_else(graded_samples):
    found = graded_samples["1A-02-too-long"]
    length = next(p for p in found.answer["verdict"]["parameters"] if p["parameter"] == "length")
    in_feet = html_rows(sheet_html(sheet_of(found, length_unit=LengthUnit.FEET)))
    german = html_rows(sheet_html(sheet_of(found, Tongue.GERMAN)))

    measured = length["worst_margin"]["measured_m"]
    assert in_feet[0][0] == "Length (ft)"
    assert float(in_feet[0][4]) == pytest.approx(measured * FEET, abs=0.05)
    assert german[0][4].replace(",", ".") == two_decimals(measured)


@pytest.mark.parametrize("size", PaperSize)
@pytest.mark.parametrize("tongue", Tongue)
@pytest.mark.parametrize("name", [path.stem for path in MEASURED])
def test_a_sheet_is_one_page_and_ends_above_its_footer(graded_samples, name, tongue, size):
    sheet = sheet_of(graded_samples[name], tongue)
    reader = pdf_of(sheet_pdf(sheet, size))

    assert len(reader.pages) == 1
    assert reader.metadata.title == sheet.title
    assert reader.trailer["/Root"]["/Lang"] == tongue
    # Nothing of the table may reach the rule above the footer, 26 mm from the lower edge.
    lowest = {}

    def see(text, _, matrix, *rest):
        if text.strip():
            lowest[text.strip()] = matrix[5]

    reader.pages[0].extract_text(visitor_text=see)
    last = sheet.rows[-1].cells[0]
    assert any(last in text for text in lowest)
    assert min(y for text, y in lowest.items() if last in text) > 26 * 72 / 25.4


def test_the_same_sheet_gives_the_same_bytes(graded_samples):
    found = graded_samples["1A-01-bad-far-connector"]

    assert sheet_pdf(sheet_of(found)) == sheet_pdf(sheet_of(found))
    assert receipt_pdf(sheet_of(found), "") == receipt_pdf(sheet_of(found), "")
    assert sheet_html(sheet_of(found)) == sheet_html(sheet_of(found))


@pytest.mark.parametrize("name", [path.stem for path in MEASURED])
def test_a_page_answers_whether_it_is_fine_what_it_runs_and_what_to_do(graded_samples, name):
    found = graded_samples[name]
    sheet = sheet_of(found)
    sound, above, carries, to_do = sheet.answers
    verdict = found.answer["verdict"]

    begins = {"pass": "Yes.", "marginal_pass": "Yes, just.", "marginal_fail": "Not proven.", "fail": "No."}
    assert sound.text.startswith(begins.get(verdict["outcome"], "Not known yet."))
    supported = [
        a["application"]
        for a in found.answer["assessment"]["applications"]["applications"]
        if a["state"] == "supported"
    ]
    assert all(application in carries.text for application in supported)
    assert to_do.text
    assert (verdict["headroom_db"] is None) == (
        "dB inside" not in above.text and "dB outside" not in above.text
    )
    if verdict["provisional"]:
        assert sheet.notices[0].startswith("Provisional.")


def test_the_receipt_is_half_a_page_with_the_same_answers(graded_samples):
    for found in graded_samples.values():
        sheet = sheet_of(found)
        page = pdf_of(receipt_pdf(sheet, "See the sheet.")).pages[0]

        assert float(page.mediabox.height) == pytest.approx(297 / 2 * 72 / 25.4, abs=0.1)
        said = " ".join(page.extract_text().split())
        assert sheet.answers[0].text in said
        assert "See the sheet." in said
        assert sheet.answers[0].text in receipt_text(sheet, "See the sheet.")


def hostile_document():
    document = json.loads(LINKS[0].read_bytes())
    document["label"] = HOSTILE["markup"]
    document["tested_by"] = HOSTILE["formula"]
    document["instrument"]["units"] = [{"end": "near", "serial": HOSTILE["hyphens"][:60]}]
    document["ends"] = {"near": {"place": HOSTILE["hebrew"]}, "far": {"place": HOSTILE["emoji"]}}
    document["cable"] = {**document["cable"], "maker": HOSTILE["entity"], "part": HOSTILE["turned"]}
    document["instrument"]["kind"] = HOSTILE["braces"]
    return document


def test_text_from_outside_stays_text_in_html():
    found = answer_of(hostile_document())
    page = sheet_html(sheet_of(found, notes=HOSTILE["long"] * 60))

    assert "<script" not in page and "<img" not in page and " onerror=" not in re.sub(r">[^<]*<", "><", page)
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in page
    assert "{{ 7 * 7 }}" in page
    assert "\u200f" not in page
    assert "\u05e9\u05dc\u05d5\u05dd" in page and "\U0001f600" in page
    pictures = re.findall(r"<svg.*?</svg>", page, re.S)
    assert pictures
    for picture in pictures:
        ElementTree.fromstring(picture)


def test_text_from_outside_stays_text_in_pdf_and_fits():
    found = answer_of(hostile_document())
    sheet = sheet_of(found, notes=HOSTILE["long"] * 60)
    reader = pdf_of(sheet_pdf(sheet))
    said = reader.pages[0].extract_text()

    assert len(reader.pages) == 1
    assert "<script>alert(1)</script><img" in said
    assert '=HYPERLINK("http://evil.example","x")'[:30] in said
    assert "[U+1F9EC]" in said and "\U0001f600" in said
    assert "/JavaScript" not in str(reader.trailer["/Root"])
    assert sheet_text(sheet).count("\n") < 120


def test_a_picture_says_in_words_what_it_shows(graded_samples):
    sheet = sheet_of(graded_samples["0A-08-open-pair"])

    assert "Wires 4 and 5 do not reach the far end (open)." in sheet.wires.description
    assert sheet.run.description
    assert all(re.search(r"margin -?\d", picture.description) for picture in sheet.margins)
