"""What is refused in a measurement document: the place, the value, and what to do instead."""

from __future__ import annotations

import copy
import json
import re
from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from fourpair_service.app import create_app
from fourpair_service.config import Settings
from fourpair_service.http.schemas.document_errors import FieldError, InvalidDocumentError

ROOT = Path(__file__).resolve().parents[2]
GOOD = json.loads((ROOT / "samples" / "links" / "0A-01-clean-pass.json").read_text())


WORDS_OF_PROGRAMS = re.compile(r"\b(None|NoneType|dict|str|int|float|True|False|\w+Error|\d*e[+-]?\d+)\b")


@pytest.fixture(scope="module")
def client():
    return create_app().test_client()


def put(*path):
    """Return a change that sets the last member of a path to a value."""
    *parents, last, value = path

    def change(document):
        for part in parents:
            document = document[part]
        document[last] = value

    return change


def turned(values):
    return [-value for value in values]


def nested(*changes):
    def change(document):
        for each in changes:
            each(document)

    return change


def swapped_in_next(document):
    near = document["sweeps"]["next"]["near"]
    near["36-12"] = near.pop("12-36")


def twice_in_next(document):
    near = document["sweeps"]["next"]["near"]
    near["36-12"] = near["12-36"]


def reads_as_a_sentence(detail):
    """No words of the program, no powers of ten, and an end."""
    return not WORDS_OF_PROGRAMS.search(detail) and detail[-1] in ".?" and len(detail) < 400


LOSS = ("sweeps", "insertion_loss", "12")
VALUES = GOOD["sweeps"]["insertion_loss"]["12"]
POINTS = len(VALUES)

