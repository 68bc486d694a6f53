"""What a link can carry, as a document of plain values."""

from __future__ import annotations

from typing import Any

from fourpair_service.domain.applications.data import ApplicationData, UnjudgedApplication
from fourpair_service.domain.applications.design import CordDesign
from fourpair_service.domain.applications.inherit import met_categories
from fourpair_service.domain.applications.noise import NoiseMargin, noise_margins
from fourpair_service.domain.applications.result import ApplicationResult
from fourpair_service.domain.applications.segment import LimitPoint
from fourpair_service.domain.applications.support import (
    EndToEnd,
    assess_applications,
    end_to_end,
    highest_supported,
)
from fourpair_service.domain.applications.wording import sentences
from fourpair_service.domain.cords import StatedCords
from fourpair_service.domain.facts import CableFacts
from fourpair_service.domain.limits import RuleSet
from fourpair_service.domain.measurement import LinkMeasurement
from fourpair_service.domain.parameters import TRAITS
from fourpair_service.domain.support import Support
from fourpair_service.domain.verdict import Verdict
from fourpair_service.domain.verdict_document import rounded

Document = dict[str, Any]


def applications_document(
    measurement: LinkMeasurement,
    verdict: Verdict,
    rule_set: RuleSet,
    data: ApplicationData,
    facts: CableFacts,
    *,
    stated: StatedCords | None = None,
    connectors: str | None = None,
) -> Document:
    """Return what a graded link can carry, numbers rounded to 0.001 of their unit.

    Args:
        measurement: the link.
        verdict: its verdict under ``rule_set``; it is not changed.
        rule_set: its switches, cable and family.
        data: the applications.
        facts: wire and stranded factors.
        stated: what the job says of its cords.
        connectors: category of the connectors, where declared.
    """
    link = end_to_end(measurement, verdict, rule_set, data, facts, stated)
    results = assess_applications(measurement, verdict, link, data, connectors)
    margins = {margin.application: margin for margin in noise_margins(link.tables, data)}
    fastest = highest_supported(results)
    return {
        "version": data.version,
        "fastest_supported": None if fastest is None else fastest.application.name,
        "categories_met": list(met_categories(verdict)),
        "cords": _cords(link),
        "applications": [
            *(_result(r, measurement, margins.get(r.application.name)) for r in results),
            *(_unjudged(entry) for entry in data.unjudged),
        ],
        "noise_method": _method(data),
    }


def _cords(link: EndToEnd) -> Document | None:
    cords: CordDesign | None = link.cords
    if cords is None:
        return None
    return {
        "length_m": rounded(cords.length_m),
        "stated": cords.is_stated,
        "stranded_factor": rounded(cords.stranded_factor.value),
        "stranded_factor_source": cords.stranded_factor.source,
        "text": cords.sentence(),
    }


def _point(point: LimitPoint | None) -> Document | None:
    if point is None:
        return None
    unit = TRAITS[point.parameter].unit
    return {
        "parameter": point.parameter.value,
        "title": TRAITS[point.parameter].title,
        "end": point.end.value if point.end else None,
        "pairs": point.pairs,
        "frequency_mhz": rounded(point.frequency_mhz),
        f"margin_{unit}": rounded(point.margin),
        f"measured_{unit}": rounded(point.measured),
        f"limit_{unit}": rounded(point.limit),
        "basis": point.basis.value,
        "source": point.source,
        "clause": point.clause,
    }


def _result(result: ApplicationResult, measurement: LinkMeasurement, noise: NoiseMargin | None) -> Document:
    application = result.application
    return {
        "application": application.name,
        "state": result.state.value,
        "headroom_db": rounded(result.headroom_db),
        "limiting": _point(result.limiting),
        "pairs": list(application.pairs),
        "reasoning": result.reasoning.value,
        "inherited_from": result.inherited_from,
        "basis": result.basis,
        "limit_basis": result.limit_basis.value if result.limit_basis else None,
        "provisional": result.is_provisional,
        "predicted": result.is_predicted,
        "conditions": list(result.conditions),
        "missing": list(result.missing),
        "contrast": result.contrast,
        "text": list(sentences(result, measurement)),
        "clause": application.clause,
        # The curves of a broken or split pair are those of its fault.
        "noise_margin": None if result.stopped_by and result.limiting is None else _noise(noise),
    }


def _unjudged(entry: UnjudgedApplication) -> Document:
    return {
        "application": entry.name,
        "state": Support.NOT_EVALUATED.value,
        "headroom_db": None,
        "limiting": None,
        "pairs": [],
        "reasoning": None,
        "inherited_from": None,
        "basis": None,
        "limit_basis": None,
        "provisional": False,
        "predicted": False,
        "conditions": [],
        "missing": ["its limits are not built in"],
        "contrast": None,
        "text": [entry.reason.text],
        "clause": entry.clause,
        "noise_margin": None,
    }


def _noise(margin: NoiseMargin | None) -> Document | None:
    if margin is None:
        return None
    return {
        "relative_db": rounded(margin.relative_db),
        "snr_db": rounded(margin.snr_db),
        "limit_line_snr_db": rounded(margin.limit_line_snr_db),
        "needed_snr_db": rounded(margin.needed_snr_db),
        "uncertainty_db": rounded(margin.uncertainty_db),
        "pair": margin.pair,
        "end": margin.end.value if margin.end else None,
        "missing": margin.missing,
        "assumptions": list(margin.assumptions),
        "text": margin.text,
    }


def _method(data: ApplicationData) -> Document:
    noise = data.noise
    return {
        "text": (
            "Signal-to-noise ratio at the decision point of an ideal decision-feedback equaliser, calculated "
            "from the link's own curves and shown relative to a link at the limit lines under the same "
            "assumptions, where most of the common error cancels; what is left of it is not known. It is no "
            "part of any answer."
        ),
        "method_source": noise.method_source,
        "uncertainty_db": rounded(noise.uncertainty.value),
        "uncertainty_source": noise.uncertainty.source,
    }
