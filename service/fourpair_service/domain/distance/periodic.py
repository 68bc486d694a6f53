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
from fourpair_service.domain.distance.transform import link_grid, reflections
from fourpair_service.domain.distance.weights import checked_axis
from fourpair_service.domain.measurement import FloatArray, Sweep

# Own criteria, no published source: the average is wide enough to level the ripple between
# the two ends of a link, the floor wide enough to be that of the cable and not of the spike,
# which loss makes 17 MHz wide at 350 MHz.
AVERAGE_MHZ: Final = 1.2
FLOOR_MHZ: Final = 30.0
AXIS_MHZ: Final = 0.25
SPIKE_DB: Final = 5.0
WIDEST_MHZ: Final = 9.0
WIDTH_BELOW_TOP_DB: Final = 3.0
LOWEST_MHZ: Final = 5.0
# How often the random roughness of a cable makes a spike as high: one alone must be rarer than
# one with a second order. As deviations of a normal distribution; by simulation 1 in 3700 to 1 in
# 320 places alone and 1 in 350 to 1 in 90 with a second, from 20 to 200 MHz on 90 m.
CHANCE_ALONE: Final = 4.0
CHANCE_WITH_SECOND: Final = 3.09
# A stretch is searched in the band around its strongest spike, and ends where it is half as strong.
BAND_MHZ: Final = 12.0
# Largest relative departure from a whole multiple.
WHOLE_TOLERANCE: Final = 0.025
# Higher orders than this fit any pitch within the tolerance.
HIGHEST_ORDER: Final = 6


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
    comb, order, beta = _comb(spikes, strongest, path)
    if strongest.above_floor_db < chance_db(strongest.frequency_mhz, path, alone=2.0 not in order):
        return None
    start, end = _extent(return_loss, path, strongest.frequency_mhz)
    pitch = float(np.pi * (order @ order) / (order @ beta))
    return PeriodicDefect(pitch, start, end, comb) if end - start >= 2 * pitch else None


def chance_db(frequency_mhz: float, path: LinePath, *, alone: bool) -> float:
    """Return how far over its floor the averaged power of a rough cable comes by chance. [dB].

    It has the chi-square distribution with two degrees for each independent
    value in the average: one for each v/(2 x effective length), which is that
    from which half of what is reflected returns (quantiles: Wilson and Hilferty,
    Proc. Natl. Acad. Sci. 17 (1931) 684). The floor is the median of as many such
    averages as its window holds, with a variance pi/2 over their number.
    """
    loss = 4 * max(float(path.attenuation_np_per_m(np.array([frequency_mhz]))[0]), 1e-9)
    effective_m = (1 - np.exp(-loss * path.length_m)) / loss
    cell_mhz = 1000 * path.velocity_m_per_ns(frequency_mhz) / (2 * effective_m)
    spread = 2 / 9 / (2 * (1 + 2 * AVERAGE_MHZ / cell_mhz))
    floor_spread = spread * np.pi / 2 * max(cell_mhz, 2 * AVERAGE_MHZ) / (2 * FLOOR_MHZ)
    deviations = CHANCE_ALONE if alone else CHANCE_WITH_SECOND
    return float(30 * np.log10(1 + deviations * np.sqrt(spread + floor_spread) / (1 - spread)))


def find_spikes(return_loss: Sweep) -> tuple[Spike, ...]:
    """Return the spikes of a return loss, for which magnitudes are enough.

    Raises:
        InvalidMeasurementError: too few points.
    """
    f = checked_axis(return_loss)
    axis = np.arange(f[0], f[-1] + AXIS_MHZ / 2, AXIS_MHZ)
    over_db = 10 * np.log10(_averaged(f, 10 ** (-return_loss.value_db / 10), axis))
    over_db -= _floor(over_db)
    spikes = []
    for run in _runs(over_db > SPIKE_DB):
        top = int(run[over_db[run].argmax()])
        width = AXIS_MHZ * np.count_nonzero(over_db[run] > over_db[top] - WIDTH_BELOW_TOP_DB)
        if axis[top] > LOWEST_MHZ and width < WIDEST_MHZ and run[-1] < axis.size - 1:
            spikes.append(Spike(float(axis[top]), float(over_db[top])))
    # Between two strong spikes the reflections of a clean cable have side lobes.
    least = max((s.above_floor_db for s in spikes), default=0.0) / 2
    return tuple(s for s in spikes if s.above_floor_db >= least)


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


def _comb(
    spikes: Sequence[Spike], strongest: Spike, path: LinePath
) -> tuple[tuple[Spike, ...], FloatArray, FloatArray]:
    """Return the spikes of one pitch with the order and phase lag of each. [rad/m].

    First order is the lowest spike that the strongest is a multiple of, which
    may be the strongest itself; other spikes come from other places.
    """
    beta = path.phase_rad_per_m(np.array([s.frequency_mhz for s in spikes]))
    ratio = beta[spikes.index(strongest)] / beta
    first = beta[int(np.argmax(_is_whole(ratio)))]
    chosen = _is_whole(beta / first)
    comb = tuple(s for s, fits in zip(spikes, chosen, strict=True) if fits)
    return comb, np.round(beta[chosen] / first), beta[chosen]


def _is_whole(ratio: FloatArray) -> np.typing.NDArray[np.bool_]:
    order = np.clip(np.round(ratio), 1, HIGHEST_ORDER)
    return np.asarray(np.abs(ratio - order) <= WHOLE_TOLERANCE * order)


def _extent(return_loss: Sweep, path: LinePath, frequency_mhz: float) -> tuple[float, float]:
    """Return where the band around a spike reflects at least half as strongly as anywhere."""
    f = return_loss.frequency_mhz
    band = np.abs(f - frequency_mhz) <= BAND_MHZ
    value = None if return_loss.value_complex is None else return_loss.value_complex[band]
    narrow = Sweep(f[band], return_loss.value_db[band], value)
    grid = link_grid(f, path)
    magnitude = np.abs(reflections(narrow, path, grid))
    strong = grid[magnitude >= magnitude.max() / 2]
    return float(strong[0]), float(strong[-1])
