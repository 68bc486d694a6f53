"""Whatever is read can be asked about again by its ETag: taken from the contract, so that no reading is left out."""

from __future__ import annotations

import json
import re
from collections import defaultdict
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from ipaddress import ip_network
from pathlib import Path

import pytest
import yaml

from fourpair_service.app import create_app
from fourpair_service.background import Background
from fourpair_service.config import Settings
from fourpair_service.records.key_commands import KeyGrant, make_key
from fourpair_service.records.keys import Scope
from fourpair_service.records.model import Assessment
from fourpair_service.records.times import instant
from fourpair_service.storage.memory import MemoryStore
from webhook_receiver import receiving

ROOT = Path(__file__).resolve().parents[2]
CONTRACT = yaml.safe_load((ROOT / "openapi.yaml").read_text())
NOW = datetime(2026, 12, 1, tzinfo=UTC)
SETTINGS = Settings(
    grading_processes=1,
    limits_directory=ROOT / "samples" / "limits-example",
    webhook_networks=(ip_network("127.0.0.0/8"),),
)
JOB, OTHER_JOB = "clinic", "row"
# A run settles sixteen at a time: of so many, some are left after the first chunk.
MANY = 18
# The feed when everything is there: two jobs, a record and its move, and the others.
FILLED_SEQ = 2 + 2 + MANY

# What tells of this moment and is never kept; everything else that is read has a tag.
OF_THE_MOMENT = {
    "getLiveness": "says that this process lives, which no older answer can",
    "getReadiness": "writes to the store and looks at its disk, each time anew",
}
READINGS = {
    operation["operationId"]: (path, operation)
    for path, operations in CONTRACT["paths"].items()
    for method, operation in operations.items()
    if method == "get"
}
TAGGED = sorted(READINGS.keys() - OF_THE_MOMENT)
# What an operation has to be asked.
QUERIES = {
    "getStats": ["by=job,outcome,tester", "by=tester"],
    "getLimits": ["category=6&configuration=permanent_link&parameter=next"],
    "listJobFaults": ["state=all", ""],
    # As it stood when it had been moved: also what is told of the past may change.
    "getRecord": ["", f"as_of={FILLED_SEQ}"],
    "getJob": ["", "as_of=1"],
    "getSummary": ["", f"as_of={FILLED_SEQ}"],
}
PICTURES = {"image/svg+xml": "picture=wires", "image/png": "picture=wires&width_px=200"}
PICTURED = {("getSheet", kind) for kind in PICTURES}
# Papers of a job and what is drawn take long; what their tag rests on is the same for every form.
SLOW_KINDS = {"application/pdf", "image/png"}
FEWER_KINDS = {"getHandover": ["text/csv"], "getHandoverFile": ["text/csv"]}


def sample(name, **changes):
    return {**json.loads((ROOT / "samples" / "links" / f"{name}.json").read_bytes()), **changes}


def made(answer):
    assert answer.status_code in (200, 201, 202), answer.get_json()
    return answer.get_json()


def kinds_of(name):
    return FEWER_KINDS.get(name) or list(READINGS[name][1]["responses"]["200"]["content"])


