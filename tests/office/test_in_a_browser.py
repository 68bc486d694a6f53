"""The office screen in a real browser: looks, keyboard, readers that speak, live news, dropped files."""

from __future__ import annotations

import itertools
import os
import re
import shutil
from collections import Counter
from contextlib import contextmanager
from importlib.resources import files
from pathlib import Path

import pytest
import requests
from playwright.sync_api import sync_playwright

from end_to_end.running import running
from fourpair_service.records.key_commands import KeyGrant, make_key, revoke_key
from fourpair_service.records.keys import Scope
from fourpair_service.reports.inks import INSIDE
from fourpair_service.storage.sqlite import SqliteStore
from office.office_screen import CLINIC, LINKS, sample

BROWSER = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
# Accessibility rules by axe-core (MPL 2.0), as a package of the tests carries it.
AXE = files("axe_playwright_python").joinpath("axe.min.js").read_text(encoding="utf-8")
GRAVE = {"serious", "critical"}
NOW = "2026-12-01T09:00:00.000000Z"
DESKTOP, PHONE = {"width": 1280, "height": 900}, {"width": 360, "height": 780}
# Where pictures of the pages are left, for whoever wants to look at them.
PICTURES = os.environ.get("FOURPAIR_TEST_PICTURES")

pytestmark = pytest.mark.browser


class Service:
    """A running service with a clinic in it."""

    def __init__(self, url, path):
        self.url, self.path = url, path
        self.key = self.make_key("office", *Scope)
        self.put(
            "/v1/jobs",
            {
                "id": CLINIC,
                "name": "Clinic, ground floor",
                "customer": "Alder Row",
                "site": "4 Row",
                "schedule": [{"label": label} for label in ("0A-01", "9Z-01", "9Z-02")],
            },
        )
        self.records = {
            path.stem: self.put("/v1/records", sample(path.stem))["record"]["id"]
            for path in sorted(LINKS.glob("*.json"))
        }
        self.record = self.records["1A-01-bad-far-connector"]
        self.retest(self.record, "0A-01-clean-pass", "1A-01")

    def make_key(self, name, *scopes, **more):
        store = SqliteStore(self.path)
        made = make_key(
            store, KeyGrant(name, frozenset(scopes), **more), key_id=name, randomness=os.urandom(32), now=NOW
        )
        store.close()
        return made.text

    def revoke(self, name):
        store = SqliteStore(self.path)
        revoke_key(store, name, now=NOW)
        store.close()

    def put(self, path, document, **headers):
        answer = requests.post(
            self.url + path,
            json=document,
            headers={"Authorization": f"Bearer {self.key}", **headers},
            timeout=60,
        )
        assert answer.ok, answer.text
        return answer.json()

    def retest(self, record, name, label):
        self.put(
            f"/v1/records/{record}/retests?reason=mended", sample(name, label=label), **{"If-Match": "*"}
        )

    def pages(self):
        return {
            "jobs": "/office",
            "job": f"/office/jobs/{CLINIC}",
            "search": f"/office/jobs/{CLINIC}?label=0A&outcome=fail",
            "link": f"/office/records/{self.record}",
            "failing": f"/office/records/{self.records['0A-05-split-pair']}",
            "incomplete": f"/office/records/{self.records['1A-07-far-end-missing']}",
            "compare": f"/office/records/{self.record}/compare?before=1&after=2",
            "sheet": f"/office/records/{self.record}/sheet",
            "grade": "/office/grade",
            "nothing": "/office/nothing",
        }


@pytest.fixture(scope="module")
def service(tmp_path_factory):
    path = tmp_path_factory.mktemp("office") / "records.db"
    with running(path) as server:
        yield Service(server.url, path)


@pytest.fixture(scope="module")
def chromium():
    assert BROWSER, "these tests need Chromium on the path"
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=BROWSER, args=["--no-sandbox", "--disable-gpu"])
        yield browser
        browser.close()


