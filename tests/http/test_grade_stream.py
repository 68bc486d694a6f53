"""Many measurements in one stream: in order, in little memory, whatever a line or a client does."""

from __future__ import annotations

import gzip
import json
import socket
import struct
import urllib.request
from pathlib import Path

import pytest
import zstandard

from fourpair_service.app import create_app
from fourpair_service.config import Settings
from fourpair_service.http.body_stream import lines, pieces
from fourpair_service.http.json_body import BodyTooLargeError, UnreadableBodyError
from fourpair_service.http.spool import unhurried
from fourpair_service.storage.memory import MemoryStore
from running import running_service

ROOT = Path(__file__).resolve().parents[2]
SAMPLES = sorted((ROOT / "samples" / "links").glob("*.json"))
LIGHT = json.dumps(json.loads((ROOT / "samples" / "links" / "2A-03-summary-only.json").read_bytes())).encode()
NDJSON = "application/x-ndjson"


def compact(path):
    return json.dumps(json.loads(path.read_bytes())).encode()


@pytest.fixture(scope="module")
def client():
    return create_app(Settings(max_body_bytes=700_000), store=MemoryStore()).test_client()


def answers(response):
    assert response.status_code == 200, response.text
    assert response.mimetype == NDJSON
    return [json.loads(line) for line in response.data.splitlines()]


def stream(client, body, **headers):
    return answers(client.post("/v1/grade/stream", data=body, headers={"Content-Type": NDJSON, **headers}))


def test_every_line_is_answered_in_its_place_as_it_would_be_alone(client):
    body = b"\n".join(compact(path) for path in SAMPLES) + b"\n"
    *verdicts, end = stream(client, body)

    assert end == {"end": {"lines": len(SAMPLES), "graded": len(SAMPLES), "problems": 0, "complete": True}}
    assert [answer["line"] for answer in verdicts] == list(range(1, len(SAMPLES) + 1))
    for path, answer in zip(SAMPLES, verdicts, strict=True):
        alone = client.post("/v1/grade", data=path.read_bytes(), content_type="application/json").get_json()
        assert answer["verdict_digest"] == alone["verdict_digest"]
        assert {k: v for k, v in answer.items() if k != "line"} == alone


@pytest.mark.parametrize(
    ("bad", "code"),
    [
        (b"{", "unreadable-body"),
        (b"[]", "invalid-measurement"),
        (b'{"configuration": "channel", "configuration": "channel"}', "unreadable-body"),
        (b"\xff\xfe", "unreadable-body"),
        (b"[" * 10_000, "unreadable-body"),
        (b'{"configuration": "channel", "lenght_m": 3}', "invalid-measurement"),
        (b'"' + b"x" * 800_000 + b'"', "body-too-large"),
    ],
)
def test_a_bad_line_gets_a_problem_in_its_place_and_the_stream_goes_on(client, bad, code):
    first, second, third, end = stream(client, b"\n".join((LIGHT, bad, LIGHT)))

    assert "verdict" in first
    assert second["problem"]["code"] == code
    assert third["verdict"] == first["verdict"]
    assert end["end"] == {"lines": 3, "graded": 2, "problems": 1, "complete": True}


def test_empty_lines_and_an_empty_body_are_no_measurements(client):
    assert stream(client, b"")[-1]["end"]["lines"] == 0
    assert stream(client, b"\n\r\n  \n" + LIGHT + b"\r\n\n")[-1]["end"]["lines"] == 1


def test_the_requirement_may_stand_in_the_query(client):
    document = json.loads(LIGHT)
    del document["requirement"]
    response = client.post(
        "/v1/grade/stream?rule_set=TIA&category=6&assessment=none",
        data=json.dumps(document).encode(),
        content_type=NDJSON,
    )
    assert "verdict" in answers(response)[0]
    assert client.post("/v1/grade/stream?categry=6", data=LIGHT, content_type=NDJSON).status_code == 422


@pytest.mark.parametrize(
    ("coding", "pack"), [("gzip", gzip.compress), ("zstd", zstandard.ZstdCompressor().compress)]
)
def test_a_packed_stream_is_read_as_a_plain_one(client, coding, pack):
    body = b"\n".join([LIGHT] * 50)
    assert stream(client, pack(body), **{"Content-Encoding": coding}) == stream(client, body)


@pytest.mark.parametrize(
    ("coding", "body", "code"),
    [
        ("gzip", gzip.compress(b"\n" * 400_000_000), "body-too-large"),
        ("zstd", zstandard.ZstdCompressor().compress(b"\n" * 400_000_000), "body-too-large"),
        ("gzip", gzip.compress(LIGHT)[:-9], "unreadable-body"),
        ("gzip", gzip.compress(LIGHT) + b"more", "unreadable-body"),
        ("gzip", LIGHT, "unreadable-body"),
        ("zstd", LIGHT, "unreadable-body"),
    ],
)
def test_a_packed_stream_that_is_a_trap_ends_with_a_problem(client, coding, body, code):
    *_, end = stream(client, body, **{"Content-Encoding": coding})

    assert end["problem"]["code"] == code
    assert end["end"]["complete"] is False


