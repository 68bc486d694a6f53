"""The shop's other programs, run against the real service as a shop would run them."""

from __future__ import annotations

import ast
import base64
import csv
import json
import os
import shutil
import sqlite3
import subprocess
import sys
import threading
import time
from contextlib import contextmanager
from datetime import UTC, datetime
from decimal import Decimal
from http.server import ThreadingHTTPServer
from pathlib import Path

import pytest
from werkzeug.serving import make_server
from werkzeug.test import Client as Sender

from fourpair import Client, ConnectionFailedError, Measurement, Retries
from fourpair.testing import DELIVERY_TROUBLES, disordered, receiver_of, service, troubled
from fourpair.webhooks import signature
from fourpair_service.app import create_app
from fourpair_service.storage.memory import MemoryStore
from running import running_service
from shop import dashboard, job_costing, ticketing, watched_folder, webhook_flask, webhook_wsgi

ROOT = Path(__file__).resolve().parents[2]
SHOP = ROOT / "samples" / "shop"
LINKS = ROOT / "samples" / "links"
JOB = "alder-row-clinic"
PRICES = {"outlet": Decimal("38.50"), "camera": Decimal("61.00")}
SECRET = "whsec_" + base64.b64encode(bytes(range(24))).decode()
BROWSER = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)


def link(name, label=None):
    (path,) = LINKS.glob(f"{name}-*.json")
    return Measurement.from_json(path).with_changes(label=label or name, job=JOB)


@contextmanager
def clinic(**options):
    with service(**options) as running, running.client() as client:
        labels = ("0A-01", "0A-02", "0A-03", "2A-04")
        items = [
            {"label": label, "item_code": "camera" if label == "2A-04" else "outlet"} for label in labels
        ]
        client.jobs.create(JOB, name="Alder Row veterinary clinic", schedule=items)
        yield running, client


@contextmanager
def served():
    server = make_server("127.0.0.1", 0, create_app(store=MemoryStore()), threaded=True)
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_port}"
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


def program(name, url, *arguments, **options):
    environment = os.environ | {"FOURPAIR_URL": url}
    return subprocess.run(
        [sys.executable, str(SHOP / f"{name}.py"), *map(str, arguments)],
        env=environment,
        capture_output=True,
        text=True,
        check=True,
        **options,
    )


def lines_of(invoice):
    with invoice.open(newline="") as file:
        return [(row["link"], int(row["quantity"]), row["credits_seq"]) for row in csv.DictReader(file)]


def test_job_costing_bills_each_link_exactly_once_and_gives_back_what_failed_later(tmp_path):
    with clinic() as (_, client):
        client.records.create(link("0A-01"))
        client.records.create(link("2A-04"))
        first = job_costing.bill(client, JOB, PRICES, tmp_path)
        nothing = job_costing.bill(client, JOB, PRICES, tmp_path)
        record = next(r for r in client.records.list(job=JOB) if r.label == "0A-01")
        client.records.retest(record.id, link("0A-02", "0A-01"), reason="moved")
        second = job_costing.bill(client, JOB, PRICES, tmp_path)
        seq = record.seq
        digest = client.jobs.billing(JOB, since=0, until=3).state_digest

    assert lines_of(first) == [("0A-01", 1, ""), ("2A-04", 1, "")]
    assert nothing is None
    assert lines_of(second) == [("0A-01", -1, str(seq))]
    assert f",{digest}" in first.read_text()
    with first.open(newline="") as file:
        assert sum(Decimal(row["amount"]) for row in csv.DictReader(file)) == Decimal("99.50")
    assert [path.name for path in sorted(tmp_path.iterdir())] == [f"{JOB}.0-3.csv", f"{JOB}.3-4.csv"]


def test_an_invoice_that_could_not_be_written_to_its_end_is_written_the_next_time(tmp_path):
    with clinic() as (_, client):
        client.records.create(link("0A-01"))
        client.records.create(link("2A-04"))
        with pytest.raises(KeyError, match="camera"):
            job_costing.bill(client, JOB, {"outlet": Decimal(1)}, tmp_path)
        again = job_costing.bill(client, JOB, PRICES, tmp_path)

    assert len(lines_of(again)) == 2


