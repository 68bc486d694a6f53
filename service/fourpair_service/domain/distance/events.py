"""Places along a link where something reflects or couples, and what it is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final

import numpy as np

from fourpair_service.domain.distance.line import LinePath
from fourpair_service.domain.distance.transform import (
    POINTS_PER_WIDTH,
    distance_grid,
    path_resolution_m,
    reflection_at,
    reflections,
    shown_share,
)
from fourpair_service.domain.link import End
from fourpair_service.domain.measurement import FloatArray, Sweep


class EventKind(StrEnum):
    """What reflects, as far as the phase of the reflection tells."""

    OPEN = "open"
    SHORT = "short"
    HIGHER_IMPEDANCE = "higher_impedance"
    LOWER_IMPEDANCE = "lower_impedance"
    SHUNT_CAPACITANCE = "shunt_capacitance"
    SERIES_INDUCTANCE = "series_inductance"


# By the nearest quarter turn of the phase: r = -jwCZ/2 of a shunt capacitance, jwL/2Z
# of a series inductance, R/2Z of a series resistance (Pozar, Microwave Engineering, ch. 4).
KIND_OF_QUARTER: Final = (
    EventKind.HIGHER_IMPEDANCE,
    EventKind.SERIES_INDUCTANCE,
    EventKind.LOWER_IMPEDANCE,
    EventKind.SHUNT_CAPACITANCE,
)
# Half of everything comes back: nothing in a link that works does that. Own criterion, no published source.
TOTAL_MAGNITUDE: Final = 0.5
TOTAL_OF_KIND: Final = {
    EventKind.HIGHER_IMPEDANCE: EventKind.OPEN,
    EventKind.LOWER_IMPEDANCE: EventKind.SHORT,
}
# What the gain ceiling hides is made up for, by 20 dB at most. Own criterion, no published source.
LEAST_SHOWN: Final = 0.1
# The taper's side lobes are 44 dB down; smaller peaks than 40 dB below the largest may be such.
SIDE_LOBE_RATIO: Final = 0.01
# Noise exceeds 4 times its own median once in 60 000 places (Rayleigh distribution: 2^-16);
# the median of the 16 widths around is itself uncertain by an eighth.
BACKGROUND_RATIO: Final = 4.5
BACKGROUND_WIDTHS: Final = 8
# A place that stands alone is sought with the loss left as it is, which raises no noise (as a matched
# filter weights by the signal); two close ones need the full gain, which parts them. Where they are
# 1.5 widths apart both find the same, on a line model.
ALONE_WIDTHS: Final = 1.5
# A step of impedance is up from one side and down from the other.
_SIGNS_THAT_SWAP: Final = frozenset({EventKind.HIGHER_IMPEDANCE, EventKind.LOWER_IMPEDANCE})


@dataclass(frozen=True, slots=True)
class Event:
    """One place that reflects or couples.

    Attributes:
        position_m: from the end that it was measured from, or from the near end when merged. [m]
        uncertainty_m: of the position: half the resolution, plus the tolerance of the path. [m]
        magnitude: averaged over the band, with loss undone; 1 is total.
        phase_deg: from -180 to 180, at the position. [degree]
        kind: from the phase; says nothing about coupling.
        seen_from: the ends that it was seen from, for merged events.
        resolution_m: the width within which two events are one. [m]
        tolerance: relative uncertainty of the path, hence of any distance along it.
    """

    position_m: float
    uncertainty_m: float
    magnitude: float
    phase_deg: float
    kind: EventKind
    seen_from: tuple[End, ...] = ()
    resolution_m: float = 0.0
    tolerance: float = 0.0


def find_events(sweep: Sweep, path: LinePath, threshold: float) -> tuple[Event, ...]:
    """Return the events of a return loss or NEXT sweep, nearest first.

    Nothing is returned from behind an open or short, nothing that does not stand
    out of what surrounds it, and nothing so much smaller than the largest peak
    that it may be its side lobe.

    Args:
        sweep: complex return loss of a pair or NEXT of a combination.
        path: of the pair, or the mean of the two pairs for NEXT.
        threshold: least magnitude, 0 to 1.

    Raises:
        InvalidMeasurementError: no complex values or too few points.
    """
    grid = distance_grid(sweep.frequency_mhz, path)
    magnitude = np.abs(reflections(sweep, path, grid))
    floor = np.maximum(SIDE_LOBE_RATIO * magnitude.max(), BACKGROUND_RATIO * _background(magnitude))
    places = _maxima(magnitude, floor)
    alone = _alone(grid[places], path_resolution_m(sweep.frequency_mhz, path))
    events = [_event(sweep, path, grid, at, is_alone=one) for at, one in zip(places, alone, strict=True)]
    return _until_total([event for event in events if event.magnitude >= threshold])


def _background(magnitude: FloatArray) -> FloatArray:
    """Return the median of what surrounds each grid point: noise, rough cable, raised side lobes."""
    reach = min(BACKGROUND_WIDTHS * POINTS_PER_WIDTH, (magnitude.size - 1) // 2)
    padded = np.pad(magnitude, reach, mode="reflect")
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1)
    return np.asarray(np.median(windows, axis=1), dtype=np.float64)


def _maxima(magnitude: FloatArray, floor: FloatArray) -> list[int]:
    inner = magnitude[1:-1]
    tops = (inner > magnitude[:-2]) & (inner >= magnitude[2:]) & (inner >= floor[1:-1])
    return [int(i) + 1 for i in np.flatnonzero(tops)]


def _alone(position_m: FloatArray, width_m: float) -> list[bool]:
    """Return for each of the increasing positions whether no other is within ``ALONE_WIDTHS``."""
    free = np.diff(position_m, prepend=-np.inf, append=np.inf) > ALONE_WIDTHS * width_m
    return [bool(one) for one in free[:-1] & free[1:]]


def _event(sweep: Sweep, path: LinePath, grid: FloatArray, at: int, *, is_alone: bool) -> Event:
    f = sweep.frequency_mhz
    position = float(grid[at])
    step = float(grid[1] - grid[0])
    for narrower in (1.0, 0.1):
        gain_at_m = 0.0 if is_alone else position
        position = _parabola_top(sweep, path, position, step * narrower, gain_at_m)
    here = np.array([position])
    value = complex(reflection_at(sweep, path, here)[0])
    shown = max(float(shown_share(f, path, here)[0]), LEAST_SHOWN)
    # A path with more loss than the line would make more of a reflection than there can be.
    magnitude, phase_deg = min(abs(value) / shown, 1.0), float(np.angle(value, deg=True))
    width, kind = path_resolution_m(f, path), kind_of(magnitude, phase_deg)
    uncertainty = uncertainty_m(position, width, path.tolerance)
    return Event(position, uncertainty, magnitude, phase_deg, kind, (), width, path.tolerance)


def uncertainty_m(position_m: float, resolution_m: float, tolerance: float) -> float:
    """Return the uncertainty of a distance from an end: half the resolution, plus the path's. [m].

    >>> uncertainty_m(40.0, 0.8, 0.03)
    1.6
    """
    return resolution_m / 2 + tolerance * abs(position_m)


def _parabola_top(sweep: Sweep, path: LinePath, position_m: float, step_m: float, gain_at_m: float) -> float:
    """Return where the parabola through three magnitudes around a position is highest."""
    three = position_m + step_m * np.array([-1.0, 0.0, 1.0])
    left, top, right = np.abs(reflection_at(sweep, path, three, gain_at_m=gain_at_m))
    bend = left - 2 * top + right
    shift = 0.5 * (left - right) / bend if bend < 0 else 0.0
    return float(position_m + step_m * np.clip(shift, -1.0, 1.0))


def kind_of(magnitude: float, phase_deg: float) -> EventKind:
    """Return what reflects with this magnitude and phase.

    >>> kind_of(0.02, -85.0).value, kind_of(0.98, 4.0).value
    ('shunt_capacitance', 'open')
    """
    kind = KIND_OF_QUARTER[round(phase_deg / 90) % 4]
    return TOTAL_OF_KIND.get(kind, kind) if magnitude >= TOTAL_MAGNITUDE else kind


def _until_total(events: list[Event]) -> tuple[Event, ...]:
    for i, event in enumerate(events):
        if event.kind in TOTAL_OF_KIND.values():
            return tuple(events[: i + 1])
    return tuple(events)


def open_or_short(sweep: Sweep, path: LinePath) -> Event | None:
    """Return where a pair is open or shorted, ``None`` where it is not.

    Args:
        sweep: complex return loss of the pair.
        path: of a broken pair: nominal, or the mean of the good pairs.

    Raises:
        InvalidMeasurementError: no complex values or too few points.
    """
    events = find_events(sweep, path, TOTAL_MAGNITUDE)
    return events[-1] if events and events[-1].kind in TOTAL_OF_KIND.values() else None


def merge_ends(near: Sequence[Event], far: Sequence[Event], length_m: float) -> tuple[Event, ...]:
    """Return what was seen from both ends as one list from the near end.

    Two events are one place when they are closer than half the two resolutions;
    the tolerance of the path does not come in, since both ends share it. Each far
    event is used once, for the nearest. Position is the mean weighted by
    resolution; magnitude and kind are those seen from the end that is nearer,
    which had less loss to undo. ``stated`` says it from that end.

    Args:
        near: as ``find_events`` returned them from the near end.
        far: the same from the far end, positions counted from there.
        length_m: of the path that both were found on. [m]
    """
    left = [_from_near(event, length_m) for event in far]
    merged = []
    for event in near:
        mate = min(left, key=lambda e: abs(e.position_m - event.position_m), default=None)
        if mate is not None and _same_place(event, mate):
            left.remove(mate)
            merged.append(_one(event, mate, length_m))
        else:
            merged.append(replace(event, seen_from=(End.NEAR,)))
    return tuple(sorted([*merged, *left], key=lambda e: e.position_m))


def _from_near(event: Event, length_m: float) -> Event:
    position = length_m - event.position_m
    uncertainty = uncertainty_m(position, event.resolution_m, event.tolerance)
    return replace(event, position_m=position, uncertainty_m=uncertainty, seen_from=(End.FAR,))


def _same_place(first: Event, second: Event) -> bool:
    """Whether two events can be one: a step of impedance is seen with opposite signs from its two sides."""
    apart = abs(first.position_m - second.position_m)
    alike = first.kind is second.kind or {first.kind, second.kind} == _SIGNS_THAT_SWAP
    return alike and apart <= (first.resolution_m + second.resolution_m) / 2


def _one(near: Event, far: Event, length_m: float) -> Event:
    widths = np.array([near.resolution_m, far.resolution_m])
    position = float(np.average([near.position_m, far.position_m], weights=widths**-2.0))
    shown = near if position <= length_m / 2 else far
    width, tolerance = float(widths.min()), max(near.tolerance, far.tolerance)
    return replace(
        shown,
        position_m=position,
        uncertainty_m=uncertainty_m(position, width, tolerance),
        seen_from=(End.NEAR, End.FAR),
        resolution_m=width,
        tolerance=tolerance,
    )


@dataclass(frozen=True, slots=True)
class Place:
    """Where an event is, as one would measure along the cable to get there.

    Attributes:
        end: from which to measure, the nearer one.
        position_m: from that end. [m]
        uncertainty_m: half the resolution, plus the tolerance of the path over this distance. [m]
    """

    end: End
    position_m: float
    uncertainty_m: float


def stated(event: Event, length_m: float) -> Place:
    """Return the place of a merged event from the end that it is nearer to.

    An unknown velocity moves every position in proportion to its distance, so
    a place near the far end is surest when told from there.

    Args:
        event: with its position from the near end.
        length_m: of the path that it was found on. [m]
    """
    near_by = event.position_m <= length_m / 2
    end, position = (End.NEAR, event.position_m) if near_by else (End.FAR, length_m - event.position_m)
    return Place(end, position, uncertainty_m(position, event.resolution_m, event.tolerance))
