"""What is on paper is what the verdict says, in every form and language, on one page."""

from __future__ import annotations

import io
import json
import re
from itertools import pairwise
from xml.etree import ElementTree

import pypdf
import pytest

from fourpair_service.reports.drawing.shapes import Dot, Path, Words, stretched
from fourpair_service.reports.inks import OUTSIDE
from fourpair_service.reports.language import LengthUnit, Tongue
from fourpair_service.reports.paper import PaperSize
from fourpair_service.reports.pictures.margins import BOTTOM, TOP, WIDTH
from fourpair_service.reports.pictures.margins import LEFT as LEFT_OF_MARGINS
from fourpair_service.reports.pictures.run import LEFT, RIGHT
from fourpair_service.reports.sheet.html import sheet_html
from fourpair_service.reports.sheet.pdf import sheet_pdf
from fourpair_service.reports.sheet.plain import receipt_text, sheet_text
from fourpair_service.reports.sheet.receipt import receipt_pdf
from reports.sheets import LINKS, ROOT, answer_of, sheet_of

MEASURED = [*LINKS, ROOT / "samples/measured/cable1.json", ROOT / "samples/ports/reception-desk.json"]
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
PORT = {
    "advertised": ["10BASE-T/full", "100BASE-TX/full", "1000BASE-T/full"],
    "link_up": "1000BASE-T/full",
    "poe": {"type": 3, "voltage_v": 53.1},
}


@pytest.fixture(scope="module")
def graded_samples():
    return {path.stem: answer_of(json.loads(path.read_bytes())) for path in MEASURED}


def pdf_of(content):
    return pypdf.PdfReader(io.BytesIO(content))


def pdf_words(content):
    return "\n".join(page.extract_text() for page in pdf_of(content).pages)


def answer_texts(found):
    return [line for answer in sheet_of(found).answers for line in (answer.text, *answer.more)]


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
    wires, *rows = html_rows(sheet_html(sheet_of(found)))
    verdict = found.answer["verdict"]

    assert wires[0] == "Wire map" and wires[2] == verdict["wire_map"]["outcome"]
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
    assert in_feet[1][0] == "Length (ft)"
    assert float(in_feet[1][4]) == pytest.approx(measured * FEET, abs=0.05)
    assert german[1][4].replace(",", ".") == two_decimals(measured)


@pytest.mark.parametrize("size", PaperSize)
@pytest.mark.parametrize("tongue", Tongue)
@pytest.mark.parametrize("name", [path.stem for path in MEASURED])
def test_a_sheet_is_one_page_and_ends_above_its_footer(graded_samples, name, tongue, size):
    sheet = sheet_of(graded_samples[name], tongue)
    reader = pdf_of(sheet_pdf(sheet, size))

    assert len(reader.pages) == 1
    assert reader.metadata.title == reader.xmp_metadata.dc_title["x-default"] == sheet.title
    assert reader.xmp_metadata.dc_language == [tongue]
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
    sound, carries, above, to_do = sheet.answers
    verdict = found.answer["verdict"]

    begins = {
        "pass": "Yes.", "marginal_pass": "Yes, narrowly.", "marginal_fail": "No, narrowly.", "fail": "No."
    }  # fmt: skip
    assert sound.text.startswith(begins.get(verdict["outcome"], "Not known yet."))
    supported = [a for a in judged(found) if a["state"] == "supported"]
    assert all(a["application"] in carries.text for a in supported)
    assert to_do.text
    is_measured = any(result["worst_margin"] for result in verdict["parameters"])
    wires_are_right = not verdict["wire_map"]["findings"]
    assert bool(re.match(r"(Of what was measured: )?[\d.]+ (dB|m|ns|Ω) ", above.text)) == (
        wires_are_right and is_measured
    )
    if verdict["provisional"]:
        assert sheet.notices[0].startswith(("Provisional: ", "Provisional in part: "))


def judged(found):
    """Every application that has limits here to be judged by."""
    applications = found.answer["assessment"]["applications"]["applications"]
    return [a for a in applications if a["state"] != "not_evaluated" or a["reasoning"]]


@pytest.mark.parametrize("name", [path.stem for path in MEASURED])
def test_every_speed_that_can_be_judged_is_named_with_what_is_known_of_it(graded_samples, name):
    found = graded_samples[name]
    carries = sheet_of(found).answers[1]
    states = {a["state"] for a in judged(found)}

    if len(states) > 1 or states == {"supported"}:
        said = " ".join([carries.text, *carries.more])
        assert all(re.search(rf"(?<!\d){re.escape(a['application'])}", said) for a in judged(found))
    else:
        assert carries.text.startswith(
            {"not_supported": "Nothing", "not_evaluated": "Not known"}[states.pop()]
        )


