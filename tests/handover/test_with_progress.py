"""Papers with a progress: over HTTP against a real server, in the SDK, and by both commands."""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
import time

import pypdf
import pytest

import fourpair.testing
from end_to_end.running import Running
from fourpair import (
    Client,
    ConflictError,
    HandoverFailedError,
    InvalidDocumentError,
    NotAllowedError,
    NotFoundError,
)
from fourpair._command import run
from fourpair_service.app import create_app
from fourpair_service.records.keys import Scope
from fourpair_service.storage.sqlite import SqliteStore
from handover.job import JOB, NAME, ROOT, filled


@pytest.fixture(scope="module")
def path(tmp_path_factory):
    path = tmp_path_factory.mktemp("papers") / "records.db"
    store = SqliteStore(path)
    filled(create_app(store=store).test_client())
    store.close()
    return path


@pytest.fixture(scope="module")
def server(path):
    server = Running(path)
    yield server
    server.stop()


@pytest.fixture
def client(server):
    with Client(server.url) as client:
        yield client


def pages_of(path):
    return [page.extract_text() for page in pypdf.PdfReader(path).pages]


def test_papers_are_ordered_watched_and_fetched_from_a_running_service(client, tmp_path):
    ordered = client.handovers.start(JOB, language="de")
    states = [ordered]
    while states[-1].state not in ("done", "failed"):
        time.sleep(0.05)
        states.append(client.handovers.get(JOB, ordered.id))
    target = client.handovers.download(JOB, ordered.id, tmp_path / "papers.pdf")

    ended = states[-1]
    assert (ended.state, ended.done, ended.total) == ("done", 8, 8), ended.trouble
    assert [s.done for s in states] == sorted(s.done for s in states)
    assert ended.form == {"format": "pdf", "language": "de", "length_unit": "m", "paper": "a4"}
    content = target.read_bytes()
    assert (len(content), hashlib.sha256(content).hexdigest()) == (ended.size, ended.sha256)
    assert "Übergabe eines Auftrags" in pages_of(target)[0]


def test_the_papers_made_beside_and_at_once_are_the_same(client, tmp_path):
    seen = []
    made = client.handovers.make(
        JOB, tmp_path / "made.pdf", progress=lambda *told: seen.append(told), every_s=0.1
    )
    at_once = client.handovers.save(JOB, tmp_path / "at-once.pdf")

    assert made.read_bytes() == at_once.read_bytes()
    assert seen[-1] == (8, 8)
    assert [each.name for each in tmp_path.iterdir() if each.name.startswith(".")] == []


def test_while_papers_are_made_at_once_the_service_goes_on_answering(client, server, tmp_path):
    with subprocess.Popen(
        [
            sys.executable,
            "-c",
            f"import fourpair; fourpair.Client({server.url!r}).handovers.save({JOB!r}, 'x.zip', media='zip')",
        ],
        cwd=tmp_path,
    ) as other:
        answered = 0
        while other.poll() is None:
            assert client.jobs.get(JOB).name == NAME
            answered += 1
            time.sleep(0.05)

    assert other.returncode == 0
    assert answered > 5
    assert (tmp_path / "x.zip").read_bytes().startswith(b"PK")


@pytest.mark.parametrize("ending", ["pdf", "xlsx", "csv", "zip"])
def test_the_command_writes_the_form_that_the_name_ends_in(server, tmp_path, capsys, ending):
    target = tmp_path / f"papers.{ending}"

    assert run(["--url", server.url, "handover", JOB, "-o", str(target)]) == 0
    assert capsys.readouterr().out == f"{target}: {target.stat().st_size} bytes\n"
    starts = {"pdf": b"%PDF", "xlsx": b"PK", "zip": b"PK", "csv": b"label,"}
    assert target.read_bytes().startswith(starts[ending])


def test_the_command_refuses_a_name_that_tells_no_form(server, tmp_path, capsys):
    assert run(["--url", server.url, "handover", JOB, "-o", str(tmp_path / "papers.doc")]) == 2
    assert "end the name of the file in .pdf, .xlsx, .csv, .zip" in capsys.readouterr().err
    assert run(["--url", server.url, "handover", "nothing", "-o", str(tmp_path / "papers.pdf")]) == 2
    assert not (tmp_path / "papers.pdf").exists()


