"""The papers of a job as it stood at a moment of the feed: what was given then is given again, byte for byte."""

from __future__ import annotations

import io
import json
import zipfile
from contextlib import closing
from datetime import timedelta

import pytest

from fourpair_service.app import create_app
from fourpair_service.background import Background
from fourpair_service.config import Settings
from fourpair_service.http.services import NAME
from fourpair_service.records.transfer import export_lines, import_lines
from fourpair_service.storage.memory import MemoryStore
from fourpair_service.storage.sqlite import SqliteStore
from handover.job import NOW, again, sample, sent

JOB, OTHER = "then", "other"
FORMS = (
    "format=pdf",
    "format=xlsx",
    "format=xlsx&per_link=sheet",
    "format=csv",
    "format=zip",
)
PAPERS = ("format=pdf", "format=zip")
TABLES = ("format=csv", "format=csv&table=results&language=de")
# Of the moments, those whose ZIP is looked at.
EVERY = 4


class Ticking:
    """A clock that is a second later each time it is looked at."""

    def __init__(self):
        self.now = NOW

    def __call__(self):
        self.now += timedelta(seconds=1)
        return self.now


class Site:
    """A job to which things happen one after another."""

    def __init__(self, store):
        self.app = create_app(clock=Ticking(), store=store)
        self.client = self.app.test_client()
        schedule = [{"label": label} for label in ("A1", "A2", "A10")]
        job = {"id": JOB, "name": "Before", "customer": "Alder Row", "schedule": schedule}
        sent(self.client.post("/v1/jobs", json=job))
        sent(self.client.post("/v1/jobs", json={"id": OTHER, "name": "Other"}))
        self.records = {}

    def papers(self, query):
        answer = self.client.get(f"/v1/jobs/{JOB}/handover?{query}")
        assert answer.status_code == 200, answer.get_json()
        return answer.data

    def keep(self, label, name, query=""):
        document = sample(name, label=label, job=JOB)
        made = sent(self.client.post(f"/v1/records{query}", json=document))
        self.records[label] = made["record"]["id"]

    def again(self, label, path, body):
        again(self.client, self.records[label], path, body)

    def change(self, what, body):
        sent(self.client.patch(what, json=body, headers={"If-Match": "*"}))

    def attach(self, name):
        url = f"/v1/jobs/{JOB}/attachments?name={name}"
        sent(self.client.post(url, data=name.encode(), content_type="text/plain"))

    def assess(self, **question):
        sent_run = self.client.post(f"/v1/assessments?job={JOB}", json={**question, "keep": True})
        assert sent_run.status_code == 202
        self.carry_on()

    def carry_on(self):
        with closing(Background(Settings(), self.app.extensions[NAME].desk)) as work:
            while work.runs():
                pass
            work.handovers()

    def seq(self):
        return self.client.get(f"/v1/jobs/{JOB}/summary").get_json()["seq"]


HAPPENINGS = {
    "a link is kept": lambda site: site.keep("A1", "0A-01-clean-pass"),
    "another fails": lambda site: site.keep("A10", "1A-01-bad-far-connector", "?assessment=none"),
    "a third fails": lambda site: site.keep("A2", "0A-05-split-pair"),
    "something happens elsewhere": lambda site: site.change(f"/v1/jobs/{OTHER}", {"site": "far away"}),
    "a fourth was not asked for": lambda site: site.keep("B1", "2A-03-summary-only"),
    "a link is tested again": lambda site: site.again(
        "A2", "retests?reason=pairs put right", without_names("1A-09-short-channel")
    ),
    "a link gets another name": lambda site: site.change(
        f"/v1/records/{site.records['A1']}?reason=wrong", {"label": "A3"}
    ),
    "the job gets another name": lambda site: site.change(f"/v1/jobs/{JOB}", {"name": "After"}),
    "a link moves to another job": lambda site: site.change(
        f"/v1/records/{site.records['B1']}?reason=not ours", {"job": OTHER}
    ),
    "the job is taken over": lambda site: sent(
        site.client.post(
            f"/v1/jobs/{JOB}/acceptance",
            json={"by": "B. Ward", "on": "2026-12-02"},
            headers={"If-Match": "*"},
        )
    ),
    "a link is taken out": lambda site: site.again("A10", "withdrawal", {"reason": "cable taken out"}),
}


def test_an_attachment_belongs_to_the_moments_after_it_whatever_the_clock_says(site):
    site.keep("A1", "0A-01-clean-pass")
    seq = site.seq()
    before = site.papers(f"format=zip&as_of={seq}")
    # The clock is set back by an hour.
    site.app.extensions[NAME].desk.clock.now -= timedelta(hours=1)
    site.attach("plan.txt")
    site.keep("A2", "2A-03-summary-only")

    assert site.papers(f"format=zip&as_of={seq}") == before
    later = zipfile.ZipFile(io.BytesIO(site.papers(f"format=zip&as_of={site.seq()}")))
    assert any("plan.txt" in name for name in later.namelist())


def without_names(name):
    document = sample(name)
    return {key: value for key, value in document.items() if key not in ("label", "job")}


@pytest.fixture(params=["memory", "sqlite"])
def site(request, tmp_path):
    with closing(MemoryStore() if request.param == "memory" else SqliteStore(tmp_path / "r.db")) as store:
        yield Site(store)


