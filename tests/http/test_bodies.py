"""What is sent before it is a document: bytes, codings, forms and queries."""

from __future__ import annotations

import gzip
import io
import json
from pathlib import Path

import pytest

from fourpair_service.app import create_app
from fourpair_service.config import Settings

GOOD = (Path(__file__).resolve().parents[2] / "samples" / "links" / "0A-01-clean-pass.json").read_bytes()
JSON = {"Content-Type": "application/json"}
GZIP = JSON | {"Content-Encoding": "gzip"}
BRIEF = b'{"configuration": "channel", "requirement": {"rule_set": "TIA", "category": "6"}}'


@pytest.fixture(scope="module")
def client():
    return create_app().test_client()


def problem_of(response, status, code):
    """Return the problem document of a response, after a look at its form."""
    problem = response.get_json()
    assert (response.status_code, problem.get("code")) == (status, code), response.text
    assert response.content_type == "application/problem+json"
    return problem


def test_a_program_that_writes_ascii_alone_is_understood(client):
    document = json.loads(GOOD)
    document |= {"label": "Küche 2: \N{GRINNING FACE} [a", "external_ids": {"größe": "1"}}
    escaped, plain = (
        client.post("/v1/grade", data=json.dumps(document, ensure_ascii=ascii_alone), headers=JSON)
        for ascii_alone in (True, False)
    )

    assert escaped.status_code == 200, escaped.get_json()
    assert escaped.get_json() == plain.get_json()
    job = {"id": "escaped", "name": "Küche", "external_ids": {"erp": "ü"}, "requirement": {"category": "6"}}
    assert client.post("/v1/jobs", json=job).status_code == 201


# body; pointer, value shown, words that the detail must have
UNREADABLE = {
    "empty": (b"", "", None, "empty; send a JSON document"),
    "blank": (b" \n", "", None, "empty; send a JSON document"),
    "cut short": (b'{"configuration": ', "", None, "line 1, column 19"),
    "two documents": (b"{}{}", "", None, "line 1, column 3"),
    "a comment": (b"{/* no */}", "", None, "line 1, column 2"),
    "not UTF-8": (b'{"label": "\xff"}', "", None, "byte 12 belongs to no character"),
    "byte order mark": (b"\xef\xbb\xbf{}", "", None, "byte order mark"),
    "duplicate keys": (b'{"label": "a", "label": "a"}', "/label", None, "more than once; keep one"),
    "duplicate keys, one escaped": (b'{"label": 1, "l\\u0061bel": 2}', "/label", None, "more than once"),
    "duplicate keys beside a colon": (b'{"a" : 1, "a": ":"}', "/a", None, "more than once"),
    "duplicate pair combination": (
        b'{"sweeps": {"next": {"near": {"12-36": [1.0], "12-36": [2.0]}}}}',
        "/sweeps/next/near/12-36",
        None,
        "more than once",
    ),
    "duplicate keys in a list": (b'{"a": [1, {"b": 1, "b": 2}]}', "/a/1/b", None, "more than once"),
    "NaN": (b'{"a": [1, NaN]}', "/a/1", "NaN", "no number in JSON; leave out"),
    "minus infinity": (b'{"a": {"b": -Infinity}}', "/a/b", "-Infinity", "no number in JSON"),
    "too large": (b'{"a": 1e400}', "/a", "1e400", "too large"),
    "5,000 digits": (b'{"a": [' + b"9" * 5000 + b"]}", "/a/0", "9" * 24 + "…", "5000 digits"),
    "100,000 brackets": (b"[" * 100_000, "", None, "deeper than 32"),
    "100,000 braces": (b'{"a":' * 100_000, "", None, "deeper than 32"),
    "40 levels": (b"[" * 40 + b"]" * 40, "/0" * 33, None, "deeper than 32"),
    "half a surrogate": (b'{"notes": ["\\ud800"]}', "/notes/0", None, "half of a surrogate pair"),
    "half a surrogate in a key": (b'{"a": {"\\udfff": 1}}', "/a", None, "half of a surrogate pair"),
}


@pytest.mark.parametrize(("body", "pointer", "value", "words"), UNREADABLE.values(), ids=UNREADABLE)
def test_a_body_that_cannot_be_read_says_where_and_why(client, body, pointer, value, words):
    problem = problem_of(client.post("/v1/grade", data=body, headers=JSON), 400, "unreadable-body")

    (error,) = problem["errors"]
    assert (error["pointer"], error["value"]) == (pointer, value)
    assert words in error["detail"]
    assert error["detail"] in problem["detail"]


@pytest.mark.parametrize("body", ["[]", "5", "null", '"text"', "true"])
def test_a_body_that_is_no_object_is_refused_as_a_whole(client, body):
    problem = problem_of(client.post("/v1/grade", data=body, headers=JSON), 422, "invalid-measurement")
    assert "Expected an object" in problem["errors"][0]["detail"]


