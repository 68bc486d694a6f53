"""Sessions of the office screen: never worth more than their key, and never for another site."""

from __future__ import annotations

import json
import re

import pytest

from fourpair_service.config import Settings
from fourpair_service.records import sessions
from fourpair_service.records.key_commands import revoke_key, rotate_key
from fourpair_service.records.keys import Scope
from fourpair_service.records.times import instant
from fourpair_service.records.transfer import export_lines
from office.office_screen import CLINIC, NOW, Markup, Office, form_token

PAGES = (
    "/office",
    f"/office/jobs/{CLINIC}",
    "/office/records/{record}",
    "/office/records/{record}/compare",
    "/office/records/{record}/sheet",
    "/office/records/{record}/sheet.pdf",
    "/office/grade",
    "/office/news?after=0",
    "/office/nothing",
)


@pytest.fixture
def record(office):
    office.job()
    record = office.record("1A-01-bad-far-connector")
    office.retest(record, "0A-01-clean-pass", label="1A-01")
    return record


def test_without_keys_the_office_is_open_and_asks_for_none(office, record):
    page = office.browser().text("/office")

    assert f"/office/jobs/{CLINIC}" in page
    assert "sign-out" not in page
    assert office.browser().get("/office/sign-in").headers["Location"] == "/office"


@pytest.mark.parametrize("path", PAGES)
def test_with_keys_nothing_is_shown_before_somebody_signs_in(office, record, path):
    office.key("all", Scope.ADMIN)

    answer = office.browser().get(path.format(record=record))

    if path.startswith("/office/news"):
        assert answer.status_code == 401
    else:
        assert answer.status_code == 303
        assert answer.headers["Location"].startswith("/office/sign-in?go_on=%2Foffice")
    assert not [told for told in ("1A-01", "Job ") if told in answer.get_data(as_text=True)]


@pytest.mark.parametrize("path", ["/office/sign-in", "/office/files/office.css", "/office/files/office.js"])
def test_only_the_form_and_the_files_of_pages_need_no_key(office, path):
    office.key("all", Scope.ADMIN)

    assert office.browser().get(path).status_code == 200


def test_whoever_signs_in_goes_on_to_the_page_that_was_asked_for(office, record):
    browser, key = office.browser(), office.key("reader", Scope.READ)
    wanted = f"/office/records/{record}?lang=de"
    asked = Markup(browser.text(browser.get(wanted).headers["Location"]))
    go_on = next(a["value"] for tag, a in asked.elements if tag == "input" and a.get("name") == "go_on")

    answer = browser.sign_in(key, go_on=go_on)

    assert (answer.status_code, answer.headers["Location"]) == (303, wanted)
    assert "Angemeldet mit dem Schlüssel reader" in browser.text(wanted)


@pytest.mark.parametrize(
    "go_on",
    [
        "https://elsewhere.example/",
        "//elsewhere.example/office",
        "/office\\@elsewhere.example",
        "/officeelsewhere",
        "/v1/jobs",
        "/office/\r\nSet-Cookie: a=b",
        "javascript:alert(1)",
        "/office/sign-in",
    ],
)
def test_signing_in_leads_to_no_other_place(office, go_on):
    answer = office.browser().sign_in(office.key("reader", Scope.READ), go_on=go_on)

    assert (answer.status_code, answer.headers["Location"]) == (303, "/office")


def test_a_key_that_only_grades_lands_where_it_can(office):
    answer = office.browser().sign_in(office.key("grader", Scope.GRADE))

    assert answer.headers["Location"] == "/office/grade"


def test_a_wrong_a_mistyped_a_revoked_and_an_expired_key_open_nothing_and_read_alike(office):
    good = office.key("reader", Scope.READ)
    revoked, expired = (
        office.key("revoked", Scope.READ),
        office.key("expired", Scope.READ, expires_at=instant(NOW)),
    )
    revoke_key(office.store, "revoked", now=instant(NOW))
    pages = []
    for key in ("nonsense", good[:-1], revoked, expired, "x" * 10_000, "<script>"):
        answer = office.browser().sign_in(key)
        assert answer.status_code == 401
        assert answer.headers["WWW-Authenticate"].startswith("Bearer")
        pages.append(re.sub(r'value="[0-9a-f]{64}"', "", answer.get_data(as_text=True)))

    assert len(set(pages)) == 1
    assert "This key does not open the office" in pages[0]
    assert office.store.drawers() == []


def cookie_of(answer):
    return [line for line in answer.headers.getlist("Set-Cookie") if line.startswith("fourpair-office=")][-1]


def test_the_cookie_is_out_of_reach_of_scripts_and_other_sites_and_of_the_interface(office, record):
    browser, key = office.browser(), office.key("all", Scope.ADMIN)

    cookie = cookie_of(browser.sign_in(key))

    assert {part.strip() for part in cookie.split(";")[1:]} >= {
        "HttpOnly",
        "SameSite=Lax",
        "Path=/office",
        "Max-Age=43200",
    }
    assert "Secure" not in cookie
    assert key not in cookie and "Domain" not in cookie
    value = cookie.partition("=")[2].partition(";")[0]
    assert browser.client.get("/v1/jobs", headers={"Cookie": f"fourpair-office={value}"}).status_code == 401


