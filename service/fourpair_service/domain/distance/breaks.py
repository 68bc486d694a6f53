"""A pair that is open or shorted, seen from both ends."""

from __future__ import annotations

from dataclasses import replace

from fourpair_service.domain.distance.events import open_or_short
from fourpair_service.domain.distance.line import Coefficients, LinePath
from fourpair_service.domain.measurement import Sweep


def path_to_break(near: Sweep | None, far: Sweep | None, path: LinePath) -> LinePath:
    """Return the path of a broken pair with the velocity that makes both ends see one break.

    A broken pair lets nothing through that would tell its own velocity, so the path is that of
    other pairs or nominal. But the two distances to one break add up to the length of the link,
    which tells it. Where they do not come near that, there are two breaks: the path stays.

    Args:
        near: complex return loss of the pair from the near end, ``None`` where not measured.
        far: the same from the far end.
        path: of a broken pair, see ``line.path_of_broken_pair``.

    Raises:
        InvalidMeasurementError: no complex values or too few points.
    """
    events = [open_or_short(sweep, path) for sweep in (near, far) if sweep is not None]
    seen = [event for event in events if event is not None]
    if len(seen) < 2:
        return path
    together_m = sum(event.position_m for event in seen)
    within_m = path.tolerance * path.length_m + sum(event.resolution_m for event in seen) / 2
    if together_m <= 0 or abs(together_m - path.length_m) > within_m:
        return path
    slower = together_m / path.length_m
    return replace(path, attenuation=_times(path.attenuation, slower), phase=_times(path.phase, slower))


def _times(coefficients: Coefficients, factor: float) -> Coefficients:
    a, b, c = (factor * each for each in coefficients)
    return a, b, c
