"""Defects that repeat along a cable: windings of a coil, ties, a machine that took a turn.

Bumps at a pitch p add up at f_k = k v/(2p) (Bragg condition) and show as narrow
spikes of the return loss there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from fourpair_service.domain.distance.line import LinePath
from fourpair_service.domain.distance.transform import distance_grid, reflections
from fourpair_service.domain.distance.weights import trapezoid_weights
from fourpair_service.domain.measurement import FloatArray, Sweep

# Own criteria, no published source: the average is wide enough to level the ripple between
# the two ends of a link, the floor wide enough to be that of the cable and not of the spike.
AVERAGE_MHZ: Final = 1.2
FLOOR_MHZ: Final = 15.0
AXIS_MHZ: Final = 0.25
SPIKE_DB: Final = 5.0
WIDEST_MHZ: Final = 9.0
LOWEST_MHZ: Final = 5.0
# A stretch is searched in the band around its strongest spike, and ends where it is half as strong.
BAND_MHZ: Final = 12.0
# Largest departure from a whole number, and how many orders may be missing below the first spike.
WHOLE_TOLERANCE: Final = 0.04
LARGEST_DIVISOR: Final = 4


@dataclass(frozen=True, slots=True)
class Spike:
    """A narrow peak of the reflected power.

    Attributes:
        frequency_mhz: of its top. [MHz]
        above_floor_db: over the floor there. [dB]
    """

    frequency_mhz: float
    above_floor_db: float


@dataclass(frozen=True, slots=True)
class PeriodicDefect:
    """Bumps at equal distances.

    Attributes:
        pitch_m: between bumps, or a whole fraction of it where the first order
            lies outside the band or below the floor. [m]
        from_m, to_m: the stretch that has them, from the measured end. [m]
        spikes: what it was read from, lowest frequency first.
    """

    pitch_m: float
    from_m: float
    to_m: float
    spikes: tuple[Spike, ...]


def find_periodic(return_loss: Sweep, path: LinePath) -> PeriodicDefect | None:
    """Return the periodic defect of a link, ``None`` where there is none.

    Args:
        return_loss: complex return loss of a pair.
        path: of the pair.

    Raises:
        InvalidMeasurementError: no complex values or too few points.
    """
    spikes = find_spikes(return_loss)
    if not spikes:
        return None
    strongest = max(spikes, key=lambda s: s.above_floor_db)
    start, end = _extent(return_loss, path, strongest.frequency_mhz)
    order, beta = _orders([s.frequency_mhz for s in spikes], path)
    pitch = float(np.pi * (order @ order) / (order @ beta))
    return PeriodicDefect(pitch, start, end, spikes) if end - start >= 2 * pitch else None


def find_spikes(return_loss: Sweep) -> tuple[Spike, ...]:
    """Return the spikes of a return loss, for which magnitudes are enough."""
    f = return_loss.frequency_mhz
    axis = np.arange(f[0], f[-1] + AXIS_MHZ / 2, AXIS_MHZ)
    over_db = 10 * np.log10(_averaged(f, 10 ** (-return_loss.value_db / 10), axis))
    over_db -= _floor(over_db)
    spikes = []
    for run in _runs(over_db > SPIKE_DB):
        top = int(run[over_db[run].argmax()])
        if axis[top] > LOWEST_MHZ and axis[run[-1]] - axis[run[0]] < WIDEST_MHZ:
            spikes.append(Spike(float(axis[top]), float(over_db[top])))
    return tuple(spikes)


def _averaged(frequency_mhz: FloatArray, power: FloatArray, axis: FloatArray) -> FloatArray:
    """Return the mean power within ``AVERAGE_MHZ`` of each point of an axis."""
    steps = np.diff(frequency_mhz)
    integral = np.append(0.0, np.cumsum(steps * (power[1:] + power[:-1]) / 2))
    low = np.maximum(axis - AVERAGE_MHZ, frequency_mhz[0])
    high = np.minimum(axis + AVERAGE_MHZ, frequency_mhz[-1])
    inside = np.interp(high, frequency_mhz, integral) - np.interp(low, frequency_mhz, integral)
    return np.asarray(np.maximum(inside / (high - low), 1e-20), dtype=np.float64)


def _floor(level_db: FloatArray) -> FloatArray:
    reach = int(FLOOR_MHZ / AXIS_MHZ)
    padded = np.pad(level_db, reach, constant_values=np.nan)
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1)
    return np.asarray(np.nanmedian(windows, axis=1), dtype=np.float64)


def _runs(flags: np.typing.NDArray[np.bool_]) -> list[np.typing.NDArray[np.intp]]:
    at = np.flatnonzero(flags)
    return [run for run in np.split(at, np.flatnonzero(np.diff(at) > 1) + 1) if run.size]


def _orders(frequency_mhz: Sequence[float], path: LinePath) -> tuple[FloatArray, FloatArray]:
    """Return the order of each spike that fits one pitch, and its phase lag. [rad/m].

    The largest spacing that divides all of them is taken; where none does, the
    first spike is taken as first order by itself.
    """
    beta = path.phase_rad_per_m(np.array(frequency_mhz))
    for divisor in range(1, LARGEST_DIVISOR + 1):
        ratio = beta / beta[0] * divisor
        if bool(np.all(np.abs(ratio - np.round(ratio)) <= WHOLE_TOLERANCE * divisor)):
            return np.round(ratio), beta
    return np.ones(1), beta[:1]


def _extent(return_loss: Sweep, path: LinePath, frequency_mhz: float) -> tuple[float, float]:
    """Return where the band around a spike reflects at least half as strongly as anywhere."""
    f = return_loss.frequency_mhz
    band = np.abs(f - frequency_mhz) <= BAND_MHZ
    value = None if return_loss.value_complex is None else return_loss.value_complex[band]
    narrow = Sweep(f[band], return_loss.value_db[band], value)
    grid = distance_grid(f, path)
    magnitude = np.abs(reflections(narrow, path, grid))
    inside = (grid >= 0) & (grid <= path.length_m)
    grid, magnitude = grid[inside], magnitude[inside]
    strong = grid[magnitude >= magnitude.max() / 2]
    return float(strong[0]), float(strong[-1])
