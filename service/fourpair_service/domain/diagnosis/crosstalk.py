"""Why NEXT and ACR-F fail: a connector, an untwisted pair, a part of a lower category, the cable."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

import numpy as np

from fourpair_service.domain.diagnosis.evidence import Evidence
from fourpair_service.domain.diagnosis.faults import FaultCode
from fourpair_service.domain.diagnosis.model import Confidence, Fault, Place
from fourpair_service.domain.diagnosis.sources import Source, level_at_100_mhz_db, source
from fourpair_service.domain.link import NEXT_COMBINATIONS, PAIRS, End
from fourpair_service.domain.parameters import Parameter
from fourpair_service.domain.verdict import CategoryState, Point

P = Parameter
ENDS: Final = (End.NEAR, End.FAR)
NEXT_FAMILY: Final = (P.NEXT, P.PS_NEXT, P.ACR_N, P.PS_ACR_N)
ACR_F_FAMILY: Final = (P.ACR_F, P.PS_ACR_F)
# NEXT of connecting hardware at 100 MHz. TIA: connecting hardware table as printed by Elliott
# Electric Supply ("UTP connecting hardware"); ISO classes by their component category, memory.
HARDWARE_NEXT_DB: Final = {"5e": 43.0, "6": 54.0, "6A": 54.0, "D": 43.0, "E": 54.0, "EA": 54.0}
# What the other sources of a link may add. Own criteria, no published source.
LEVEL_TOLERANCE_DB: Final = 1.5
# An untwisted pair reflects too, a bad contact block in a connector couples alone.
REFLECTS_MORE_DB: Final = 6.0
FROM_SHARE_OF_TOP: Final = 0.4
# Two places are one within this. [m]
SAME_PLACE_M: Final = 2.0


def crosstalk_faults(evidence: Evidence) -> Iterator[Fault]:
    """Yield one fault for each component that NEXT comes from, and one for ACR-F alone."""
    found = [(key, where) for end in ENDS for key, where in _sources(evidence, end)]
    merged = _without_echoes(found)
    for end in ENDS:
        if here := [item for item in merged if item[1].end is end]:
            yield _connector(evidence, end, here)
    for group in _spots([item for item in merged if item[1].end is None and not item[1].is_spread]):
        yield _spot(evidence, group)
    if spread := [item for item in merged if item[1].is_spread]:
        yield _cable(evidence, spread)
    if not merged and evidence.failing(*ACR_F_FAMILY):
        yield from _far_end_alone(evidence)


Found = tuple[str, Source]


def _sources(evidence: Evidence, end: End) -> Iterator[Found]:
    for key in _failing_combinations(evidence, end):
        yield key, source(evidence, P.NEXT, end, key)


def _failing_combinations(evidence: Evidence, end: End) -> tuple[str, ...]:
    """Return the combinations behind the NEXT family's failures at an end, worst first."""
    direct = set(evidence.failing_keys(P.NEXT, end))
    direct |= {"-".join(sorted(k.split(">"), key=PAIRS.index)) for k in evidence.failing_keys(P.ACR_N, end)}
    points = _by_combination(evidence, end)
    for parameter in (P.PS_NEXT, P.PS_ACR_N):
        for pair in evidence.failing_keys(parameter, end):
            worst = [point for point in points if pair in str(point.pairs)]
            if worst and not any(pair in key for key in direct):
                direct.add(str(worst[0].pairs))
    return tuple(key for key in sorted(direct) if evidence.is_sound(key))


def _by_combination(evidence: Evidence, end: End) -> Sequence[Point]:
    known = [
        point
        for result in evidence.verdict.parameters
        if result.parameter is P.NEXT and result.end is end
        for point in result.by_pair
        if point.margin is not None and evidence.is_sound(str(point.pairs))
    ]
    return sorted(known, key=lambda p: p.margin if p.margin is not None else np.inf)


def _without_echoes(found: list[Found]) -> list[Found]:
    """Leave out what is seen as spread from one end and has a place from the other.

    From the far side of a lossy line a bad connector is weak, and what lies
    nearer covers it.
    """
    placed = {key for key, where in found if not where.is_spread}
    return [(key, where) for key, where in found if not where.is_spread or key not in placed]


def _pairs(keys: Sequence[str]) -> tuple[str, ...]:
    return tuple(pair for pair in PAIRS if any(pair in key.split("-") for key in keys))


def _seen(found: Sequence[Found]) -> tuple[str, ...]:
    """Return one sentence for each combination, from where it was seen best."""
    best: dict[str, Source] = {}
    for key, where in found:
        if key not in best or where.level_db < best[key].level_db:
            best[key] = where
    return tuple(_sentence(key, where) for key, where in best.items())


def _sentence(key: str, where: Source) -> str:
    level = f"NEXT of {key} measured from the {where.seen_from} end fails"
    if where.is_spread:
        return f"{level} and is ragged over frequency, as many small sources along a cable make it."
    if where.position_m is not None:
        return (
            f"{level}; it comes from {where.position_m:.1f} m from the near end, "
            f"and would be {where.level_db:.1f} dB at 100 MHz alone."
        )
    return (
        f"{level}; over frequency it has the shape of one source at the {where.end} end, "
        f"which would be {where.level_db:.1f} dB at 100 MHz alone."
    )