def test_what_is_no_stream_of_lines_is_refused(client):
    assert client.post("/v1/grade/stream", data=LIGHT, content_type="application/json").status_code == 415
    odd = client.post("/v1/grade/stream", data=LIGHT, content_type=NDJSON, headers={"Content-Encoding": "br"})
    assert odd.status_code == 415


@pytest.mark.parametrize(
    ("body", "status"),
    [
        (zstandard.ZstdCompressor().compress(LIGHT), 200),
        (zstandard.ZstdCompressor(write_content_size=False).compress(LIGHT), 200),
        (zstandard.ZstdCompressor().compress(b" " * 50_000_000), 413),
        (zstandard.ZstdCompressor().compress(LIGHT)[:-5], 400),
        (zstandard.ZstdCompressor().compress(LIGHT) + b"more", 400),
        (LIGHT, 400),
    ],
)
def test_a_single_measurement_may_be_packed_by_zstd(client, body, status):
    headers = {"Content-Encoding": "zstd", "Content-Type": "application/json"}
    assert client.post("/v1/grade", data=body, headers=headers).status_code == status


def test_a_window_that_would_need_much_memory_is_refused(client):
    def frame(window_log):
        # RFC 8878, 3.1.1: magic number, a descriptor of nothing, the window, and one raw block, the last.
        window = bytes([(window_log - 10) << 3])
        return b"\x28\xb5\x2f\xfd\x00" + window + ((len(LIGHT) << 3) | 1).to_bytes(3, "little") + LIGHT

    headers = {"Content-Encoding": "zstd", "Content-Type": "application/json"}
    assert client.post("/v1/grade", data=frame(23), headers=headers).status_code == 200
    assert client.post("/v1/grade", data=frame(27), headers=headers).status_code == 400


class Source:
    """A source that gives so many bytes, and counts what was asked for."""

    def __init__(self, content, piece=7):
        self.content, self.piece, self.largest = content, piece, 0

    def read(self, size):
        self.largest = max(self.largest, size)
        taken, self.content = self.content[: self.piece], self.content[self.piece :]
        return taken


@pytest.mark.parametrize("piece", [1, 3, 64, 10_000])
@pytest.mark.parametrize(
    ("coding", "pack"),
    [("identity", bytes), ("gzip", gzip.compress), ("zstd", zstandard.ZstdCompressor().compress)],
)
def test_lines_are_the_same_however_the_body_comes(piece, coding, pack):
    body = b"one\ntwo\n\n" + b"x" * 60 + b"\nlast"
    found = list(lines(pieces(Source(pack(body), piece), coding, ratio=100), most=50))
    assert found == [b"one", b"two", b"", None, b"last"]


def test_a_line_without_end_is_not_kept():
    def endless():
        for _ in range(2000):
            yield b"x" * 65_536
        yield b"\nshort\n"

    assert list(lines(endless(), most=100)) == [None, b"short"]


def test_a_ratio_beyond_reason_is_refused_before_it_is_read_to_the_end():
    bomb = gzip.compress(b"0" * 100_000_000)
    with pytest.raises(BodyTooLargeError):
        for _ in pieces(Source(bomb, 1000), "gzip", ratio=100):
            pass
    with pytest.raises(UnreadableBodyError):
        list(pieces(Source(b"\x28\xb5\x2f\xfd\x08" + bytes(20)), "zstd", ratio=100))


def test_what_a_client_does_not_take_yet_waits_and_comes_in_order():
    here, there = socket.socketpair()
    here.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, 4096)
    made = []

    def make():
        for number in range(2000):
            made.append(number)
            yield struct.pack(">I", number) * 500

    taken, answers_ = bytearray(), unhurried(make(), here)
    first = next(answers_)
    here.sendall(first)
    there.setblocking(False)
    # The other side reads nothing; whatever is yielded would be sent, until it takes no more.
    for piece in answers_:
        here.setblocking(False)
        try:
            sent = here.send(piece)
        except BlockingIOError:
            sent = 0
        rest = piece[sent:]
        here.setblocking(True)
        while rest:
            taken += there.recv(1 << 20)
            sent = here.send(rest[:2048])
            rest = rest[sent:]
    here.close()
    there.setblocking(True)
    while piece := there.recv(1 << 20):
        taken += piece
    there.close()

    assert made == list(range(2000))
    assert bytes(taken) == b"".join(struct.pack(">I", number) * 500 for number in range(2000))


def test_a_client_that_sends_everything_before_it_reads_is_answered_by_the_real_server():
    # 600 answers are several megabytes: more than the two sides hold between them.
    body = b"\n".join([LIGHT] * 600)
    with running_service() as url:
        request = urllib.request.Request(
            f"{url}/v1/grade/stream", data=body, headers={"Content-Type": NDJSON}
        )
        with urllib.request.urlopen(request, timeout=120) as response:
            found = [json.loads(line) for line in response]
    assert found[-1]["end"] == {"lines": 600, "graded": 600, "problems": 0, "complete": True}
    assert [answer["line"] for answer in found[:-1]] == list(range(1, 601))