def test_ticketing_opens_one_ticket_a_fault_and_closes_it_on_the_passing_retest(tmp_path):
    with clinic() as (_, client), sqlite3.connect(":memory:") as tickets:
        client.records.create(link("0A-01"))
        bad = client.records.create(link("0A-02")).record
        opened = [ticketing.keep_up(client, JOB, tickets) for _ in range(3)]
        (ticket,) = tickets.execute("SELECT state, title, body FROM ticket").fetchall()
        client.records.retest(bad.id, link("0A-02"), reason="still bad")
        unchanged = ticketing.keep_up(client, JOB, tickets)
        client.records.retest(bad.id, link("0A-01", "0A-02"), reason="jack replaced")
        closed = ticketing.keep_up(client, JOB, tickets)
        (state,) = tickets.execute("SELECT state FROM ticket").fetchone()
        client.records.retest(bad.id, link("0A-02"), reason="moved")
        reopened = ticketing.keep_up(client, JOB, tickets)

    assert opened == [(1, 0), (0, 0), (0, 0)]
    assert ticket[0] == "open"
    assert "0A-02" in ticket[1]
    assert unchanged == (0, 0)
    assert (closed, state) == ((0, 1), "closed")
    assert reopened[0] == 1


def test_a_split_pair_is_one_ticket_that_names_what_fails_with_it(tmp_path):
    with clinic() as (_, client), sqlite3.connect(":memory:") as tickets:
        bad = client.records.create(link("0A-05")).record
        first = ticketing.keep_up(client, JOB, tickets)
        (body,) = tickets.execute("SELECT body FROM ticket").fetchone()
        client.records.retest(bad.id, link("0A-01", "0A-05"), reason="plug wired anew")
        second = ticketing.keep_up(client, JOB, tickets)

    assert (first, second) == ((1, 0), (0, 1))
    assert "insertion loss fails" in body


def test_the_programs_run_as_their_first_lines_say(tmp_path):
    prices = tmp_path / "prices.json"
    prices.write_text('{"outlet": 38.50}')
    inbox, invoices = tmp_path / "inbox", tmp_path / "invoices"
    inbox.mkdir()
    invoices.mkdir()
    for name in ("0A-01-clean-pass", "0A-02-near-miss"):
        shutil.copy(LINKS / f"{name}.json", inbox)
    with running_service() as url:
        with Client(url) as client:
            items = [{"label": label, "item_code": "outlet"} for label in ("0A-01", "0A-02")]
            client.jobs.create(JOB, name="Clinic", schedule=items)
        watched = program("watched_folder", url, inbox, "--once", "--settled", 0)
        costing = program("job_costing", url, JOB, prices, invoices)
        again = program("job_costing", url, JOB, prices, invoices)
        tickets = program("ticketing", url, JOB, tmp_path / "tickets.db")

    assert watched.stdout.splitlines() == ["0A-01-clean-pass.json: kept", "0A-02-near-miss.json: kept"]
    assert "1 lines, 38.50" in costing.stdout
    assert again.stdout.strip() == "Nothing to bill."
    assert tickets.stdout.strip() == "1 opened, 0 closed"


def test_a_watched_folder_sorts_what_lands_in_it(tmp_path):
    (tmp_path / "broken.json").write_text("{")
    shutil.copy(LINKS / "0A-01-clean-pass.json", tmp_path / "good.json")
    (tmp_path / "wrong.json").write_text(json.dumps(link("0A-02").with_changes(job="none").to_dict()))
    described = {
        "job": JOB,
        "label": "C-01",
        "configuration": "channel",
        "requirement": {"rule_set": "TIA", "category": "6"},
        "touchstone": {"pairs": ["12"]},
    }
    (tmp_path / "cable.json").write_text(json.dumps(described))
    waiting = dict(described, label="waits for its sweep")
    (tmp_path / "waits.json").write_text(json.dumps(waiting))
    shutil.copy(ROOT / "samples" / "measured" / "CABLE1_TX_pair.s4p", tmp_path / "cable-12.s4p")
    with clinic() as (_, client):
        told = list(watched_folder.look(client, tmp_path, None, settled_s=0))
        kept = [record.label for record in client.records.list()]

    assert told == ["broken.json: refused", "cable.json: kept", "good.json: kept", "wrong.json: refused"]
    assert sorted(kept) == ["0A-01", "C-01"]
    assert "is no JSON" in (tmp_path / "refused" / "broken.txt").read_text()
    assert "none" in (tmp_path / "refused" / "wrong.txt").read_text()
    assert "C-01: created, incomplete" in (tmp_path / "kept" / "cable.txt").read_text()
    assert (tmp_path / "kept" / "cable-12.s4p").exists()
    assert [path.name for path in tmp_path.iterdir() if path.is_file()] == ["waits.json"]


