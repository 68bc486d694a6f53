"""Workbooks and CSV of a handover, read back by openpyxl and csv: numbers, order, heads, filters, marks."""

from __future__ import annotations

import csv
import io
import textwrap
import zipfile
from datetime import datetime

import openpyxl
import pytest

from fourpair_service.app import create_app
from fourpair_service.reports.handover.worksheet import sheet_name
from handover.job import IN_ORDER, JOB, MISSING, NAME, NOW, RETESTED, TESTED, sample, sent

UNITS = {"db": "dB", "ns": "ns", "m": "m", "ohm": "Ω"}


@pytest.fixture
def workbook(papers):
    def read(query="format=xlsx"):
        return openpyxl.load_workbook(io.BytesIO(papers.file(query)))

    return read


def rows(sheet, top=1):
    """Return the rows below the heads as objects."""
    heads, *found = sheet.iter_rows(min_row=top, values_only=True)
    return [dict(zip(heads, row, strict=True)) for row in found]


def table(papers, query):
    text = papers.file(query).decode()
    return list(csv.DictReader(io.StringIO(text, newline="")))


def test_all_links_stand_in_a_row_each_in_label_order_with_their_numbers(workbook, papers):
    found = rows(workbook()["All links"])

    assert [row["Link"] for row in found] == list(IN_ORDER)
    for row in found:
        if row["Link"] in MISSING:
            assert (row["Answer"], row["Margin (dB)"]) == ("missing", None)
            continue
        verdict = papers.verdict(row["Link"])
        assert row["Answer"].lower() == verdict["outcome_text"].lower()
        assert row["Margin (dB)"] == verdict["headroom_db"]
        assert row["Provisional"] == {True: "yes", False: "no"}[verdict["provisional"]]
    a10 = next(row for row in found if row["Link"] == "A10")
    assert a10["Tested (UTC)"] == datetime(2026, 9, 14, 8, 12, 40)
    assert [row["Mark"] for row in found[:3]] == ["◐", "◆", "◆"]


@pytest.mark.parametrize("unit", UNITS)
def test_every_result_stands_in_the_table_of_its_unit(workbook, papers, unit):
    sign = UNITS[unit]
    found = rows(workbook()[f"Results {sign}"])

    wanted = [
        (label, result["worst_margin"] or {}, result)
        for label in TESTED
        for result in papers.verdict(label)["parameters"]
        if result["unit"] == unit
    ]
    assert len(found) == len(wanted)
    for row, (label, worst, result) in zip(found, wanted, strict=True):
        assert row["Link"] == label
        heads = {f"margin_{unit}": "Margin", f"measured_{unit}": "Measured there", f"limit_{unit}": "Limit"}
        for name, head in heads.items():
            assert row[f"{head} ({sign})"] == worst.get(name), (label, result["parameter"], head)
        assert row.get("Frequency (MHz)") == worst.get("frequency_mhz")
        assert row["Pair"] == worst.get("pairs")


def test_heads_stay_filters_stand_and_what_fails_is_marked(workbook):
    for sheet in workbook().worksheets[1:]:
        assert sheet.freeze_panes == "B2", sheet.title
        assert sheet.auto_filter.ref.startswith("A1:"), sheet.title
        rules = [rule for each in sheet.conditional_formatting for rule in each.rules]
        assert '"FAIL"' in [formula for rule in rules for formula in rule.formula], sheet.title
        assert all(rule.dxf.font.b or rule.dxf.font.i for rule in rules)


def test_only_what_has_a_frequency_has_columns_for_one(workbook):
    book = workbook()
    swept = {sign for sign in UNITS.values() if "Frequency (MHz)" in heads_of(book[f"Results {sign}"])}

    assert swept == {"dB", "ns"}


def heads_of(sheet, top=1):
    return [cell.value for cell in sheet[top]]


def test_a_margin_below_nothing_is_marked_only_where_it_fails_the_link(workbook):
    sheet = workbook()["Results dB"]
    answer, margin = (heads_of(sheet).index(name) for name in ("Answer", "Margin (dB)"))
    shown = [
        r
        for r in sheet.iter_rows(min_row=2, values_only=True)
        if r[answer] == "shown" and (r[margin] or 0) < 0
    ]
    rules = [
        rule.formula
        for each in sheet.conditional_formatting
        for rule in each.rules
        if rule.type == "expression"
    ]

    assert shown, "the job has such a one"
    assert rules == [['AND($E2<0,OR($D2="FAIL",$D2="FAIL*"))']]
    assert (sheet["E1"].value, sheet["D1"].value) == ("Margin (dB)", "Answer")


