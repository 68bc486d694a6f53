"""The attachments of a job in its ZIP: their bytes, their digests, and names that do no harm."""

from __future__ import annotations

import hashlib
import io
import json
import re
import zipfile
from contextlib import closing

import pytest

from fourpair_service.app import create_app
from fourpair_service.http.services import NAME
from fourpair_service.records import job_commands
from fourpair_service.records.desk import Caller, Terms
from fourpair_service.reports.handover.archive import attachment_path
from fourpair_service.storage.memory import MemoryStore
from fourpair_service.storage.sqlite import SqliteStore
from handover.job import NOW, sent
from tampering import tampered

JOB = "papers"
STORE_FILES = ("records.db", "records.db-wal", "records.db-shm")
ATTACHED = (
    ("plan.pdf", "application/pdf", b"%PDF-1.7 no real one"),
    ("plan.pdf", "application/pdf", b"another plan of that name"),
    ("PLAN.PDF", "application/pdf", b"%PDF-1.7 no real one"),
    ("../../../etc/passwd", "text/plain", b"root"),
    ("/absolute", "text/plain", b"1"),
    ("C:\\windows\\system32\\x.dll", "application/octet-stream", b"\x00\xff" * 5000),
    ("nul", "text/plain", b""),
    ("..", "text/plain", b"2"),
    ("", "text/plain", b"3"),
    ("abc\u202egnp.exe", "image/png", b"4"),
    ("a\x00b\r\nc.txt", "text/plain", b"5"),
    ("רישום 🧬.jpeg", "image/jpeg", b"6"),
    ("x" * 5000 + ".tar.gz", "application/gzip", b"7"),
    ("links/00001-A1/verdict.json", "application/json", b"{}"),
    ("manifest.json", "application/json", b"{}"),
    ("trailing dot.", "text/plain", b"8"),
)


@pytest.fixture(params=["memory", "sqlite"])
def store(request, tmp_path):
    found = MemoryStore() if request.param == "memory" else SqliteStore(tmp_path / "records.db")
    yield found
    found.close()


@pytest.fixture
def app(store):
    return create_app(clock=lambda: NOW, store=store)


@pytest.fixture
def client(app):
    client = app.test_client()
    sent(client.post("/v1/jobs", json={"id": JOB, "name": "Papers"}))
    sent(client.post("/v1/jobs", json={"id": "other", "name": "Other"}))
    sent(client.post("/v1/jobs/other/attachments?name=not+ours", data=b"0", content_type="text/plain"))
    return client


def attach(app, attached):
    desk = app.extensions[NAME].desk
    for name, media_type, content in attached:
        # What the interface refuses may still lie in a store that was filled in another way.
        job_commands.attach(desk, Caller("tester"), JOB, content, Terms(), name=name, media_type=media_type)


def archive_of(client):
    answer = client.get(f"/v1/jobs/{JOB}/handover?format=zip")
    assert answer.status_code == 200, answer.get_json()
    archive = zipfile.ZipFile(io.BytesIO(answer.data))
    return archive, json.loads(archive.read("manifest.json"))


def test_every_attachment_is_there_as_it_was_sent_with_its_digest_in_the_order_they_came(app, client):
    attach(app, ATTACHED)
    archive, manifest = archive_of(client)
    told = manifest["attachments"]

    assert [(each["name"], each["media_type"]) for each in told] == [each[:2] for each in ATTACHED]
    listed = client.get(f"/v1/jobs/{JOB}/attachments").get_json()["attachments"]
    assert [(each["id"], each["digest"], each["at"]) for each in told] == [
        (each["id"], each["digest"], each["at"]) for each in listed
    ]
    for each, (_, _, content) in zip(told, ATTACHED, strict=True):
        assert archive.read(each["path"]) == content
        assert each["digest"] == f"sha256:{hashlib.sha256(content).hexdigest()}"
    files = {each["path"]: each for each in manifest["files"]}
    assert [files[each["path"]]["bytes"] for each in told] == [len(content) for _, _, content in ATTACHED]
    assert not any("not_ours" in name for name in archive.namelist())


def test_no_name_leaves_its_folder_or_takes_the_place_of_another(app, client, tmp_path):
    attach(app, ATTACHED)
    archive, manifest = archive_of(client)
    names = archive.namelist()

    assert len({name.casefold() for name in names}) == len(names)
    assert names[-1] == "manifest.json" and names.count("manifest.json") == 1
    for each in manifest["attachments"]:
        assert re.fullmatch(r"attachments/\d{5}-[A-Za-z0-9_-][A-Za-z0-9._-]{0,50}(?<!\.)", each["path"])
    archive.extractall(tmp_path / "out")
    out = tmp_path / "out"
    assert {str(path.relative_to(out)) for path in out.rglob("*") if path.is_file()} == set(names)
    assert not [path for path in tmp_path.iterdir() if path.name not in ("out", *STORE_FILES)]


def test_the_same_attachments_give_the_same_bytes_and_one_more_gives_others(app, client):
    attach(app, ATTACHED[:2])
    url = f"/v1/jobs/{JOB}/handover"
    first = client.get(f"{url}?format=zip").data
    pdf = client.get(f"{url}?format=pdf").data

    assert client.get(f"{url}?format=zip").data == first
    attach(app, ATTACHED[2:3])
    assert client.get(f"{url}?format=zip").data != first
    assert client.get(f"{url}?format=pdf").data == pdf


def test_a_job_without_attachments_says_that_it_has_none(client):
    archive, manifest = archive_of(client)

    assert manifest["attachments"] == []
    assert not any(name.startswith("attachments") for name in archive.namelist())


DAMAGE = (
    "UPDATE attachment_content SET content = x'00'",
    "DELETE FROM attachment_content",
)


@pytest.mark.parametrize("damage", DAMAGE)
def test_bytes_that_are_not_what_was_kept_are_never_handed_over(tmp_path, damage):
    path = tmp_path / "records.db"
    with closing(SqliteStore(path)) as store:
        client = create_app(clock=lambda: NOW, store=store).test_client()
        sent(client.post("/v1/jobs", json={"id": JOB, "name": "Papers"}))
        url = f"/v1/jobs/{JOB}/attachments"
        attached = sent(client.post(f"{url}?name=plan.pdf", data=b"%PDF", content_type="application/pdf"))
    tampered(path, damage)
    with closing(SqliteStore(path)) as store:
        client = create_app(clock=lambda: NOW, store=store).test_client()
        for wanted in (f"/v1/jobs/{JOB}/handover?format=zip", f"{url}/{attached['id']}"):
            answer = client.get(wanted)
            assert (answer.status_code, answer.get_json()["code"]) == (503, "store-corrupt")
            assert attached["id"] in answer.get_json()["detail"]
        assert client.get(f"/v1/jobs/{JOB}/handover?format=csv").status_code == 200


@pytest.mark.parametrize(
    ("name", "path"),
    [
        ("plan.pdf", "attachments/00003-plan.pdf"),
        ("../up.txt", "attachments/00003-_up.txt"),
        (".bashrc", "attachments/00003-_.bashrc"),
        ("a..pdf", "attachments/00003-a.pdf"),
        ("a.b c", "attachments/00003-a.b_c"),
        ("a.", "attachments/00003-a"),
        ("...", "attachments/00003-_"),
        ("a.pdf\n", "attachments/00003-a.pdf_"),
        ("x" * 50 + ".docx", "attachments/00003-" + "x" * 40 + ".docx"),
    ],
)
def test_a_path_keeps_what_a_person_needs_of_a_name(name, path):
    assert attachment_path(3, name) == path
