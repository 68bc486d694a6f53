"""The structure of a handover's PDF: one tree over the front and all sheets, whatever parts it was made in.

The rules are those of ISO 32000-1, 14.6 to 14.8, and of ISO 14289-1 (PDF/UA) where it asks more: all
content is tagged or a decoration, levels of headings are not skipped, figures have a text in their place.
"""

from __future__ import annotations

import io
import re
import subprocess
from collections import Counter
from itertools import pairwise

import pikepdf
import pypdf
import pytest

from fourpair_service.app import create_app
from fourpair_service.reports.handover import pdf
from handover.job import IN_ORDER, JOB, NAME, TESTED, sample, sent
from handover.test_pdf import HEADINGS
from reports.structure_reading import elements_of, kids_of, marks_of, numbers_in, walked

LONG_LINKS = 400


@pytest.fixture(scope="module")
def reader(papers):
    return papers.pdf()


def papers_of(schedule, *documents):
    """The handover of another job."""
    client = create_app(store=None).test_client()
    sent(client.post("/v1/jobs", json={"id": "other", "name": "Other", "schedule": schedule}))
    for document in documents:
        sent(client.post("/v1/records", json={**document, "job": "other"}))
    return client.get("/v1/jobs/other/handover?format=pdf").data


@pytest.fixture(scope="module")
def long_job():
    """A handover whose lists of links go on over several pages."""
    return papers_of([{"label": f"A{number}"} for number in range(1, LONG_LINKS + 1)])


def below(element, role):
    """All elements of a role within one, that one too."""
    return [each for each in walked(element) if each["/S"] == role]


def sections_of(reader):
    return kids_of(next(elements_of(reader))[0])


def lists_of(reader):
    """The elements that each page leads to, by the number of the page in the tree of parents."""
    found = {}
    for leaf in kids_of({"/K": reader.trailer["/Root"]["/StructTreeRoot"]["/ParentTree"]["/Kids"]}):
        numbers = leaf["/Nums"][::2]
        assert list(leaf["/Limits"]) == [numbers[0], numbers[-1]]
        found |= dict(zip(numbers, leaf["/Nums"][1::2], strict=True))
    return {number: found[number].get_object() for number in found}


def told(content, tmp_path, how):
    """What another program reads of the structure."""
    (tmp_path / "handover.pdf").write_bytes(content)
    command = ["pdfinfo", how, tmp_path / "handover.pdf"]
    answer = subprocess.run(command, check=True, capture_output=True, timeout=60)
    assert not answer.stderr
    return answer.stdout.decode()


def headings_in(text):
    """Level and words of each heading, in the order in which they are read."""
    found = re.findall(r'^ *H(\d) \(block\)\n((?: *".*"\n)+)', text, re.MULTILINE)
    return [(int(level), " ".join(re.findall(r'"(.*)"\n', words))) for level, words in found]


def test_one_tree_holds_a_section_for_each_part_of_the_front_and_for_each_sheet(reader):
    root = reader.trailer["/Root"]

    (document,) = kids_of(root["/StructTreeRoot"])
    assert root["/MarkInfo"]["/Marked"] and root["/Lang"] == "en"
    assert root["/ViewerPreferences"]["/DisplayDocTitle"] and reader.metadata.title.endswith(NAME)
    assert document["/S"] == "/Document"
    assert [each["/S"] for each in kids_of(document)] == ["/Sect"] * (1 + len(HEADINGS) + len(TESTED))


def test_everything_on_every_page_belongs_to_one_element_that_knows_its_page_and_its_parent(reader):
    lists = lists_of(reader)
    seen = 0
    for number, page in enumerate(reader.pages):
        marks = marks_of(page, reader)
        elements = [element.get_object() for element in lists[page["/StructParents"]]]

        assert page["/StructParents"] == number
        assert marks == list(range(len(marks))) and marks
        assert [numbers_in(element) for element in elements] == [[mark] for mark in marks]
        assert {element.raw_get("/Pg") for element in elements} == {page.indirect_reference}
        seen += len(marks)
    assert len(lists) == len(reader.pages)
    for element, parent in elements_of(reader):
        assert element["/P"].get_object() == parent
        seen -= len(numbers_in(element))
    assert seen == 0


def test_a_part_is_read_in_the_order_in_which_it_is_drawn(reader):
    page_numbers = {page.indirect_reference.idnum: number for number, page in enumerate(reader.pages)}
    read = [
        (page_numbers[each.raw_get("/Pg").idnum], number)
        for section in sections_of(reader)
        for each in walked(section)
        for number in numbers_in(each)
    ]
    assert read == sorted(set(read))
    assert {page for page, _ in read} == set(page_numbers.values())


@pytest.mark.second_reader
def test_another_program_hears_the_headings_as_levels_of_one_document(tmp_path):
    bad = sample("1A-01-bad-far-connector", label="A2")
    good = sample("0A-01-clean-pass", label="A10")
    found = headings_in(told(papers_of([{"label": "A3"}], bad, good), tmp_path, "-struct-text"))

    levels = [level for level, _ in found]
    assert found[0] == (1, "Other") and levels.count(1) == 1
    assert all(after - before <= 1 for before, after in pairwise(levels))
    parts = [words for level, words in found if level == 2]
    assert [words for words in parts if words in HEADINGS] == list(HEADINGS)
    assert parts[-2:] == ["A2", "A10"]
    groups = [words for level, words in found if level == 3]
    assert groups[:2] == ["Must be redone (1)", "Not tested yet (1)"]
    assert "Is the cable sound?" in groups
    assert [words for level, words in found if level == 4] == ["A2"]


