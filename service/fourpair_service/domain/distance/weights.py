"""Weights over an uneven frequency axis: quadrature, taper, and what they resolve."""

from __future__ import annotations

from typing import Final

import numpy as np

from fourpair_service.domain.errors import InvalidMeasurementError
from fourpair_service.domain.measurement import ComplexArray, FloatArray, Sweep

# One fixed taper for every distance: side lobes 44 dB down at a resolution that
# is still that of a Hann window (Harris, Proc. IEEE 66 (1978) 51, table 1).
KAISER_BETA: Final = 6.0
# Full width at half height of one event, in units of v/(2B): computed from the taper.
WIDTH_FACTOR: Final = 1.96
# Two ends and something between them.
FEWEST_POINTS: Final = 3


def complex_values(sweep: Sweep) -> ComplexArray:
    """Return the (n,) complex values of a sweep of at least three points.

    Raises:
        InvalidMeasurementError: it holds magnitudes only, or too few points.
    """
    if sweep.value_complex is None:
        raise InvalidMeasurementError(
            "", "a distance needs complex values; measure again with magnitude and phase, or do without it"
        )
    checked_axis(sweep)
    return sweep.value_complex


def checked_axis(sweep: Sweep) -> FloatArray:
    """Return the (n,) frequencies of a sweep of at least three points. [MHz].

    Raises:
        InvalidMeasurementError: too few points.
    """
    if sweep.frequency_mhz.size < FEWEST_POINTS:
        raise InvalidMeasurementError(
            "", f"a distance needs at least {FEWEST_POINTS} frequencies", int(sweep.frequency_mhz.size)
        )
    return sweep.frequency_mhz


def trapezoid_weights(axis: FloatArray) -> FloatArray:
    """Return (n,) trapezoid weights of an increasing axis, so that sum(w y) is the integral of y.

    >>> trapezoid_weights(np.array([0.0, 1.0, 3.0])).tolist()
    [0.5, 1.5, 1.0]
    """
    half = np.diff(axis) / 2
    return np.asarray(np.append(half, 0.0) + np.append(0.0, half), dtype=np.float64)


def kaiser(position: FloatArray) -> FloatArray:
    """Return the Kaiser taper at positions from -1 to 1, zero outside."""
    inside = np.sqrt(np.clip(1 - position**2, 0.0, None))
    return np.where(np.abs(position) <= 1, np.i0(KAISER_BETA * inside) / np.i0(KAISER_BETA), 0.0)


def band_weights(frequency_mhz: FloatArray) -> FloatArray:
    """Return (n,) quadrature times taper over the band, with sum 1."""
    first, last = frequency_mhz[0], frequency_mhz[-1]
    weight = trapezoid_weights(frequency_mhz) * kaiser(2 * (frequency_mhz - first) / (last - first) - 1)
    return np.asarray(weight / weight.sum(), dtype=np.float64)


def resolution_m(frequency_mhz: FloatArray, velocity_m_per_ns: float) -> float:
    """Return the full width at half height of one event. [m]."""
    band_ghz = float(frequency_mhz[-1] - frequency_mhz[0]) / 1000
    return WIDTH_FACTOR * velocity_m_per_ns / (2 * band_ghz)
