"""Why return loss fails: connector, damage, coil, impedance of cable or cord, uneven cable."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from fourpair_service.domain.diagnosis.evidence import Evidence
from fourpair_service.domain.diagnosis.faults import FaultCode
from fourpair_service.domain.diagnosis.model import Confidence, Fault, Place
from fourpair_service.domain.diagnosis.sources import Source, source
from fourpair_service.domain.distance.impedance import impedance_profile
from fourpair_service.domain.distance.line import LinePath, nominal_path
from fourpair_service.domain.distance.periodic import PeriodicDefect, Spike, find_periodic, find_spikes
from fourpair_service.domain.link import PAIRS, End
from fourpair_service.domain.measurement import Sweep
from fourpair_service.domain.parameters import Parameter

ENDS: Final = (End.NEAR, End.FAR)
NOMINAL_OHM: Final = 100.0
# Own criteria, no published source: impedance that is off by more than this is another cable.
IMPEDANCE_OFF_OHM: Final = 7.0
# The first metres behind the connector, and the body of the cable as shares of its length.
FIRST_METRES: Final = (1.0, 1.8)
BODY: Final = (0.35, 0.65)
# Without phase: a failure below this is of the impedance of a long piece, and one spike must
# stand this far over its floor to be a periodic defect by itself.
LOW_MHZ: Final = 20.0
ALONE_DB: Final = 9.0


@dataclass(frozen=True, slots=True)
class _Curve:
    end: End
    pair: str
    sweep: Sweep
    path: LinePath | None


def reflection_faults(evidence: Evidence) -> Iterator[Fault]:
    """Yield what return loss fails from."""
    curves = list(_failing(evidence))
    if not curves:
        return
    explained: set[tuple[End, str]] = set()
    for rule in (_periodic, _impedance, _by_source):
        for fault, of in rule(evidence, [c for c in curves if (c.end, c.pair) not in explained]):
            explained |= {(c.end, c.pair) for c in of}
            yield fault


Explained = Iterator[tuple[Fault, Sequence[_Curve]]]


def _failing(evidence: Evidence) -> Iterator[_Curve]:
    for end in ENDS:
        for pair in evidence.failing_keys(Parameter.RETURN_LOSS, end):
            sweep = evidence.measurement.sweep(Parameter.RETURN_LOSS, end, pair)
            if sweep is not None and pair in evidence.sound:
                with_phase = evidence.complex_sweep(Parameter.RETURN_LOSS, end, pair) is not None
                yield _Curve(end, pair, sweep, evidence.path(pair) if with_phase else None)


def _pairs(curves: Sequence[_Curve]) -> tuple[str, ...]:
    return tuple(pair for pair in PAIRS if any(c.pair == pair for c in curves))


# Equal distances ----------------------------------------------------------------


def _periodic(evidence: Evidence, curves: Sequence[_Curve]) -> Explained:
    placed = [(c, found) for c in curves if c.path and (found := find_periodic(c.sweep, c.path))]
    if placed:
        yield _placed_bumps(evidence, placed), [c for c, _ in placed]
        return
    combs = [(c, comb) for c in curves if not c.path and (comb := _comb(find_spikes(c.sweep)))]
    if combs:
        curve, comb = max(combs, key=lambda item: max(s.above_floor_db for s in item[1]))
        path = nominal_path(evidence.length_m or 1.0, evidence.nvp)
        pitch = 500 * path.velocity_m_per_ns(comb[0].frequency_mhz) / comb[0].frequency_mhz
        text = (
            f"{_spikes_text(comb, curve.pair, curve.end)} They fit a distance of {pitch:.2f} m, "
            f"or a whole multiple of it."
        )
        pairs = _pairs([c for c, _ in combs])
        fault = Fault(FaultCode.REPEATED_BUMPS, Confidence.POSSIBLE, (text,), pairs)
        yield fault, [c for c, _ in combs]


def _placed_bumps(evidence: Evidence, placed: Sequence[tuple[_Curve, PeriodicDefect]]) -> Fault:
    curve, found = max(placed, key=lambda item: max(s.above_floor_db for s in item[1].spikes))
    assert curve.path is not None
    sides = sorted(evidence.from_near(x, curve.end, curve.path.length_m) for x in (found.from_m, found.to_m))
    uncertainty = found.pitch_m + curve.path.tolerance * sides[1]
    text = (
        f"{_spikes_text(found.spikes, curve.pair, curve.end)} They fit a distance of {found.pitch_m:.2f} m, "
        f"or a whole multiple of it."
    )
    place = evidence.over_stretch(max(sides[0], 0.0), sides[1], uncertainty)
    return Fault(FaultCode.REPEATED_BUMPS, Confidence.LIKELY, (text,), _pairs([c for c, _ in placed]), place)


def _spikes_text(spikes: Sequence[Spike], pair: str, end: End) -> str:
    at = " and ".join(f"{s.frequency_mhz:.1f} MHz" for s in spikes)
    return f"Return loss of {pair} from the {end} end has narrow peaks of reflection at {at}."


def _comb(spikes: Sequence[Spike]) -> tuple[Spike, ...]:
    """Return the spikes of one pitch: two at a whole ratio, or one that stands out far."""
    for i, low in enumerate(spikes):
        ratios = [s.frequency_mhz / low.frequency_mhz for s in spikes[i:]]
        fitting = tuple(s for s, r in zip(spikes[i:], ratios, strict=True) if abs(r - round(r)) < 0.04 * r)
        if len(fitting) > 1:
            return fitting
    return tuple(s for s in spikes if s.above_floor_db >= ALONE_DB)[:1]


# Impedance ----------------------------------------------------------------------


def _impedance(evidence: Evidence, curves: Sequence[_Curve]) -> Explained:
    known = [(c, ohm) for c in curves if c.path and (ohm := _impedances(c.sweep, c.path))]
    bodies = [(c, body) for c, (_, body) in known if abs(body - NOMINAL_OHM) > IMPEDANCE_OFF_OHM]
    if bodies:
        mean = float(np.mean([body for _, body in bodies]))
        text = f"The cable has {mean:.0f} ohm instead of {NOMINAL_OHM:.0f} ohm along its length."
        pairs = _pairs([c for c, _ in bodies])
        yield (
            Fault(FaultCode.WRONG_IMPEDANCE_CABLE, Confidence.LIKELY, (text,), pairs),
            [c for c, _ in bodies],
        )
        return
    for end in ENDS:
        cords = [(c, first, body) for c, (first, body) in known if c.end is end and _differ(first, body)]
        if cords:
            _, first, body = max(cords, key=lambda item: abs(item[1] - item[2]))
            text = f"The first metres have {first:.0f} ohm and the cable behind them {body:.0f} ohm."
            of = [c for c, _, _ in cords]
            place = evidence.at_end(end)
            yield (
                Fault(FaultCode.WRONG_IMPEDANCE_CORD, Confidence.LIKELY, (text,), _pairs(of), place),
                [c for c in curves if c.pair in _pairs(of)],
            )


def _differ(first_ohm: float, body_ohm: float) -> bool:
    return abs(first_ohm - body_ohm) > IMPEDANCE_OFF_OHM


def _impedances(sweep: Sweep, path: LinePath) -> tuple[float, float] | None:
    """Return the impedance of the first metres and of the body; ``None`` for a link too short to tell."""
    if path.length_m < 3 * FIRST_METRES[1]:
        return None
    first = np.linspace(*FIRST_METRES, 9)
    body = np.linspace(BODY[0] * path.length_m, BODY[1] * path.length_m, 33)
    ohm = impedance_profile(sweep, path, np.concatenate([first, body]))
    return float(np.median(ohm[: first.size])), float(np.median(ohm[first.size :]))


# One place, or everywhere ----------------------------------------------------------


def _by_source(evidence: Evidence, curves: Sequence[_Curve]) -> Explained:
    found = [(c, source(evidence, Parameter.RETURN_LOSS, c.end, c.pair)) for c in curves]
    for end in ENDS:
        if here := [item for item in found if item[1].end is end]:
            yield _connector(evidence, end, here), [c for c, _ in here]
    spots = [item for item in found if item[1].end is None and not item[1].is_spread]
    if spots:
        yield _damage(evidence, spots), [c for c, _ in spots]
    spread = [item for item in found if item[1].is_spread]
    if spread:
        yield _spread(evidence, [c for c, _ in spread]), [c for c, _ in spread]


def _connector(evidence: Evidence, end: End, found: Sequence[tuple[_Curve, Source]]) -> Fault:
    curves = [c for c, _ in found]
    texts = tuple(_sentence(c, where) for c, where in found)
    measured = any(where.position_m is not None for _, where in found)
    confidence = Confidence.LIKELY if measured else Confidence.POSSIBLE
    return Fault(FaultCode.BAD_CONNECTOR, confidence, texts, _pairs(curves), evidence.at_end(end))


def _damage(evidence: Evidence, found: Sequence[tuple[_Curve, Source]]) -> Fault:
    sharpest = min((w for _, w in found), key=lambda w: w.level_db)
    place: Place = evidence.at_distance(sharpest.position_m or 0.0, sharpest.uncertainty_m or 0.0)
    texts = tuple(_sentence(c, where) for c, where in found)
    return Fault(FaultCode.DAMAGED_CABLE, Confidence.LIKELY, texts, _pairs([c for c, _ in found]), place)


def _sentence(curve: _Curve, where: Source) -> str:
    start = f"Return loss of {curve.pair} measured from the {curve.end} end fails"
    if where.position_m is None:
        return f"{start}; over frequency it has the shape of one reflection at the {where.end} end."
    return f"{start}; most of it comes back from {where.position_m:.1f} m from the near end."


def _spread(evidence: Evidence, curves: Sequence[_Curve]) -> Fault:
    lowest = _lowest_failure_mhz(evidence)
    ends = {c.end for c in curves}
    low = lowest is not None and lowest < LOW_MHZ
    if low and all(c.path is None for c in curves):
        at = f"Return loss fails down to {lowest:.1f} MHz, where only long pieces reflect so much."
        if len(ends) == len(ENDS):
            return Fault(FaultCode.WRONG_IMPEDANCE_CABLE, Confidence.POSSIBLE, (at,), _pairs(curves))
        place = evidence.at_end(curves[0].end)
        return Fault(FaultCode.WRONG_IMPEDANCE_CORD, Confidence.POSSIBLE, (at,), _pairs(curves), place)
    text = "Return loss fails without one place that stands out."
    return Fault(FaultCode.UNEVEN_CABLE, Confidence.POSSIBLE, (text,), _pairs(curves))


def _lowest_failure_mhz(evidence: Evidence) -> float | None:
    """Return the lowest frequency of a worst point of return loss. [MHz]."""
    points = [p for r in evidence.failing(Parameter.RETURN_LOSS) for p in r.by_pair]
    known = [p.frequency_mhz for p in points if p.frequency_mhz is not None and (p.margin or 0) < 0]
    return min(known, default=None)