@contextmanager
def visit(chromium, service, *, viewport=DESKTOP, signed_in=True, refusals=0, **options):
    """Give a page; at the end, whatever it asked of others or broke of its policy is a failure."""
    context = chromium.new_context(viewport=viewport, base_url=service.url, locale="en-GB", **options)
    page = context.new_page()
    asked, said = [], []
    page.on("request", lambda request: asked.append(request.url))
    page.on("console", lambda message: message.type in {"error", "warning"} and said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    if signed_in:
        page.goto("/office/sign-in")
        page.fill("#key", service.key)
        page.click("main button")
        page.wait_for_url("**/office")
    yield page
    context.close()
    assert {url for url in asked if not url.startswith(f"{service.url}/office")} == set()
    refused = [text for text in said if "Failed to load resource" in text]
    assert ([text for text in said if text not in refused], len(refused)) == ([], refusals)


def leave_picture(page, name):
    if PICTURES:
        page.screenshot(path=Path(PICTURES) / f"{name}.png", full_page=True)


def findings(page):
    page.evaluate(AXE)
    told = page.evaluate("axe.run(document, {resultTypes: ['violations', 'incomplete']})")
    assert len(told["passes"]) > 5, "the rules have run"
    return [
        (finding["id"], finding["impact"], node["html"][:120], node["failureSummary"][:200])
        for finding in told["violations"]
        for node in finding["nodes"]
        if finding["impact"] in GRAVE
    ]


def test_the_rules_find_what_is_wrong_where_something_is(chromium, service):
    with visit(chromium, service) as page:
        page.goto("/office/grade")
        page.evaluate("document.querySelector('label[for=against]').remove()")

        assert [finding[:2] for finding in findings(page)] == [("select-name", "critical")]


def overflow(page):
    return page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")


@pytest.mark.parametrize("tongue", ["en", "de"])
@pytest.mark.parametrize("viewport", [DESKTOP, PHONE], ids=["desktop", "phone"])
def test_every_page_fits_and_reads_aloud(chromium, service, viewport, tongue):
    with visit(chromium, service, viewport=viewport, refusals=1) as page:
        for name, path in service.pages().items():
            page.goto(f"{path}{'&' if '?' in path else '?'}lang={tongue}")
            leave_picture(page, f"{name}-{viewport['width']}-{tongue}")
            assert overflow(page) <= 0, name
            assert findings(page) == [], name


@pytest.mark.parametrize("tongue", ["en", "de"])
@pytest.mark.parametrize("name", ["job", "link"])
def test_lists_are_seen_whole_on_a_phone_and_stay_tables_for_who_hears_them(chromium, service, name, tongue):
    with visit(chromium, service, viewport=PHONE) as page:
        page.goto(f"{service.pages()[name]}?lang={tongue}")
        table = page.get_by_role("table").first
        beyond = table.evaluate(
            "table => [...table.querySelectorAll('tbody th, tbody td')].filter(x => x.checkVisibility())"
            ".filter(x => x.getBoundingClientRect().right > innerWidth).map(x => x.textContent.trim())"
        )
        said = [text for text in table.get_by_role("cell").all_inner_texts() if text]

        assert beyond == []
        assert table.evaluate("table => table.parentElement.scrollWidth <= table.parentElement.clientWidth")
        assert table.get_by_role("columnheader").count() >= 5
        assert table.get_by_role("rowheader").count() == table.get_by_role("row").count() - 1 >= 2
        fails = {"en": "NEXT at the far end", "de": "NEXT am fernen Ende"}[tongue]
        assert name == "link" or fails in said


@pytest.mark.parametrize("viewport", [DESKTOP, PHONE], ids=["desktop", "phone"])
def test_signing_in_fits_and_reads_aloud_also_where_the_key_is_wrong(chromium, service, viewport):
    with visit(chromium, service, viewport=viewport, signed_in=False, refusals=1) as page:
        page.goto("/office/jobs/none")
        leave_picture(page, f"sign-in-{viewport['width']}")
        assert (overflow(page), findings(page)) == (0, [])
        page.fill("#key", "nonsense")
        page.keyboard.press("Enter")
        page.wait_for_selector("[role=alert]")
        leave_picture(page, f"sign-in-wrong-{viewport['width']}")
        assert (overflow(page), findings(page)) == (0, [])
        assert page.input_value("#key") == ""


def test_a_page_has_its_landmarks_one_first_heading_and_headings_in_order(chromium, service):
    with visit(chromium, service, refusals=1) as page:
        for name, path in service.pages().items():
            if name == "sheet":
                continue
            page.goto(path)
            tags = page.evaluate(
                "[...document.querySelectorAll('h1,h2,h3,h4')].map(one => Number(one.tagName[1]))"
            )
            assert Counter(tags)[1] == 1 and tags[0] == 1, name
            assert all(later - earlier <= 1 for earlier, later in itertools.pairwise(tags)), (
                name,
                tags,
            )
            for landmark in ("main", "header", "footer", "nav[aria-label]"):
                assert page.locator(landmark).count() >= 1, (name, landmark)


FOCUSABLE = "a[href], button, input:not([type=hidden]), select, summary, [tabindex='0']"
STOP = """selector => {
  const one = document.activeElement, box = one.getBoundingClientRect(), look = getComputedStyle(one);
  return {name: one.tagName + ' ' + (one.id || one.getAttribute('aria-label') || one.textContent.trim()).slice(0, 60),
    index: [...document.querySelectorAll(selector)].filter(x => x.checkVisibility()).indexOf(one),
    seen: box.width > 0 && box.height > 0 && box.bottom > 0 && box.top < innerHeight && box.left >= 0,
    outlined: look.outlineStyle !== 'none' && parseFloat(look.outlineWidth) >= 2};
}"""


@pytest.mark.parametrize("name", ["jobs", "job", "link", "compare", "grade"])
def test_the_keyboard_reaches_everything_in_order_and_is_always_seen(chromium, service, name):
    with visit(chromium, service) as page:
        page.goto(service.pages()[name])
        number = page.evaluate(
            f"[...document.querySelectorAll({FOCUSABLE!r})].filter(x => x.checkVisibility()).length"
        )
        stops = []
        for _ in range(number):
            page.keyboard.press("Tab")
            stops.append(page.evaluate(STOP, FOCUSABLE))

        assert [stop["index"] for stop in stops] == list(range(number))
        assert [stop for stop in stops if not (stop["seen"] and stop["outlined"])] == []


def test_the_whole_way_goes_by_keyboard_alone(chromium, service):
    with visit(chromium, service, signed_in=False) as page:

        def tab_to(text):
            for _ in range(200):
                page.keyboard.press("Tab")
                one = page.evaluate(
                    "document.activeElement.getAttribute('aria-label') || document.activeElement.id || document.activeElement.textContent.trim()"
                )
                if one == text:
                    return
            raise AssertionError(text)

        page.goto("/office")
        tab_to("key")
        page.keyboard.type(service.key)
        page.keyboard.press("Enter")
        page.wait_for_url("**/office")
        page.keyboard.press("Tab")
        page.keyboard.press("Enter")
        assert page.evaluate("document.activeElement.id") == "content", "the first stop skips the menu"
        tab_to("Clinic, ground floor")
        page.keyboard.press("Enter")
        page.wait_for_url(f"**/jobs/{CLINIC}")
        tab_to("label")
        page.keyboard.type("1A-01")
        page.keyboard.press("Enter")
        page.wait_for_url("**label=1A-01**")
        tab_to("1A-01")
        page.keyboard.press("Enter")
        page.wait_for_url("**/records/*")
        tab_to("Compare")
        page.keyboard.press("Enter")
        page.wait_for_url("**/compare?**")
        assert page.inner_text("h1") == "1A-01: revision 1 and 2"
        tab_to("Sign out")
        page.keyboard.press("Enter")
        page.wait_for_url("**said=out")


def test_the_curves_before_and_after_lie_over_each_other(chromium, service):
    with visit(chromium, service) as page:
        page.goto(service.pages()["compare"])
        lines = page.evaluate(
            """ink => [...document.querySelectorAll('svg[aria-labelledby^="compared-"]')].map(svg => ({
              title: svg.querySelector('title').textContent, text: svg.querySelector('desc').textContent,
              before: svg.querySelectorAll('polyline[stroke-dasharray]').length,
              after: [...svg.querySelectorAll('polyline')].filter(p => p.getAttribute('stroke') === ink).length,
              size: svg.getBoundingClientRect().width}))""",
            INSIDE,
        )
        assert [line["title"] for line in lines] == [
            "Insertion loss",
            "NEXT",
            "PS NEXT",
            "ACR-F",
            "PS ACR-F",
            "Return loss",
        ]
        assert all(line["before"] == line["after"] == 1 and line["size"] > 200 for line in lines), lines
        assert re.fullmatch(
            r"Before: -6\.9 dB, at [\d.]+ MHz\. After: 4\.4 dB, at [\d.]+ MHz\.", lines[1]["text"]
        )


def test_a_job_changes_on_the_screen_as_its_records_do_and_nothing_is_lost(chromium, service):
    with visit(chromium, service) as page:
        page.goto(f"/office/jobs/{CLINIC}")
        page.evaluate("window.stays = true")
        page.focus("#label")
        page.keyboard.type("half a wo")
        assert page.locator("#missing li").all_inner_texts() == ["9Z-01", "9Z-02"]

        service.put("/v1/records", sample("2A-03-summary-only", label="9Z-01"))
        page.wait_for_selector("#news:has-text('9Z-01')")

        assert page.inner_text("#news") == "9Z-01: first test, PASS"
        assert page.get_attribute("#news", "aria-live") == "polite"
        assert page.locator("#missing li").all_inner_texts() == ["9Z-02"]
        assert page.locator("#links th[scope=row]").filter(has_text="9Z-01").count() == 1
        assert page.evaluate("window.stays"), "it is the same page"
        assert page.evaluate("document.activeElement.id") == "label"
        assert page.input_value("#label") == "half a wo"
        leave_picture(page, "live")


def test_the_focus_stays_on_a_link_whose_part_of_the_page_is_renewed(chromium, service):
    with visit(chromium, service) as page:
        page.goto(f"/office/jobs/{CLINIC}")
        page.locator("#links th a").filter(has_text="0A-03").focus()
        where = page.evaluate("document.activeElement.href")

        service.retest(service.records["0A-04-marginal-fail"], "0A-01-clean-pass", "0A-04")
        page.wait_for_selector("#news:has-text('0A-04')")

        assert page.evaluate("document.activeElement.href") == where
        assert findings(page) == []


def test_a_link_follows_its_own_record_and_no_other(chromium, service):
    record = service.records["2A-02-corroded-contact"]
    with visit(chromium, service) as page:
        page.goto(f"/office/records/{record}?lang=de")
        assert page.locator("#link .outcome.fail").count() == 1

        service.retest(service.records["2A-04-camera-plug"], "2A-04-camera-plug", "2A-04")
        service.retest(record, "2A-03-summary-only", "2A-02")
        page.wait_for_selector("#news:has-text('2A-02')")

        assert page.inner_text("#news") == "2A-02: neu gemessen, BESTANDEN"
        assert page.locator("#link .outcome.pass").count() == 1
        assert page.locator("#link form select").count() == 2, "there is something to compare now"


def test_a_session_that_ends_is_told_on_the_open_page(chromium, service):
    key = service.make_key("leaving", Scope.READ)
    with visit(chromium, service, signed_in=False, refusals=1) as page:
        page.goto("/office/sign-in")
        page.fill("#key", key)
        page.click("main button")
        page.wait_for_url("**/office")

        service.revoke("leaving")
        service.put("/v1/jobs", {"id": "wakes-the-feed", "name": "Another"})
        page.wait_for_selector("#news:has-text('ended')")

        page.goto("/office")
        assert page.locator("#key").count() == 1


def drag(page, paths, kinds=("dragEnter", "dragOver", "drop")):
    """Drag files from the desktop over the middle of the page, as the browser itself gets them."""
    session = page.context.new_cdp_session(page)
    data = {"items": [], "files": [str(path) for path in paths], "dragOperationsMask": 1}
    for kind in kinds:
        session.send("Input.dispatchDragEvent", {"type": kind, "x": 300, "y": 250, "data": data})
    session.detach()


def test_files_that_are_dropped_are_graded(chromium, service):
    with visit(chromium, service) as page:
        page.goto("/office/grade")
        drag(page, [LINKS / "1A-01-bad-far-connector.json"], ("dragEnter", "dragOver"))
        page.wait_for_selector(".drop.over")
        leave_picture(page, "dragged-over")
        drag(page, [LINKS / "1A-01-bad-far-connector.json"], ("drop",))
        page.wait_for_selector("#chosen:has-text('Chosen')")

        assert page.inner_text("#chosen") == "Chosen: 1A-01-bad-far-connector.json"
        assert page.locator(".drop.over").count() == 0
        assert page.url.endswith("/office/grade")
        assert page.evaluate("document.activeElement.id") == "files"
        leave_picture(page, "dropped")
        page.click("button[value=page]")
        page.wait_for_selector(".outcome.fail")
        assert page.inner_text("h1") == "Result for 1A-01"
        assert findings(page) == []
        leave_picture(page, "graded")


def test_several_files_are_dropped_together_and_a_refusal_is_read_aloud(chromium, service):
    measured = LINKS.parent / "measured"
    with visit(chromium, service, refusals=1) as page:
        page.goto("/office/grade")
        drag(page, [measured / name for name in ("CABLE1_TX_pair.s4p", "CABLE1_RX_pair.s4p")])
        page.wait_for_selector("#chosen:has-text(', ')")
        page.click("button[value=page]")
        page.wait_for_selector("[role=alert]")

        assert "Sweeps without a document" in page.inner_text("[role=alert]")
        assert findings(page) == []
        leave_picture(page, "refused")


def test_without_scripts_every_page_does_its_work(chromium, service):
    with visit(chromium, service, java_script_enabled=False) as page:
        page.click("text=Clinic, ground floor")
        page.fill("#label", "1A")
        page.select_option("#outcome", "fail")
        page.click("form.search button")
        labels = page.locator("#links th[scope=row]").all_inner_texts()
        assert labels and all(label.startswith("1A-") for label in labels)
        page.goto(f"/office/records/{service.record}")
        page.click("text=Compare two revisions >> xpath=.. >> button")
        assert "revision" in page.inner_text("h1")
        page.click("nav >> text=Grade files")
        page.set_input_files("#files", LINKS / "0A-01-clean-pass.json")
        page.click("button[value=page]")
        assert page.inner_text("h1") == "Result for 0A-01"
        page.click("text=Sign out")
        assert "You are signed out." in page.inner_text("main")


def test_a_page_prints_without_its_menu(chromium, service):
    with visit(chromium, service) as page:
        page.goto(f"/office/jobs/{CLINIC}")
        page.emulate_media(media="print")

        assert not page.is_visible("header.house")
        assert page.is_visible("#links table")


def test_marks_differ_in_shape_and_never_stand_without_words(chromium, service):
    with visit(chromium, service) as page:
        page.goto(f"/office/jobs/{CLINIC}")
        shapes = page.evaluate(
            """[...document.querySelectorAll('.counts li')].map(one => [
              one.querySelector('svg').innerHTML.replace(/#[0-9a-f]{6}/g, ''), one.textContent.trim()])"""
        )
        assert len(shapes) == 6
        assert len({shape for shape, _ in shapes}) == 6
        assert all(re.search(r"\d+ \w", text) for _, text in shapes)
        assert page.evaluate(
            "[...document.querySelectorAll('svg.mark')].every(one => one.getAttribute('aria-hidden') === 'true')"
        )