# pointer, change, words that the advice must have
MISTAKES = [
    ("/lenght_m", put("lenght_m", 4), "no such field"),
    ("/pairs/12/lenght_m", put("pairs", "12", "lenght_m", 4.0), "did you mean length_m"),
    ("/pairs/21", put("pairs", "21", {}), "write 12"),
    ("/configuration", put("configuration", "basic_link"), "permanent_link"),
    ("/configuration", lambda d: d.pop("configuration"), "required. Give one of permanent_link"),
    ("/label", put("label", None), "leave the field out"),
    ("/label", put("label", ""), "1 to"),
    ("/label", put("label", "x" * 5000), "1 to"),
    ("/label", put("label", "a\u202eb"), "cannot be printed"),
    ("/label", put("label", 7), "Expected text, got a number"),
    ("/tested_at", put("tested_at", "2026-03-04 10:21"), "RFC 3339"),
    ("/tested_at", put("tested_at", "2026-02-30T10:21:07Z"), "RFC 3339"),
    (
        "/instrument/units/0/calibrated_on",
        put("instrument", "units", 0, "calibrated_on", "2026-02-30"),
        "day",
    ),
    ("/instrument/units", put("instrument", "units", {}), "Expected a list"),
    ("/instrument/units", put("instrument", "units", [{}] * 9), "at most 8"),
    ("/instrument/accuracy_db/next", put("instrument", "accuracy_db", "next", -1), "0"),
    (
        "/instrument/accuracy_db/next",
        put("instrument", "accuracy_db", "next", [1]),
        "frequency_mhz and accuracy_db",
    ),
    (
        "/instrument/accuracy_db/next/accuracy_db/1",
        put("instrument", "accuracy_db", "next", {"frequency_mhz": [1, 100], "accuracy_db": [0.5, -1]}),
        "cannot be right: expected 0 to 20 dB",
    ),
    ("/cable", put("cable", 5), "Expected an object, got a number"),
    ("/cable/nvp", put("cable", "nvp", 69), "send 0.69"),
    ("/cable/nvp", put("cable", "nvp", 1.5), "from 0.3 to 1"),
    ("/cable/awg", put("cable", "awg", 23.5), "whole number, got 23.5"),
    ("/cable/awg", put("cable", "awg", 99), "18 to 32"),
    ("/cable/temperature_c", put("cable", "temperature_c", "20"), "Expected a number, got text"),
    ("/requirement/shield_required", put("requirement", "shield_required", "yes"), "true or false"),
    ("/requirement/category", put("requirement", "category", "9"), "category"),
    (
        "/requirement/configuration",
        put("requirement", "configuration", "channel"),
        "property of the measurement",
    ),
    ("/pairs/12/delay_ns", put("pairs", "12", "delay_ns", 0.2), "send nanoseconds: 200"),
    ("/pairs/12/length_m", put("pairs", "12", "length_m", -1), "from 0 to 2000 m"),
    ("/wire_map/contacts/0", put("wire_map", "contacts", 0, ["1", "9"]), "near and a far contact"),
    ("/wire_map/shorts/0", put("wire_map", "shorts", ["12"]), "Expected a list"),
    ("/external_ids/costing", put("external_ids", {"costing": 5}), "Expected text"),
    ("/external_ids", put("external_ids", []), "Expected an object"),
    (
        "/frequency_mhz",
        put("frequency_mhz", [1e3, 2.5e5]),
        "looks like kHz (1000 to 250000): send MHz, 250 in",
    ),
    (
        "/frequency_mhz",
        put("frequency_mhz", [1e6, 2.5e8]),
        "looks like Hz (1000000 to 250000000): send MHz, 250",
    ),
    ("/frequency_mhz", put("frequency_mhz", [1e6, 2e6]), "looks like Hz"),
    (
        "/frequency_mhz",
        put("frequency_mhz", [0.001, 0.25]),
        "looks like GHz (0.001 to 0.25): send MHz, 250 in",
    ),
    ("/frequency_mhz", put("frequency_mhz", 5), "list of frequencies in MHz"),
    ("/frequency_mhz", put("frequency_mhz", []), "at least one"),
    ("/frequency_mhz/2", put("frequency_mhz", [1, 3, 2]), "must increase: 2 follows 3"),
    ("/frequency_mhz/0", put("frequency_mhz", [0, 100]), "above zero, 1 Hz (0.000001 MHz) or higher"),
    ("/frequency_mhz/1", put("frequency_mhz", [1, "2"]), "number"),
    (
        "/frequency_mhz/0/stop",
        put("frequency_mhz", [{"start": 5, "step": 1, "stop": 2}]),
        "stop lies below its start; exchange",
    ),
    (
        "/frequency_mhz/0/step",
        put("frequency_mhz", [{"start": 5, "step": 0, "stop": 9}]),
        "1 Hz (0.000001 MHz) or more",
    ),
    (
        "/frequency_mhz/0/steps",
        put("frequency_mhz", [{"start": 5, "steps": 1, "stop": 9}]),
        "did you mean step",
    ),
    ("/frequency_mhz/0/start", put("frequency_mhz", [{"start": None, "step": 1, "stop": 9}]), "got null"),
    (
        "/frequency_mhz/1",
        put("frequency_mhz", [{"start": 1, "step": 1, "stop": 9}, 7]),
        "start, step and stop",
    ),
    (
        "/frequency_mhz/1/start",
        put("frequency_mhz", [{"start": 1, "step": 1, "stop": 9}, {"start": 8, "step": 1, "stop": 19}]),
        "reaches 9 MHz",
    ),
    ("/frequency_mhz/0", put("frequency_mhz", [{"start": 1, "step": 1e-6, "stop": 100}]), "larger step"),
    ("/sweeps", put("sweeps", []), "Expected an object"),
    ("/sweeps/nexd", put("sweeps", "nexd", {}), "did you mean next"),
    ("/sweeps/next", put("sweeps", "next", []), "Expected an object"),
    ("/sweeps/next/middle", put("sweeps", "next", "middle", {}), "near or far"),
    ("/sweeps/next/near", put("sweeps", "next", "near", 5), "Expected an object"),
    ("/sweeps/insertion_loss", put("sweeps", "insertion_loss", {"near": {}}), "has no ends"),
    ("/sweeps/next/near/36-12", swapped_in_next, "one spelling is accepted: write 12-36"),
    ("/sweeps/fext/near/12-36", put("sweeps", "fext", "near", "12-36", [1.0]), "has a direction"),
    (
        "/sweeps/next/near/12-99",
        put("sweeps", "next", "near", "12-99", [1.0]),
        "no such key; known here: 12-36",
    ),
    ("/sweeps/next/near/36-12", twice_in_next, "the same combination as 12-36"),
    ("/sweeps/insertion_loss/12", put(*LOSS, turned(VALUES)), "turn every sign"),
    ("/sweeps/insertion_loss/12/db", put(*LOSS, {"db": turned(VALUES)}), "turn every sign"),
    ("/sweeps/insertion_loss/12", put(*LOSS, VALUES[:-1]), str(POINTS)),
    ("/sweeps/insertion_loss/12", put(*LOSS, "2.1"), "list of dB or an object"),
    ("/sweeps/insertion_loss/12/3", put(*LOSS, [*VALUES[:3], "2", *VALUES[4:]]), "number"),
    ("/sweeps/insertion_loss/12/3", put(*LOSS, [*VALUES[:3], None, *VALUES[4:]]), "number"),
    ("/sweeps/insertion_loss/12/3", put(*LOSS, [*VALUES[:3], True, *VALUES[4:]]), "boolean"),
    ("/sweeps/insertion_loss/12/3", put(*LOSS, [*VALUES[:3], 900, *VALUES[4:]]), "200"),
    ("/sweeps/insertion_loss/12/im", put(*LOSS, {"re": VALUES, "im": 3}), "Expected a list"),
    ("/sweeps/insertion_loss/12", put(*LOSS, {"re": VALUES}), "re and im together"),
    ("/sweeps/insertion_loss/12", put(*LOSS, {"db": VALUES, "re": VALUES}), "re and im together"),
    ("/sweeps/insertion_loss/12/dbs", put(*LOSS, {"dbs": VALUES}), "did you mean db"),
    (
        "/sweeps/insertion_loss/12/frequency_mhz",
        put(*LOSS, {"db": [1.0], "frequency_mhz": []}),
        "at least one",
    ),
    (
        "/sweeps/insertion_loss/12/frequency_mhz/1",
        put(*LOSS, {"db": [1.0, 2.0], "frequency_mhz": [2, 1]}),
        "must increase",
    ),
    ("/sweeps/insertion_loss", put(*LOSS, {"db": [1.0, 2.0], "frequency_mhz": [1, 2]}), "all or to none"),
    ("/sweeps/insertion_loss/12", lambda d: d.pop("frequency_mhz"), "has no axis"),
    (
        "/sweeps/ps_next",
        put("sweeps", "ps_next", {"near": {"12": [5.0] * POINTS}}),
        "leave it out, or correct the curve",
    ),
    (
        "/summary/readings/0/end",
        put("summary", {"readings": [{"parameter": "next", "margin_db": 1}]}),
        "NEXT needs an end: near or far",
    ),
    (
        "/summary/readings/0/end",
        put("summary", {"readings": [{"parameter": "insertion_loss", "end": "near", "margin_db": 1}]}),
        "Insertion loss has no ends: leave end out",
    ),
    ("/port/levels/0/pair", put("port", {"levels": [{"signal": "link_pulse", "peak_v": 2}]}), "required"),
]


