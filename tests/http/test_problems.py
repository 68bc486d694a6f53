"""Every problem that the service can answer with: triggered, explained, and complete."""

from __future__ import annotations

import gzip
import io
import json
from pathlib import Path

import pytest
from werkzeug.exceptions import BadRequest

from fourpair_service.app import create_app
from fourpair_service.config import InvalidSettingError, Settings
from fourpair_service.http.problems import ALL_PROBLEMS
from fourpair_service.rulesets.errors import InvalidRuleSetError
from record_triggers import TRIGGERS

GOOD = (Path(__file__).resolve().parents[2] / "samples" / "links" / "0A-01-clean-pass.json").read_bytes()
JSON = {"Content-Type": "application/json"}


def _with(**changes):
    return json.dumps(json.loads(GOOD) | changes).encode()


def _touchstone(content=b"not a touchstone file"):
    return {
        "data": {
            "measurement": (io.BytesIO(b'{"configuration": "channel"}'), "m.json"),
            "sweep": (io.BytesIO(content), "link.s4p"),
        },
        "content_type": "multipart/form-data",
    }


REQUIREMENT = {"rule_set": "tia-568.2-d-2018", "category": "6"}
REQUESTS = {
    "invalid-measurement": ("POST", "/v1/grade", {"data": b"{}", "headers": JSON}),
    "invalid-requirement": (
        "POST",
        "/v1/grade",
        {"data": _with(requirement=REQUIREMENT | {"category": "9"}), "headers": JSON},
    ),
    "unknown-rule-set": (
        "POST",
        "/v1/grade",
        {"data": _with(requirement=REQUIREMENT | {"rule_set": "tia-1"}), "headers": JSON},
    ),
    "unreadable-body": ("POST", "/v1/grade", {"data": b"{", "headers": JSON}),
    "body-too-large": (
        "POST",
        "/v1/grade",
        {"data": gzip.compress(b" " * 50_000_000), "headers": JSON | {"Content-Encoding": "gzip"}},
    ),
    "unsupported-body": ("POST", "/v1/grade", {"data": b"x", "headers": {"Content-Type": "text/csv"}}),
    "unreadable-touchstone": ("POST", "/v1/grade", _touchstone()),
    "invalid-query": ("POST", "/v1/grade?categry=6", {"data": GOOD, "headers": JSON}),
    "not-found": ("GET", "/v1/nothing", {}),
    "method-not-allowed": ("GET", "/v1/grade", {}),
    "not-acceptable": (
        "GET",
        "/v1/rule-sets/tia-568.2-d-2018/limits?category=6&configuration=channel&parameter=next",
        {"headers": {"Accept": "image/gif"}},
    ),
    "rule-set-not-found": ("GET", "/v1/rule-sets/tia-1", {}),
    "answer-changed": ("GET", "/v1/rule-sets", {"headers": {"If-Match": '"another"'}}),
    "unknown-fault": ("GET", "/v1/faults/gremlins", {}),
}
# These stop the service from starting, or are its own failure: see the tests below.
NOT_BY_REQUEST = {"invalid-rule-set", "invalid-setting", "internal-error", "bad-request"}


@pytest.fixture(scope="module")
def client():
    return create_app().test_client()


def test_every_problem_of_the_catalogue_is_triggered_here():
    assert set(REQUESTS) | set(TRIGGERS) | NOT_BY_REQUEST == set(ALL_PROBLEMS)


@pytest.mark.parametrize("code", [*REQUESTS, *TRIGGERS])
def test_a_problem_is_complete_and_says_what_happened(client, code):
    if code in TRIGGERS:
        response = TRIGGERS[code]()
    else:
        method, path, arguments = REQUESTS[code]
        response = client.open(path, method=method, **arguments)

    problem = response.get_json()
    assert problem["code"] == code, problem
    assert response.content_type == "application/problem+json"
    assert response.status_code == problem["status"] == int(ALL_PROBLEMS[code].status)
    assert problem["type"] == f"/problems/{code}"
    assert problem["title"] == ALL_PROBLEMS[code].title
    assert problem["detail"].strip()
    assert problem["request_id"] == response.headers["X-Request-Id"]


@pytest.mark.parametrize("code", sorted(ALL_PROBLEMS))
def test_every_problem_has_a_page_for_people_and_for_programs(client, code):
    page = client.get(f"/problems/{code}", headers={"Accept": "text/html"})
    document = client.get(f"/problems/{code}", headers={"Accept": "application/json"}).get_json()
    assert ALL_PROBLEMS[code].title in page.text
    assert "What to do" in page.text
    assert document["remedy"] == ALL_PROBLEMS[code].remedy


def test_an_unknown_problem_has_no_page(client):
    assert client.get("/problems/bad-luck").status_code == 404


def test_a_failure_of_the_service_hides_its_cause_and_names_the_request(caplog):
    app = create_app()
    app.add_url_rule("/broken", view_func=lambda: 1 / 0)

    response = app.test_client().get("/broken", headers={"X-Request-Id": "run-7"})

    assert (response.status_code, response.get_json()["code"]) == (500, "internal-error")
    assert "ZeroDivisionError" not in response.text
    assert response.get_json()["request_id"] == "run-7"
    assert "ZeroDivisionError" in caplog.text


def test_a_request_that_is_no_http_is_a_problem_too():
    app = create_app()

    @app.get("/damaged")
    def damaged():
        raise BadRequest("The form data is damaged.")

    response = app.test_client().get("/damaged")
    assert (response.status_code, response.get_json()["code"]) == (400, "bad-request")


def test_a_request_id_that_could_break_a_log_is_replaced(client):
    response = client.get("/livez", headers={"X-Request-Id": "a b\tc"})
    assert response.headers["X-Request-Id"] != "a b\tc"


def test_a_broken_edition_file_stops_the_start(tmp_path):
    (tmp_path / "own.toml").write_text("id = 5\n")
    with pytest.raises(InvalidRuleSetError, match=r"own\.toml"):
        create_app(Settings(limits_directory=tmp_path))


@pytest.mark.parametrize("value", ["many", "-1", "99999999999", ""])
def test_a_setting_that_is_no_number_is_refused_by_its_name(value):
    with pytest.raises(InvalidSettingError, match="FOURPAIR_WORKERS"):
        Settings.from_environment({"FOURPAIR_WORKERS": value})