def test_touchstone_files_that_land_again_are_a_retest_of_their_link(tmp_path):
    described = {
        "job": JOB,
        "label": "C-01",
        "configuration": "channel",
        "requirement": {"rule_set": "TIA", "category": "6"},
        "touchstone": {"pairs": ["12"]},
    }

    def land(name, **more):
        (tmp_path / "cable.json").write_text(json.dumps({**described, **more}))
        shutil.copy(ROOT / "samples" / "measured" / name, tmp_path / "cable-12.s4p")

    told = []
    with clinic() as (_, client):
        for name, more in (
            ("CABLE1_TX_pair.s4p", {}),
            ("CABLE1_TX_pair.s4p", {}),
            ("CABLE1_RX_pair.s4p", {}),
            ("CABLE1_RX_pair.s4p", {"label": None}),
        ):
            land(name, **more)
            told += watched_folder.look(client, tmp_path, None, settled_s=0)
        (record,) = client.records.list()
        revisions = client.records.revisions(record.id)
        sweeps = client.records.measurement(record.id).sweeps

    assert told == ["cable.json: kept"] * 3 + ["cable.json: refused"]
    assert [each.kind for each in revisions] == ["submitted", "retested"]
    assert set(sweeps["insertion_loss"]["12"]) >= {"re", "im"}
    assert "label" in (tmp_path / "refused" / "cable.txt").read_text()


def test_a_watched_folder_leaves_alone_what_is_still_written_and_does_nothing_twice(tmp_path):
    path = tmp_path / "good.json"
    shutil.copy(LINKS / "0A-01-clean-pass.json", path)
    path.touch()
    with clinic(troubles=["none", "lost_answer"]) as (running, client):
        hasty = running.client(retries=Retries(tries=1))
        assert list(watched_folder.look(hasty, tmp_path, None, settled_s=60)) == []
        # The answer is lost, and with it whether the record was made.
        with pytest.raises(ConnectionFailedError):
            list(watched_folder.look(hasty, tmp_path, None, settled_s=0))
        assert path.exists()
        list(watched_folder.look(client, tmp_path, None, settled_s=0))
        changes = [change.kind for change in client.changes.list()]

    assert changes == ["job.created", "record.submitted"]
    assert "created" in (tmp_path / "kept" / "good.txt").read_text()


def deliveries(changes):
    previous = None
    for change in changes:
        body = json.dumps({"type": change.kind, "data": {**change.raw, "previous_seq": previous}}).encode()
        at_s = int(time.time())
        headers = {
            "webhook-id": f"d{change.seq}",
            "webhook-timestamp": str(at_s),
            "webhook-signature": signature(SECRET, f"d{change.seq}", at_s, body),
        }
        yield body, headers
        previous = change.seq


@pytest.mark.parametrize("kind", ["flask", "wsgi"])
def test_a_receiver_deals_with_each_change_once_whatever_happens_to_deliveries(kind, tmp_path):
    dealt = []
    with clinic() as (_, client):

        def receiver():
            if kind == "flask":
                return webhook_flask.create_app(
                    client, [SECRET], tmp_path / "seq", lambda c: dealt.append(c.seq)
                )
            after = dealt[-1] if dealt else 0
            return webhook_wsgi.Receiver(
                client.changes.inbox(lambda c: dealt.append(c.seq), after=after), [SECRET]
            )

        sender = Sender(receiver())
        for n in range(6):
            client.records.create(link("2A-03", f"B-{n}"))
        sent = list(deliveries(client.changes.list()))
        statuses = {
            sender.post("/fourpair", data=body, headers=headers).status_code
            for body, headers in disordered(sent, seed=5)
        }
        body, headers = sent[-1]
        last = sender.post("/fourpair", data=body, headers=headers).status_code
        altered = sender.post("/fourpair", data=body.replace(b"B-5", b"B-6"), headers=headers)
        unsigned = sender.post("/fourpair", data=body)
        restarted = Sender(receiver())
        restarted.post("/fourpair", data=body, headers=headers)

    assert statuses == {204}
    assert last == 204
    assert dealt == list(range(1, 8))
    assert (altered.status_code, unsigned.status_code) == (400, 400)
    assert "altered" in altered.text
    if kind == "flask":
        assert (tmp_path / "seq").read_text() == "7"


