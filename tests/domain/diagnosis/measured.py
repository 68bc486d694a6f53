"""From a case to its verdict and diagnosis, through the document that an instrument would hand over."""

from __future__ import annotations

from typing import NamedTuple

from clinic.documents import document
from clinic.story import Story
from domain.diagnosis.cases import Case
from fourpair_service.domain.diagnosis.diagnose import diagnose
from fourpair_service.domain.diagnosis.model import Diagnosis
from fourpair_service.domain.grading.link import grade
from fourpair_service.domain.measurement import LinkMeasurement
from fourpair_service.domain.verdict import Requirement, Verdict
from fourpair_service.http.schemas.measurement import read_measurement
from fourpair_service.rulesets.catalogue import Catalogue
from fourpair_service.rulesets.facts_reader import read_cable_facts
from line_model.link import PhysicalLink

CATALOGUE = Catalogue.load(None)
FACTS = read_cable_facts()


class Answer(NamedTuple):
    measurement: LinkMeasurement
    verdict: Verdict
    diagnosis: Diagnosis


def document_of(case: Case) -> dict:
    made = document(
        Story(
            label="T",
            slug="t",
            story=case.name,
            kind="test",
            outcome="",
            link=PhysicalLink(case.parts, case.seed),
            near="rack",
            far="desk",
            tested_at="2026-10-01T10:00:00+01:00",
            tested_by="crew",
            complex_curves=case.phase,
            **case.story,
        )
    )
    if case.spoil is not None:
        case.spoil(made)
    return made


def answer_to(document: dict) -> Answer:
    return answer_to_measurement(read_measurement(document).measurement, document)


def answer_to_measurement(measurement: LinkMeasurement, document: dict) -> Answer:
    rule_set = CATALOGUE.get(document["requirement"]["rule_set"])
    verdict = grade(measurement, rule_set, Requirement(document["requirement"]["category"]))
    return Answer(measurement, verdict, diagnose(measurement, verdict, rule_set, FACTS))


def answer(case: Case) -> Answer:
    return answer_to(document_of(case))
