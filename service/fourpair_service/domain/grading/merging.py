"""One result for a parameter and end that was measured on several frequency axes.

Pairs may each be swept on an axis of their own; every axis has its own table and
so its own result.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import groupby

from fourpair_service.domain.grading.table import RowTable
from fourpair_service.domain.link import End
from fourpair_service.domain.parameters import TRAITS, Parameter, Sense
from fourpair_service.domain.verdict import ParameterResult, Point, worst

Place = tuple[Parameter, End | None]


def keys_of(tables: Sequence[RowTable]) -> Mapping[Place, frozenset[str]]:
    """Return which pairs or combinations each parameter and end has in all tables together."""
    found: dict[Place, frozenset[str]] = {}
    for group in (group for table in tables for group in table.groups):
        place = (group.parameter, group.end)
        found[place] = found.get(place, frozenset()) | frozenset(group.keys)
    return found


def merged(results: Sequence[ParameterResult]) -> list[ParameterResult]:
    """Return results in the order of the standards, one for each parameter and end."""
    order = list(TRAITS)
    ordered = sorted(results, key=lambda r: (order.index(r.parameter), r.end is End.FAR))
    places = groupby(ordered, key=lambda r: (r.parameter, r.end))
    return [_together(list(parts)) for _, parts in places]


def _margin(result: ParameterResult) -> float:
    point = result.worst_margin
    return float("inf") if point is None or point.margin is None else point.margin


def _together(parts: list[ParameterResult]) -> ParameterResult:
    """Return one result of several, with the provenance of the one that decides."""
    if len(parts) == 1:
        return parts[0]
    outcomes = [part.outcome for part in parts if part.outcome is not None]
    outcome = worst(outcomes) if outcomes else None
    decider = min((part for part in parts if part.outcome is outcome), key=_margin)
    nearest = min(parts, key=_margin)
    excuses = [part.excuse for part in parts if part.excuse is not None]
    return replace(
        decider,
        worst_margin=nearest.worst_margin,
        worst_value=_worst_value(parts),
        decisive=decider.decisive if decider is nearest else decider.decisive or decider.worst_margin,
        by_pair=_by_pair(parts),
        judged_points=sum(part.judged_points for part in parts),
        excuse=replace(excuses[0], points=sum(e.points for e in excuses)) if excuses else None,
        incomplete_because=tuple(dict.fromkeys(why for part in parts for why in part.incomplete_because)),
    )


def _worst_value(parts: list[ParameterResult]) -> Point | None:
    points = [part.worst_value for part in parts if part.worst_value is not None]
    sign = -1.0 if TRAITS[parts[0].parameter].sense is Sense.AT_MOST else 1.0
    return min(points, key=lambda point: sign * point.measured, default=None)


def _by_pair(parts: list[ParameterResult]) -> tuple[Point, ...]:
    keys = TRAITS[parts[0].parameter].keys
    points = (point for part in parts for point in part.by_pair)
    return tuple(sorted(points, key=lambda point: keys.index(point.pairs or "")))