@pytest.mark.parametrize("kind", ["flask", "wsgi"])
def test_a_receiver_takes_the_messages_that_the_service_really_sends(kind, tmp_path):
    hook, dealt = "https://tickets.example.com/fourpair", []
    messages = troubled(4, share=0.6, kinds=DELIVERY_TROUBLES[1:])
    with (
        service(start=datetime.now(UTC), delivery_troubles=messages) as running,
        running.client() as client,
    ):
        secret = client.subscriptions.create(hook).secret
        receiver = webhook_wsgi.Receiver(client.changes.inbox(lambda c: dealt.append(c.seq)), [secret])
        if kind == "flask":
            receiver = webhook_flask.create_app(
                client, [secret], tmp_path / "seq", lambda c: dealt.append(c.seq)
            )
        running.deliver_to(hook, receiver_of(receiver, "/fourpair"))
        client.jobs.create(JOB, name="Clinic")
        for n in range(8):
            client.records.create(link("2A-03", f"B-{n}"))
        running.carry_on(seconds=200)
        client.jobs.change(JOB, {"name": "Clinic, all floors"})
        running.carry_on(seconds=200)
        sent = client.subscriptions.deliveries(client.subscriptions.list()[0])
        states = {delivery.state for delivery in sent}

    assert states == {"delivered"}
    assert dealt == list(range(1, 11))


@contextmanager
def shown(client, stop):
    state = dashboard.State()
    state.put(client.jobs.summary(JOB).to_dict())
    arguments = (client, JOB, state, client.changes.newest(), stop)
    follower = threading.Thread(target=dashboard.follow, args=arguments, daemon=True)
    follower.start()
    with ThreadingHTTPServer(("127.0.0.1", 0), dashboard.handler_of(state)) as server:
        thread = threading.Thread(target=server.serve_forever)
        thread.start()
        try:
            yield f"http://127.0.0.1:{server.server_port}/"
        finally:
            stop.set()
            server.shutdown()
            thread.join()
    follower.join(timeout=10)


@pytest.mark.browser
def test_the_dashboard_shows_the_job_and_what_happens_while_it_is_open(tmp_path):
    assert BROWSER, "this test needs Chromium on the path"
    stop = threading.Event()
    with served() as url, Client(url) as client:
        schedule = [{"label": label} for label in ("0A-01", "0A-02", "0A-03")]
        client.jobs.create(JOB, name="Clinic", schedule=schedule)
        client.records.create(link("0A-02"))
        with shown(client, stop) as page:
            timer = threading.Timer(4.0, client.records.create, (link("0A-01"),))
            timer.start()
            run = subprocess.run(
                [
                    BROWSER,
                    "--headless",
                    "--no-sandbox",
                    "--disable-gpu",
                    f"--user-data-dir={tmp_path / 'profile'}",
                    "--enable-logging=stderr",
                    "--virtual-time-budget=2500",
                    "--dump-dom",
                    page,
                ],
                capture_output=True,
                text=True,
                check=False,
                timeout=120,
            )
            timer.join()
    drawn = run.stdout

    assert '<h1 id="job">alder-row-clinic</h1>' in drawn
    assert "<dt>Done</dt><dd>1</dd>" in drawn
    assert "<li>0A-02: next:" in drawn
    news = drawn.partition('id="news"')[2].partition("</ul>")[0]
    assert "0A-01: submitted pass" in news
    assert "0A-02" not in news
    assert [line for line in run.stderr.splitlines() if "CONSOLE" in line] == []


def test_the_notebook_runs_from_top_to_bottom(monkeypatch):
    notebook = json.loads((ROOT / "samples" / "margins.ipynb").read_text())
    cells = ["".join(cell["source"]) for cell in notebook["cells"] if cell["cell_type"] == "code"]
    monkeypatch.chdir(ROOT / "samples")
    results = []
    with served() as url:
        monkeypatch.setenv("FOURPAIR_URL", url)
        names: dict[str, object] = {}
        for cell in cells:
            tree = ast.parse(cell)
            last = tree.body.pop() if isinstance(tree.body[-1], ast.Expr) else None
            exec(compile(tree, "cell", "exec"), names)
            if last is not None:
                results.append(eval(compile(ast.Expression(last.value), "cell", "eval"), names))
        names["client"].close()
    kept, records, margins, verdict, described = results

    assert len(kept) == len(list(LINKS.glob("0A-*.json")))
    assert records.headroom_db.astype(float).dropna().is_monotonic_increasing
    assert margins.loc["next", records.index[0]] == records.headroom_db.astype(float).iloc[0].round(1)
    assert "<svg" in verdict._repr_html_()
    assert described.loc["count"].min() > 700
    assert all(cell.get("outputs", []) == [] for cell in notebook["cells"])


def test_the_programs_are_typed_as_the_sdk_promises():
    ran = subprocess.run(
        [sys.executable, "-m", "mypy", "--strict", "--cache-dir", os.devnull, "samples/shop"],
        capture_output=True,
        text=True,
        check=False,
        cwd=ROOT,
    )

    assert ran.returncode == 0, ran.stdout
