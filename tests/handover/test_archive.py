"""The ZIP of everything: its manifest against its files, its documents against the service's answers."""

from __future__ import annotations

import hashlib
import io
import json
import zipfile

import pytest

from fourpair_service.reports.handover.archive import folder_of
from handover.job import JOB, MISSING, TESTED


@pytest.fixture
def archive(papers):
    return zipfile.ZipFile(io.BytesIO(papers.file("format=zip")))


def test_the_manifest_names_every_other_file_with_its_digest(archive):
    names = archive.namelist()
    manifest = json.loads(archive.read(names[-1]))

    assert names[-1] == "manifest.json"
    assert archive.testzip() is None
    assert [each["path"] for each in manifest["files"]] == names[:-1]
    for each in manifest["files"]:
        content = archive.read(each["path"])
        assert (each["bytes"], each["sha256"]) == (len(content), hashlib.sha256(content).hexdigest())


def test_the_papers_and_tables_are_those_that_are_given_alone(archive, papers):
    alone = {
        "handover.pdf": "format=pdf",
        "handover.xlsx": "format=xlsx",
        "links.csv": "format=csv",
        "results.csv": "format=csv&table=results",
    }

    for name, query in alone.items():
        assert archive.read(name) == papers.file(query), name


def test_every_link_has_its_verdict_as_sealed_and_its_measurement_as_sent(archive, papers):
    manifest = json.loads(archive.read("manifest.json"))

    assert [link["label"] for link in manifest["links"]] == list(TESTED)
    assert sorted(manifest["missing"]) == sorted(MISSING)
    for link in manifest["links"]:
        url = f"/v1/records/{link['record']}"
        verdict = archive.read(f"{link['folder']}/verdict.json")
        sealed = papers.client.get(f"{url}/revisions/{link['revision']}").get_json()
        assert sealed["verdict_digest"] == f"sha256:{hashlib.sha256(verdict).hexdigest()}"
        assert sealed["digest"] == link["revision_digest"]
        measurement = json.loads(archive.read(f"{link['folder']}/measurement.json"))
        assert measurement == papers.client.get(f"{url}/measurement").get_json()


def test_the_same_state_gives_the_same_bytes(papers):
    first = papers.file("format=zip")

    assert papers.client.get(f"/v1/jobs/{JOB}/handover?format=zip").data == first


@pytest.mark.parametrize(
    ("label", "folder"),
    [
        ("../../etc/passwd", "links/00001-_.._etc_passwd"),
        ("C:\\windows", "links/00001-C_windows"),
        ("...", "links/00001-_"),
        ("\x00\u202e🧬", "links/00001-_"),
        ("x" * 10_000, "links/00001-" + "x" * 40),
        ("CON", "links/00001-CON"),
    ],
)
def test_a_folder_is_a_name_that_every_disk_takes(label, folder):
    assert folder_of(1, label) == folder
