"""Faults that the wire map shows, with the distance where phase was measured."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from fourpair_service.domain.diagnosis.evidence import Evidence
from fourpair_service.domain.diagnosis.faults import FaultCode
from fourpair_service.domain.diagnosis.model import Confidence, Fault, Place
from fourpair_service.domain.distance.coupling import Stretch, strong_stretch
from fourpair_service.domain.distance.events import Event, merge_ends, open_or_short
from fourpair_service.domain.distance.line import VELOCITY_TOLERANCE
from fourpair_service.domain.link import SPEED_OF_LIGHT_M_PER_NS, End, next_combination
from fourpair_service.domain.parameters import Parameter
from fourpair_service.domain.wiremap import WireMapFault, WireMapFinding

CODES: Final = {
    WireMapFault.OPEN: FaultCode.OPEN_CONDUCTOR,
    WireMapFault.SHORT: FaultCode.SHORT_CIRCUIT,
    WireMapFault.OPEN_SHIELD: FaultCode.OPEN_SHIELD,
    WireMapFault.SPLIT_PAIR: FaultCode.SPLIT_PAIR,
}
ENDS: Final = (End.NEAR, End.FAR)
# A stretch this close to both ends is the whole link.
WHOLE_LINK_M: Final = 2.0


def wiring_faults(evidence: Evidence) -> Iterator[Fault]:
    """Yield one fault for each place where the wire map is wrong; wires exchanged are one fault."""
    exchanged = []
    for finding in evidence.verdict.wire_map.findings:
        code = CODES.get(finding.kind, FaultCode.WIRES_EXCHANGED)
        if code is FaultCode.WIRES_EXCHANGED:
            exchanged.append(finding)
        else:
            yield from PLACED[code](evidence, finding)
    if exchanged:
        pairs = dict.fromkeys(pair for finding in exchanged for pair in finding.pairs)
        texts = tuple(finding.text for finding in exchanged)
        yield Fault(FaultCode.WIRES_EXCHANGED, Confidence.CERTAIN, texts, tuple(pairs))


def _broken(evidence: Evidence, finding: WireMapFinding) -> Iterator[Fault]:
    pairs = finding.pairs
    found = _break_place(evidence, pairs)
    text = (finding.text,) if found is None else (finding.text, found[1])
    yield Fault(CODES[finding.kind], Confidence.CERTAIN, text, pairs, found[0] if found else None)


def _break_place(evidence: Evidence, pairs: tuple[str, ...]) -> tuple[Place, str] | None:
    for pair in pairs:
        events = _total_reflections(evidence, pair)
        if events:
            event = events[0]
            seen = "both ends" if len(event.seen_from) > 1 else f"the {event.seen_from[0]} end"
            text = f"Everything comes back from there on pair {pair} (an {event.kind}), seen from {seen}."
            for other in events[1:]:
                text += f" From the {other.seen_from[0]} end that is so {other.position_m:.1f} m from the near end: there may be two breaks."
            return evidence.at_distance(event.position_m, event.uncertainty_m), text.replace("an s", "a s")
    for pair in pairs:
        position = _read_distance_m(evidence, pair)
        if position is not None:
            text = f"Length or delay of pair {pair} ends there, while the others go on."
            return evidence.at_distance(position, VELOCITY_TOLERANCE * position), text
    return None


def _total_reflections(evidence: Evidence, pair: str) -> tuple[Event, ...]:
    """Return the break that both ends see, or what each sees, the nearest to the near end first."""
    path = evidence.path(pair) or evidence.broken_path
    by_end: dict[End, list[Event]] = {}
    for end in ENDS:
        sweep = evidence.complex_sweep(Parameter.RETURN_LOSS, end, pair)
        event = open_or_short(sweep, path) if sweep is not None else None
        by_end[end] = [event] if event else []
    # Without a length nothing that the far end sees can be counted from the near end.
    far = by_end[End.FAR] if evidence.length_m is not None else []
    return merge_ends(by_end[End.NEAR], far, path.length_m)


def _read_distance_m(evidence: Evidence, pair: str) -> float | None:
    """Return where the reading of a broken pair ends, if that is within the link. [m]."""
    reading = evidence.measurement.readings.get(pair)
    if reading is None:
        return None
    if reading.length_m is not None:
        return reading.length_m
    if reading.delay_ns is None:
        return None
    return reading.delay_ns * evidence.nvp * SPEED_OF_LIGHT_M_PER_NS


def _shield(evidence: Evidence, finding: WireMapFinding) -> Iterator[Fault]:
    yield Fault(FaultCode.OPEN_SHIELD, Confidence.CERTAIN, (finding.text,))


def _split(evidence: Evidence, finding: WireMapFinding) -> Iterator[Fault]:
    stretch = _split_stretch(evidence, next_combination(*finding.pairs))
    text = "NEXT between the two pairs is below 22 dB at low frequency and their return loss is as low."
    place = None
    if stretch is not None and evidence.length_m is not None:
        place = _stretch_place(evidence, stretch, evidence.length_m)
    yield Fault(FaultCode.SPLIT_PAIR, Confidence.LIKELY, (finding.text, text), finding.pairs, place)


def _stretch_place(evidence: Evidence, stretch: Stretch, length_m: float) -> Place:
    if stretch.from_m <= WHOLE_LINK_M and stretch.to_m >= length_m - WHOLE_LINK_M:
        return Place("from end to end", None, 0.0, length_m, stretch.uncertainty_m)
    return evidence.over_stretch(stretch.from_m, stretch.to_m, stretch.uncertainty_m)


def _split_stretch(evidence: Evidence, combination: str) -> Stretch | None:
    """Return the stretch that is split, counted from the near end; the longer of what the ends show."""
    path = evidence.path_between(combination)
    found = []
    for end in ENDS:
        sweep = evidence.complex_sweep(Parameter.NEXT, end, combination)
        stretch = strong_stretch(sweep, path) if sweep is not None and path is not None else None
        if stretch is not None and path is not None:
            sides = (evidence.from_near(x, end, path.length_m) for x in (stretch.from_m, stretch.to_m))
            first, last = sorted(sides)
            found.append(Stretch(first, last, stretch.uncertainty_m))
    if not found:
        return None
    uncertainty = max(s.uncertainty_m for s in found)
    return Stretch(min(s.from_m for s in found), max(s.to_m for s in found), uncertainty)


PLACED: Final = {
    FaultCode.OPEN_CONDUCTOR: _broken,
    FaultCode.SHORT_CIRCUIT: _broken,
    FaultCode.OPEN_SHIELD: _shield,
    FaultCode.SPLIT_PAIR: _split,
}
