"""What the pages of the office screen show, in both languages, whatever stands in the fields."""

from __future__ import annotations

import html
import re
from contextlib import closing

import pytest
import yaml

from fourpair_service.records.keys import Scope
from fourpair_service.reports.language import catalogue, printable
from fourpair_service.storage.memory import MemoryStore
from fourpair_service.storage.sqlite import SqliteStore
from office.office_screen import CLINIC, LINKS, Markup, Office, sample

HOSTILE = {
    "markup": "</title><script>alert(1)</script><img src=x onerror=alert(1)>",
    "attribute": '" onmouseover="alert(1)" autofocus onfocus="alert(2)',
    "template": "{{ 7 * 7 }}{% if 1 %}x{% endif %}${7*7}#{7*7}",
    "gaps": "{label} {0} {name!r} %s",
    "formula": '=HYPERLINK("http://evil.example","x")',
    "address": "../../v1/jobs?x=1&y=2#z",
    "turned": "left\u200f\u200eright \u061c\u200b \u05e9\u05dc\u05d5\u05dd",
    "emoji": "\U0001f600\U0001f9ec e\u0301\u0301\u0301",
    "long": "x" * 200,
    "words": "word " * 39,
}


@pytest.fixture
def clinic(office):
    """A clinic with five links, one of them mended, and three that are missing."""
    links = ("0A-01", "0A-02", "9Z-01", "9Z-02", "9Z-10")
    office.job(customer="Alder Row", site="Row 4", schedule=[{"label": label} for label in links])
    names = ("0A-01-clean-pass", "0A-02-near-miss", "0A-03-marginal-pass", "0A-05-split-pair")
    records = {name[:5]: office.record(name) for name in names}
    records["1A-01"] = office.record("1A-01-bad-far-connector")
    office.retest(records["1A-01"], "0A-01-clean-pass", label="1A-01")
    return records


def test_the_list_has_every_job_with_its_state_by_outcome(office, clinic):
    office.job("empty")
    page = Markup(office.browser().text("/office")).text

    assert "Job alder-row-clinic" in page and "Alder Row" in page
    assert "5 links kept · 5 in the schedule" in page
    assert "2 PASS 1 PASS* 2 FAIL" in page
    assert page.index("Job alder-row-clinic") < page.index("Job empty")
    assert "0 links kept" in page


def test_many_jobs_come_in_pages_that_lead_on_and_back(office):
    for number in range(35):
        office.job(f"job-{number:02d}")
    browser = office.browser()
    first = Markup(browser.text("/office"))
    later = next(a["href"] for tag, a in first.elements if a.get("rel") == "next")
    second = Markup(browser.text(later))

    assert "job-29" in first.text and "job-30" not in first.text
    assert "job-30" in second.text and "job-34" in second.text and "job-29" not in second.text
    assert "First page" in second.text and "Next page" not in second.text


def test_a_job_counts_its_links_and_names_the_missing_ones(office, clinic):
    summary = office.open.get(f"/v1/jobs/{CLINIC}/summary").get_json()
    page = Markup(office.browser().text(f"/office/jobs/{CLINIC}")).text

    for outcome, word in (("pass", "PASS"), ("marginal_pass", "PASS*"), ("fail", "FAIL")):
        assert f" {summary['counts'][outcome]} {word} " in page
    assert summary["missing"] == ["9Z-01", "9Z-02", "9Z-10"]
    assert "In the schedule and not tested yet (3) 9Z-01 9Z-02 9Z-10" in page
    assert "Tested and not in the schedule (3)" in page
    assert f"{summary['done']} of 8 count as done" in page
    assert "8 links: 2 PASS, 1 PASS*, 2 FAIL, 3 missing." in page, "the strip says the same in words"


def test_a_job_without_a_schedule_says_that_nothing_can_be_missed(office):
    office.job()

    assert "The job has no schedule" in office.browser().text(f"/office/jobs/{CLINIC}")


@pytest.mark.parametrize(
    ("query", "labels"),
    [
        ("", ["0A-01", "0A-02", "0A-03", "0A-05", "1A-01"]),
        ("label=0A", ["0A-01", "0A-02", "0A-03", "0A-05"]),
        ("outcome=fail", ["0A-02", "0A-05"]),
        ("label=1A&outcome=fail", []),
        ("order=headroom_db", ["0A-02", "0A-03", "0A-01", "1A-01", "0A-05"]),
        ("order=-changed&outcome=pass", ["1A-01", "0A-01"]),
        ("outcome=nonsense&order=nonsense", ["0A-01", "0A-02", "0A-03", "0A-05", "1A-01"]),
        ("label=%25", []),
    ],
)
def test_links_are_searched_by_label_and_outcome_and_put_in_order(office, clinic, query, labels):
    page = office.browser().text(f"/office/jobs/{CLINIC}?{query}")

    assert re.findall(r'<th role="rowheader" scope="row"><a [^>]*><bdi>([^<]*)</bdi>', page) == labels
    assert ("No link fits the search." in page) == (not labels)


