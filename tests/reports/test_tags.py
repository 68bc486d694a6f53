"""The structure of a PDF says what each part is, covers everything that is written, and nothing twice.

The rules are those of ISO 32000-1, 14.6 to 14.8, and of ISO 14289-1 (PDF/UA) where it asks more: all
content is tagged or a decoration, figures have a text in their place, heads of tables a scope.
"""

from __future__ import annotations

import io
import json
import subprocess

import pypdf
import pytest

from fourpair_service.reports.sheet.pdf import sheet_pdf
from fourpair_service.reports.sheet.receipt import receipt_pdf
from reports.sheets import LINKS, ROOT, answer_of, sheet_of
from reports.structure_reading import elements_of, marks_of, numbers_in

MEASURED = [*LINKS, ROOT / "samples/measured/cable1.json", ROOT / "samples/ports/reception-desk.json"]
CELLS = ["/TH", "/TD"]


@pytest.fixture(scope="module")
def papers():
    sheets = {path.stem: sheet_of(answer_of(json.loads(path.read_bytes()))) for path in MEASURED}
    return {
        name: (sheet, sheet_pdf(sheet), receipt_pdf(sheet, "See the sheet."))
        for name, sheet in sheets.items()
    }


def reader_of(content):
    return pypdf.PdfReader(io.BytesIO(content))


@pytest.mark.parametrize("name", [path.stem for path in MEASURED])
def test_everything_on_the_page_belongs_to_one_part_and_parts_are_read_in_order(papers, name):
    for content in papers[name][1:]:
        reader = reader_of(content)
        marks = marks_of(reader.pages[0], reader)

        assert reader.trailer["/Root"]["/MarkInfo"]["/Marked"]
        assert marks == list(range(len(marks)))
        assert [n for element, _ in elements_of(reader) for n in numbers_in(element)] == marks


def test_each_part_is_found_from_its_mark_and_knows_its_parent_and_page(papers):
    for _, *contents in papers.values():
        for content in contents:
            reader = reader_of(content)
            page = reader.pages[0]
            parent_tree = reader.trailer["/Root"]["/StructTreeRoot"]["/ParentTree"]["/Nums"]
            found = dict(zip(parent_tree[::2], parent_tree[1::2], strict=True))[page["/StructParents"]]

            for number, element in enumerate(found):
                assert numbers_in(element.get_object()) == [number]
                assert element.get_object().raw_get("/Pg") == page.indirect_reference
            for element, parent in elements_of(reader):
                assert element["/P"].get_object() == parent


@pytest.mark.parametrize("name", [path.stem for path in MEASURED])
def test_pictures_have_words_in_their_place_and_the_table_its_heads(papers, name):
    sheet, content, _ = papers[name]
    elements = list(elements_of(reader_of(content)))
    figures = [e for e, _ in elements if e["/S"] == "/Figure"]
    rows = [e for e, _ in elements if e["/S"] == "/TR"]

    drawn = [p for p in (sheet.wires, sheet.run, *sheet.margins) if p is not None]
    assert [f["/Alt"] for f in figures] == [f"{p.title}. {p.description}" for p in drawn]
    assert [e["/S"] for e, _ in elements].count("/H1") == 1
    assert len(rows) == len(sheet.rows) + 1
    for number, row in enumerate(rows):
        cells = [kid.get_object() for kid in row["/K"]]
        heads = [cell["/A"]["/Scope"] for cell in cells if cell["/S"] == "/TH"]
        assert len(cells) == len(sheet.columns) and {cell["/S"] for cell in cells} <= set(CELLS)
        assert heads == (["/Column"] * len(cells) if number == 0 else ["/Row"])


@pytest.mark.second_reader
def test_another_program_reads_the_headings_and_the_words_of_a_broken_line(papers, tmp_path):
    sheet, content, _ = papers["1A-01-bad-far-connector"]
    (tmp_path / "sheet.pdf").write_bytes(content)
    told = subprocess.run(
        ["pdfinfo", "-struct-text", tmp_path / "sheet.pdf"], check=True, capture_output=True, timeout=60
    )
    text = told.stdout.decode()

    assert not told.stderr
    for said in (
        sheet.label,
        sheet.outcome_text,
        *(a.question for a in sheet.answers),
        *(a.text for a in sheet.answers),
    ):
        assert f'"{said}"' in text