def test_a_whole_character_written_as_two_surrogates_is_read(client):
    body = BRIEF[:-1] + b', "label": "\\ud83d\\ude00"}'
    assert (
        client.post("/v1/grade", data=body, headers=JSON).get_json()["verdict"]["label"]
        == "\N{GRINNING FACE}"
    )


PACKED = gzip.compress(GOOD)
CODINGS = {
    "no gzip": (BRIEF, 400, "not valid gzip data"),
    "cut short": (PACKED[:-20], 400, "ends before its data does"),
    "more behind it": (PACKED + b"more", 400, "4 bytes stand behind"),
    "a second piece behind it": (PACKED + PACKED, 400, "stand behind"),
    "a damaged byte": (PACKED[:50] + b"\0" + PACKED[51:], 400, "not valid gzip data"),
    "a bomb of blanks": (gzip.compress(b" " * 50_000_000), 413, "times its own size"),
}


@pytest.mark.parametrize(("body", "status", "words"), CODINGS.values(), ids=CODINGS)
def test_a_compressed_body_is_read_whole_within_its_limits_or_refused(client, body, status, words):
    code = {400: "unreadable-body", 413: "body-too-large"}[status]
    problem = problem_of(client.post("/v1/grade", data=body, headers=GZIP), status, code)
    assert words in problem["detail"]


def test_another_coding_is_refused_by_name(client):
    response = client.post("/v1/grade", data=b"{}", headers=JSON | {"Content-Encoding": "br"})
    assert "'br'" in problem_of(response, 415, "unsupported-body")["detail"]


@pytest.mark.parametrize("kind", ["text/plain", "application/xml", "application/x-www-form-urlencoded", ""])
def test_another_content_type_is_refused_by_name(client, kind):
    response = client.post("/v1/grade", data=b"{}", headers={"Content-Type": kind})
    detail = problem_of(response, 415, "unsupported-body")["detail"]
    assert (repr(kind) if kind else "none") in detail
    assert "application/json" in detail


def test_a_body_over_the_limit_is_refused_whether_or_not_it_says_its_length():
    small = create_app(Settings(max_body_bytes=2048)).test_client()
    problem_of(small.post("/v1/grade", data=GOOD, headers=JSON), 413, "body-too-large")
    chunked = small.post(
        "/v1/grade",
        input_stream=io.BytesIO(GOOD),
        headers=JSON,
        environ_overrides={"wsgi.input_terminated": True},
    )
    problem_of(chunked, 413, "body-too-large")


DOCUMENT = b'{"configuration": "channel"}'
TOUCHSTONE = b"# MHz S RI R 50\n"
FORMS = {
    "no parts": ([], 400, "the form has none"),
    "no document": ([("sweep", TOUCHSTONE)], 400, "exactly one part 'measurement'"),
    "two documents": (
        [("measurement", DOCUMENT), ("measurement", DOCUMENT), ("sweep", TOUCHSTONE)],
        400,
        "the form has 2",
    ),
    "no file": ([("measurement", DOCUMENT)], 400, "at least one part 'sweep'"),
    "a part of another name": ([("measurement", DOCUMENT), ("sweeps", TOUCHSTONE)], 400, "part 'sweeps'"),
    "a document that is no JSON": ([("measurement", b"{"), ("sweep", TOUCHSTONE)], 400, "is not JSON"),
    "a document with a key twice": (
        [("measurement", b'{"label": "a", "label": "b"}'), ("sweep", TOUCHSTONE)],
        400,
        "more than once",
    ),
    "a document that is no object": (
        [("measurement", b"[]"), ("sweep", TOUCHSTONE)],
        422,
        "Expected an object",
    ),
    "a file without data": ([("measurement", DOCUMENT), ("sweep", TOUCHSTONE)], 422, "link.s4p"),
}


@pytest.mark.parametrize(("parts", "status", "words"), FORMS.values(), ids=FORMS)
def test_a_form_with_the_wrong_parts_says_which_it_needs(client, parts, status, words):
    names = {"measurement": "m.json"}
    data = {}
    for name, content in parts:
        data.setdefault(name, []).append((io.BytesIO(content), names.get(name, "link.s4p")))

    response = client.post("/v1/grade?rule_set=TIA&category=6", data=data, content_type="multipart/form-data")

    assert (response.status_code, response.content_type) == (status, "application/problem+json")
    assert words in response.get_json()["detail"]


