"""Where two pairs couple into each other: NEXT sources and stretches of split pairs."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

import numpy as np

from fourpair_service.domain.distance.line import LinePath
from fourpair_service.domain.distance.modes import faster_by_m
from fourpair_service.domain.distance.transform import link_grid, path_resolution_m, reflections
from fourpair_service.domain.measurement import FloatArray, Sweep

# A split pair couples through the difference of two impedances, never so weakly.
# Own criterion, no published source.
SPLIT_THRESHOLD: Final = 0.08
# Half the widths around a place that count as that place. Own criterion, no published source.
PLACE_WIDTHS: Final = 0.75
# Along a split stretch one mode runs from pair to pair, with the insulation of the cable in
# between, and is faster by a few percent: its far end reads too near. Own estimate, no published source.
PHANTOM_SPREAD: Final = 0.05
# What is left of that where the beat of the two modes told by how much. Own estimate, from a line model.
CORRECTED_SPREAD: Final = 0.01


@dataclass(frozen=True, slots=True)
class Stretch:
    """A part of a link.

    Attributes:
        from_m, to_m: from the measured end. [m]
        uncertainty_m: of either: half the resolution, the tolerance of the path, and
            what the stretch itself is faster by. [m]
    """

    from_m: float
    to_m: float
    uncertainty_m: float

    @property
    def length_m(self) -> float:
        """From end to end. [m]."""
        return self.to_m - self.from_m


@dataclass(frozen=True, slots=True)
class Concentration:
    """How far the coupling, or reflection, of a link sits in one place.

    Attributes:
        position_m: of the strongest place, from the measured end. [m]
        uncertainty_m: half the resolution, plus the tolerance of the path. [m]
        share: of the power of D within 1.5 widths around it, 0 to 1.
        received_position_m: centre of the power as received, with its loss. [m]
    """

    position_m: float
    uncertainty_m: float
    share: float
    received_position_m: float


def coupling_reaches(next_sweep: Sweep, path: LinePath, threshold: float) -> bool:
    """Return whether NEXT, with loss undone, reaches ``threshold`` anywhere within the link.

    Args:
        next_sweep: complex NEXT of a combination.
        path: the mean of the two pairs.
        threshold: 0 to 1; ``SPLIT_THRESHOLD`` for split pairs.

    Raises:
        InvalidMeasurementError: no complex values or too few points.
    """
    return strong_stretch(next_sweep, path, threshold) is not None


def strong_stretch(sweep: Sweep, path: LinePath, threshold: float = SPLIT_THRESHOLD) -> Stretch | None:
    """Return from the first to the last place that couples as strongly as ``threshold``.

    An end of a split stretch shows as a peak. The stretch is taken from peak to
    peak, not between the flanks of the two; ends closer than the resolution are
    one peak and a stretch of no length. What went to and fro inside the stretch
    once more looks like another end, as far behind the last; it is left out.

    Raises:
        InvalidMeasurementError: no complex values or too few points.
    """
    grid, magnitude = _within(sweep, path)
    width = path_resolution_m(sweep.frequency_mhz, path)
    places = _peaks(magnitude, threshold)
    if not places:
        return None
    first, last = float(grid[places[0]]), float(grid[_last_end(grid, magnitude, places, width)])
    # Two causes that know nothing of each other.
    uncertainty = float(np.hypot(width / 2 + path.tolerance * last, PHANTOM_SPREAD * (last - first)))
    return Stretch(first, last, uncertainty)


def split_stretch(sweep: Sweep, path: LinePath, insertion_losses: Iterable[Sweep]) -> Stretch | None:
    """Return the stretch over which two pairs are split, as long as the velocity of both its modes makes it.

    Args:
        sweep: complex NEXT of the two pairs.
        path: of a sound pair of the link.
        insertion_losses: of the two pairs, where measured.

    Raises:
        InvalidMeasurementError: no complex values or too few points.
    """
    stretch = strong_stretch(sweep, path)
    if stretch is None:
        return None
    told = [faster_by_m(loss, path, stretch.length_m) for loss in insertion_losses]
    known = [by_m for by_m in told if by_m is not None]
    if not known:
        return stretch
    longer_m, width = float(np.mean(known)), path_resolution_m(sweep.frequency_mhz, path)
    to_m = stretch.to_m + longer_m
    spread_m = CORRECTED_SPREAD * (to_m - stretch.from_m)
    return Stretch(stretch.from_m, to_m, float(np.hypot(width / 2 + path.tolerance * to_m, spread_m)))


def _peaks(magnitude: FloatArray, threshold: float) -> list[int]:
    """Return where the magnitude peaks, at the ends of the grid too, as high as a threshold."""
    bounded = np.concatenate([[0.0], magnitude, [0.0]])
    tops = (magnitude > bounded[:-2]) & (magnitude >= bounded[2:]) & (magnitude >= threshold)
    return [int(top) for top in np.flatnonzero(tops)]


def _last_end(grid: FloatArray, magnitude: FloatArray, places: list[int], width: float) -> int:
    """Return the last place, or the second where all behind it are its echoes: as far apart and weaker."""
    if len(places) < 3:
        return places[-1]
    gaps, levels = np.diff(grid[places]), magnitude[places]
    echoes = (np.abs(gaps[1:] - gaps[0]) <= width) & (levels[2:] < levels[1:-1])
    return places[1] if echoes.all() else places[-1]


def concentration(sweep: Sweep, path: LinePath) -> Concentration:
    """Return where the coupling or reflection is strongest and how much of all it is.

    Raises:
        InvalidMeasurementError: no complex values or too few points.
    """
    grid, magnitude = _within(sweep, path)
    width = path_resolution_m(sweep.frequency_mhz, path)
    power = magnitude**2
    top = float(grid[power.argmax()])
    share = float(power[np.abs(grid - top) <= PLACE_WIDTHS * width].sum() / max(power.sum(), 1e-30))
    middle = (sweep.frequency_mhz[:1] + sweep.frequency_mhz[-1:]) / 2
    received = power * np.exp(-4 * path.attenuation_np_per_m(middle) * grid)
    centre = float((received * grid).sum() / max(received.sum(), 1e-30))
    return Concentration(top, width / 2 + path.tolerance * top, share, centre)


def _within(sweep: Sweep, path: LinePath) -> tuple[FloatArray, FloatArray]:
    """Return even distances from end to end of the link and the magnitude of D there."""
    grid = link_grid(sweep.frequency_mhz, path)
    return grid, np.asarray(np.abs(reflections(sweep, path, grid)), dtype=np.float64)