@pytest.mark.parametrize("size", PaperSize)
@pytest.mark.parametrize("tongue", Tongue)
def test_no_answer_and_no_place_is_cut_off(graded_samples, tongue, size):
    for name, found in graded_samples.items():
        sheet = sheet_of(found, tongue)
        said = " ".join(pdf_words(sheet_pdf(sheet, size)).split())

        for answer in sheet.answers:
            for line in (answer.question, answer.text, *answer.more):
                assert line in said, name
        assert "…" not in said.split(sheet.numbers_note)[0], name


def test_dashes_among_the_numbers_are_explained(graded_samples):
    sections = {s.name: s.lines for s in sheet_of(graded_samples["1A-09-short-channel"]).sections}

    assert sections["excused"] == (
        "NEXT, PS NEXT, ACR-N, PS ACR-N: the cable loses so little signal that the standard sets no limit here.",
    )
    assert "excused" not in {s.name for s in sheet_of(graded_samples["0A-01-clean-pass"]).sections}


def test_the_receipt_is_half_a_page_with_the_same_answers(graded_samples):
    for found in graded_samples.values():
        sheet = sheet_of(found)
        page = pdf_of(receipt_pdf(sheet, "See the sheet.")).pages[0]

        assert float(page.mediabox.height) == pytest.approx(297 / 2 * 72 / 25.4, abs=0.1)
        said = " ".join(page.extract_text().split())
        assert sheet.answers[0].text in said
        assert "See the sheet." in said
        if "None to be promised" in str(sheet.sections):
            assert "Do not feed devices over it" in said
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


@pytest.mark.parametrize("size", PaperSize)
@pytest.mark.parametrize("tongue", Tongue)
def test_nothing_that_is_said_below_the_numbers_is_left_out_and_no_number_is_cut(
    graded_samples, tongue, size
):
    for name, found in graded_samples.items():
        sheet = sheet_of(found, tongue, LengthUnit.FEET)
        words = pdf_words(sheet_pdf(sheet, size))
        said, below = " ".join(words.split()), words.split(sheet.numbers_note, 1)[1]

        for section in sheet.sections:
            assert section.heading in said, name
            for line in section.lines:
                assert line in said, name
        assert "…" not in below, name


def test_the_speed_stands_before_the_names_of_what_runs(graded_samples):
    def carried(name):
        return sheet_of(graded_samples[name]).answers[1]

    assert carried("0A-01-clean-pass").text == "Up to 1 Gbit/s: 10BASE-T, 100BASE-TX, 1000BASE-T."
    assert carried("0A-02-near-miss").text.startswith("As it is now, up to 1 Gbit/s: ")
    assert carried("1A-08-screened-class-ea").text.startswith("Up to 10 Gbit/s: ")
    assert carried("0A-05-split-pair").text.startswith("Nothing")
    assert carried("1A-07-far-end-missing").text.startswith("Not known")
    assert carried("2A-01-telephone-run").more[-1] == "Faster networks need cabling of a higher category."
    higher = "Not known: 10 Gbit/s (10GBASE-T). That needs higher frequencies than were tested."
    assert higher in carried("0A-02-near-miss").more


def test_what_neighbouring_cables_decide_is_said_once_for_all_speeds_and_who_can_measure_it(graded_samples):
    def about(name):
        found = sheet_of(graded_samples[name]).answers[1].more
        return [
            line for line in found if "Gbit/s" in line or "neighbouring" in line or "close beside" in line
        ]

    speeds, by_length, who = about("1A-09-short-channel")
    assert speeds.startswith(
        "Not certain: 2.5, 5 and 10 Gbit/s (2.5GBASE-T, 5GBASE-T, 10GBASE-T). Cables lying"
    )
    assert by_length.startswith("10 Gbit/s: as short as this it will most likely run")
    assert who.startswith("Only if you want these speeds: ask the installer to measure")
    assert "may work or not" in about("0A-01-clean-pass")[1]
    assert "loosen or part the bundles" in about("0A-03-marginal-pass")[1]
    # What is to be mended is tested again before that matters.
    assert not any("ask the installer" in line for line in about("1A-01-bad-far-connector"))


def test_a_speed_says_what_it_is_enough_for_and_how_long_where_the_link_fails(graded_samples):
    def first(name):
        return sheet_of(graded_samples[name]).answers[1].more[0]

    assert first("0A-01-clean-pass").startswith("The cable is enough for office computers")
    assert first("2A-01-telephone-run").startswith("The cable is enough for a telephone")
    assert first("1A-08-screened-class-ea").endswith("servers with their storage.")
    assert first("0A-08-open-pair") == (
        "Until it is mended, that is enough for network telephones, cameras, printers and card terminals. "
        "Feed such devices by supplies of their own, not over this cable."
    )


