"""The nightly command: run as cron runs it, against a store in a file, and killed in the middle."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from fourpair_service.app import create_app
from fourpair_service.records.integrity import first_break
from fourpair_service.records.runs.commands import open_runs
from fourpair_service.records.search import Filter, Sort
from fourpair_service.storage.sqlite import SqliteStore

ROOT = Path(__file__).resolve().parents[1]
LINK = ROOT / "samples" / "links" / "0A-04-marginal-fail.json"
OLD, NEW = "tia-568.2-d-2018", "tia-568.2-d-2018-example"
COUNT = 40


@pytest.fixture(scope="module")
def filled(tmp_path_factory):
    path = tmp_path_factory.mktemp("store") / "records.db"
    store = SqliteStore(path)
    client = create_app(store=store).test_client()
    client.post("/v1/jobs", json={"id": "clinic", "name": "Clinic"})
    document = json.loads(LINK.read_bytes())
    document |= {"job": "clinic", "requirement": {"rule_set": OLD, "category": "6"}}
    records = [{**document, "label": f"L-{number:03d}"} for number in range(COUNT)]
    assert client.post("/v1/records:batch", json={"records": records}).status_code == 200
    store.close()
    return path.read_bytes()


@pytest.fixture
def path(tmp_path, filled):
    path = tmp_path / "records.db"
    path.write_bytes(filled)
    return path


def environment(path, *, own_limits=True):
    own = os.environ | {"FOURPAIR_STORE": str(path), "FOURPAIR_GRADING_PROCESSES": "1"}
    if own_limits:
        own["FOURPAIR_LIMITS_DIRECTORY"] = str(ROOT / "samples" / "limits-example")
    return own


def command(path, *arguments, own_limits=True):
    return subprocess.Popen(
        [sys.executable, "-m", "fourpair_service", "regrade", *arguments],
        env=environment(path, own_limits=own_limits),
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def told(process):
    out, errors = process.communicate(timeout=120)
    lines = out.splitlines()
    assert len(lines) == 1, (out, errors)
    return process.returncode, json.loads(lines[0])


def test_one_line_tells_the_night_and_a_second_night_changes_nothing(path):
    status, first = told(command(path, "--dry-run"))
    assert (status, first["records"], first["changed"], first["dry_run"]) == (0, COUNT, COUNT, True)

    status, first = told(command(path))
    assert (status, first["result"], first["rule_sets"], first["changed"]) == (0, "done", [NEW], COUNT)
    assert first["moves"] == {"marginal_fail > marginal_fail": COUNT}
    status, second = told(command(path, "--since", "last"))
    assert (status, second["changed"], second["not_concerned"]) == (0, 0, COUNT)
    status, third = told(command(path, "--since", "2099-01-01T00:00:00Z"))
    assert (status, third["records"]) == (0, 0)


def test_what_changed_since_the_last_night_is_found_though_the_clock_was_set_back(path):
    assert told(command(path))[0] == 0
    store = SqliteStore(path)
    # Somebody's clock runs an hour late: what is kept now is dated before the night that has just ended.
    client = create_app(store=store, clock=lambda: datetime.now(UTC) - timedelta(hours=1)).test_client()
    document = json.loads(LINK.read_bytes())
    document |= {"job": "clinic", "label": "late", "requirement": {"rule_set": OLD, "category": "6"}}
    assert client.post("/v1/records", json=document).status_code == 201
    store.close()

    status, line = told(command(path, "--since", "last"))
    assert (status, line["changed"]) == (0, 1)
    verified = subprocess.run(
        [sys.executable, "-m", "fourpair_service", "verify"],
        env=environment(path),
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert verified.returncode == 0
    note, sound = verified.stdout.splitlines()
    assert note.startswith(f"The clock was set back before entry {COUNT * 2 + 2} of the feed")
    assert sound.startswith("Sound: ")


def test_without_a_superseding_edition_there_is_nothing_to_do(path):
    status, line = told(command(path, own_limits=False))
    assert (status, line["records"], line["rule_sets"]) == (0, 0, [])


def test_a_wrong_argument_ends_with_2_and_a_sentence(path):
    process = command(path, "--since", "yesterday")
    _, errors = process.communicate(timeout=60)
    assert process.returncode == 2
    assert "--since: 'yesterday' is neither 'last' nor a time" in errors


def settled(path):
    store = SqliteStore(path)
    try:
        return sum(run.seen for run in open_runs(store))
    finally:
        store.close()


def started(path, *arguments):
    """Return a command that has settled something and is not through."""
    process = command(path, *arguments)
    until = time.monotonic() + 60
    while not settled(path):
        assert process.poll() is None
        assert time.monotonic() < until
    return process


def test_two_at_once_are_not(path):
    process = started(path)
    # Held still, so that it cannot be through before the other one has looked.
    process.send_signal(signal.SIGSTOP)
    status, line = told(command(path))
    process.send_signal(signal.SIGCONT)

    assert (status, line["result"]) == (75, "held")
    assert told(process)[0] == 0


def test_a_kill_in_the_middle_loses_and_doubles_nothing(path):
    process = started(path)
    process.kill()
    process.communicate()
    reached = settled(path)

    status, line = told(command(path))

    assert 0 < reached < COUNT
    assert (status, line["records"], line["changed"]) == (0, COUNT, COUNT)
    store = SqliteStore(path)
    records = store.records(Filter(), Sort(), after=None, limit=COUNT + 1)
    assert [(r.revision, r.rule_set_id) for r in records] == [(2, NEW)] * COUNT
    assert first_break(store) is None
    store.close()


def test_a_command_told_to_end_says_that_it_is_not_through_and_goes_on_next_time(path):
    process = started(path)
    process.terminate()
    status, line = told(process)
    assert (status, line["result"]) == (75, "interrupted")

    status, line = told(command(path))

    assert (status, line["records"]) == (0, COUNT)


def test_the_samples_for_cron_and_systemd_call_the_command_as_it_is():
    folder = ROOT / "samples" / "nightly"
    lines = [
        line.partition("fourpair-service ")[2].split(" >>")[0].split()
        for name in ("crontab", "fourpair-regrade.service")
        for line in (folder / name).read_text().splitlines()
        if "bin/fourpair-service " in line and not line.startswith("#")
    ]
    assert lines == [["regrade", "--since", "last"]] * 2


def test_the_line_for_cron_runs_and_reaches_the_store_that_the_settings_name(path, tmp_path):
    (line,) = [
        each for each in (ROOT / "samples" / "nightly" / "crontab").read_text().splitlines() if "bin/" in each
    ]
    programs, settings, log = tmp_path / "bin", tmp_path / "fourpair.env", tmp_path / "regrade.log"
    programs.mkdir()
    (programs / "fourpair-service").write_text(f'#!/bin/sh\nexec {sys.executable} -m fourpair_service "$@"\n')
    (programs / "fourpair-service").chmod(0o755)
    own = environment(path)
    settings.write_text("".join(f"{name}={own[name]}\n" for name in own if name.startswith("FOURPAIR_")))
    shown = " ".join(line.split()[5:])
    for name, there in (
        ("/etc/fourpair.env", settings), ("/opt/fourpair/bin", programs), ("/var/log/fourpair-regrade.log", log),
    ):  # fmt: skip
        shown = shown.replace(name, str(there))

    bare = {name: value for name, value in os.environ.items() if not name.startswith("FOURPAIR_")}
    done = subprocess.run(["/bin/sh", "-c", shown], env=bare, cwd=ROOT, capture_output=True, check=False)

    assert done.returncode == 0, done.stderr
    (told_line,) = log.read_text().splitlines()
    assert json.loads(told_line)["changed"] == COUNT
