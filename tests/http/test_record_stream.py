"""Any number of records in one stream: each kept by itself, answered once it is safe, whatever a line is."""

from __future__ import annotations

import gzip
import json
import socket
import subprocess
import sys
import urllib.parse
import urllib.request
from pathlib import Path

import pytest
import zstandard

from fourpair_service.app import create_app
from fourpair_service.config import Settings
from fourpair_service.records.integrity import first_break
from fourpair_service.storage.memory import MemoryStore
from fourpair_service.storage.sqlite import SqliteStore
from running import running_service

ROOT = Path(__file__).resolve().parents[2]
LIGHT = json.loads((ROOT / "samples" / "links" / "2A-03-summary-only.json").read_bytes())
NDJSON = "application/x-ndjson"
PATH = "/v1/records:stream"


@pytest.fixture
def store():
    return MemoryStore()


@pytest.fixture
def client(store):
    client = create_app(Settings(max_body_bytes=200_000), store=store).test_client()
    assert client.post("/v1/jobs", json={"id": "clinic", "name": "Clinic"}).status_code == 201
    return client


def line(label, **changes):
    return json.dumps({**LIGHT, "job": "clinic", "label": label, **changes}).encode()


def stream(client, body, path=PATH, **headers):
    response = client.post(path, data=body, headers={"Content-Type": NDJSON, **headers})
    assert (response.status_code, response.mimetype) == (200, NDJSON), response.text
    return [json.loads(each) for each in response.data.splitlines()]


def test_each_line_is_kept_as_it_would_be_alone_and_told_in_its_place(client, store):
    first, second, third, end = stream(
        client, b"\n".join([line("A", external_ids={"crm": "1"}), line("B"), line("A", notes="again")])
    )

    assert (first["line"], first["result"], first["external_ids"]) == (1, "created", {"crm": "1"})
    assert (second["result"], second["label"], second["problem"]) == ("created", "B", None)
    assert (third["result"], third["revision"], third["record"]) == ("revised", 2, first["record"])
    assert end == {
        "end": {"lines": 3, "created": 2, "revised": 1, "unchanged": 0, "refused": 0, "complete": True}
    }
    kept = client.get(f"/v1/records/{second['record']}").get_json()["record"]
    assert kept["outcome"] == second["outcome"]
    assert first_break(store) is None


def test_sent_again_it_changes_nothing(client):
    body = b"\n".join(line(f"L{number}") for number in range(5))
    once, again = stream(client, body), stream(client, body)

    assert [each["result"] for each in again[:-1]] == ["unchanged"] * 5
    assert [each["record"] for each in again[:-1]] == [each["record"] for each in once[:-1]]
    assert client.get("/v1/changes?after=0&limit=100").get_json()["changes"][-1]["seq"] == 6


@pytest.mark.parametrize(
    ("bad", "code"),
    [
        (b"{", "unreadable-body"),
        (b"[]", "invalid-body"),
        (b'"text"', "invalid-body"),
        (b'{"job": "clinic", "job": "clinic"}', "unreadable-body"),
        (b"\xff\xfe", "unreadable-body"),
        (b"[" * 10_000, "unreadable-body"),
        (line("B", job="nowhere"), "not-kept"),
        (line("B", lenght_m=3), "invalid-measurement"),
        (line("B", external_ids=[1]), "invalid-record"),
        (line(""), "invalid-record"),
        (line(["B"]), "invalid-record"),
        (b'"' + b"x" * 300_000 + b'"', "body-too-large"),
    ],
)
def test_a_bad_line_gets_a_problem_in_its_place_and_the_others_are_kept(client, bad, code):
    first, second, third, end = stream(client, b"\n".join((line("A"), bad, line("C"))))

    assert (first["result"], third["result"]) == ("created", "created")
    assert (second["result"], second["problem"]["code"], second["record"]) == ("refused", code, None)
    assert end["end"] == {
        "lines": 3, "created": 2, "revised": 0, "unchanged": 0, "refused": 1, "complete": True,
    }  # fmt: skip
    assert len(client.get("/v1/records").get_json()["records"]) == 2


def test_hostile_labels_are_kept_and_told_as_text(client):
    labels = ["<script>alert(1)</script>", "=1+1", "\u202eA", "🧵" * 50]
    *told, _ = stream(client, b"\n".join(line(label) for label in labels))
    assert [each["label"] for each in told] == labels


def test_a_dry_run_answers_and_keeps_nothing(client):
    *told, end = stream(client, line("A") + b"\n" + line("B"), f"{PATH}?dry_run=true")

    assert [each["result"] for each in told] == ["created", "created"]
    assert end["end"]["complete"]
    assert client.get("/v1/records").get_json()["records"] == []