def test_when_limits_are_compared_is_said_by_what_else_is_to_be_done(graded_samples):
    def said(name):
        return sheet_of(graded_samples[name]).notices[0]

    assert "nobody needs to come for it" in said("0A-01-clean-pass")
    assert "first, before anything is mended" in said("1A-01-bad-far-connector")
    assert "The test is to be finished in any case." in said("1A-07-far-end-missing")


def test_a_pass_without_a_look_for_split_pairs_says_who_needs_the_fuller_test(graded_samples):
    assert any(
        "ask the installer for the fuller test" in line
        for line in answer_texts(graded_samples["2A-01-telephone-run"])
    )
    assert not any("the fuller test" in line for line in answer_texts(graded_samples["0A-01-clean-pass"]))


def test_a_test_that_is_not_finished_is_not_to_be_relied_on_and_its_devices_are_told_apart_from_its_cable(
    graded_samples,
):
    said = answer_texts(graded_samples["reception-desk"])

    assert "Do not rely on the cable before that." in said
    assert "Nothing was measured that has a limit." in said
    assert any(
        "could run at 2.5 Gbit/s together; whether the cable carries that was not" in line for line in said
    )


def test_a_link_that_is_too_long_says_what_the_choice_depends_on(graded_samples):
    assert any(
        line.startswith("To choose: a shorter cable")
        for line in answer_texts(graded_samples["1A-02-too-long"])
    )


def test_the_figure_of_a_worst_point_stands_above_its_picture_and_covers_no_curve(graded_samples):
    for found in graded_samples.values():
        for picture in sheet_of(found).margins:
            figures = [
                s for s in picture.shapes if isinstance(s, Words) and s.bold and s.text.endswith(" dB")
            ]
            assert len(figures) == 1 and figures[0].y < TOP


@pytest.mark.parametrize("name", [path.stem for path in MEASURED])
def test_what_is_written_on_the_axes_of_margins_does_not_touch_even_where_they_are_narrowest(
    graded_samples, name
):
    start = {"start": 0.0, "middle": 0.5, "end": 1.0}
    for picture in sheet_of(graded_samples[name]).margins:
        narrow = stretched(picture, WIDTH, picture.height, LEFT_OF_MARGINS, TOP, BOTTOM)
        by_line = {}
        for word in (shape for shape in narrow.shapes if isinstance(shape, Words)):
            width = 0.58 * word.size * len(word.text)
            left = word.x - start[word.anchor] * width
            by_line.setdefault(word.y, []).append((left, left + width))
        for words in by_line.values():
            assert all(before[1] < after[0] for before, after in pairwise(sorted(words)))


@pytest.mark.parametrize("name", ["cable1", "1A-09-short-channel", "1A-08-screened-class-ea"])
@pytest.mark.parametrize("size", PaperSize)
def test_pictures_of_margins_fill_the_width_of_the_page_however_few_they_are(graded_samples, name, size):
    page = pdf_of(sheet_pdf(sheet_of(graded_samples[name]), size)).pages[0]
    found = []

    def note(text, _cm, matrix, _font, _size):
        if re.fullmatch(r"[+\u2212]\d+\.\d dB", text.strip()):
            found.append((matrix[5], matrix[4]))

    page.extract_text(visitor_text=note)

    right = float(page.mediabox.width) - 40
    for row in {y for y, _ in found}:
        assert right - 40 < max(x for y, x in found if y == row) < right


def test_a_split_pair_from_end_to_end_is_marked_at_both_ends_where_it_is_mended(graded_samples):
    sheet = sheet_of(graded_samples["0A-05-split-pair"])
    marks = [s.x for s in sheet.run.shapes if isinstance(s, Words) and s.bold and s.text == "1"]

    assert marks == [LEFT, RIGHT]
    assert sheet.suspected.lines == (
        "1. Split pair (shown by the crosstalk), pairs 36, 45, along the whole run",
    )


def test_why_networks_run_over_a_link_that_fails_stands_beside_the_speeds(graded_samples):
    def last(name):
        return sheet_of(graded_samples[name]).answers[1].more[-1]

    assert last("0A-02-near-miss").startswith("Devices need less than the standard asks for")
    assert last("0A-06-reversed-pair").startswith("Devices can make up for some wiring faults")
    assert last("0A-08-open-pair").startswith("Slower networks use only some of the wires")


def test_a_pass_without_a_look_for_split_pairs_does_not_claim_that_everything_was_measured(graded_samples):
    for name in ("2A-01-telephone-run", "2A-03-summary-only"):
        sound = sheet_of(graded_samples[name]).answers[0]
        assert "one kind of wiring fault could not be looked for" in sound.text
        assert sound.more[0].startswith("Not looked for: whether wires of two pairs are mixed")
    assert "was measured" in sheet_of(graded_samples["0A-01-clean-pass"]).answers[0].text


