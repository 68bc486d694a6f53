"""Reflections or couplings against distance, with loss and dispersion undone.

D(x) = sum_n w_n S_n exp(2 x (alpha_n + j beta_n)), sum w_n = 1

with trapezoid times Kaiser weights w, so that stepped sweeps need no resampling.
What reflects or couples r at x gives D(x) = r averaged over the band. The gain
exp(2 x alpha) has a ceiling: behind it only noise would be raised. The taper is
the same at every distance.

Source of the principle: the bandpass transform of vector network analysers
(Oppenheim and Schafer, Discrete-Time Signal Processing), with the propagation
constant of the line in place of a constant velocity.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from fourpair_service.domain.distance.line import DB_PER_NEPER, LinePath
from fourpair_service.domain.distance.weights import band_weights, complex_values, resolution_m
from fourpair_service.domain.measurement import ComplexArray, FloatArray, Sweep

GAIN_CEILING_DB: Final = 40.0
CEILING_NP: Final = float(GAIN_CEILING_DB / DB_PER_NEPER)
# Grid points across the width of one event: the parabola through three of them finds the peak.
POINTS_PER_WIDTH: Final = 6


def path_resolution_m(frequency_mhz: FloatArray, path: LinePath) -> float:
    """Return the width of one event on a line. [m]."""
    middle_mhz = float(frequency_mhz[0] + frequency_mhz[-1]) / 2
    return resolution_m(frequency_mhz, path.velocity_m_per_ns(middle_mhz))


def distance_grid(frequency_mhz: FloatArray, path: LinePath) -> FloatArray:
    """Return an even grid from one width before the near end to one behind the far end. [m]."""
    width = path_resolution_m(frequency_mhz, path)
    count = int(np.ceil((path.length_m + 2 * width) / width * POINTS_PER_WIDTH)) + 1
    return np.linspace(-width, path.length_m + width, count)


def link_grid(frequency_mhz: FloatArray, path: LinePath) -> FloatArray:
    """Return an even grid as fine as ``distance_grid``, from the near end to the far end. [m]."""
    width = path_resolution_m(frequency_mhz, path)
    return np.linspace(0.0, path.length_m, int(np.ceil(path.length_m / width * POINTS_PER_WIDTH)) + 2)


def reflections(sweep: Sweep, path: LinePath, distance_m: FloatArray) -> ComplexArray:
    """Return D at (k,) even and increasing distances.

    Args:
        sweep: complex return loss or NEXT over (n,) frequencies.
        path: of the pair, or the mean of the two pairs for NEXT.
        distance_m: (k,) with equal steps, k >= 2. [m]

    Raises:
        InvalidMeasurementError: no complex values or too few points.
    """
    f = sweep.frequency_mhz
    weighted = band_weights(f) * complex_values(sweep)
    return ceiled_sum(weighted, path.attenuation_np_per_m(f), path.phase_rad_per_m(f), distance_m)


def ceiled_sum(
    weighted: ComplexArray, attenuation: FloatArray, phase: FloatArray, distance_m: FloatArray
) -> ComplexArray:
    """Return sum_n weighted_n exp(2 x (attenuation_n + j phase_n)) at (k,) even distances, gain ceiled.

    Args:
        weighted: (n,) values with their weights.
        attenuation: (n,). [Np/m]
        phase: (n,). [rad/m]
        distance_m: (k,) with equal steps, k >= 2. [m]
    """
    size = int(np.ceil(np.sqrt(distance_m.size)))
    start, offset = distance_m[0::size], distance_m[:size] - distance_m[0]
    blocks = _blocks(weighted, 2 * attenuation, 2 * phase, start, offset)
    return np.asarray(blocks.ravel()[: distance_m.size], dtype=np.complex128)


def _blocks(
    weighted: ComplexArray, gain: FloatArray, turn: FloatArray, start: FloatArray, offset: FloatArray
) -> ComplexArray:
    """Return D at ``start[b] + offset[o]`` as a (b, o) array.

    exp(start + offset) = exp(start) exp(offset): a recurrence in blocks, which
    makes one matrix product of what would be an exponential for each frequency
    and distance. A frequency whose gain reaches the ceiling inside a block, which
    happens once at most, is added by itself.
    """
    span = offset[-1]
    below = np.outer(start + span, gain) <= CEILING_NP
    above = np.outer(start, gain) > CEILING_NP
    # Where a mask is false the clip only keeps the unused product finite.
    raised = np.exp(np.minimum(np.outer(start, gain), CEILING_NP) + 1j * np.outer(start, turn)) * weighted
    rotate = np.exp(1j * np.outer(turn, offset))
    total = (raised * below) @ (rotate * np.exp(np.outer(gain, offset))) + (raised * above) @ rotate
    block, bin_ = np.nonzero(~below & ~above)
    crossing = start[block][:, None] + offset
    exponent = np.minimum(crossing * gain[bin_][:, None], CEILING_NP) + 1j * crossing * turn[bin_][:, None]
    np.add.at(total, block, weighted[bin_][:, None] * np.exp(exponent))
    return np.asarray(total, dtype=np.complex128)


def reflection_at(
    sweep: Sweep, path: LinePath, distance_m: FloatArray, gain_at_m: float | None = None
) -> ComplexArray:
    """Return D at a few distances of any spacing, by the definition. (k,).

    Args:
        sweep: complex return loss or NEXT over (n,) frequencies.
        path: of the pair, or the mean of the two pairs for NEXT.
        distance_m: (k,). [m]
        gain_at_m: hold the gain at that of one distance, as for finding a peak:
            a gain that grows with distance leans every peak outwards. [m]

    Raises:
        InvalidMeasurementError: no complex values or too few points.
    """
    f = sweep.frequency_mhz
    weighted = band_weights(f) * complex_values(sweep)
    gained = distance_m if gain_at_m is None else np.full(distance_m.shape, gain_at_m)
    gain = np.minimum(2 * np.outer(gained, path.attenuation_np_per_m(f)), CEILING_NP)
    turn = 2 * np.outer(distance_m, path.phase_rad_per_m(f))
    return np.asarray(np.exp(gain + 1j * turn) @ weighted, dtype=np.complex128)


def shown_share(frequency_mhz: FloatArray, path: LinePath, distance_m: FloatArray) -> FloatArray:
    """Return how much of a reflection D shows at (k,) distances: 1, less where the gain is at its ceiling."""
    loss = 2 * np.outer(distance_m, path.attenuation_np_per_m(frequency_mhz))
    return np.asarray(
        np.exp(np.minimum(CEILING_NP - loss, 0.0)) @ band_weights(frequency_mhz), dtype=np.float64
    )
