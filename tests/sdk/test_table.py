"""The table of calls in the README names what there is, and all of it."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import fourpair
from fourpair import Client

README = (Path(__file__).resolve().parents[2] / "README.md").read_text()
TABLE = README.partition("| what do you want to do | call |")[2].partition("\n\n")[0]
ROWS = [line.split("|")[1:3] for line in TABLE.splitlines()[2:]]
PARTS = ("jobs", "records", "changes", "regrades", "assessments", "subscriptions")
# Beside a call that stands there, or never called by hand.
NOT_IN_THE_TABLE = {
    "close",
    "alive",
    "ready",
    "faults",
    "limits_as",
    "rule_sets",
    "jobs.get",
    "jobs.list",
    "jobs.schedule",
    "jobs.attachment",
    "jobs.attachments",
    "records.get",
    "records.assessment",
    "records.revision",
    "records.revision_verdict",
    "records.revision_measurement",
    "records.measurement_csv",
    "changes.page",
    "changes.list",
    "changes.newest",
    "subscriptions.get",
    "subscriptions.list",
    "subscriptions.change",
    "subscriptions.end",
    "subscriptions.rotate_secret",
}


def calls(cell):
    """Yield what a cell names: after ``client.jobs.create``, ``.change`` is of the jobs too."""
    part = ""
    for code in re.findall(r"`([^`]+)`", cell):
        full = re.match(r"(?:client\.|)((?:\w+\.)*\w+)", code)
        if code.startswith("client."):
            name = full[1]
            part = name.rpartition(".")[0]
            yield name
        elif code.startswith(".") and re.match(r"\.\w+\(", code):
            yield f"{part}.{code[1:].partition('(')[0]}".lstrip(".")


NAMED = {name for _, cell in ROWS for name in calls(cell)}
RUNS = {"progress", "stop", "resume", "findings_as"}


@pytest.fixture(scope="module")
def client():
    with Client() as own:
        yield own


@pytest.mark.parametrize("name", sorted(NAMED - RUNS))
def test_a_call_of_the_table_is_there(client, name):
    found = client
    for part in name.split("."):
        found = getattr(found, part)

    assert callable(found)


def test_the_table_has_every_method(client):
    methods = {name for name in dir(Client) if not name.startswith("_")} - set(PARTS)
    for part in PARTS:
        methods |= {f"{part}.{n}" for n in dir(getattr(client, part)) if not n.startswith("_")}
    both = {f"{part}.{name}" for part in ("regrades", "assessments") for name in RUNS}
    alike = {
        f"{part}.{name}"
        for part in ("regrades", "assessments")
        for name in ("get", "list", "wait", "findings", "start")
    }

    assert methods - NAMED - both - alike == NOT_IN_THE_TABLE
    assert {"regrades.start", "assessments.start", "regrades.wait"} <= NAMED
    for part in ("Measurement.from_json", "fourpair.webhooks.verify", "fourpair.testing.service"):
        assert part in TABLE
    assert set(fourpair.__all__) >= {"Measurement", "Retries"}
