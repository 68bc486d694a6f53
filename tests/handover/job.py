"""The job that the handover's tests look at."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

ROOT: Final = Path(__file__).resolve().parents[2]
JOB: Final = "alder-row-clinic"
NAME: Final = "Alder Row clinic"
NOW: Final = datetime(2026, 12, 1, 8, 30, tzinfo=UTC)
# Label and sample; the order is not that of the labels.
LINKS: Final = {
    "A10": "0A-01-clean-pass",
    "A2": "1A-01-bad-far-connector",
    "A1": "0A-03-marginal-pass",
    "A3": "0A-08-open-pair",
    "B1": "1A-07-far-end-missing",
    "C1": "2A-03-summary-only",
    "A11": "1A-02-too-long",
}
RETESTED: Final = "A4"
WITHDRAWN: Final = "A9"
MISSING: Final = ("A12", "A5")
IN_ORDER: Final = ("A1", "A2", "A3", "A4", "A5", "A10", "A11", "A12", "B1", "C1")
TESTED: Final = tuple(label for label in IN_ORDER if label not in MISSING)


def sample(name: str, **changes: Any) -> dict[str, Any]:
    """Return the measurement of a sample, changed."""
    document = json.loads((ROOT / "samples" / "links" / f"{name}.json").read_bytes())
    return {**document, **changes}


def sent(answer: Any) -> dict[str, Any]:
    """Return what a write made."""
    assert answer.status_code in (200, 201), answer.get_json()
    return answer.get_json()


def again(client: Any, record: str, path: str, body: dict[str, Any]) -> dict[str, Any]:
    """Change a record as it stands."""
    tag = client.get(f"/v1/records/{record}").headers["ETag"]
    return sent(client.post(f"/v1/records/{record}/{path}", json=body, headers={"If-Match": tag}))


def filled(client: Any) -> None:
    """Make the job, its links, a retest and a withdrawal."""
    schedule = [{"label": label} for label in (*LINKS, RETESTED, *MISSING)]
    job = {"id": JOB, "name": NAME, "customer": "Alder Row", "site": "Row 4", "schedule": schedule}
    sent(client.post("/v1/jobs", json=job))
    for label, name in LINKS.items():
        sent(client.post("/v1/records", json=sample(name, label=label, job=JOB)))
    bad = sample("0A-05-split-pair", label=RETESTED, job=JOB)
    record = sent(client.post("/v1/records", json=bad))["record"]["id"]
    good = sample("1A-09-short-channel")
    del good["label"], good["job"]
    again(client, record, "retests?reason=pairs put right", good)
    gone = sent(client.post("/v1/records", json=sample("1A-05-skew", label=WITHDRAWN, job=JOB)))
    again(client, gone["record"]["id"], "withdrawal", {"reason": "cable taken out"})
