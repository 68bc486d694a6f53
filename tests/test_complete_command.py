"""Records that an earlier release kept without a word of what they support, found once they are completed."""

from __future__ import annotations

import json
import os
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

from fourpair_service.app import create_app
from fourpair_service.config import Settings
from fourpair_service.records.integrity import first_break
from fourpair_service.storage.sqlite import SqliteStore

ROOT = Path(__file__).resolve().parents[1]
LINKS = ROOT / "samples" / "links"
NAMES = ("0A-01-clean-pass", "1A-01-bad-far-connector", "2A-03-summary-only")


def kept(path, *names, rule_set=None, settings=None):
    """Keep links with nothing said beside them, and return what they support."""
    store = SqliteStore(path)
    client = create_app(settings, store=store).test_client()
    client.post("/v1/jobs", json={"id": "clinic", "name": "Clinic", "cords": {"near_m": 3}})
    for name in names:
        document = {**json.loads((LINKS / f"{name}.json").read_bytes()), "job": "clinic"}
        if rule_set is not None:
            document["requirement"]["rule_set"] = rule_set
        made = client.post("/v1/records?assessment=none", json=document)
        assert made.status_code == 201, made.get_json()
    own = [(r["applications"], r["power_types"]) for r in client.get("/v1/records").get_json()["records"]]
    store.close()
    return own


def forget_names(path):
    """Make a store like one of a release that kept nothing where nothing was asked for."""
    with sqlite3.connect(path) as raw:
        raw.execute("DELETE FROM assessment")
        raw.execute("DELETE FROM record_trait WHERE kind IN ('applications', 'power_types')")
        raw.execute("UPDATE record SET applications = '[]', power_types = '[]'")
    raw.close()


@pytest.fixture
def path(tmp_path):
    return tmp_path / "records.db"


@pytest.fixture
def told(path):
    own = kept(path, *NAMES)
    forget_names(path)
    return own


def command(path, *arguments, **own):
    environment = os.environ | {"FOURPAIR_STORE": str(path), "FOURPAIR_GRADING_PROCESSES": "1", **own}
    called = [sys.executable, "-m", "fourpair_service", *arguments]
    done = subprocess.run(called, env=environment, cwd=ROOT, capture_output=True, text=True, check=False)
    assert len(done.stdout.splitlines()) == 1, done.stderr
    return done.returncode, json.loads(done.stdout), done.stderr


def found(path):
    store = SqliteStore(path)
    client = create_app(store=store).test_client()
    listed = client.get("/v1/records").get_json()["records"]
    able = client.get("/v1/records?application=1000BASE-T").get_json()["records"]
    assert first_break(store) is None
    store.close()
    return [(r["applications"], r["power_types"]) for r in listed], [r["label"] for r in able]


def test_the_command_finds_out_what_keeping_finds_out_today(path, told):
    assert found(path) == ([([], [])] * 3, [])
    assert told[0][0] != []

    status, line, _ = command(path, "complete")
    assert (status, line["result"], line["records"], line["completed"]) == (0, "done", 3, 3)
    listed, able = found(path)
    assert listed == told
    assert "0A-01" in able
    status, line, _ = command(path, "complete")
    assert (status, line["records"], line["completed"]) == (0, 0, 0)


def test_the_nightly_command_does_it_too_and_a_dry_run_does_not(path, told):
    _, line, _ = command(path, "regrade", "--dry-run")
    assert (line["completed"], found(path)[1]) == (0, [])

    status, line, _ = command(path, "regrade", "--since", "last")
    assert (status, line["completed"], line["not_completed"]) == (0, 3, 0)
    assert found(path)[0] == told


def test_a_record_whose_rule_set_is_gone_is_named_and_tried_again_on_request(path, tmp_path):
    limits = tmp_path / "limits"
    limits.mkdir()
    (limits / "own.toml").write_text('id = "own"\nextends = "tia-568.2-d-2018"\ntitle = "Own"\n')
    told = kept(path, NAMES[0], rule_set="own", settings=Settings(limits_directory=limits))
    forget_names(path)

    status, line, errors = command(path, "complete")
    assert (status, line["completed"], line["refused"]) == (3, 0, 1)
    assert "own" in errors
    there = {"FOURPAIR_LIMITS_DIRECTORY": str(limits)}
    assert command(path, "complete", **there)[1]["records"] == 0
    (limits / "own.toml").write_text('id = "own"\nextends = "tia-568.2-d-2018"\ntitle = "Changed"\n')
    status, line, errors = command(path, "complete", "--again", **there)
    assert (status, line["refused"], found(path)[0]) == (3, 1, [([], [])])
    assert "Rule set own had the digest" in errors
    (limits / "own.toml").write_text('id = "own"\nextends = "tia-568.2-d-2018"\ntitle = "Own"\n')
    status, line, _ = command(path, "complete", "--again", **there)
    assert (status, line["completed"], found(path)[0]) == (0, 1, told)