@dataclass
class World:
    """A service in which everything that can be read is there."""

    client: object
    desk: object
    filled: dict
    key: str
    narrow_key: str

    def addresses(self, name, kind):
        """Return where an operation is asked; every parameter of a path stands in ``filled``."""
        path = READINGS[name][0]
        own = self.filled | self.filled.get(path.split("/")[2], {})
        url = re.sub(r"{(\w+)}", lambda found: str(own[found[1]]), path)
        queries = [PICTURES[kind]] if (name, kind) in PICTURED else QUERIES.get(name, [""])
        return [f"{url}?{query}" for query in queries]

    def read(self, name, kind, key=None, address=None, **headers):
        headers = {"Authorization": f"Bearer {key or self.key}", "Accept": kind, **headers}
        return self.client.get(address or self.addresses(name, kind)[0], headers=headers, buffered=True)

    def write(self, method, url, **arguments):
        headers = {"Authorization": f"Bearer {self.key}", "If-Match": "*", **arguments.pop("headers", {})}
        return self.client.open(url, method=method, headers=headers, **arguments)

    def beside(self, go_on=True):
        return Background(SETTINGS, self.desk, go_on=lambda: go_on)

    def read_all(self, keys):
        """Return tag and body of every reading, by operation, address, kind and key; only what is there."""
        found = {}
        for name, kind, key in ((n, kind, key) for n in TAGGED for kind in kinds_of(n) for key in keys):
            if kind in SLOW_KINDS:
                continue
            for address in self.addresses(name, kind):
                answer = self.read(name, kind, key, address)
                if answer.status_code == 200:
                    found[name, address, kind, key] = (answer.headers["ETag"], answer.data)
        return found


def filled_with(world):
    def post(url, **arguments):
        return made(world.write("POST", url, **arguments))

    post("/v1/jobs", json={"id": JOB, "name": "Clinic", "customer": "Alder Row"})
    post("/v1/jobs", json={"id": OTHER_JOB, "name": "Row"})
    document = sample(
        "0A-02-near-miss", job=OTHER_JOB, tested_by="Wren crew", external_ids={"costing": "J-1"}
    )
    record = post("/v1/records", json=document, headers={"Idempotency-Key": "first"})["record"]["id"]
    made(world.write("PATCH", f"/v1/records/{record}?reason=moved", json={"job": JOB}))
    for number in range(MANY):
        light = sample("2A-03-summary-only", job=OTHER_JOB, label=f"L-{number:02}")
        post("/v1/records?assessment=none", json=light)
    attached = post(f"/v1/jobs/{JOB}/attachments?name=a", data=b"a", content_type="text/plain")
    regrade = post("/v1/regrades?dry_run=true", json={"rule_set": "tia-568.2-d-2018-example"})
    assessment = post("/v1/assessments", json={"application": "10GBASE-T"})
    order = post(f"/v1/jobs/{JOB}/handovers?format=csv")
    return {
        "job_id": JOB,
        "record_id": record,
        "number": 1,
        "system": "costing",
        "external_id": "J-1",
        "attachment_id": attached["id"],
        "handover_id": order["id"],
        "regrades": {"run_id": regrade["id"]},
        "assessments": {"run_id": assessment["id"]},
        "rule-sets": {"name": "TIA"},
        "idempotency": {"key": "first"},
        "code": "split_pair",
    }


@contextmanager
def serving():
    """Yield a service with something of everything; its runs, papers and messages are still to be made."""
    store = MemoryStore()
    app = create_app(SETTINGS, clock=lambda: NOW, store=store)

    def key(name, **more):
        grant = KeyGrant(name, frozenset({Scope.ADMIN}), requests_per_minute=100_000, **more)
        return make_key(store, grant, key_id=name, randomness=name.encode() * 8, now=instant(NOW)).text

    with receiving() as receiver:
        keys = key("over"), key("some", jobs=frozenset({JOB}))
        world = World(app.test_client(), app.extensions["fourpair"].desk, {}, *keys)
        world.filled = filled_with(world)
        subscribed = made(world.write("POST", "/v1/subscriptions", json={"url": receiver.url, "after": 0}))
        receiver.secret = subscribed["secret"]
        world.filled["subscription_id"] = subscribed["id"]
        yield world


@pytest.fixture(scope="module")
def service():
    with serving() as world:
        world.beside().round()
        yield world