def test_a_withdrawn_link_is_counted_apart_and_found_when_it_is_asked_for(office, clinic):
    record = clinic["0A-02"]
    office.put(f"/v1/records/{record}/withdrawal", {"reason": "wall torn down"}, **{"If-Match": "*"})
    browser = office.browser()
    page = Markup(browser.text(f"/office/jobs/{CLINIC}")).text

    assert "Left out: 1 withdrawn." in page and "NEXT at the far end" not in page
    found = browser.text(f"/office/jobs/{CLINIC}?outcome=withdrawn")
    assert re.findall(
        r'<th role="rowheader" scope="row"><a [^>]*><bdi>([^<]*)</bdi></a> <small>withdrawn', found
    ) == ["0A-02"]
    link = Markup(browser.text(f"/office/records/{record}")).text
    assert "WITHDRAWN" in link and "2 withdrawn FAIL" in link and "wall torn down" in link


def test_many_links_come_in_pages_and_keep_the_search(office):
    office.job()
    for number in range(53):
        office.record("2A-03-summary-only", label=f"S-{number:02d}")
    browser = office.browser()
    first = Markup(browser.text(f"/office/jobs/{CLINIC}?label=S&lang=en"))
    later = next(a["href"] for tag, a in first.elements if a.get("rel") == "next")

    assert "label=S" in later and "lang=en" in later
    second = Markup(browser.text(later)).text
    assert "S-50" in second and "S-52" in second and "S-49" not in second
    assert browser.get(f"/office/jobs/{CLINIC}?cursor=nonsense").status_code == 422


LINK = re.compile(r'<th role="rowheader" scope="row"><a [^>]*><bdi>([^<]*)</bdi></a>')


@pytest.fixture(params=["memory", "sqlite"])
def any_office(request, tmp_path):
    with closing(
        MemoryStore() if request.param == "memory" else SqliteStore(tmp_path / "records.db")
    ) as store:
        yield Office(store=store)


@pytest.mark.parametrize("narrowed", ["", "&label=A1", "&outcome=pass"])
def test_links_are_listed_as_people_sort_them_over_all_pages(any_office, narrowed):
    labels = [f"A{number}" for number in range(112, 0, -1)]
    any_office.job(schedule=[{"label": f"M{number}"} for number in (10, 9, 2, 100, 1)])
    for label in [*labels, "b2", "B10"]:
        any_office.record("2A-03-summary-only", label=label)
    browser, address, seen = any_office.browser(), f"/office/jobs/{CLINIC}?lang=en{narrowed}", []
    while address:
        page = browser.text(address)
        seen.append(LINK.findall(page))
        address = next((a["href"] for _, a in Markup(page).elements if a.get("rel") == "next"), None)

    wanted = [f"A{number}" for number in range(1, 113)]
    if narrowed == "&label=A1":
        wanted = [label for label in wanted if label.startswith("A1")]
    else:
        wanted += ["b2", "B10"]
    assert [label for page in seen for label in page] == wanted
    assert [len(page) for page in seen[:-1]] == [50] * (len(seen) - 1)
    assert "not tested yet (5) M1 M2 M9 M10 M100" in Markup(page).text
    unscheduled = Markup(page).text.partition("not in the schedule (114) ")[2].split()
    assert unscheduled[:11] == [f"A{number}" for number in range(1, 12)]


def test_what_fails_is_named_by_what_it_may_be_where_one_name_stands_for_several(office):
    office.job()
    office.record("1A-05-skew", label="S")
    office.record("2A-02-corroded-contact", label="U")
    english, german = (
        Markup(office.browser().text(f"/office/jobs/{CLINIC}?lang={t}")).text for t in ("en", "de")
    )

    assert "Delay or skew" in english
    assert "DC resistance or unbalance" in english
    assert (
        "Laufzeit oder Laufzeitunterschied" in german and "Widerstand oder Widerstandsunterschied" in german
    )