@pytest.mark.second_reader
def test_another_program_finds_every_element(papers, reader, tmp_path):
    text = told(papers.file("format=pdf"), tmp_path, "-struct")

    expected = Counter(element["/S"].removeprefix("/") for element, _ in elements_of(reader))
    assert Counter(re.findall(r"^ *(\w+)(?: \(|:|$)", text, re.MULTILINE)) == expected


def test_tables_have_a_head_for_each_column_and_a_label_at_each_row(reader):
    _, picture, table, *_ = sections = sections_of(reader)

    assert len(below(picture, "/LI")) == len(IN_ORDER)
    heads, *rows = below(table, "/TR")
    scopes = [cell["/A"]["/Scope"] for cell in kids_of(heads)]
    assert set(scopes) == {"/Column"} and len(rows) == len(IN_ORDER)
    for row in rows:
        cells = kids_of(row)
        assert len(cells) == len(scopes)
        assert [cell["/S"] for cell in cells].count("/TH") == 1
        assert next(cell for cell in cells if cell["/S"] == "/TH")["/A"]["/Scope"] == "/Row"
    for section in sections[1 + len(HEADINGS) :]:
        assert len(below(section, "/Table")) == 1 and len(below(section, "/TR")) > 1


def test_the_pictures_of_a_sheet_have_the_words_that_the_sheet_alone_gives_them(reader, papers):
    sections = dict(zip(TESTED, sections_of(reader)[1 + len(HEADINGS) :], strict=True))
    for label, section in sections.items():
        record = papers.records()[label]["id"]
        alone = pypdf.PdfReader(io.BytesIO(papers.client.get(f"/v1/records/{record}/sheet?format=pdf").data))
        expected = [element["/Alt"] for element, _ in elements_of(alone) if element["/S"] == "/Figure"]
        figures = below(section, "/Figure")

        assert [figure["/Alt"] for figure in figures] == expected
        assert expected or label == "C1"


def test_what_repeats_on_the_next_page_is_read_once(long_job):
    reader = pypdf.PdfReader(io.BytesIO(long_job))
    _, picture, table, *_ = sections_of(reader)

    assert sum("All links\n" in page.extract_text() for page in reader.pages) > 2
    for section in (picture, table):
        assert len(below(section, "/H2")) == 1
        assert len({each.raw_get("/Pg").idnum for each in walked(section) if numbers_in(each)}) > 1
    assert len(below(picture, "/L")) == len(below(table, "/Table")) == 1
    assert len(below(picture, "/LI")) == LONG_LINKS
    assert len(below(table, "/TR")) == 1 + LONG_LINKS
    for page in reader.pages:
        marks_of(page, reader)


def test_parts_that_are_put_together_have_the_structure_of_the_whole(papers, reader, monkeypatch):
    monkeypatch.setattr(pdf, "PART_PAGES", 3)
    answer = papers.client.get(f"/v1/jobs/{JOB}/handover?format=pdf")
    parts = pypdf.PdfReader(io.BytesIO(answer.data))

    assert list(_said(parts)) == list(_said(reader))


def _said(reader):
    numbers = {page.indirect_reference.idnum: number for number, page in enumerate(reader.pages)}
    for element, _ in elements_of(reader):
        held = numbers_in(element) or len(element["/K"])
        page = numbers[element.raw_get("/Pg").idnum] if "/Pg" in element else None
        yield element["/S"], held, page, element.get("/Alt"), element.get("/A")


def test_a_third_program_finds_nothing_wrong_with_the_file(papers, long_job):
    for content in (papers.file("format=pdf"), long_job):
        with pikepdf.open(io.BytesIO(content)) as found:
            assert found.check_pdf_syntax() == []
            objects = [each for each in found.objects if isinstance(each, pikepdf.Dictionary)]
            elements = [each for each in objects if each.get("/Type") == "/StructElem"]
            assert elements and all(each.P.objgen[0] for each in elements)


def test_an_object_that_was_there_is_the_newer_one_and_the_rest_stays(papers):
    content = papers.file("format=pdf")
    older = (
        content[: content.index(b"startxref")] + content[content.index(b"startxref") :].partition(b"%%EOF")[0]
    )
    with pikepdf.open(io.BytesIO(older + b"%%EOF\n")) as before, pikepdf.open(io.BytesIO(content)) as after:
        assert "/K" not in before.Root.StructTreeRoot and "/K" in after.Root.StructTreeRoot
        assert before.Root.objgen == after.Root.objgen
        assert before.trailer.ID[0] == after.trailer.ID[0] != after.trailer.ID[1]
        for one, other in zip(before.pages, after.pages, strict=True):
            assert one.Contents.read_raw_bytes() == other.Contents.read_raw_bytes()
