"""What several processes of one store know of each other: running keys and rates."""

from __future__ import annotations

import signal
import subprocess
import sys

import pytest

from fourpair_service.http.rate_limit import BUCKETS, SIZE, RateLimit
from fourpair_service.http.running import Running
from fourpair_service.http.shared_file import OwnMemory, SharedFile, shared_beside
from fourpair_service.records.errors import IdempotencyRunningError

HOLDER = """
import sys
from fourpair_service.http.rate_limit import SIZE
from fourpair_service.http.running import Running
from fourpair_service.http.shared_file import SharedFile
running = Running(SharedFile(sys.argv[1], SIZE))
with running.claimed("me", "key"):
    print("held", flush=True)
    sys.stdin.readline()
print("let go", flush=True)
sys.stdin.readline()
"""
ASKER = """
import sys
from fourpair_service.http.rate_limit import SIZE, RateLimit
from fourpair_service.http.shared_file import SharedFile
limit = RateLimit(SharedFile(sys.argv[1], SIZE))
print(sum(limit.take("k", 1000, 5.0).retry_after_s == 0 for _ in range(800)))
"""


def started(code, path):
    return subprocess.Popen(
        [sys.executable, "-c", code, str(path)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )


@pytest.fixture
def path(tmp_path):
    return tmp_path / "records.db-shared"


@pytest.fixture
def holder(path):
    process = started(HOLDER, path)
    assert process.stdout.readline() == "held\n"
    yield process
    process.kill()
    process.communicate()


def test_a_key_that_another_process_carries_out_is_refused_until_it_lets_go(path, holder):
    running = Running(SharedFile(path, SIZE))

    assert running.has("me", "key")
    assert not running.has("someone else", "key")
    with pytest.raises(IdempotencyRunningError), running.claimed("me", "key"):
        pass
    holder.stdin.write("\n")
    holder.stdin.flush()
    assert holder.stdout.readline() == "let go\n"
    assert not running.has("me", "key")
    with running.claimed("me", "key"):
        assert running.has("me", "key")


def test_a_process_that_is_killed_holds_no_key(path, holder):
    running = Running(SharedFile(path, SIZE))
    holder.send_signal(signal.SIGKILL)
    holder.wait()

    with running.claimed("me", "key"):
        assert running.has("me", "key")
    assert not running.has("me", "key")


def test_asking_whether_a_key_is_held_here_does_not_let_go_of_it(path):
    running, elsewhere = Running(SharedFile(path, SIZE)), started(HOLDER, path)
    assert elsewhere.stdout.readline() == "held\n"
    elsewhere.communicate("\n\n")
    code = HOLDER.replace('print("held", flush=True)', "raise SystemExit(7)")

    with running.claimed("me", "key"):
        assert running.has("me", "key")
        refused = started(code, path)
        refused.communicate()

    assert refused.returncode == 1


def test_processes_of_one_store_count_a_key_together(path):
    asking = [started(ASKER, path) for _ in range(3)]
    passed = [int(process.communicate()[0]) for process in asking]

    assert sum(passed) == 1000


def test_a_bucket_of_before_the_machine_was_started_is_full(path):
    limit = RateLimit(SharedFile(path, SIZE))
    for _ in range(3):
        limit.take("k", 3, 1_000_000.0)
    assert limit.take("k", 3, 1_000_000.0).retry_after_s

    assert limit.take("k", 3, 12.0).left == 2


def test_more_keys_than_buckets_push_out_those_longest_unused():
    limit = RateLimit()
    for number in range(2 * BUCKETS):
        assert limit.take(f"key {number}", 5, float(number)).left == 4

    assert limit.take(f"key {2 * BUCKETS - 1}", 5, float(2 * BUCKETS)).left == 3


def test_without_room_for_the_file_each_process_counts_alone(tmp_path):
    assert isinstance(shared_beside(str(tmp_path / "gone" / "records.db"), SIZE), OwnMemory)
    assert isinstance(shared_beside(None, SIZE), OwnMemory)
    assert isinstance(shared_beside(str(tmp_path / "records.db"), SIZE), SharedFile)