def test_a_link_shows_its_answer_its_history_and_its_papers(office, clinic):
    record = clinic["1A-01"]
    page = Markup(office.browser().text(f"/office/records/{record}"))

    assert "1A-01 PASS" in page.text
    assert "Is the cable sound? Yes." in page.text
    assert "2 tested again PASS" in page.text and "1 first test FAIL" in page.text
    addresses = page.addresses()
    for papers in ("sheet", "sheet.pdf", "sheet?revision=1", "sheet?revision=2"):
        assert f"/office/records/{record}/{papers}" in addresses


def test_a_link_says_what_was_not_tested_what_power_it_takes_and_by_which_rules_it_was_judged(office, clinic):
    record = office.record("1A-07-far-end-missing", label="0A-77", job=CLINIC)
    said = Markup(office.browser().text(f"/office/records/{record}")).text

    assert "What was not tested" in said and "Return loss, at the far end: not measured." in said
    assert "Not to be counted on before the test is finished." in said
    assert "Rule set: tia-568.2-d-2018" in said
    assert "ladders need a second person" in said


def test_the_papers_of_a_link_are_those_of_the_interface(office, clinic):
    record, browser = clinic["1A-01"], office.browser()

    for own, theirs in (
        ("sheet", "sheet"),
        ("sheet.pdf", "sheet?format=pdf"),
        ("sheet.pdf?lang=de&length_unit=ft", "sheet?format=pdf&language=de&length_unit=ft"),
    ):
        mine = browser.get(f"/office/records/{record}/{own}", headers={"Accept-Language": "en"})
        assert mine.data == office.open.get(f"/v1/records/{record}/{theirs}").data
    old = browser.text(f"/office/records/{record}/sheet?revision=1")
    assert "FAIL" in old and 'class="fail"' in old


def test_the_papers_of_a_job_are_those_of_the_interface_in_the_language_of_the_page(office, clinic):
    browser = office.browser()
    page = browser.text(f"/office/jobs/{CLINIC}?lang=de")
    links = re.findall(r'href="([^"]*handover[.](?:pdf|xlsx|zip)[^"]*)" download', page)

    assert len(links) == 3
    for link, media in zip(map(html.unescape, links), ("pdf", "xlsx", "zip"), strict=True):
        given = browser.get(link, buffered=True)
        same = office.open.get(f"/v1/jobs/{CLINIC}/handover?language=de&format={media}", buffered=True)
        assert given.status_code == 200
        assert given.data == same.data
        assert given.headers["Content-Disposition"] == f"attachment; filename={CLINIC}.{media}"
    assert browser.get(f"/office/jobs/{CLINIC}/handover.docx").status_code == 404
    assert browser.get("/office/jobs/nobody/handover.pdf").status_code == 404


def test_two_revisions_stand_side_by_side_with_the_numbers_of_their_verdicts(office, clinic):
    record = clinic["1A-01"]
    verdicts = [
        office.open.get(f"/v1/records/{record}/revisions/{number}/verdict").get_json() for number in (1, 2)
    ]
    page = office.browser().text(f"/office/records/{record}/compare?before=1&after=2")
    text = Markup(page).text

    assert "1A-01: revision 1 and 2" in text
    found = [
        next(p for p in v["parameters"] if (p["parameter"], p["end"]) == ("next", "far")) for v in verdicts
    ]
    before, after = (p["worst_margin"]["margin_db"] for p in found)
    assert before < 0 < after
    assert f"NEXT far {before:.2f} dB fail +{after:.2f} dB pass +{after - before:.1f} dB better" in text
    drawn = re.findall(r'id="compared-([a-z_]+)-title"', page)
    swept = {"insertion_loss", "next", "ps_next", "acr_f", "ps_acr_f", "return_loss"}
    assert set(drawn) == swept and len(drawn) == len(swept)
    worst = found[0]["worst_margin"]["frequency_mhz"]
    assert f"Before: {before:.1f} dB, at {worst:g} MHz. After: {after:.1f} dB, at " in text


def test_the_last_two_revisions_are_compared_where_none_are_named_and_any_two_can_be(office, clinic):
    record, browser = clinic["1A-01"], office.browser()
    office.retest(record, "0A-02-near-miss", label="1A-01")

    assert "revision 2 and 3" in browser.text(f"/office/records/{record}/compare")
    assert "revision 3 and 1" in browser.text(f"/office/records/{record}/compare?before=3&after=1")
    for query in ("before=9", "after=-1", "after=x", "before=1e3", "before=" + "9" * 40, "before=%D9%A1"):
        assert browser.get(f"/office/records/{record}/compare?{query}").status_code == 404, query