# --- one by one --------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", TAGGED)
def test_a_reading_has_a_tag_and_is_not_sent_again_to_whoever_has_it(service, name):
    for kind in kinds_of(name):
        first = service.read(name, kind)
        assert first.status_code == 200, (first.get_json(), "fill in what this reading needs")
        assert first.mimetype == kind
        tag = first.headers["ETag"]
        again = service.read(name, kind, **{"If-None-Match": f'"other", W/{tag}'})

        assert (again.status_code, again.data, again.headers["ETag"]) == (304, b"", tag)
        assert service.read(name, kind, **{"If-None-Match": '"other"'}).status_code == 200
        head = {"Authorization": f"Bearer {service.key}", "Accept": kind, "If-None-Match": tag}
        assert (
            service.client.head(service.addresses(name, kind)[0], headers=head, buffered=True).status_code
            == 304
        )


@pytest.mark.parametrize("name", TAGGED)
def test_the_contract_says_of_a_reading_that_it_has_a_tag(name):
    operation = READINGS[name][1]

    assert {"$ref": "#/components/parameters/If-None-Match"} in operation["parameters"]
    for status in ("200", "304"):
        assert operation["responses"][status]["headers"]["ETag"] == {"$ref": "#/components/headers/ETag"}


@pytest.mark.parametrize("name", OF_THE_MOMENT)
def test_what_tells_of_the_moment_is_never_kept(service, name):
    answer = service.client.get(READINGS[name][0])

    assert "304" not in READINGS[name][1]["responses"]
    assert (answer.headers.get("ETag"), answer.headers["Cache-Control"]) == (None, "no-store")


def test_an_answer_of_several_kinds_has_a_tag_for_each_and_says_what_it_goes_by(service):
    several = [name for name in TAGGED if len(kinds_of(name)) > 1]
    for name in several:
        answers = [service.read(name, kind) for kind in kinds_of(name)]
        assert len({answer.headers["ETag"] for answer in answers}) == len(answers), name
        assert all("Accept" in answer.headers["Vary"] for answer in answers), name
    assert {"getMeasurement", "listRegradeFindings", "explainFault", "getSheet", "getLimits"} <= set(several)


# --- as things change --------------------------------------------------------------------------------


def retested(world):
    document = sample("0A-01-clean-pass", job=JOB, label="0A-02", tested_by="Wren crew")
    made(world.write("POST", f"/v1/records/{world.filled['record_id']}/retests", json=document))


def person_forgotten(world):
    for party in made(world.write("GET", "/v1/parties"))["parties"]:
        made(world.write("DELETE", f"/v1/parties/{party['id']}"))


def job_changed(world):
    links = {"schedule": [{"label": "0A-02"}, {"label": "0A-99"}]}
    made(world.write("PUT", f"/v1/jobs/{JOB}/schedule", json=links))


def attachment_added(world):
    url = f"/v1/jobs/{JOB}/attachments?name=b"
    made(world.write("POST", url, data=b"b", content_type="text/plain"))


def runs_on_their_way(world):
    world.beside(go_on=False).runs()


def runs_ended(world):
    world.beside().runs()


def papers_made(world):
    world.beside().handovers()


def said_otherwise(world):
    record = world.desk.store.record(world.filled["record_id"])
    told = Assessment("later", {"version": "later", "supported": {"applications": ["X"], "power_types": []}})
    with world.desk.store.writing() as writer:
        writer.put_assessment(record.id, record.revision, told)


def message_sent(world):
    made(world.write("POST", f"/v1/subscriptions/{world.filled['subscription_id']}/test"))
    world.beside().deliver()


# What happens one after the other, and some of the readings that tell of it.
EVENTS = {
    runs_on_their_way: {
        "getRegrade",
        "listRegrades",
        "getAssessmentRun",
        "listAssessments",
        "listAssessmentFindings",
    },
    runs_ended: {"getRegrade", "listRegradeFindings", "getAssessmentRun", "listAssessmentFindings"},
    papers_made: {"getHandoverState"},
    message_sent: {"listDeliveries", "getSubscription", "listSubscriptions"},
    job_changed: {"getJob", "listJobs", "getSchedule", "getSummary", "listChanges", "getHandover"},
    attachment_added: {"listAttachments"},
    said_otherwise: {"getRecord", "listRecords", "getRecordByExternalId", "getAssessment"},
    retested: {
        "getRecord",
        "listRevisions",
        "getVerdict",
        "getMeasurement",
        "getSheet",
        "getBilling",
        "listJobFaults",
        "getStats",
    },
    person_forgotten: {
        "getRecord",
        "listRecords",
        "getMeasurement",
        "getRevisionMeasurement",
        "getJob",
        "listJobs",
        "listParties",
        "getStats",
    },
}