@pytest.mark.parametrize("query", ["format=xlsx", "format=xlsx&per_link=sheet&paper=letter"])
def test_a_workbook_is_printed_with_all_columns_on_a_page_and_heads_on_each(workbook, query):
    book = workbook(query)
    for sheet in book:
        page = sheet.page_setup
        assert (page.fitToWidth or 1, page.fitToHeight, sheet.sheet_properties.pageSetUpPr.fitToPage) == (
            1,
            0,
            True,
        )
        assert int(page.paperSize) == (1 if "letter" in query else 9)
        assert page.orientation == ("portrait" if sheet.title == "Summary" else "landscape")
        assert NAME in sheet.oddFooter.left.text and "&P" in sheet.oddFooter.right.text
        top = 7 if sheet.title in TESTED else 1
        assert sheet.print_title_rows == (None if sheet.title == "Summary" else f"${top}:${top}")


def test_a_row_is_as_high_as_what_is_broken_over_lines_in_it(workbook):
    sheet = workbook()["Not fine"]
    widths = [sheet.column_dimensions[letter].width for letter in "ABCDEF"]
    tall = 0
    for row in sheet.iter_rows(min_row=2):
        broken = [
            (cell, width)
            for cell, width in zip(row, widths, strict=True)
            if cell.alignment.wrap_text and cell.value
        ]
        lines = max(len(textwrap.wrap(cell.value, int(width))) for cell, width in broken)
        height = sheet.row_dimensions[row[0].row].height or 15
        assert height >= 15 * lines
        tall += lines > 1
    assert tall


def test_a_table_without_rows_says_why():
    client = create_app(store=None, clock=lambda: NOW).test_client()
    sent(client.post("/v1/jobs", json={"id": "good", "name": "R&D, 2 & 3"}))
    sent(client.post("/v1/records", json=sample("0A-01-clean-pass", label="A1", job="good")))
    answer = client.get("/v1/jobs/good/handover?format=xlsx")
    book = openpyxl.load_workbook(io.BytesIO(answer.data))

    assert [cell.value for cell in book["Not fine"]["A"]][1:] == ["Nothing. Every link is tested and sound."]
    assert [cell.value for cell in book["What was tested again"]["A"]][1:] == [
        "No link was touched again after its first test."
    ]
    with zipfile.ZipFile(io.BytesIO(answer.data)) as parts:
        assert b"R&amp;&amp;D, 2 &amp;&amp; 3" in parts.read("xl/worksheets/sheet1.xml")


def test_the_summary_counts_and_says_what_must_be_known(workbook):
    sheet = workbook()["Summary"]
    found = [row[:2] for row in sheet.iter_rows(values_only=True)]

    assert ("● PASS", 3) in found and ("◆ FAIL", 3) in found and ("▢ missing", 2) in found
    said = " ".join(str(value) for _, value in found)
    assert "3 of 10 links are sound." in said
    assert "Provisional: " in said and "ladders" in said


def test_what_to_do_and_what_was_tested_again_have_tables(workbook):
    book = workbook()
    trouble = {row["Link"]: row for row in rows(book["Not fine"])}
    history = [row for row in rows(book["What was tested again"]) if row["Link"] == RETESTED]

    assert set(trouble) == {"A1", "A2", "A3", "A11", "B1", *MISSING}
    assert "Wires 4 and 5" in trouble["A3"]["Why"]
    assert trouble["A2"]["To do"].startswith("Most likely the connection must be made anew")
    assert [row["after"] for row in history] == ["FAIL", "PASS"]
    assert history[1]["Reason"] == "pairs put right"


