"""What the wire map means for an application: what stops it, what the devices put right."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final

from fourpair_service.domain.applications.data import Application, Correction
from fourpair_service.domain.measurement import LinkMeasurement
from fourpair_service.domain.verdict import WireMapResult
from fourpair_service.domain.wiremap import WireMapFault, WireMapFinding

# Auto-negotiation sends its pulses on these alone (IEEE 802.3 clause 28).
NEGOTIATING_PAIRS: Final = frozenset({"12", "36"})

CORRECTIONS: Final[Mapping[WireMapFault, Callable[[Application], Correction]]] = {
    WireMapFault.REVERSED_PAIR: lambda application: application.reversed_pair,
    WireMapFault.CROSSOVER: lambda application: application.crossover,
    WireMapFault.CROSSOVER_ALL_PAIRS: lambda application: application.crossover_of_all,
}


@dataclass(frozen=True, slots=True)
class WiringAnswer:
    """What continuity says of one application.

    Attributes:
        stopped_by: what it cannot work with, as sentences.
        conditions: what devices may put right and need not, as sentences.
        notes: what every device puts right, or what else to know, as sentences.
        missing: what was not tested.
    """

    stopped_by: tuple[str, ...] = ()
    conditions: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()


def judge_wiring(
    measurement: LinkMeasurement, wire_map: WireMapResult, application: Application
) -> WiringAnswer:
    """Return what the wire map means for an application: faults on pairs that it does not use do not count.

    Args:
        measurement: to know whether the wire map was tested at all.
        wire_map: as the verdict has it, split pairs included.
        application: which pairs it uses.
    """
    if measurement.wire_map is None:
        return WiringAnswer(missing=("wire map: not measured",))
    own = set(application.pairs)
    findings = [f for f in wire_map.findings if own & set(f.pairs)]
    stopped, conditions, notes = [], [], []
    for finding in findings:
        correction = CORRECTIONS.get(finding.kind)
        if correction is None:
            stopped.append(finding)
        elif correction(application) is Correction.OPTIONAL:
            conditions.append(f"{finding.text} Most devices put that right, and they need not.")
        else:
            notes.append(f"{finding.text} Every device for {application.name} puts that right.")
    notes += _spared(wire_map, findings, application) + _negotiated(stopped, application)
    return WiringAnswer(tuple(f.text for f in stopped), tuple(conditions), tuple(notes))


def _spared(wire_map: WireMapResult, counted: list[WireMapFinding], application: Application) -> list[str]:
    pairs = [pair for f in wire_map.findings if f not in counted for pair in f.pairs]
    if not pairs:
        return []
    named = " and ".join(dict.fromkeys(pairs))
    used = " and ".join(application.pairs)
    return [f"The fault on {named} does not matter: {application.name} uses {used} alone."]


def _negotiated(stopped: list[WireMapFinding], application: Application) -> list[str]:
    touched = {pair for finding in stopped for pair in finding.pairs}
    if not touched or touched & NEGOTIATING_PAIRS:
        return []
    return [
        f"Auto-negotiation uses 12 and 36 alone: two devices can agree on {application.name} over this link "
        f"and then fail to train, so that no link comes up."
    ]
