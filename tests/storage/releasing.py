"""A store as a release leaves it, as SQL: run once for each schema, from the release that had it, and kept for ever.

    PYTHONPATH=service:tests python -m storage.releasing > tests/storage/data/released-NNNN.sql

It asks over HTTP and by the commands alone, so that it can be carried to an older release.
"""

from __future__ import annotations

import json
import sqlite3
import tempfile
from datetime import UTC, datetime, timedelta
from itertools import count
from pathlib import Path

from fourpair_service.app import create_app
from fourpair_service.background import Background
from fourpair_service.config import Settings
from fourpair_service.records.key_commands import KeyGrant, make_key
from fourpair_service.records.keys import Scope
from fourpair_service.storage.schema import known_steps
from fourpair_service.storage.sqlite import SqliteStore

LINKS = Path(__file__).resolve().parents[2] / "samples" / "links"
START = datetime(2026, 11, 2, 8, 0, tzinfo=UTC)
JOB = "harbour-hall"
LIGHT = "2A-03-summary-only"
EVERY = 40


def link(label, *, name=LIGHT, **more):
    """Return a small document; of a measured one every fortieth point, which is coarse and graded all the same."""
    document = {**json.loads((LINKS / f"{name}.json").read_bytes()), "label": label, "job": JOB, **more}
    if "sweeps" in document:
        return thinned(document)
    return document


def thinned(document):
    """Return a document with its points thinned."""

    def thin(value):
        if isinstance(value, dict):
            return {key: thin(inner) for key, inner in value.items()}
        return value[::EVERY] if isinstance(value, list) else value

    axis = document["frequency_mhz"]
    points = []
    for each in axis:
        if isinstance(each, dict):
            steps = round((each["stop"] - each["start"]) / each["step"])
            points += [round(each["start"] + number * each["step"], 6) for number in range(steps + 1)]
        else:
            points.append(each)
    return {**document, "frequency_mhz": points[::EVERY], "sweeps": thin(document["sweeps"])}


def fill(path):
    """Fill a store with something of everything."""
    moments, numbers = count(), count(1)
    store = SqliteStore(path)
    app = create_app(
        Settings(),
        clock=lambda: START + timedelta(seconds=next(moments)),
        make_id=lambda: f"r{next(numbers)}",
        store=store,
    )
    client = app.test_client()

    def call(method, url, **arguments):
        headers = {"If-Match": "*", **arguments.pop("headers", {})}
        answer = client.open(url, method=method, headers=headers, **arguments)
        assert answer.status_code in (200, 201, 202), (url, answer.get_json())
        return answer.get_json()

    call(
        "POST",
        "/v1/jobs",
        json={"id": JOB, "name": "Harbour hall", "customer": "Port", "cords": {"near_m": 4}},
    )
    call("PUT", f"/v1/jobs/{JOB}/schedule", json={"schedule": [{"label": "A-00", "item_code": "outlet"}]})
    call("POST", f"/v1/jobs/{JOB}/attachments?name=plan", data=b"plan", content_type="text/plain")
    for number, word in enumerate(("none", "faults", "all")):
        document = link(f"A-{number:02}", tested_by="Wren crew", external_ids={"costing": f"J-{number}"})
        url = f"/v1/records?assessment={word}"
        call("POST", url, json=document, headers={"Idempotency-Key": f"first-{number}"})
    measured = call("POST", "/v1/records", json=link("B-01", name="0A-02-near-miss", tested_by="Heron crew"))
    retested = link("B-01", name="0A-01-clean-pass", tested_by="Heron crew")
    url = f"/v1/records/{measured['record']['id']}"
    call("POST", f"{url}/retests", json=retested)
    call("PATCH", f"{url}?reason=typing+mistake", json={"label": "B-02"})
    gone = call("POST", "/v1/records?assessment=none", json=link("C-01"))["record"]["id"]
    call("POST", f"/v1/records/{gone}/withdrawal", json={"reason": "demolished"})
    failing = link("D-01", name="0A-05-split-pair", tested_by="Heron crew")
    call("POST", "/v1/records?assessment=none", json=failing)
    parties = client.get("/v1/parties").get_json()["parties"]
    call("DELETE", f"/v1/parties/{next(p['id'] for p in parties if p['name'] == 'Heron crew')}")
    call("POST", f"/v1/jobs/{JOB}/acceptance", json={"by": "B. Ward", "on": "2026-11-30"})
    call("POST", "/v1/assessments", json={"application": "1000BASE-T"})
    told = call("POST", "/v1/subscriptions", json={"url": "https://tickets.example.com/hook", "after": 0})
    call("PATCH", f"/v1/subscriptions/{told['id']}", json={"state": "paused"})
    work = Background(Settings(grading_processes=1), app.extensions["fourpair"].desk)
    work.runs()
    work.close()
    # Left for the next release to carry on.
    call("POST", "/v1/assessments", json={"power_type": 3})
    grant = KeyGrant("front desk", frozenset({Scope.READ, Scope.GRADE}), jobs=frozenset({JOB}))
    make_key(store, grant, key_id="desk", randomness=bytes(32), now="2026-11-02T08:00:00.000000Z")
    store.close()


def main() -> None:
    """Write the dump to the standard output."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "records.db"
        fill(path)
        print(
            f"-- A store as the release with the schema {known_steps()[-1]} left it; made once, never changed."
        )
        with sqlite3.connect(path) as raw:
            for line in raw.iterdump():
                print(line)
        raw.close()


if __name__ == "__main__":
    main()
