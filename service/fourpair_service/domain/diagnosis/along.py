"""What lies along a link, on request: reflections, couplings, impedance, repeated bumps, ripple of the loss."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, Final

import numpy as np

from fourpair_service.domain.diagnosis.evidence import Evidence
from fourpair_service.domain.distance.coupling import concentration
from fourpair_service.domain.distance.deviation import insertion_loss_deviation
from fourpair_service.domain.distance.events import Event, find_events, merge_ends
from fourpair_service.domain.distance.impedance import impedance_from_both_ends, impedance_profile
from fourpair_service.domain.distance.line import LinePath
from fourpair_service.domain.distance.periodic import find_periodic
from fourpair_service.domain.link import NEXT_COMBINATIONS, PAIRS, End
from fourpair_service.domain.measurement import FloatArray, Sweep
from fourpair_service.domain.parameters import Parameter
from fourpair_service.domain.verdict_document import rounded

Document = dict[str, Any]

# Smaller reflections than this are those of good connectors. Own criterion, no published source.
LEAST_REFLECTION: Final = 0.01
PROFILE_POINTS: Final = 201


def along_document(evidence: Evidence) -> Document:
    """Return what lies along the link, from whatever was measured with phase.

    Distances are counted from the near end. [m]
    """
    return {
        "length_m": rounded(evidence.length_m),
        "reflections": [r for pair in PAIRS for r in _reflections(evidence, pair)],
        "couplings": [c for key in NEXT_COMBINATIONS for c in _couplings(evidence, key)],
        "impedance": [i for pair in PAIRS for i in _impedance(evidence, pair)],
        "repeated": [r for pair in PAIRS for r in _repeated(evidence, pair)],
        "loss_deviation": [d for pair in PAIRS for d in _loss_deviation(evidence, pair)],
    }


def _reflections(evidence: Evidence, pair: str) -> Iterator[Document]:
    path = evidence.path(pair)
    if path is None:
        return
    seen: dict[End, tuple[Event, ...]] = {}
    for end in End:
        sweep = evidence.complex_sweep(Parameter.RETURN_LOSS, end, pair)
        if end is End.FAR and evidence.length_m is None:
            # What the far end sees cannot be counted from the near end without a length.
            sweep = None
        seen[end] = find_events(sweep, path, LEAST_REFLECTION) if sweep is not None else ()
    for event in merge_ends(seen[End.NEAR], seen[End.FAR], path.length_m):
        yield {
            "pair": pair,
            "position_m": rounded(event.position_m),
            "uncertainty_m": rounded(event.uncertainty_m),
            "reflection_db": rounded(float(-20 * np.log10(event.magnitude))),
            "kind": event.kind.value,
            "seen_from": [end.value for end in event.seen_from],
        }


def _couplings(evidence: Evidence, key: str) -> Iterator[Document]:
    path = evidence.path_between(key)
    for end in End:
        sweep = evidence.complex_sweep(Parameter.NEXT, end, key)
        if sweep is not None and path is not None:
            found = concentration(sweep, path)
            yield {
                "pairs": key,
                "measured_from": end.value,
                "position_m": rounded(evidence.from_near(found.position_m, end, path.length_m)),
                "uncertainty_m": rounded(found.uncertainty_m),
                "share": rounded(found.share),
            }


def _impedance(evidence: Evidence, pair: str) -> Iterator[Document]:
    path = evidence.path(pair)
    if path is None or pair in evidence.broken:
        return
    measured = ((end, evidence.complex_sweep(Parameter.RETURN_LOSS, end, pair)) for end in End)
    sweeps = {end: sweep for end, sweep in measured if sweep is not None}
    if sweeps:
        distance_m = np.linspace(0.0, path.length_m, PROFILE_POINTS)
        yield {
            "pair": pair,
            "seen_from": [end.value for end in sweeps],
            "distance_m": [rounded(x) for x in distance_m.tolist()],
            "impedance_ohm": [rounded(x) for x in _profile(sweeps, path, distance_m).tolist()],
        }


def _repeated(evidence: Evidence, pair: str) -> Iterator[Document]:
    path = evidence.path(pair)
    if path is None or pair in evidence.broken:
        return
    for end in End:
        sweep = evidence.complex_sweep(Parameter.RETURN_LOSS, end, pair)
        found = find_periodic(sweep, path) if sweep is not None else None
        if found is not None:
            sides = (evidence.from_near(x, end, path.length_m) for x in (found.from_m, found.to_m))
            first, last = sorted(sides)
            yield {
                "pair": pair,
                "measured_from": end.value,
                "pitch_m": rounded(found.pitch_m),
                "from_m": rounded(first),
                "to_m": rounded(last),
                "frequency_mhz": [rounded(spike.frequency_mhz) for spike in found.spikes],
            }


def _loss_deviation(evidence: Evidence, pair: str) -> Iterator[Document]:
    sweep = evidence.complex_sweep(Parameter.INSERTION_LOSS, None, pair)
    path = evidence.path(pair)
    if sweep is None or path is None or pair in evidence.broken:
        return
    found = insertion_loss_deviation(sweep, path)
    yield {
        "pair": pair,
        "worst_db": rounded(found.worst_db),
        "frequency_mhz": rounded(found.worst_frequency_mhz),
        "ripple_db": rounded(found.ripple_db),
        "spacing_m": rounded(found.spacing_m),
    }


def _profile(sweeps: Mapping[End, Sweep], path: LinePath, distance_m: FloatArray) -> FloatArray:
    """Return the impedance from the near end on, each half from its own end where both were measured."""
    if len(sweeps) == 2:
        return impedance_from_both_ends(sweeps[End.NEAR], sweeps[End.FAR], path, distance_m)
    ((end, sweep),) = sweeps.items()
    return impedance_profile(sweep, path, distance_m if end is End.NEAR else path.length_m - distance_m)
