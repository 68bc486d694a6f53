"""What is said beside a verdict: suspected faults, what the link can carry, its port, its power."""

from __future__ import annotations

from enum import StrEnum
from typing import Any, Final

from fourpair_service.domain.applications.document import applications_document
from fourpair_service.domain.applications.support import end_to_end, supported_applications
from fourpair_service.domain.diagnosis.along import along_document
from fourpair_service.domain.diagnosis.diagnose import diagnose
from fourpair_service.domain.diagnosis.document import diagnosis_document
from fourpair_service.domain.diagnosis.evidence import Evidence
from fourpair_service.domain.limits import RuleSet
from fourpair_service.domain.measurement import LinkMeasurement
from fourpair_service.domain.port.document import port_document
from fourpair_service.domain.port.reading import read_port
from fourpair_service.domain.powering.document import powering_document
from fourpair_service.domain.powering.power import cords_added, power_on, supported_types
from fourpair_service.domain.verdict import Verdict
from fourpair_service.rulesets.application_reader import read_applications
from fourpair_service.rulesets.facts_reader import read_cable_facts
from fourpair_service.rulesets.port_reader import read_port_facts
from fourpair_service.rulesets.powering_reader import read_powering_facts

# Changes whenever the same link may be assessed in another way; the verdict does not change with it.
ASSESSMENT_VERSION: Final = "1"


class Detail(StrEnum):
    """How much is said beside the verdict.

    ``faults`` costs little for a link that passes; ``all`` adds what the link can
    carry, powering and the port; ``along`` adds distances on any link.
    """

    NONE = "none"
    FAULTS = "faults"
    ALL = "all"
    ALONG = "along"


def assessment_document(
    measurement: LinkMeasurement, verdict: Verdict, rule_set: RuleSet, detail: Detail = Detail.FAULTS
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
    if detail in (Detail.ALL, Detail.ALONG):
        document |= carrying(measurement, verdict, rule_set)
    if detail is Detail.ALONG:
        document["along"] = along_document(Evidence(measurement, verdict, rule_set, facts))
    return document


def supported_document(
    measurement: LinkMeasurement, verdict: Verdict, rule_set: RuleSet
) -> dict[str, list[str]]:
    """Return the names alone of the applications and power types that a link supports, to be searched by.

    A fraction of the work of what :func:`assessment_document` says of them with ``all``.
    """
    facts, power_facts, applications = read_cable_facts(), read_powering_facts(), read_applications()
    cords, connectors = measurement.cords, measurement.connectors_category
    link = end_to_end(measurement, verdict, rule_set, applications, facts, cords)
    carried = supported_applications(measurement, verdict, link, applications, connectors)
    types = supported_types(measurement, power_facts, facts, standard=rule_set.standard, stated=cords)
    return {
        "applications": sorted(application.name for application in carried),
        "power_types": sorted(str(number) for number in types),
    }


def carrying(measurement: LinkMeasurement, verdict: Verdict, rule_set: RuleSet) -> dict[str, Any]:
    """Return what the link can carry, its powering, and its port where one was observed."""
    facts, power_facts, port_facts = read_cable_facts(), read_powering_facts(), read_port_facts()
    carried = applications_document(
        measurement,
        verdict,
        rule_set,
        read_applications(),
        facts,
        stated=measurement.cords,
        connectors=measurement.connectors_category,
    )
    powering = power_on(measurement, power_facts, facts, standard=rule_set.standard, stated=measurement.cords)
    port = read_port(
        measurement,
        port_facts,
        power_facts,
        applications={a["application"]: a["state"] for a in carried["applications"]},
        power_classes={number: result.state.value for number, result in powering.classes.items()},
        cords=cords_added(measurement, power_facts, facts, rule_set.standard, measurement.cords),
    )
    return {
        "applications": carried,
        "powering": powering_document(powering, power_facts.heating),
        "port": port_document(port, port_facts),
    }