@pytest.mark.parametrize(
    ("coding", "pack"), [("gzip", gzip.compress), ("zstd", zstandard.ZstdCompressor().compress)]
)
def test_a_packed_stream_is_read_as_a_plain_one(client, coding, pack):
    body = b"\n".join(line(f"L{number}") for number in range(9))
    assert stream(client, pack(body), **{"Content-Encoding": coding})[-1]["end"]["created"] == 9


@pytest.mark.parametrize(
    ("coding", "pack"), [("gzip", gzip.compress), ("zstd", zstandard.ZstdCompressor().compress)]
)
def test_a_trap_behind_good_lines_ends_the_stream_and_they_stay_kept(client, coding, pack):
    body = pack(line("A") + b"\n" + b"\n" * 400_000_000)
    first, end = stream(client, body, **{"Content-Encoding": coding})

    assert first["result"] == "created"
    assert (end["end"]["complete"], end["problem"]["code"]) == (False, "body-too-large")
    assert len(client.get("/v1/records").get_json()["records"]) == 1


def test_what_is_no_stream_of_lines_is_refused(client):
    assert client.post(PATH, data=line("A"), content_type="application/json").status_code == 415
    assert client.post(f"{PATH}?mode=atomic", data=line("A"), content_type=NDJSON).status_code == 422


def test_a_bad_line_of_a_batch_gets_a_problem_in_its_place_too(client):
    body = b"\n".join((line("A"), b"{", line("C")))
    items = client.post("/v1/records:batch", data=body, content_type=NDJSON).get_json()["items"]
    atomic = client.post("/v1/records:batch?mode=atomic", data=body, content_type=NDJSON)

    assert [item["result"] for item in items] == ["created", "refused", "created"]
    assert items[1]["problem"]["code"] == "unreadable-body"
    assert (atomic.status_code, atomic.get_json()["errors"][0]["pointer"]) == (400, "/records/1")


def test_more_than_a_batch_may_hold_is_told_where_it_goes(client):
    items = client.post("/v1/records:batch", data=b"\n".join([b"{}"] * 1001), content_type=NDJSON)
    assert items.status_code == 422
    assert "/v1/records:stream" in items.get_json()["detail"]


def test_an_answer_comes_while_the_rest_is_still_to_be_sent_and_what_it_tells_is_safe(tmp_path):
    path = tmp_path / "records.db"
    # More than is read ahead of the first answer.
    many = b"\n".join(line(f"L{number}") for number in range(120)) + b"\n"
    with running_service(FOURPAIR_STORE=str(path)) as url:
        address = urllib.parse.urlsplit(url)
        job = json.dumps({"id": "clinic", "name": "Clinic"}).encode()
        request = urllib.request.Request(
            f"{url}/v1/jobs", data=job, headers={"Content-Type": "application/json"}
        )
        urllib.request.urlopen(request, timeout=60).close()
        connection = socket.create_connection((address.hostname, address.port), timeout=60)
        with connection, connection.makefile("rb") as answers:
            head = f"POST {PATH} HTTP/1.1\r\nHost: x\r\nContent-Type: {NDJSON}\r\nTransfer-Encoding: chunked\r\n\r\n"
            connection.sendall(head.encode() + b"%x\r\n%s\r\n" % (len(many), many))
            while b'"line"' not in (told := answers.readline()):
                assert told
            assert json.loads(told)["result"] == "created"
            store = SqliteStore(path)
            assert store.record_labelled("clinic", "L0") is not None
            store.close()


GROWTH = """
import json, resource, sys
from werkzeug.test import EnvironBuilder
from fourpair_service.app import create_app
from fourpair_service.storage.sqlite import SqliteStore

light = json.loads(sys.argv[2])
app = create_app(store=SqliteStore(sys.argv[1]))
app.test_client().post("/v1/jobs", json={"id": "clinic", "name": "Clinic"})


class Lines:
    def __init__(self, count):
        self.left, self.kept = count, b""

    def read(self, size):
        while len(self.kept) < size and self.left:
            self.left -= 1
            self.kept += json.dumps({**light, "job": "clinic", "label": f"L{self.left % 50}"}).encode() + b"\\n"
        taken, self.kept = self.kept[:size], self.kept[size:]
        return taken


def run(count):
    builder = EnvironBuilder("/v1/records:stream", method="POST", content_type="application/x-ndjson")
    environ = builder.get_environ() | {"wsgi.input": Lines(count), "wsgi.input_terminated": True}
    lines = sum(1 for part in app(environ, lambda *told: None) for _ in part.splitlines())
    return lines, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss


_, before = run(200)
lines, after = run(1500)
print(lines, after - before)
"""


def test_many_times_the_lines_take_no_more_memory(tmp_path):
    done = subprocess.run(
        [sys.executable, "-c", GROWTH, str(tmp_path / "records.db"), json.dumps(LIGHT)],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr[-2000:]
    lines, growth_kb = map(int, done.stdout.split())

    assert lines == 1501
    assert growth_kb < 8 * 1024
