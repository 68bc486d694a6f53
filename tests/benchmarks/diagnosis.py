"""Diagnosis: everything that is said of a failing link swept with phase, against a bare parse of it."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import orjson

from fourpair_service.domain.grading.link import grade
from fourpair_service.domain.verdict import Requirement
from fourpair_service.http.assessment import Detail, assessment_document
from fourpair_service.http.document_body import read_document
from fourpair_service.http.schemas.measurement import read_measurement
from fourpair_service.rulesets.catalogue import Catalogue

from .contest import contest
from .figures import Figure

ROUNDS: Final = 5
LINKS: Final = Path(__file__).resolve().parents[2] / "samples" / "links"
# Its far connector fails, with phase at every frequency: distances, couplings and impedance are all had.
FAILING: Final = "1A-01-bad-far-connector"


def figures() -> list[Figure]:
    """Measure diagnosis."""
    raw = (LINKS / f"{FAILING}.json").read_bytes()
    read = read_measurement(read_document(raw))
    rule_set = Catalogue.load(None).get(read.requirement.rule_set or "")
    verdict = grade(read.measurement, rule_set, Requirement(category=read.requirement.category or ""))
    times = contest(
        {
            "bare parse": lambda: orjson.loads(raw),
            "faults": lambda: assessment_document(read.measurement, verdict, rule_set, Detail.FAULTS),
            "all": lambda: assessment_document(read.measurement, verdict, rule_set, Detail.ALONG),
        },
        ROUNDS,
    )
    names = {
        "faults": "suspected faults of a failing link / bare `orjson.loads` of its document",
        "all": "its full assessment, distances along the link included / the same",
    }
    return [Figure.at_most(name, 300, times, of, "bare parse") for of, name in names.items()]
