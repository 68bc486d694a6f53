"""What is said beside a verdict: suspected faults, and what lies along the link."""

from __future__ import annotations

from enum import StrEnum
from typing import Any, Final

from fourpair_service.domain.diagnosis.along import along_document
from fourpair_service.domain.diagnosis.diagnose import diagnose
from fourpair_service.domain.diagnosis.document import diagnosis_document
from fourpair_service.domain.diagnosis.evidence import Evidence
from fourpair_service.domain.limits import RuleSet
from fourpair_service.domain.measurement import LinkMeasurement
from fourpair_service.domain.verdict import Verdict
from fourpair_service.rulesets.facts_reader import read_cable_facts

# Changes whenever the same link may be assessed in another way; the verdict does not change with it.
ASSESSMENT_VERSION: Final = "1"


class Detail(StrEnum):
    """How much is said beside the verdict."""

    NONE = "none"
    USUAL = "usual"
    ALONG = "along"


def assessment_document(
    measurement: LinkMeasurement, verdict: Verdict, rule_set: RuleSet, detail: Detail = Detail.USUAL
) -> dict[str, Any]:
    """Return the assessment of a graded link.

    It has its own version, is no part of the verdict or its digest and never
    changes an outcome.
    """
    facts = read_cable_facts()
    document: dict[str, Any] = {
        "version": ASSESSMENT_VERSION,
        "diagnosis": diagnosis_document(diagnose(measurement, verdict, rule_set, facts)),
    }
    if detail is Detail.ALONG:
        document["along"] = along_document(Evidence(measurement, verdict, rule_set, facts))
    return document
