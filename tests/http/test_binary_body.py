"""The binary body: the same verdict as JSON to the last bit, and every trap named by its place."""

from __future__ import annotations

import json
import struct
import sys
from pathlib import Path

import pytest

from fourpair_service.app import create_app
from fourpair_service.http.binary_body import MEDIA_TYPE
from fourpair_service.storage.memory import MemoryStore

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "samples"))
from binary_sweeps import binary  # noqa: E402 - a script beside the packages, not one of them

SAMPLES = sorted((ROOT / "samples" / "links").glob("*.json"))


@pytest.fixture(scope="module")
def client():
    return create_app(store=MemoryStore()).test_client()


def grade(client, body):
    return client.post("/v1/grade?assessment=all", data=body, content_type=MEDIA_TYPE)


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.stem)
def test_a_sample_has_the_same_answer_as_in_json_and_fewer_bytes(client, path):
    text = json.dumps(json.loads(path.read_bytes()), separators=(",", ":")).encode()
    body = binary(json.loads(text))

    answer = grade(client, body)

    assert answer.status_code == 200, answer.text
    as_text = client.post("/v1/grade?assessment=all", data=text, content_type="application/json")
    assert answer.data == as_text.data
    if b"sweeps" in text:
        assert len(body) < 0.55 * len(text)


def made(lists=None, numbers=b"", document=None, head=None):
    told = {"document": document or {"configuration": "channel"}, "lists": lists or []}
    content = json.dumps(told).encode() if head is None else head
    return b"FPS1" + struct.pack("<I", len(content)) + content + numbers


ONE = {"paths": ["insertion_loss/12"], "count": 2, "type": "int16", "decimals": 2}
TWO = struct.pack("<2h", 123, 456)


@pytest.mark.parametrize(
    ("body", "words"),
    [
        (b"", "does not begin with FPS1"),
        (b"FPS2\x00\x00\x00\x00", "does not begin with FPS1"),
        (b"FPS1\xff\xff\xff\xff{}", "the body was cut"),
        (made(head=b"{"), "JSON"),
        (made(head=b'{"document": {}, "document": {}, "lists": []}'), "document"),
        (made(head=b"[]"), "document and lists"),
        (made(head=b'{"document": [], "lists": []}'), "/document"),
        (made(head=b'{"document": {}, "lists": {}}'), "/lists"),
        (made(head=b'{"document": {"sweeps": []}, "lists": []}'), "/document/sweeps"),
        (made([{**ONE, "more": 1}], TWO), "/lists/0"),
        (made([{**ONE, "paths": []}], TWO), "/lists/0/paths"),
        (made([{**ONE, "paths": "insertion_loss/12"}], TWO), "/lists/0/paths"),
        (made([{**ONE, "paths": ["a/b/c/d/e"]}], TWO), "/lists/0/paths/0"),
        (made([{**ONE, "paths": [1]}], TWO), "/lists/0/paths"),
        (made([{**ONE, "type": "int8"}], TWO), "/lists/0/type"),
        (made([{**ONE, "type": ["int16"]}], TWO), "/lists/0/type"),
        (made([{**ONE, "count": 0}], TWO), "/lists/0/count"),
        (made([{**ONE, "count": 10**9}], TWO), "/lists/0/count"),
        (made([{**ONE, "count": True}], TWO), "/lists/0/count"),
        (made([{**ONE, "count": 3}], TWO), "/lists/0/count"),
        (made([{**ONE, "decimals": 10}], TWO), "/lists/0/decimals"),
        (made([{**ONE, "type": "float32"}], TWO * 2), "/lists/0/decimals"),
        (made([ONE], TWO + b"x"), "1 bytes stand behind"),
        (made([ONE, ONE], TWO * 2), "/lists/1/paths/0"),
        (made([ONE, {**ONE, "paths": ["insertion_loss/12/db"]}], TWO * 2), "/lists/1/paths/0"),
        (made([{**ONE, "paths": [f"x/{n}" for n in range(401)]}], TWO * 401), "at most 400 lists"),
        (
            made(
                [{"paths": ["x/1", "x/2"], "count": 1, "type": "float64"}],
                struct.pack("<2d", 1, float("nan")),
            ),
            "/lists/0/paths/1: Number 0 of this list is not finite",
        ),
    ],
)
def test_a_body_that_is_not_what_it_says_is_refused_with_the_place(client, body, words):
    answer = grade(client, body)

    assert answer.status_code == 400, answer.text
    assert words in answer.text


def test_what_the_document_itself_has_wrong_is_told_as_with_json(client):
    document = {
        "configuration": "channel",
        "frequency_mhz": [1, 2],
        "requirement": {"rule_set": "TIA", "category": "6"},
    }
    answer = grade(client, made([{**ONE, "paths": ["insertion_los/12"]}], TWO, document))
    assert (answer.status_code, answer.get_json()["errors"][0]["pointer"]) == (422, "/sweeps/insertion_los")
    short = grade(client, made([{**ONE, "count": 1}], TWO[:2], document))
    assert (short.status_code, short.get_json()["errors"][0]["pointer"]) == (422, "/sweeps/insertion_loss/12")


def test_every_cut_of_a_body_is_refused(client):
    document = json.loads(SAMPLES[0].read_bytes())
    body = binary(document)
    for end in (3, 7, 8, 100, len(body) // 2, len(body) - 1):
        assert grade(client, body[:end]).status_code == 400