def test_a_link_with_one_revision_has_nothing_to_compare(office, clinic):
    browser = office.browser()

    assert "There is one revision only" in browser.text(f"/office/records/{clinic['0A-01']}")
    assert browser.get(f"/office/records/{clinic['0A-01']}/compare").status_code == 404


def test_revisions_judged_by_other_requirements_or_without_curves_say_so(office, clinic):
    record = clinic["0A-01"]
    office.retest(record, "1A-08-screened-class-ea", label="0A-01")
    page = Markup(office.browser().text(f"/office/records/{record}/compare")).text

    assert "The two were judged by different requirements" in page
    third = office.record("2A-03-summary-only", label="s")
    office.retest(third, "2A-03-summary-only", label="s", notes="again")
    assert "There are no curves to draw" in office.browser().text(f"/office/records/{third}/compare")


def test_news_tell_each_change_in_a_sentence_of_the_language(office, clinic):
    browser = office.browser()
    news = browser.get("/office/news?after=0&lang=en").get_json()
    told = news["said"]

    assert told[0] == "Job made"
    assert told[1] == "0A-01: first test, PASS" and told[-1] == "1A-01: tested again, PASS"
    assert news["next_after"] == 7
    assert browser.get("/office/news?after=7").get_json() == {"said": [], "next_after": 7}
    german = browser.get(f"/office/news?after=5&lang=de&record={clinic['1A-01']}").get_json()["said"]
    assert german == ["1A-01: zum ersten Mal gemessen, NICHT BESTANDEN", "1A-01: neu gemessen, BESTANDEN"]
    for query in ("after=x", "after=-1", "wait=x", "after=" + "9" * 30):
        assert browser.get(f"/office/news?{query}").status_code == 400, query


@pytest.mark.parametrize(
    ("accepted", "query", "code"),
    [
        ("de-AT,de;q=0.9,en;q=0.5", "", "de"),
        ("fr,en;q=0.4", "", "en"),
        ("fr", "", "en"),
        ("", "", "en"),
        ("en", "?lang=de", "de"),
        ("de", "?lang=en", "en"),
        ("de", "?lang=xx", "de"),
    ],
)
def test_the_browser_chooses_the_language_and_the_address_may_choose_another(office, accepted, query, code):
    answer = office.browser().get(f"/office{query}", headers={"Accept-Language": accepted})

    assert answer.headers["Content-Language"] == code
    assert f'<html lang="{code}">' in answer.get_data(as_text=True)
    assert {"Accept-Language", "Cookie"} <= set(answer.vary)


def pages_of(clinic):
    record = clinic["1A-01"]
    return (
        "/office",
        f"/office/jobs/{CLINIC}",
        f"/office/records/{record}",
        f"/office/records/{record}/compare",
        "/office/grade",
        "/office/nothing",
    )


def test_language_and_units_go_along_to_every_page(office, clinic):
    for path in pages_of(clinic):
        page = Markup(office.browser().get(f"{path}?lang=de&length_unit=ft").get_data(as_text=True))
        inside = [a for a in page.addresses() if a.startswith("/office") and "/files/" not in a]
        assert len(inside) > 3
        assert [a for a in inside if "lang=" not in a or "length_unit=" not in a] == [], path


def test_lengths_come_in_feet_where_feet_are_asked_for(office, clinic):
    path = f"/office/records/{clinic['0A-01']}"
    metres, feet = (Markup(office.browser().text(f"{path}?length_unit={unit}")).text for unit in ("m", "ft"))

    assert "40.6 m from end to end" in metres
    assert "133.2 ft from end to end" in feet and "Length (ft)" in feet


def test_german_pages_hold_no_english_sentence_of_the_screen(office, clinic):
    tables = [name for name in catalogue("en") if name.startswith("office")]
    english = {
        text
        for table in tables
        for name, text in catalogue("en")[table].items()
        if " " in text and "{" not in text and text != catalogue("de")[table][name]
    }
    for path in pages_of(clinic):
        page = Markup(office.browser().get(f"{path}?lang=de").get_data(as_text=True)).text
        assert [text for text in english if text in page] == [], path