@pytest.mark.parametrize(
    ("base", "headers", "is_secure"),
    [
        ("http://127.0.0.1:8740", {}, False),
        ("http://[::1]:8740", {}, False),
        ("http://localhost", {}, False),
        ("http://office.example", {}, True),
        ("http://192.0.2.7:8740", {}, True),
        ("https://127.0.0.1", {}, True),
        ("http://127.0.0.1", {"X-Forwarded-Proto": "https"}, True),
    ],
)
def test_off_the_own_machine_the_cookie_is_kept_over_https_only(office, base, headers, is_secure):
    office.key("reader", Scope.READ)

    cookie = cookie_of(office.browser(base_url=base, headers=headers).get("/office/sign-in"))

    assert ("Secure" in cookie) == is_secure


def test_signing_in_changes_the_cookie_and_ends_the_session_before(office, record):
    browser, reader = office.browser(), office.key("reader", Scope.READ)
    planted = cookie_of(browser.get("/office/sign-in")).partition(";")[0]
    first = cookie_of(browser.sign_in(reader)).partition(";")[0]
    second = cookie_of(browser.sign_in(reader)).partition(";")[0]

    def status(cookie):
        return (
            office.app.test_client(use_cookies=False).get("/office", headers={"Cookie": cookie}).status_code
        )

    assert len({planted, first, second}) == 3
    assert [status(cookie) for cookie in (planted, first, second)] == [303, 303, 200]


def test_no_address_and_no_page_holds_the_key_or_the_cookie(office, record):
    key = office.key("all", Scope.ADMIN)
    browser = office.browser()
    secrets = {key, key.split("_")[2], cookie_of(browser.sign_in(key)).partition("=")[2].partition(";")[0]}
    for path in PAGES:
        answer = browser.get(path.format(record=record))
        told = answer.get_data(as_text=path.endswith(".pdf") is False)
        told = told if isinstance(told, str) else told.decode("latin-1")
        assert not [secret for secret in secrets if secret in told or secret in str(answer.headers)], path


def test_the_store_keeps_no_cookie_and_an_export_no_session(office):
    browser, key = office.browser(), office.key("reader", Scope.READ)
    value = cookie_of(browser.sign_in(key)).partition("=")[2].partition(";")[0]

    kept = office.store.drawer(sessions.DRAWER, limit=9)
    with office.store.reading() as reader:
        exported = b"\n".join(export_lines(reader)).decode()

    assert len(kept) == 1
    assert value not in json.dumps(kept) and key not in json.dumps(kept)
    assert sessions.DRAWER not in exported and kept[0][0] not in exported


def test_signing_out_ends_the_session_for_every_copy_of_the_cookie(office, record):
    browser, key = office.browser(), office.key("reader", Scope.READ)
    cookie = cookie_of(browser.sign_in(key)).partition(";")[0]

    answer = browser.sign_out()

    assert (answer.status_code, answer.headers["Location"]) == (303, "/office/sign-in?said=out")
    assert "You are signed out." in browser.text(answer.headers["Location"])
    assert browser.get("/office").status_code == 303
    copied = office.app.test_client(use_cookies=False).get("/office", headers={"Cookie": cookie})
    assert copied.status_code == 303
    assert office.store.drawers() == []


def revoked(office):
    revoke_key(office.store, "reader", now=instant(office.clock()))


def rotated(office):
    ends = instant(office.clock())
    rotate_key(office.store, "reader", key_id="new", randomness=bytes(32), now=ends, old_expires_at=ends)


@pytest.mark.parametrize(
    "ends",
    [
        revoked,
        rotated,
        lambda office: office.clock.forward(hours=12),
        lambda office: office.clock.forward(hours=2),
    ],
    ids=["revoked", "rotated", "twelve hours later", "expired"],
)
def test_a_session_ends_with_its_key_and_after_twelve_hours(office, record, ends, request):
    limit = {"expires_at": "2026-12-01T10:30:00.000000Z"} if "expired" in request.node.name else {}
    browser = office.browser(office.key("reader", Scope.READ, **limit))
    assert browser.get("/office").status_code == 200

    ends(office)

    news = browser.get("/office/news?after=0")
    assert (news.status_code, CLINIC in news.get_data(as_text=True)) == (401, False)
    assert office.store.drawers() == [], "the session is forgotten, whatever becomes of the key"
    assert browser.get("/office").status_code == 303


def test_an_ended_session_is_told_on_the_page_that_was_asked_for(office, record):
    browser = office.browser(office.key("reader", Scope.READ))
    revoked(office)

    page = browser.text("/office", status=401)

    assert "Your session has ended" in page
    assert 'value="/office"' in page


def test_sessions_that_are_over_are_dropped_when_somebody_signs_in(office):
    key = office.key("reader", Scope.READ)
    office.browser(key)
    office.clock.forward(hours=13)
    office.browser(key)

    assert len(office.store.drawer(sessions.DRAWER, limit=9)) == 1


