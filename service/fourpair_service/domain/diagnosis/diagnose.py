"""All rules in order, what explains what, and the diagnosis of a link."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from typing import Final

from fourpair_service.domain.diagnosis.cable import cable_faults
from fourpair_service.domain.diagnosis.contacts import contact_faults
from fourpair_service.domain.diagnosis.crosstalk import crosstalk_faults
from fourpair_service.domain.diagnosis.evidence import Evidence
from fourpair_service.domain.diagnosis.faults import RANK, FaultCode
from fourpair_service.domain.diagnosis.model import Confidence, Diagnosis, Fault
from fourpair_service.domain.diagnosis.reflection import reflection_faults
from fourpair_service.domain.diagnosis.setup import setup_faults
from fourpair_service.domain.diagnosis.wiring import wiring_faults
from fourpair_service.domain.facts import CableFacts
from fourpair_service.domain.limits import RuleSet
from fourpair_service.domain.measurement import LinkMeasurement
from fourpair_service.domain.verdict import FAILED, Verdict

RULES: Final[tuple[Callable[[Evidence], Iterator[Fault]], ...]] = (
    setup_faults,
    wiring_faults,
    crosstalk_faults,
    reflection_faults,
    contact_faults,
    cable_faults,
)
# These say something of a link that passes too.
ALWAYS: Final = frozenset({FaultCode.TEST_SETUP, FaultCode.CLAD_CONDUCTORS, FaultCode.STRANDED_CABLE})

C = FaultCode
AT_AN_END: Final = frozenset({C.BAD_CONNECTOR, C.UNTWISTED_PAIR, C.LOWER_CATEGORY_PART})
# What a fault brings about by itself, and is therefore not named beside it.
BY_PRODUCTS: Final[dict[FaultCode, frozenset[FaultCode]]] = {
    C.SPLIT_PAIR: frozenset({C.TOO_LONG, C.HOT_OR_WET_CABLE, C.MIXED_INSULATION, C.STRANDED_CABLE}),
    C.STRANDED_CABLE: frozenset({C.TOO_LONG, C.HOT_OR_WET_CABLE}),
    C.CLAD_CONDUCTORS: frozenset({C.TOO_LONG, C.HOT_OR_WET_CABLE}),
    C.TOO_LONG: frozenset({C.HOT_OR_WET_CABLE}),
    C.WRONG_NVP: frozenset({C.TOO_LONG}),
    C.WRONG_IMPEDANCE_CABLE: frozenset({C.UNEVEN_CABLE}),
    C.REPEATED_BUMPS: frozenset({C.UNEVEN_CABLE}),
    C.CROSSTALK_ALONG_CABLE: frozenset({C.LOWER_CATEGORY_PART}),
}
# The same, where there is but one sign for the by-product: what reflects and what travels
# a longer way in two pairs loses more too.
WEAK_BY_PRODUCTS: Final[dict[FaultCode, frozenset[FaultCode]]] = {
    C.REPEATED_BUMPS: frozenset({C.TOO_LONG, C.HOT_OR_WET_CABLE}),
    C.MIXED_INSULATION: frozenset({C.TOO_LONG}),
    C.WRONG_IMPEDANCE_CABLE: frozenset({C.TOO_LONG}),
}

# What lies at no place along the link: phase would not say more.
PLACELESS: Final = frozenset(
    {
        C.TEST_SETUP,
        C.WIRES_EXCHANGED,
        C.OPEN_SHIELD,
        C.CLAD_CONDUCTORS,
        C.STRANDED_CABLE,
        C.HOT_OR_WET_CABLE,
        C.MIXED_INSULATION,
        C.TOO_LONG,
        C.WRONG_NVP,
    }
)

PHASE_NOTE: Final = (
    "The sweeps carry no phase, so no distance can be computed; a sweep with magnitude and phase "
    "would say how far from the end the fault lies."
)
BOTH_ENDS_NOTE: Final = "Measured from one end only; the other end would confirm the place."


def diagnose(
    measurement: LinkMeasurement, verdict: Verdict, rule_set: RuleSet, facts: CableFacts
) -> Diagnosis:
    """Return what is suspected of a link, the strongest suspicion first.

    Distances are computed for what fails alone. A diagnosis is no part of the
    verdict and never contradicts it: a link that passes has suspicions only of
    its material and of the test itself.
    """
    evidence = Evidence(measurement, verdict, rule_set, facts)
    failed = verdict.outcome in FAILED
    found = [fault for rule in RULES for fault in rule(evidence) if failed or fault.code in ALWAYS]
    kept = sorted(_without_by_products(_joined(found)), key=_order)
    has_place = not kept or any(fault.code not in PLACELESS for fault in kept)
    return Diagnosis(tuple(kept), _notes(evidence) if failed and has_place else ())


def _order(fault: Fault) -> tuple[int, int]:
    return list(Confidence).index(fault.confidence), RANK[fault.code]


def _joined(faults: Iterable[Fault]) -> list[Fault]:
    """Return one fault for each component: crosstalk and reflection of one connector are one."""
    joined: list[Fault] = []
    for fault in faults:
        mate = next((other for other in joined if _same_component(fault, other)), None)
        if mate is None:
            joined.append(fault)
        else:
            joined[joined.index(mate)] = replace(
                mate,
                confidence=Confidence.LIKELY,
                evidence=mate.evidence + fault.evidence,
                pairs=tuple(dict.fromkeys(mate.pairs + fault.pairs)),
            )
    return joined


def _same_component(first: Fault, second: Fault) -> bool:
    if {first.code, second.code} <= AT_AN_END:
        return first.place is not None and second.place is not None and first.place.end == second.place.end
    if first.code is second.code is C.WRONG_IMPEDANCE_CORD:
        return first.place == second.place
    if first.code is second.code is C.DAMAGED_CABLE and first.place and second.place:
        apart = abs((first.place.position_m or 0.0) - (second.place.position_m or 0.0))
        return apart <= (first.place.uncertainty_m or 0.0) + (second.place.uncertainty_m or 0.0)
    return False


def _without_by_products(faults: list[Fault]) -> list[Fault]:
    explained = {by_product for fault in faults for by_product in BY_PRODUCTS.get(fault.code, ())}
    weak = {by_product for fault in faults for by_product in WEAK_BY_PRODUCTS.get(fault.code, ())}
    return [
        fault
        for fault in faults
        if fault.code not in explained
        and not (fault.code in weak and fault.confidence is Confidence.POSSIBLE)
    ]


def _notes(evidence: Evidence) -> tuple[str, ...]:
    notes = [] if evidence.has_phase or not evidence.measurement.has_curves else [PHASE_NOTE]
    ends = {end for _, end in evidence.measurement.curves if end is not None}
    if len(ends) == 1:
        notes.append(BOTH_ENDS_NOTE)
    return tuple(notes)