@pytest.mark.parametrize(("pointer", "change", "words"), MISTAKES, ids=[f"{p} {w}" for p, _, w in MISTAKES])
def test_a_mistake_is_answered_with_its_place_and_what_to_do(client, pointer, change, words):
    document = copy.deepcopy(GOOD)
    change(document)

    response = client.post("/v1/grade", json=document)

    problem = response.get_json()
    assert response.status_code == 422, response.text
    assert response.content_type == "application/problem+json"
    found = {error["pointer"]: error["detail"] for error in problem["errors"]}
    assert any(p.startswith(pointer) for p in found), found
    assert any(words in detail for p, detail in found.items() if p.startswith(pointer)), found
    assert all(reads_as_a_sentence(detail) for detail in found.values()), found


def test_the_value_that_is_wrong_is_shown(client):
    document = copy.deepcopy(GOOD)
    document["cable"]["nvp"] = 69
    assert client.post("/v1/grade", json=document).get_json()["errors"][0]["value"] == 69


def test_everything_that_is_wrong_is_said_at_once(client):
    document = copy.deepcopy(GOOD)
    document["cable"]["nvp"], document["pairs"]["12"]["length_m"] = 69, -1
    pointers = {e["pointer"] for e in client.post("/v1/grade", json=document).get_json()["errors"]}
    assert pointers == {"/cable/nvp", "/pairs/12/length_m"}


def test_more_sweeps_or_points_than_the_settings_allow_are_refused():
    narrow = create_app(Settings(max_curves=3, max_points=100)).test_client()
    detail = narrow.post("/v1/grade", json=GOOD).get_json()["errors"][0]["detail"]
    assert "100 frequencies" in detail
    few = create_app(Settings(max_curves=3)).test_client()
    assert "at most 3 sweeps" in few.post("/v1/grade", json=GOOD).get_json()["errors"][0]["detail"]


def _paths(value, path=()):
    yield path
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from _paths(inner, (*path, key))
    elif isinstance(value, list) and len(value) < 50:
        for i, inner in enumerate(value):
            yield from _paths(inner, (*path, i))


PLACES = [path for path in _paths(GOOD) if path]
JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | st.text(),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=8), inner, max_size=4),
    max_leaves=8,
)


@settings(max_examples=150)
@given(st.sampled_from(PLACES), JSON)
@example(("sweeps", "fext", "near", "45>12"), {"a\0b": 1.0})
@example(("cable",), {"a\0b": 1.0})
def test_whatever_stands_at_any_place_is_graded_or_refused_and_never_fails(client, path, value):
    document = copy.deepcopy(GOOD)
    *parents, last = path
    inner = document
    for part in parents:
        inner = inner[part]
    inner[last] = value

    response = client.post(
        "/v1/grade", data=json.dumps(document), headers={"Content-Type": "application/json"}
    )

    assert response.status_code in (200, 400, 422), response.text
    if response.status_code != 200:
        assert response.content_type == "application/problem+json"
        assert response.get_json()["detail"]


def test_the_sentence_says_what_is_wrong_higher_up_first_and_how_much_it_leaves_out():
    deep, middle, top = FieldError("/a/b/c", "Deep."), FieldError("/a/b", "Middle."), FieldError("", "Whole.")

    assert str(InvalidDocumentError([deep, middle, top])) == "the document: Whole. /a/b: Middle. (and 1 more)"
    assert str(InvalidDocumentError([deep])) == "/a/b/c: Deep."