FORMS = (
    ("/office/sign-in", {"key": "fpk"}),
    ("/office/sign-out", {}),
    ("/office/grade", {"form": "page"}),
    ("/office/jobs/x", {}),
)


@pytest.mark.parametrize(("action", "values"), FORMS)
def test_a_form_without_its_seal_does_nothing(office, action, values):
    key = office.key("all", Scope.ADMIN)
    browser, other = office.browser(key), office.browser(key)
    theirs = form_token(other.text("/office/grade"))
    own = form_token(browser.text("/office/grade"))

    for token in ("", "0" * 64, theirs):
        sent = browser.client.post(action, data={"form_token": token, **values})
        assert sent.status_code == 403, token
    for site in ("cross-site", "same-site"):
        headers = {"Sec-Fetch-Site": site}
        sent = browser.client.post(action, data={"form_token": own, **values}, headers=headers)
        assert sent.status_code == 403, site
    assert browser.get("/office").status_code == 200, "it is still signed in"


def test_a_form_without_a_cookie_says_what_to_do(office):
    key = office.key("reader", Scope.READ)
    client = office.app.test_client(use_cookies=False)
    token = form_token(client.get("/office/sign-in").get_data(as_text=True))

    answer = client.post("/office/sign-in", data={"key": key, "form_token": token})

    assert answer.status_code == 403
    assert "kept over https only" in answer.get_data(as_text=True)


def test_a_session_lets_through_what_the_scopes_of_its_key_let_through(office, record):
    reading = {path for path in PAGES if path not in ("/office/grade", "/office/nothing")}
    opened = {
        Scope.READ: reading,
        Scope.GRADE: {"/office/grade"},
        Scope.WRITE: {"/office/grade"},
        Scope.ADMIN: reading | {"/office/grade"},
    }
    keys = {scope: office.key(scope.value, scope) for scope in Scope}
    for scope, key in keys.items():
        browser = office.browser(key)
        for path in PAGES:
            expected = 404 if path.endswith("nothing") else 200 if path in opened[scope] else 403
            assert browser.get(path.format(record=record)).status_code == expected, (scope, path)


def test_the_menu_shows_what_the_key_may_do_and_a_refusal_says_what_is_needed(office):
    browser = office.browser(office.key("grader", Scope.GRADE))
    page = browser.text("/office", status=403)

    assert "This page needs a key that may read" in page
    assert 'href="/office/grade"' in page and ">Jobs<" not in page


def test_a_key_of_some_jobs_sees_nothing_of_others(office, record):
    office.job("theirs", customer="Someone else")
    hidden = office.record("0A-02-near-miss", job="theirs", label="secret-link")
    browser = office.browser(office.key("mine", Scope.READ, jobs=frozenset({CLINIC})))

    jobs, news = browser.text("/office"), browser.get("/office/news?after=0").get_json()

    assert CLINIC in jobs and "theirs" not in jobs
    assert "secret-link" not in str(news) and "1A-01" in str(news)
    for path in ("", "/compare", "/sheet", "/sheet.pdf"):
        answer = browser.get(f"/office/records/{hidden}{path}")
        assert (answer.status_code, "secret-link" in answer.get_data(as_text=True)) == (404, False)
    assert browser.get("/office/jobs/theirs").status_code == 404
    assert browser.get("/office/news?after=0&job=theirs").get_json()["said"] == []


def test_of_a_link_that_was_moved_the_revisions_of_the_other_job_stay_hidden(office, record):
    office.job("theirs")
    headers = {"If-Match": "*"}
    moved = office.open.patch(
        f"/v1/records/{record}?reason=wrong+job", json={"job": "theirs", "label": "moved"}, headers=headers
    )
    assert moved.status_code == 200, moved.get_json()
    theirs = office.browser(office.key("theirs", Scope.READ, jobs=frozenset({"theirs"})))
    mine = office.browser(office.key("mine", Scope.READ, jobs=frozenset({CLINIC})))

    page = theirs.text(f"/office/records/{record}")

    assert "1A-01" not in page and "moved" in page
    assert theirs.get(f"/office/records/{record}/compare").status_code == 404
    assert theirs.get(f"/office/records/{record}/sheet?revision=1").status_code == 404
    assert mine.get(f"/office/records/{record}").status_code == 404
    told = mine.get("/office/news?after=0").get_json()["said"]
    assert told[-1] == "A link was moved to another job"


def test_session_and_interface_draw_on_one_rate_and_the_page_says_when_to_come_back():
    office = Office(Settings(requests_per_minute=3))
    key = office.key("reader", Scope.READ)
    browser = office.browser(key)  # one
    assert browser.get("/office").status_code == 200  # two
    assert office.open.get("/v1/jobs", headers={"Authorization": f"Bearer {key}"}).status_code == 200

    answer = browser.get("/office")

    assert answer.status_code == 429
    assert int(answer.headers["Retry-After"]) > 0
    assert "Your key may ask so often" in answer.get_data(as_text=True)


def test_signing_in_counts_as_use_of_the_key(office):
    office.browser(office.key("reader", Scope.READ)).get("/office")

    assert office.store.api_key("reader").last_used_at == instant(NOW)
