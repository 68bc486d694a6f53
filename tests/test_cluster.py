"""Runs on a Dask cluster: the same findings to the byte as in this process."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from cluster_server import cluster
from fourpair_service.app import new_id, now, record_grader
from fourpair_service.background import Background
from fourpair_service.carriers import Cluster, ClusterError
from fourpair_service.config import Settings
from fourpair_service.records import job_commands
from fourpair_service.records.desk import Caller, Desk, Terms
from fourpair_service.records.runs.commands import start_run
from fourpair_service.records.runs.model import Question, RunKind, RunState
from fourpair_service.records.search import Filter
from fourpair_service.records.upserts import batch
from fourpair_service.storage.sqlite import SqliteStore
from killing import LINK

ROOT = Path(__file__).resolve().parents[1]
OLD, NEW = "tia-568.2-d-2018", "tia-568.2-d-2018-example"
ANYONE = Caller("tester")
COUNT = 50


@pytest.fixture(scope="module")
def scheduler(tmp_path_factory):
    with cluster(tmp_path_factory.mktemp("cluster")) as address:
        yield address


@pytest.fixture
def settings(tmp_path):
    return Settings(
        store=str(tmp_path / "records.db"),
        grading_processes=1,
        limits_directory=ROOT / "samples" / "limits-example",
    )


def test_a_run_on_a_cluster_finds_the_same_to_the_byte(settings, scheduler):
    store = SqliteStore(settings.store)
    desk = Desk(store, now, new_id, record_grader(settings))
    job_commands.create_job(desk, ANYONE, "clinic", {"name": "Clinic"}, Terms())
    asked = {"rule_set": OLD, "category": "6"}
    links = [{**LINK, "job": "clinic", "label": f"L-{n:03d}", "requirement": asked} for n in range(COUNT)]
    batch(desk, ANYONE, links, Terms(), mode="atomic", told=lambda items: {})
    question = Question(RunKind.REGRADE, rule_set=NEW, supersedes=(OLD,))
    found = []
    for own in (settings, replace(settings, cluster=scheduler)):
        run, _ = start_run(desk, ANYONE, question, Filter(), Terms(dry_run=True))
        work = Background(own, desk)
        (ended_run,) = work.runs()
        work.close()
        assert (ended_run.state, ended_run.seen) == (RunState.DONE, COUNT)
        found.append(store.drawer(run.drawer, limit=COUNT))
    store.close()

    assert found[0] == found[1]
    assert len(found[0]) == COUNT


def test_a_scheduler_that_is_not_there_is_told(settings, monkeypatch):
    monkeypatch.setattr("fourpair_service.carriers.ANSWER_WITHIN_S", 0.5)
    with pytest.raises(ClusterError, match=r"No scheduler answers at tcp://127\.0\.0\.1:1"):
        Cluster(replace(settings, cluster="tcp://127.0.0.1:1"))
