"""The real server, as it is started."""

from __future__ import annotations

import json
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
import requests

from end_to_end.running import Running, running
from fourpair_service.records.integrity import first_break
from fourpair_service.storage.sqlite import SqliteStore

ROOT = Path(__file__).resolve().parents[2]
JOB = "alder-row-clinic"
LIGHT = {
    "job": JOB,
    "configuration": "permanent_link",
    "requirement": {"rule_set": "TIA", "category": "6"},
    "wire_map": {"contacts": [[p, p] for p in "12345678"]},
}


@pytest.fixture
def server(tmp_path):
    with running(tmp_path / "records.db") as server:
        made = requests.post(f"{server.url}/v1/jobs", json={"id": JOB, "name": "Clinic"}, timeout=10)
        assert made.status_code == 201
        yield server


def submit(url, label, **headers):
    return requests.post(f"{url}/v1/records", json={**LIGHT, "label": label}, headers=headers, timeout=30)


def test_twenty_four_clients_with_one_key_have_one_effect(server):
    refused = []

    def insist(_):
        # While the key is being carried out, by whichever worker, the answer is: later.
        while (answer := submit(server.url, "A", **{"Idempotency-Key": "one"})).status_code == 409:
            refused.append(answer)
            time.sleep(0.01)
        return answer

    with ThreadPoolExecutor(24) as pool:
        answers = list(pool.map(insist, range(24)))

    assert {answer.json()["code"] for answer in refused} <= {"idempotency-running"}
    assert all(int(answer.headers["Retry-After"]) > 0 for answer in refused)
    assert {answer.status_code for answer in answers} == {201}
    assert len({answer.json()["record"]["id"] for answer in answers}) == 1
    assert sum("Idempotent-Replayed" in answer.headers for answer in answers) == 23
    assert requests.get(f"{server.url}/v1/changes", timeout=10).json()["last_seq"] == 2


def test_waiting_readers_hold_no_worker_and_all_hear_of_what_comes(server):
    def follow(_):
        return requests.get(f"{server.url}/v1/changes?after=1&wait=20", timeout=30)

    with ThreadPoolExecutor(20) as pool:
        followers = [pool.submit(follow, n) for n in range(20)]
        graded = [
            requests.post(f"{server.url}/v1/grade", json=LIGHT, timeout=10).status_code for _ in range(10)
        ]
        submit(server.url, "A")
        heard = [follower.result() for follower in followers]

    assert graded == [200] * 10
    assert {answer.status_code for answer in heard} == {200}
    assert {answer.json()["changes"][0]["label"] for answer in heard} == {"A"}
    assert all(answer.headers["X-Request-Id"] for answer in heard)


def test_a_waiting_reader_is_told_when_its_time_is_over(server):
    answer = requests.get(f"{server.url}/v1/changes?after=1&wait=1", timeout=10)

    assert answer.json() == {"changes": [], "next_after": 1, "last_seq": 1}


def test_whatever_is_logged_of_readers_that_wait_is_a_line_of_json(server):
    for _ in range(3):
        requests.get(f"{server.url}/v1/changes?after=1&wait=1", timeout=10)
    server.stop()

    assert server.lines
    assert all(isinstance(json.loads(line), dict) for line in server.lines), server.lines


def test_a_server_that_is_killed_under_load_keeps_what_it_acknowledged(tmp_path):
    store_path, acknowledged, lock = tmp_path / "records.db", {}, threading.Lock()
    for round_ in range(3):
        server = Running(store_path)
        requests.post(f"{server.url}/v1/jobs", json={"id": JOB, "name": "Clinic"}, timeout=10)

        def load(worker, url=server.url, round_=round_):
            for number in range(10_000):
                try:
                    answer = submit(url, f"{round_}-{worker}-{number}")
                except requests.RequestException:
                    return
                if answer.status_code == 201:
                    with lock:
                        document = answer.json()["record"]
                        acknowledged[document["id"]] = document["digest"]

        workers = [threading.Thread(target=load, args=(n,)) for n in range(4)]
        for worker in workers:
            worker.start()
        threading.Event().wait(0.5)
        server.kill()
        for worker in workers:
            worker.join()

    store = SqliteStore(store_path)
    assert acknowledged
    assert {record_id: store.record(record_id).digest for record_id in acknowledged} == acknowledged
    changes = store.changes(after=0, limit=100_000)
    assert [change.seq for change in changes] == list(range(1, len(changes) + 1))
    assert first_break(store) is None
    store.close()


def test_a_server_with_keys_logs_neither_keys_nor_bodies(tmp_path):
    with running(tmp_path / "records.db") as server:
        submit(server.url, "secret label", Authorization="Bearer fpk_secret_looking")

    assert [json.loads(line)["status"] for line in server.lines] == [401]
    assert "secret" not in "".join(server.lines)