def test_every_page_is_held_to_the_same_policy(office, clinic):
    for path in pages_of(clinic):
        answer = office.browser().get(path)
        policy = answer.headers["Content-Security-Policy"]
        page = answer.get_data(as_text=True)

        assert "unsafe" not in policy and "http" not in policy
        assert policy.startswith("default-src 'none'; script-src 'self'; style-src 'self'")
        assert answer.headers["Cache-Control"] == "no-store"
        elements = Markup(page).elements
        assert not [tag for tag, a in elements if "style" in a or tag == "style"]
        assert not [a for _, a in elements if any(name.startswith("on") for name in a)]
        scripts = [a for tag, a in elements if tag == "script"]
        assert scripts == [{"src": "/office/files/office.js", "defer": None}]
        assert not [
            a for a in Markup(page).addresses() if "//" in a or a.startswith(("data:", "javascript:"))
        ]


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE)
def test_hostile_text_in_every_field_stays_text(office, text):
    job = {"name": text, "customer": text, "site": text, "schedule": [{"label": f"{text[:190]}!"}]}
    office.put("/v1/jobs", {"id": CLINIC, **job})
    own = {
        "label": text[:199],
        "tested_by": text[:199],
        "notes": text * (4_000 // len(text)),
        "ends": {end: {"place": text} for end in ("near", "far")},
    }
    record = office.record("1A-01-bad-far-connector", **own)
    answer = office.open.post(
        f"/v1/records/{record}/retests",
        query_string={"reason": text},
        json=sample("0A-01-clean-pass", **own),
        headers={"If-Match": "*"},
    )
    assert answer.status_code == 200, answer.get_json()
    browser = office.browser(office.key("k", *Scope, title=f"{text}\u202e"))

    for path in pages_of({"1A-01": record}):
        assert_is_text(browser.get(path).get_data(as_text=True))
    page = Markup(browser.text(f"/office/jobs/{CLINIC}"))
    shown = printable(text, 60)
    assert " ".join(shown.split()) in page.text
    searched = browser.get(f"/office/jobs/{CLINIC}", query_string={"label": text * 50})
    assert_is_text(searched.get_data(as_text=True))
    said = browser.get("/office/news?after=0").get_json()["said"]
    assert said[1] == f"{shown}: first test, FAIL"


def assert_is_text(page):
    markup = Markup(page)
    scripts = [a for tag, a in markup.elements if tag == "script"]
    assert scripts == [{"src": "/office/files/office.js", "defer": None}]
    assert "img" not in {tag for tag, _ in markup.elements}
    assert not [
        a for _, a in markup.elements if any(name.startswith("on") or name == "autofocus" for name in a)
    ]
    # What somebody searched for stands in the field again as it was.
    page = re.sub(r'(id="label" name="label" )value="[^"]*"', r"\1", page)
    assert not re.search("[\u202a-\u202e\u2066-\u2069\u200b-\u200f\u061c]", page)
    assert "49" not in [word.strip() for word in markup.words]
    assert not [a for a in markup.addresses() if not a.startswith(("/office", "#"))]
    assert max(map(len, markup.words)) < 1000


def test_what_is_not_there_gets_a_page_in_plain_words(office, clinic):
    browser = office.browser()
    for path in (
        "/office/nothing",
        "/office/jobs/none",
        "/office/records/none",
        "/office/records/none/sheet",
        "/office/files/none.js",
        "/office/records//x",
        "/office/jobs/%2e%2e",
    ):
        answer = browser.get(path)
        page = answer.get_data(as_text=True)
        assert (answer.status_code, answer.mimetype) == (404, "text/html"), path
        assert "There is no such page" in page and "Traceback" not in page


def test_a_page_does_not_answer_to_other_methods(office, clinic):
    for method in ("PUT", "PATCH", "DELETE"):
        answer = office.browser().client.open(f"/office/jobs/{CLINIC}", method=method)
        assert (answer.status_code, answer.mimetype) == (403, "text/html")


def test_a_failure_of_the_service_is_told_without_its_insides(office, clinic, monkeypatch, caplog):
    def broken():
        raise RuntimeError("insides")

    monkeypatch.setattr(office.store, "last_change", broken)
    monkeypatch.setattr(office.store, "reading", broken)
    answer = office.browser().get("/office")
    page = answer.get_data(as_text=True)

    assert answer.status_code == 500
    assert "Something went wrong in the service" in page
    assert answer.headers["X-Request-Id"] in page
    assert "insides" not in page and "Traceback" not in page
    assert "insides" in caplog.text


def test_pages_are_no_operations_of_the_interface():
    contract = yaml.safe_load((LINKS.parents[1] / "openapi.yaml").read_text())

    assert [path for path in contract["paths"] if "office" in path] == []