def test_beside_a_wrong_wire_the_numbers_that_fail_are_counted_and_not_listed(graded_samples):
    sound = sheet_of(graded_samples["0A-05-split-pair"]).answers[0]
    failing = sum(row.is_failing for row in sheet_of(graded_samples["0A-05-split-pair"]).rows)

    assert len(sound.more) == 2 and "split" in sound.more[0]
    # The row of the wire map is no number.
    assert (
        sound.more[1]
        == f"Because of that or besides it, {failing - 1} of the numbers are outside their limits."
    )


def test_what_later_nobody_could_know_is_named_where_it_was_not_recorded(graded_samples):
    assert ("Not recorded", "near end, far end, cable, day of the test") in sheet_of(
        graded_samples["cable1"]
    ).facts
    assert not any(name == "Not recorded" for name, _ in sheet_of(graded_samples["0A-01-clean-pass"]).facts)


def test_an_unfinished_test_is_not_told_that_its_category_is_too_low():
    (path,) = [path for path in LINKS if path.stem == "1A-08-screened-class-ea"]
    document = json.loads(path.read_bytes())
    del document["sweeps"]["return_loss"]
    found = answer_of(document)

    assert found.answer["verdict"]["outcome"] == "incomplete"
    assert not any("higher category" in line for line in sheet_of(found).answers[1].more)


def test_what_fails_by_known_limits_is_not_called_provisional_as_a_whole(graded_samples):
    def notice(name):
        return sheet_of(graded_samples[name]).notices[0].split(":")[0]

    assert notice("0A-07-crossed-pairs") == notice("1A-02-too-long") == "Provisional in part"
    assert notice("0A-01-clean-pass") == notice("1A-06-coil") == "Provisional"


def test_power_is_promised_only_on_wires_that_were_tested(graded_samples):
    def power(name):
        sections = {s.name: " ".join(s.lines) for s in sheet_of(graded_samples[name]).sections}
        return sections["power"]

    assert "71.3 W" in power("0A-01-clean-pass")
    assert power("cable1") == "Not to be counted on before the test is finished."
    assert power("1A-07-far-end-missing").startswith(
        "Not to be counted on before the test is finished. By what"
    )
    failing = [n for n, found in graded_samples.items() if "fail" in found.answer["verdict"]["outcome"]]
    assert len(failing) > 10
    for name in failing:
        assert power(name) == "Not to be counted on before the link is put right and tested again."


def test_the_port_stands_with_the_cable(graded_samples):
    document = json.loads(LINKS[0].read_bytes())
    document["port"] = PORT
    sheet = sheet_of(answer_of(document))
    port = next(s for s in sheet.sections if s.name == "port")

    assert any("run at 1000BASE-T" in line for line in port.lines)
    assert port.heading in pdf_words(sheet_pdf(sheet))


@pytest.mark.parametrize(
    ("name", "pairs_at_fault"),
    [("0A-01-clean-pass", set()), ("0A-07-crossed-pairs", {"12", "36"}), ("0A-08-open-pair", {"45"}),
     ("0A-06-reversed-pair", {"45"}), ("0A-05-split-pair", {"36", "45"})],
)  # fmt: skip
def test_the_picture_of_the_wires_marks_the_pairs_at_fault_and_no_others(
    graded_samples, name, pairs_at_fault
):
    wires = sheet_of(graded_samples[name]).wires
    named = {
        s.text.split()[-1]: s.y for s in wires.shapes if isinstance(s, Words) and s.text.startswith("pair ")
    }
    alarmed = {y for s in wires.shapes if isinstance(s, Path) and s.ink == OUTSIDE for _, y in s.places}
    marked = {s.y for s in wires.shapes if isinstance(s, Words) and s.ink == OUTSIDE}

    assert {pair for pair, y in named.items() if any(abs(y - 3 - at) < 8 for at in alarmed)} == pairs_at_fault
    assert {pair for pair, y in named.items() if y in marked} == pairs_at_fault


@pytest.mark.parametrize("name", [path.stem for path in LINKS])
def test_curves_stay_within_their_picture_and_the_number_of_the_worst_point_is_free(graded_samples, name):
    for picture in sheet_of(graded_samples[name]).margins:
        paths = [s for s in picture.shapes if isinstance(s, Path) and len(s.places) > 2]
        corners = [place for path in paths for place in path.places]
        dot = next(s for s in picture.shapes if isinstance(s, Dot))
        number = picture.shapes[picture.shapes.index(dot) + 1]

        assert all(20 <= y <= 100 for _, y in corners)
        # It does not run along the upper edge where the margin is larger than what is shown.
        assert not any(a[1] == b[1] == 20 for p in paths for a, b in pairwise(p.places))
        half = 2.6 * len(number.text)
        covering = [x for x, y in corners if abs(x - number.x) < half and number.y - 8 < y < number.y + 2]
        assert len(covering) <= 6, (picture.name, covering)