def service_command(path, *arguments):
    return subprocess.run(
        [sys.executable, "-m", "fourpair_service", "handover", *arguments],
        env=os.environ | {"FOURPAIR_STORE": str(path)},
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )


def test_the_service_command_writes_papers_and_tells_how_far_it_is(path, client, tmp_path):
    target = tmp_path / "papers.pdf"
    ended = service_command("no-such-store.db", JOB, "--store", str(path), "-o", str(target))

    assert ended.returncode == 0, ended.stderr
    assert ended.stdout == f"{target}: {target.stat().st_size} bytes\n"
    told = ended.stderr.splitlines()
    assert (told[0], told[-1]) == ("0 of 8 links", "8 of 8 links")
    assert target.read_bytes() == client.handovers.save(JOB, tmp_path / "other.pdf").read_bytes()


def test_both_commands_and_the_sdk_write_the_papers_of_a_moment(path, server, client, tmp_path):
    seq = client.jobs.summary(JOB).seq - 3
    saved = client.handovers.save(JOB, tmp_path / "saved.csv", media="csv", as_of=seq).read_bytes()
    made = client.handovers.make(JOB, tmp_path / "made.csv", media="csv", as_of=seq, every_s=0.1)
    named = str(tmp_path / "named.csv")
    ended = service_command("none.db", JOB, "--store", str(path), "--as-of", str(seq), "-o", named)
    other = tmp_path / "other.csv"

    assert ended.returncode == 0, ended.stderr
    assert run(["--url", server.url, "handover", JOB, "--as-of", str(seq), "-o", str(other)]) == 0
    assert saved == made.read_bytes() == (tmp_path / "named.csv").read_bytes() == other.read_bytes()
    assert saved != client.handovers.save(JOB, tmp_path / "now.csv", media="csv").read_bytes()
    with pytest.raises(InvalidDocumentError, match="The feed has come to"):
        client.handovers.save(JOB, tmp_path / "future.csv", media="csv", as_of=10**6)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("nothing", "-o", "papers.pdf"), "There is no job nothing."),
        ((JOB, "-o", "papers.doc"), "end the name of the file in one of .pdf, .xlsx, .csv, .zip."),
        ((JOB, "-o", "no/such/place/papers.pdf"), "it cannot be written"),
        ((JOB, "-o", "papers.pdf", "--table", "links"), "Only format=csv has this"),
        ((JOB, "-o", "papers.pdf", "--as-of", "999"), "The feed has come to"),
        ((JOB, "-o", "papers.pdf", "--as-of", "0"), "There is no job"),
        ((JOB, "-o", "papers.pdf", "--as-of", "then"), "'then' is no number of the feed"),
    ],
)
def test_the_service_command_refuses_in_a_sentence_and_leaves_nothing(path, arguments, said):
    ended = service_command(path, *arguments)

    assert ended.returncode == 2
    assert said in ended.stderr and "Traceback" not in ended.stderr
    assert not (ROOT / "papers.pdf").exists()


def test_a_key_that_may_only_read_gets_papers_at_once_and_orders_none(tmp_path):
    with fourpair.testing.service() as running:
        with running.client() as opener:
            opener.jobs.create("hall", name="Hall")
        reader = running.client(api_key=running.make_key("reader", Scope.READ))
        with pytest.raises(NotAllowedError):
            reader.handovers.start("hall")
        assert reader.handovers.save("hall", tmp_path / "hall.csv", media="csv").exists()


def test_papers_that_fail_or_are_not_there_are_told(tmp_path, monkeypatch):
    with fourpair.testing.service() as running, running.client() as client:
        client.jobs.create("hall", name="Hall")
        ordered = client.handovers.start("hall")
        with pytest.raises(ConflictError, match="is waiting"):
            client.handovers.download("hall", ordered.id, tmp_path / "early.pdf")
        with pytest.raises(NotFoundError):
            client.handovers.get("hall", "nothing")
        monkeypatch.setattr("fourpair_service.background.write_handover", lambda *_: 1 / 0)
        with pytest.raises(HandoverFailedError, match="The service failed at it"):
            client.handovers.make("hall", tmp_path / "failed.pdf")
    assert list(tmp_path.iterdir()) == []
