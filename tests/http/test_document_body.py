"""The reader of measurement documents gives what the strict reader of JSON gives, sweeps as arrays."""

from __future__ import annotations

import json
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fourpair_service.http import document_body
from fourpair_service.http.document_body import read_document
from fourpair_service.http.json_body import UnreadableBodyError, read_json

LINKS = sorted((Path(__file__).resolve().parents[2] / "samples" / "links").glob("*.json"))
LONG = [float(n) / 8 for n in range(40)]


def as_lists(value):
    """The value with every array turned into a list."""
    if isinstance(value, np.ndarray):
        return value.tolist()
    if isinstance(value, dict):
        return {key: as_lists(inner) for key, inner in value.items()}
    return [as_lists(inner) for inner in value] if isinstance(value, list) else value


def read(reader, raw):
    """What a reader makes of a text, or what it says of it."""
    try:
        return as_lists(reader(raw))
    except UnreadableBodyError as error:
        return error.pointer, error.detail, error.value


def sweeps(value):
    return json.dumps({"label": "A", "sweeps": {"next": {"near": {"12-36": value}}}}).encode()


@pytest.mark.parametrize("path", LINKS, ids=lambda path: path.stem)
def test_every_sample_reads_alike_to_the_last_digit(path):
    raw = path.read_bytes()

    assert read(read_document, raw) == read(read_json, raw)


def test_a_sweep_becomes_one_array_of_float64():
    curve = read_document(sweeps(LONG))["sweeps"]["next"]["near"]["12-36"]

    assert (type(curve), curve.dtype) == (np.ndarray, np.float64)
    assert curve.tolist() == LONG


HOSTILE = {
    "a list within": [*LONG, [1.0]],
    "a list within and an empty one": [*LONG[:20], [], [1.0, 2.0], *LONG[20:]],
    "a list within a list": [[LONG]],
    "a boolean": [*LONG, True],
    "null": [*LONG, None],
    "text": [*LONG, "1.0"],
    "an object": [*LONG, {"db": 1}],
    "whole numbers": list(range(40)),
    "more than 64 bits": [*LONG, 2**70],
    "negative zero": [*LONG, -0.0],
    "the smallest": [*LONG, 5e-324],
    "deep": {"a": {"b": {"c": {"d": {"e": LONG}}}}},
    "many keys": {str(n): LONG for n in range(100)},
    "a key that goes on behind a NUL": {"12": LONG, "12\0and on": LONG[::-1]},
    "a key with a NUL that is no other key": {"12\0and on": LONG},
    "brackets and colons in a key": {"[:[": LONG, ":": [1.5]},
}


@pytest.mark.parametrize("value", HOSTILE.values(), ids=HOSTILE)
def test_what_is_no_plain_sweep_reads_as_the_strict_reader_has_it(value):
    raw = sweeps(value)

    assert read(read_document, raw) == read(read_json, raw)


TWICE = [
    b'{"sweeps": {"next": {"near": {"12-36": [1.0], "12-36": [2.0]}}}}',
    b'{"sweeps": {}, "sweeps": {}}',
    b'{"cable": {"nvp": 0.6, "nvp": 0.7}, "sweeps": {}}',
    b'{"cable": {"nvp": 0.6, "nvp": 0.7}, "label": ":"}',
    b'{"ends": [{"a": 1, "a": 2}]}',
    # A colon or bracket that is written by its number must not stand in for that of the second key.
    b'{"a": 1, "a": 2, "label": "\\u003a"}',
    b'{"a": [1], "a": [2], "label": "\\u003A\\u005b\\u005B"}',
    b'{"sweeps": {"\\u003a": [1.0], "\\u003a": [1.0]}}',
]


def plain_kinds(value):
    """Return the types that stand anywhere in a value."""
    inner = [*value, *value.values()] if isinstance(value, dict) else value if isinstance(value, list) else []
    return {type(value)}.union(*map(plain_kinds, inner))