def test_a_part_without_a_name_is_refused_whatever_stands_beside_it(client):
    body = b"".join(
        b"--y\r\nContent-Disposition: form-data" + name + b"\r\n\r\n{}\r\n"
        for name in (b"", b'; name="more"', b'; name="measurement"')
    )

    response = client.post(
        "/v1/grade", data=body + b"--y--\r\n", headers={"Content-Type": "multipart/form-data; boundary=y"}
    )

    problem = problem_of(response, 400, "unreadable-body")
    assert problem["detail"].startswith("A part has no name; send one part 'measurement'")


BROKEN_FORMS = {
    "no boundary": ("multipart/form-data", b"--x\r\n"),
    "another boundary": ("multipart/form-data; boundary=y", b"--x\r\nmore"),
    "cut short": (
        "multipart/form-data; boundary=y",
        b'--y\r\nContent-Disposition: form-data; name="measurement"\r\n\r\n{',
    ),
}


@pytest.mark.parametrize(("kind", "body"), BROKEN_FORMS.values(), ids=BROKEN_FORMS)
def test_a_form_that_is_damaged_is_a_problem_that_speaks_of_the_boundary(client, kind, body):
    response = client.post("/v1/grade", data=body, headers={"Content-Type": kind})
    assert "boundary" in problem_of(response, 400, "unreadable-body")["detail"]


def test_a_part_over_the_limit_is_refused():
    small = create_app(Settings(max_part_bytes=512)).test_client()
    data = {"measurement": (io.BytesIO(DOCUMENT), "m.json"), "sweep": (io.BytesIO(b"!" * 600), "a.s4p")}
    response = small.post("/v1/grade", data=data, content_type="multipart/form-data")
    problem_of(response, 413, "body-too-large")


# query; code, pointer, value shown, words that the detail must have
QUERIES = {
    "unknown": ("categry=6", "invalid-query", "/query/categry", "6", "did you mean category?"),
    "given twice": ("category=6&category=5e", "invalid-query", "/query/category", "6, 5e", "give it once"),
    "none of the words": (
        "configuration=link",
        "invalid-query",
        "/query/configuration",
        "link",
        "Expected one of permanent_link",
    ),
    "nothing": ("category=", "invalid-query", "/query/category", "", "leave the field out"),
    "no such category": (
        "category=9&rule_set=TIA",
        "invalid-requirement",
        "/query/category",
        "9",
        "it has 3",
    ),
    "no such rule set": ("category=6&rule_set=EIA", "unknown-rule-set", "/query/rule_set", "EIA", "Known:"),
    "another configuration": (
        "configuration=permanent_link&rule_set=TIA&category=6",
        "invalid-measurement",
        "/query/configuration",
        "permanent_link",
        "property of the measurement",
    ),
}


@pytest.mark.parametrize(("query", "code", "pointer", "value", "words"), QUERIES.values(), ids=QUERIES)
def test_a_wrong_query_is_answered_with_the_parameter_its_value_and_what_to_do(
    client, query, code, pointer, value, words
):
    response = client.post(f"/v1/grade?{query}", data=DOCUMENT, headers=JSON)

    (error,) = problem_of(response, 422, code)["errors"]
    assert (error["pointer"], error["value"]) == (pointer, value)
    assert words in error["detail"]


def test_a_document_and_a_query_that_ask_for_two_things_are_refused(client):
    response = client.post("/v1/grade?category=5e", data=BRIEF, headers=JSON)
    (error,) = problem_of(response, 422, "invalid-measurement")["errors"]
    assert error["pointer"] == "/query/category"
    assert "asks for 6 and the request for 5e; give one" in error["detail"]


def test_an_address_without_parameters_refuses_any(client):
    response = client.get("/v1/rule-sets?limit=5")
    (error,) = problem_of(response, 422, "invalid-query")["errors"]
    assert error == {
        "pointer": "/query/limit",
        "value": "5",
        "detail": "Nothing can be given here; leave it out.",
    }


def test_a_wrong_method_names_the_right_one(client):
    response = client.get("/v1/grade")
    problem = problem_of(response, 405, "method-not-allowed")
    assert problem["detail"] == "/v1/grade does not answer to GET; use POST."
    assert "POST" in response.headers["Allow"]


@pytest.mark.parametrize("path", ["/", "/v1", "/v1/grade/", "/v2/grade", "/v1/%ff", "/docs/../../etc/passwd"])
def test_an_unknown_address_is_a_problem_that_says_so(client, path):
    assert "Nothing is served at" in problem_of(client.get(path), 404, "not-found")["detail"]


@pytest.mark.parametrize("size", [100, 100_000])
def test_a_key_of_any_length_is_answered_in_short(client, size):
    document = json.loads(BRIEF) | {"k" * size: 1}
    response = client.post("/v1/grade", json=document)
    problem = problem_of(response, 422, "invalid-measurement")
    assert len(problem["errors"][0]["pointer"]) < 100
    assert len(response.data) < 2000