def test_each_link_has_a_sheet_of_its_own_where_that_is_asked_for(workbook, papers):
    book = workbook("format=xlsx&per_link=sheet")

    assert [name for name in book.sheetnames if name in IN_ORDER] == list(TESTED)
    for label in TESTED:
        verdict = papers.verdict(label)
        found = rows(book[label], top=7)
        numbers = [row["Margin"] for row in found]
        assert numbers == [
            (p["worst_margin"] or {}).get(f"margin_{p['unit']}") for p in verdict["parameters"]
        ]
        assert book[label].freeze_panes == "B8"
        above = [row[0] for row in book[label].iter_rows(max_row=5, values_only=True)]
        assert above[0] == label and verdict["outcome_text"].upper() in above[1].upper()
        if verdict["outcome"] == "fail":
            assert above[3].startswith("Why: ") and above[4].startswith("To do: ")


def test_the_csv_of_links_and_of_results_has_the_numbers_of_the_verdicts(papers):
    links = table(papers, "format=csv")
    results = table(papers, "format=csv&table=results")

    assert [row["label"] for row in links] == list(IN_ORDER)
    for row in links:
        if row["label"] not in MISSING:
            headroom = papers.verdict(row["label"])["headroom_db"]
            assert row["headroom_db"] == ("" if headroom is None else str(headroom))
    wanted = [
        (label, p["parameter"], "" if margin is None else str(margin))
        for label in TESTED
        for p in papers.verdict(label)["parameters"]
        for margin in [(p["worst_margin"] or {}).get(f"margin_{p['unit']}")]
    ]
    assert [(row["label"], row["parameter"], row["margin"]) for row in results] == wanted


def test_lengths_are_in_feet_where_that_is_asked_for_and_heads_in_german(workbook, papers):
    length = next(p for p in papers.verdict("A10")["parameters"] if p["parameter"] == "length")
    feet = length["worst_margin"]["measured_m"] / 0.3048
    book = workbook("format=xlsx&length_unit=ft&language=de")
    (row,) = [row for row in rows(book["Alle Strecken"]) if row["Strecke"] == "A10"]
    (told,) = [row for row in rows(book["Ergebnisse ft"]) if row["Strecke"] == "A10"]
    (plain,) = [row for row in table(papers, "format=csv&length_unit=ft") if row["label"] == "A10"]

    assert row["Länge (ft)"] == told["Dort gemessen (ft)"] == pytest.approx(feet, abs=6e-4)
    assert float(plain["length_ft"]) == row["Länge (ft)"]


@pytest.mark.parametrize("query", ["format=xlsx", "format=xlsx&per_link=sheet", "format=csv"])
def test_the_same_state_gives_the_same_bytes(papers, query):
    first = papers.file(query)

    assert papers.client.get(f"/v1/jobs/{JOB}/handover?{query}").data == first


def test_parts_that_do_not_fit_each_other_are_refused(papers):
    for query in ("format=pdf&per_link=sheet", "format=xlsx&table=links"):
        answer = papers.asked(query)
        assert answer.status_code == 422
        assert answer.get_json()["errors"][0]["pointer"] == f"/query/{query.split('&')[1].split('=')[0]}"


def test_no_cell_is_a_formula_and_no_text_an_address(papers):
    with zipfile.ZipFile(io.BytesIO(papers.file("format=xlsx"))) as book:
        sheets = [book.read(name) for name in book.namelist() if name.startswith("xl/worksheets/sheet")]

    assert all(b"<f>" not in sheet and b"<hyperlink" not in sheet for sheet in sheets)


@pytest.mark.parametrize(
    ("label", "name"),
    [
        ("[a]:b*c?d/e\\f", "_a__b_c_d_e_f"),
        ("'quoted'", "quoted"),
        ("x" * 40, "x" * 31),
        ("🧬" * 20, "🧬" * 15),
        ("\x00\u202e", "��"),
        ("History", "History~2"),
        ("''", "~2"),
        ("", "~2"),
    ],
)
def test_the_name_of_a_sheet_is_legal_whatever_the_label(label, name):
    assert sheet_name(label, set()) == name


def test_names_that_spreadsheets_take_for_the_same_are_told_apart():
    taken: set[str] = set()
    names = [sheet_name(label, taken) for label in ("a/1", "A:1", "a_1", "b" * 31, "B" * 32)]

    assert names == ["a_1", "A_1~2", "a_1~3", "b" * 31, "B" * 29 + "~2"]