@pytest.mark.parametrize(
    "raw",
    [
        b'{"label": "K\\u00fcche \\ud83d\\ude00 \\u003a \\u005b", "cable": {"nvp": 0.6}, "sweeps": {}}',
        b'{"label": "\\\\u003a", "cable": {"nvp": 0.6}}',
        b'{"metadata": {"a": [1, {"b": null}]}}',
        b'{"count": 123456789012345678901234567890, "cable": {"nvp": 0.6}}',
    ],
)
def test_whatever_had_to_be_read_twice_comes_as_plain_objects(raw):
    for reader in (read_document, read_json):
        value = reader(raw)

        assert value == json.loads(raw, parse_int=lambda text: int(text) if len(text) < 19 else float(text))
        assert plain_kinds(value) <= {dict, list, str, float, int, type(None)}


@pytest.mark.parametrize("raw", TWICE)
def test_a_key_given_twice_is_found_wherever_it_stands(raw):
    with pytest.raises(UnreadableBodyError, match="more than once"):
        read_document(raw)


@pytest.mark.parametrize("place", ["sweeps", "cable"])
def test_a_text_nested_too_deeply_is_refused_in_every_part(place):
    for depth in (20, 29, 30, 31, 32, 33, 200, 2000):
        raw = b'{"%s": %s1%s}' % (place.encode(), b'{"a":' * depth, b"}" * depth)

        assert read(read_document, raw) == read(read_json, raw), depth


plain = (
    st.none() | st.booleans() | st.floats(allow_nan=False, allow_infinity=False) | st.integers() | st.text()
)
values = st.recursive(
    plain | st.just(LONG),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=3), inner, max_size=4),
    max_leaves=12,
)


@given(
    st.dictionaries(st.sampled_from(["sweeps", "label", "cable", "[", ":", "sweeps\0", "\0", "a\0b"]), values)
)
def test_whatever_json_is_sent_both_readers_agree(document):
    for raw in (
        json.dumps(document).encode(),
        json.dumps(document, ensure_ascii=False).encode("utf-8", "replace"),
    ):
        assert read(read_document, raw) == read(read_json, raw)


@pytest.mark.parametrize("raw", [b"[1, 2]", b"3", b'"sweeps"', b"null", b"{}"])
def test_what_is_no_object_reads_as_the_strict_reader_has_it(raw):
    assert read(read_document, raw) == read(read_json, raw)


def test_documents_stay_as_they_are_while_the_next_ones_are_read():
    raws = [sweeps([float(n)] * 64) for n in range(200)]

    with ThreadPoolExecutor(4) as pool:
        found = list(pool.map(read_document, raws))

    for n, document in enumerate(found):
        assert document["sweeps"]["next"]["near"]["12-36"].tolist() == [float(n)] * 64


def test_without_the_fast_parser_documents_read_alike(monkeypatch):
    monkeypatch.setattr(document_body, "simdjson", None)

    document = read_document(sweeps(LONG))

    assert document["sweeps"]["next"]["near"]["12-36"] == LONG


@pytest.mark.parametrize(
    ("written", "is_array"),
    [
        ("1.5", True),
        ("-0.0", True),
        ("2.5e-3", True),
        ("2", False),
        ("2e0", False),
    ],
)
@pytest.mark.parametrize("beside", ['"a.b.c"', "1.25", '{"x.y": [0.5, 1e3, 1e30]}', "10000000000000000.0"])
def test_whole_numbers_stay_whole_where_a_text_must_come_back_as_it_was_written(written, is_array, beside):
    numbers = ", ".join(["0.5"] * 20 + [written])
    raw = f'{{"beside": {beside}, "sweeps": {{"next": [{numbers}]}}}}'.encode()

    read_ = read_document(raw, as_written=True)

    # Numbers with an exponent elsewhere count as if they had a point: on the safe side.
    assert isinstance(read_["sweeps"]["next"], np.ndarray) == (is_array and "1e" not in beside)
    # By their text, since 2 and 2.0 are equal.
    assert json.dumps(as_lists(read_)) == json.dumps(read_json(raw))
