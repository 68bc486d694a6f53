"""Writers, nightly re-grading and webhooks together, each killed again and again: nothing is lost."""

from __future__ import annotations

import random
import subprocess
import sys
import time
from collections import defaultdict
from contextlib import contextmanager

import pytest

from fourpair_service.app import create_app
from fourpair_service.config import Settings
from fourpair_service.records.integrity import first_break
from fourpair_service.records.runs.commands import open_runs
from fourpair_service.storage.opening import open_store
from killing import ROOT, environment, started
from stores import LASTING, store_name
from webhook_receiver import LOOPBACK, receiving

ROUNDS = 5
PATIENCE_S = 90


@pytest.fixture(params=LASTING)
def name(request, tmp_path):
    with store_name(request.param, tmp_path) as made:
        yield made


@contextmanager
def killed(process, after_s):
    """Let a process live for a while beside what the block does, then kill it."""
    yield process
    time.sleep(after_s)
    process.kill()
    process.wait()


def writer(name):
    own = environment(name)
    own["PYTHONPATH"] = f"{ROOT / 'tests'}:{own.get('PYTHONPATH', '')}"
    return subprocess.Popen(
        [sys.executable, "-m", "killing", name], env=own, cwd=ROOT, stdout=subprocess.PIPE, text=True
    )


def test_nothing_is_lost_doubled_or_told_out_of_order(name):
    chance = random.Random(7)
    store = open_store(name)
    client = create_app(Settings(webhook_networks=LOOPBACK), store=store).test_client()
    client.post("/v1/jobs", json={"id": "clinic", "name": "Clinic"})
    acknowledged = []
    with receiving() as receiver:
        made = client.post("/v1/subscriptions", json={"url": receiver.url, "after": 0}).get_json()
        receiver.secret = made["secret"]
        # Now and then the receiver has a bad moment too.
        receiver.status = lambda message: 500 if chance.random() < 0.01 else 200
        for _ in range(ROUNDS):
            writing = writer(name)
            told = [writing.stdout.readline()]
            # Starting takes a second or two; then each is at work for a while when it is killed.
            with (
                killed(started(name, "work"), chance.uniform(0, 1)),
                killed(started(name, "regrade"), chance.uniform(0, 1)),
                killed(writing, chance.uniform(1.5, 3)),
            ):
                pass
            told += writing.stdout.read().splitlines()
            acknowledged += [int(line) for line in told if line.strip().isdigit()]
            writing.stdout.close()
        assert subprocess.run(
            [sys.executable, "-m", "fourpair_service", "regrade"],
            env=environment(name),
            cwd=ROOT,
            check=False,
        ).returncode in (0, 3, 4)
        last = store.last_change().seq
        worker, until = started(name, "work"), time.monotonic() + PATIENCE_S
        while len(set(receiver.seqs)) < last and time.monotonic() < until:
            time.sleep(0.1)
        worker.terminate()
        worker.wait()
        arrived = list(receiver.arrived)

    assert len(acknowledged) > ROUNDS
    changes = store.changes(after=0, limit=last + 1)
    assert [change.seq for change in changes] == list(range(1, last + 1))
    assert set(acknowledged) <= {change.seq for change in changes}
    assert first_break(store) is None
    assert open_runs(store) == []
    assert receiver.refused == []
    assert sorted({m["data"]["seq"] for m in arrived}) == list(range(1, last + 1))
    first_arrival, by_record = {}, defaultdict(list)
    for place, each in enumerate(arrived):
        if first_arrival.setdefault(each["data"]["seq"], place) == place:
            by_record[each["data"]["record"]].append(each["data"]["revision"])
        assert each["id"] == f"{made['id']}-{each['data']['seq']}"
    assert all(numbers == sorted(numbers) for numbers in by_record.values())
    assert any(change.kind.value == "record.regraded" for change in changes)
    store.close()