def test_what_was_given_at_every_moment_is_given_again_whatever_happened_since(site):
    given, whole = {}, {}
    for number, (what, happen) in enumerate(HAPPENINGS.items()):
        before = site.seq()
        happen(site)
        seq = site.seq()
        assert seq > before, what
        given[seq] = [site.papers(table) for table in TABLES]
        if number % EVERY == EVERY - 1:
            whole[seq] = site.papers("format=zip")
        site.attach(f"after-{seq}.txt")

    assert len({first for first, _ in given.values()}) > len(given) / 2
    for seq, tables in given.items():
        assert [site.papers(f"{table}&as_of={seq}") for table in TABLES] == tables, seq
    for seq, archive in whole.items():
        then, now = (_read(each) for each in (archive, site.papers(f"format=zip&as_of={seq}")))
        # What was attached before the moment, and not what was attached after it.
        names = [each["name"] for each in now["manifest.json"]["attachments"]]
        assert names == [f"after-{earlier}.txt" for earlier in given if earlier < seq]
        assert then == now, seq


def _read(content):
    archive = zipfile.ZipFile(io.BytesIO(content))
    read = {name: archive.read(name) for name in archive.namelist()}
    return read | {"manifest.json": json.loads(read["manifest.json"])}


def test_the_papers_of_now_are_those_of_the_last_change_in_every_form(site):
    for happen in HAPPENINGS.values():
        happen(site)

    for form in FORMS:
        assert site.papers(f"{form}&as_of={site.seq()}") == site.papers(form), form


def test_what_is_said_beside_a_verdict_later_changes_no_paper_of_then(site):
    site.keep("A10", "1A-01-bad-far-connector", "?assessment=none")
    site.keep("A2", "0A-01-clean-pass")
    seq = site.seq()
    then = [site.papers(f"{form}&as_of={seq}") for form in PAPERS]
    for name in ("1000BASE-T", "10GBASE-T"):
        site.assess(application=name)
    now = site.papers("format=pdf")

    assert site.seq() == seq
    assert now != then[0]
    assert [site.papers(f"{form}&as_of={seq}") for form in PAPERS] == then
    # From the next change on it belongs to what stands there.
    site.change(f"/v1/jobs/{JOB}", {"site": "Row 4"})
    later = site.papers("format=pdf")
    assert site.papers(f"format=pdf&as_of={site.seq()}") == later
    site.assess(power_type=4)
    assert site.papers(f"format=pdf&as_of={site.seq()}") == later
    assert [site.papers(f"{form}&as_of={seq}") for form in PAPERS] == then


def test_papers_of_then_can_be_ordered(site):
    site.keep("A1", "0A-01-clean-pass")
    seq = site.seq()
    site.again("A1", "withdrawal", {"reason": "gone"})
    url = f"/v1/jobs/{JOB}/handovers"
    ordered = site.client.post(f"{url}?format=pdf&as_of={seq}")
    site.carry_on()
    done = site.client.get(ordered.headers["Location"]).get_json()

    assert ordered.status_code == 202
    assert (done["state"], done["form"]["as_of"], done["total"]) == ("done", str(seq), 1), done["trouble"]
    file = site.client.get(f"{ordered.headers['Location']}/file").data
    assert file == site.papers(f"format=pdf&as_of={seq}") != site.papers("format=pdf")


@pytest.mark.parametrize(
    ("as_of", "status", "said"),
    [
        ("99", 422, "The feed has come to 3"),
        (str(2**53), 422, "The feed has come to 3"),
        ("1", 404, "as of 1"),
        ("0", 404, "as of 0"),
        ("-1", 422, ""),
        ("1.5", 422, ""),
        ("now", 422, ""),
    ],
)
def test_a_moment_without_papers_is_refused_at_once_and_ordered_not_at_all(as_of, status, said):
    client = create_app(store=MemoryStore()).test_client()
    for job in (OTHER, JOB):
        sent(client.post("/v1/jobs", json={"id": job, "name": job}))
    client.patch(f"/v1/jobs/{OTHER}", json={"site": "x"}, headers={"If-Match": "*"})
    answers = (
        client.get(f"/v1/jobs/{JOB}/handover?as_of={as_of}"),
        client.post(f"/v1/jobs/{JOB}/handovers?as_of={as_of}"),
    )

    for answer in answers:
        problem = answer.get_json()
        assert answer.status_code == status, problem
        assert said in problem["detail"] + json.dumps(problem.get("errors", ()))
        if status == 422:
            assert [each["pointer"] for each in problem["errors"]] == ["/query/as_of"]


def test_a_store_that_was_moved_gives_the_papers_of_then_too(site, tmp_path):
    site.keep("A10", "1A-01-bad-far-connector", "?assessment=none")
    seq = site.seq()
    then = site.papers(f"format=pdf&as_of={seq}")
    site.assess(application="1000BASE-T")
    with site.app.extensions[NAME].desk.store.reading() as reader:
        lines = list(export_lines(reader))
    with closing(SqliteStore(tmp_path / "moved.db")) as moved:
        import_lines(moved, lines)
        client = create_app(store=moved).test_client()
        answer = client.get(f"/v1/jobs/{JOB}/handover?format=pdf&as_of={seq}")

        assert answer.data == then