def test_no_tag_outlives_its_answer():
    told = defaultdict(dict)
    with serving() as world:
        keys = (world.key, world.narrow_key)
        before = world.read_all(keys)
        for event, expected in EVENTS.items():
            event(world)
            after = world.read_all(keys)
            changed = {
                place[0] for place in before.keys() & after.keys() if before[place][1] != after[place][1]
            }
            assert expected <= changed, (event.__name__, expected - changed)
            for (_, address, *_), (tag, body) in (*before.items(), *after.items()):
                assert told[address].setdefault(tag, body) == body, (event.__name__, address)
            before = after


def test_a_tag_holds_for_what_the_key_sees_alone(service):
    for name in ("listRevisions", "listRecords", "listJobs", "listChanges", "getStats"):
        (kind,) = kinds_of(name)
        over = service.read(name, kind)
        told = {"If-None-Match": over.headers["ETag"]}
        narrow = service.read(name, kind, service.narrow_key, **told)

        assert (over.status_code, narrow.status_code) == (200, 200)
        assert over.data != narrow.data


def test_a_change_may_rest_on_the_tag_of_whatever_was_read_of_the_revision(service):
    record, job = f"/v1/records/{service.filled['record_id']}", f"/v1/jobs/{JOB}"
    for name in ("getRecord", "getVerdict", "getMeasurement", "listRevisions", "getSheet"):
        for kind in kinds_of(name):
            tag = {"If-Match": service.read(name, kind).headers["ETag"]}
            patched = service.write(
                "PATCH", f"{record}?reason=x&dry_run=true", json={"notes": "x"}, headers=tag
            )
            assert patched.status_code == 200, (name, kind)
    for name in ("getJob", "getSchedule"):
        for kind in kinds_of(name):
            tag = {"If-Match": service.read(name, kind).headers["ETag"]}
            assert (
                service.write("PATCH", f"{job}?dry_run=true", json={"site": "x"}, headers=tag).status_code
                == 200
            )
    older = {"If-Match": service.read("getRevision", "application/json").headers["ETag"]}
    refused = service.write("PATCH", f"{record}?reason=x&dry_run=true", json={"notes": "x"}, headers=older)
    assert refused.status_code == 412


@pytest.mark.parametrize("name", TAGGED)
def test_a_reading_that_must_be_another_is_refused_and_any_may_be_asked_for(service, name):
    (kind, *_) = kinds_of(name)
    tag = service.read(name, kind).headers["ETag"]
    refused = service.read(name, kind, **{"If-Match": '"9-other"'})

    assert (refused.status_code, refused.get_json()["code"]) == (412, "revision-conflict")
    assert tag.strip('"') in refused.get_json()["detail"]
    for fits in ("*", f'"9-other", {tag}'):
        assert service.read(name, kind, **{"If-Match": fits}).status_code == 200


def test_a_write_answers_with_the_tag_that_reading_then_has(service):
    job = service.write("PATCH", f"/v1/jobs/{JOB}", json={"site": "Row 4"})
    schedule = service.write("PUT", f"/v1/jobs/{JOB}/schedule", json={"schedule": [{"label": "A"}]})
    changed = service.write(
        "PATCH", f"/v1/records/{service.filled['record_id']}?reason=x", json={"notes": "read again"}
    )

    assert job.headers["ETag"] != service.read("getJob", "application/json").headers["ETag"]
    assert schedule.headers["ETag"] == service.read("getSchedule", "application/json").headers["ETag"]
    assert changed.headers["ETag"] == service.read("getRecord", "application/json").headers["ETag"]