def _connector(evidence: Evidence, end: End, found: Sequence[Found]) -> Fault:
    keys = list(dict.fromkeys(key for key, _ in found))
    code, why = _connector_code(evidence, end, keys, min(where.level_db for _, where in found))
    measured = any(where.position_m is not None for _, where in found)
    confidence = Confidence.LIKELY if measured else Confidence.POSSIBLE
    positions = [w for _, w in found if w.position_m is not None]
    place = evidence.at_end(end)
    if positions:
        sharpest = min(positions, key=lambda w: w.uncertainty_m or np.inf)
        place = Place(place.text, end, sharpest.position_m, None, sharpest.uncertainty_m)
    return Fault(code, confidence, _seen(found) + why, _pairs(keys), place)


def _connector_code(
    evidence: Evidence, end: End, keys: Sequence[str], level_db: float
) -> tuple[FaultCode, tuple[str, ...]]:
    pairs = _pairs(keys)
    more_db = _reflects_more_db(evidence, end, pairs)
    if more_db is not None and more_db >= REFLECTS_MORE_DB:
        why = f"The same pairs reflect {more_db:.0f} dB more at this end than the other pairs do."
        return FaultCode.UNTWISTED_PAIR, (why,)
    lower, raised = _lower_category(evidence), _all_raised(evidence, end, keys)
    if lower is not None and raised and level_db >= lower[1] - LEVEL_TOLERANCE_DB:
        why = (
            f"That is what a connector of {lower[0]} may have ({lower[1]:.0f} dB), the link meets the limits "
            f"of {lower[0]}, and the other pair combinations are raised at this end too."
        )
        return FaultCode.LOWER_CATEGORY_PART, (why,)
    return FaultCode.BAD_CONNECTOR, ()


def _lower_category(evidence: Evidence) -> tuple[str, float] | None:
    """Return the highest lower category that is met and has hardware of its own, with its NEXT. [dB]."""
    asked = HARDWARE_NEXT_DB.get(evidence.verdict.requirement.category)
    for result in reversed(evidence.verdict.categories):
        level = HARDWARE_NEXT_DB.get(result.category)
        if level is not None and asked is not None and level < asked and result.state is CategoryState.MET:
            return result.title, level
    return None


def _all_raised(evidence: Evidence, end: End, keys: Sequence[str]) -> bool:
    """Whether the other combinations too are above what hardware of the category asked for may have.

    A bad termination concerns the combinations of one pair; a lower category all of them.
    """
    asked = HARDWARE_NEXT_DB.get(evidence.verdict.requirement.category)
    levels = []
    for key in NEXT_COMBINATIONS:
        sweep = evidence.measurement.sweep(P.NEXT, end, key) if key not in keys else None
        if sweep is not None and evidence.is_sound(key):
            levels.append(level_at_100_mhz_db(sweep))
    if asked is None or not levels:
        return False
    return float(np.median(levels)) < asked - LEVEL_TOLERANCE_DB


def _reflects_more_db(evidence: Evidence, end: End, pairs: Sequence[str]) -> float | None:
    """Return how much more these pairs reflect than the others, over the upper part of the band. [dB]."""
    levels = {}
    for pair in evidence.sound:
        sweep = evidence.measurement.sweep(P.RETURN_LOSS, end, pair)
        if sweep is not None:
            upper = sweep.frequency_mhz >= FROM_SHARE_OF_TOP * sweep.frequency_mhz[-1]
            levels[pair] = float(-10 * np.log10(np.mean(10 ** (-sweep.value_db[upper] / 10))))
    inside = [level for pair, level in levels.items() if pair in pairs]
    outside = [level for pair, level in levels.items() if pair not in pairs]
    return float(np.mean(outside) - np.mean(inside)) if inside and outside else None


def _spots(found: list[Found]) -> list[list[Found]]:
    """Return what lies together along the cable."""
    groups: list[list[Found]] = []
    for item in sorted(found, key=lambda item: item[1].position_m or 0.0):
        last = groups[-1][-1][1].position_m if groups else None
        if last is not None and (item[1].position_m or 0.0) - last <= SAME_PLACE_M:
            groups[-1].append(item)
        else:
            groups.append([item])
    return groups


def _spot(evidence: Evidence, found: Sequence[Found]) -> Fault:
    sharpest = min((where for _, where in found), key=lambda w: w.uncertainty_m or np.inf)
    place = evidence.at_distance(sharpest.position_m or 0.0, sharpest.uncertainty_m or 0.0)
    keys = [key for key, _ in found]
    return Fault(FaultCode.DAMAGED_CABLE, Confidence.LIKELY, _seen(found), _pairs(keys), place)


def _cable(evidence: Evidence, found: Sequence[Found]) -> Fault:
    ends = {where.seen_from for _, where in found}
    confidence = Confidence.LIKELY if len(ends) == len(ENDS) else Confidence.POSSIBLE
    keys = [key for key, _ in found]
    return Fault(FaultCode.CROSSTALK_ALONG_CABLE, confidence, _seen(found), _pairs(keys))


def _far_end_alone(evidence: Evidence) -> Iterator[Fault]:
    keys = {k for end in ENDS for k in evidence.failing_keys(P.ACR_F, end)}
    keys |= {k for end in ENDS for k in evidence.failing_keys(P.PS_ACR_F, end)}
    sound = sorted(key for key in keys if evidence.is_sound(key))
    if sound:
        pairs = _pairs([key.replace(">", "-") for key in sound])
        why = (
            "ACR-F fails and NEXT does not. Where far-end crosstalk arises cannot be computed, "
            "as it takes the same time from everywhere."
        )
        yield Fault(FaultCode.LOWER_CATEGORY_PART, Confidence.POSSIBLE, (why,), pairs)
