"""Impedance along a line from its return loss, with the loss of the line undone."""

from __future__ import annotations

import numpy as np

from fourpair_service.domain.distance.line import LinePath
from fourpair_service.domain.distance.transform import ceiled_sum, path_resolution_m
from fourpair_service.domain.distance.weights import complex_values, kaiser, trapezoid_weights
from fourpair_service.domain.measurement import ComplexArray, FloatArray, Sweep

PORT_OHM = 100.0
# Steps of the integral across the width of one event.
STEPS_PER_WIDTH = 8


def impedance_profile(
    return_loss: Sweep, path: LinePath, distance_m: FloatArray, port_ohm: float = PORT_OHM
) -> FloatArray:
    """Return the impedance at (k,) distances of a line that is terminated in ``port_ohm``. [ohm].

    rho'(x) = (2/pi) Re int S exp(2 gamma x) d beta and Z(x) = Zinf exp(2 int rho' dx),
    where S is referred to the line's own impedance. Multiple reflections are
    neglected (first-order inversion: Schuster, Proc. IEEE 57 (1969) 1). What lies
    below the first frequency is not known, so the profile drifts: by up to 4 % at
    half the link and 15 % at its far end. ``impedance_from_both_ends`` avoids that.

    Args:
        return_loss: complex, against ``port_ohm``.
        path: of the pair.
        distance_m: (k,) of any order. [m]
        port_ohm: of the measuring port, and the load at the far end. [ohm]

    Raises:
        InvalidMeasurementError: no complex values or too few points.
    """
    f = return_loss.frequency_mhz
    own_ohm, value = _to_own_impedance(f, complex_values(return_loss), path, port_ohm)
    f, value = _down_to_zero(f, value, (port_ohm - own_ohm) / (port_ohm + own_ohm), path)
    beta = path.phase_rad_per_m(f)
    weighted = 2 / np.pi * trapezoid_weights(beta) * kaiser(f / f[-1]) * value
    width = path_resolution_m(f, path)
    furthest = max(float(distance_m.max()), 0.0) + width
    grid = np.linspace(-width, furthest, int((furthest + width) / width * STEPS_PER_WIDTH) + 2)
    slope = ceiled_sum(weighted, path.attenuation_np_per_m(f), beta, grid).real
    step = grid[1] - grid[0]
    steps = np.append(0.0, np.cumsum((slope[1:] + slope[:-1]) / 2 * step))
    return np.asarray(own_ohm * np.exp(2 * np.interp(distance_m, grid, steps)), dtype=np.float64)


def impedance_from_both_ends(
    near: Sweep, far: Sweep, path: LinePath, distance_m: FloatArray, port_ohm: float = PORT_OHM
) -> FloatArray:
    """Return the impedance at (k,) distances from the near end, each half seen from its own end. [ohm].

    Args:
        near: complex return loss at the near end.
        far: the same at the far end.
        path: of the pair.
        distance_m: (k,) from the near end, of any order. [m]
        port_ohm: of the measuring ports. [ohm]

    Raises:
        InvalidMeasurementError: no complex values or too few points.
    """
    from_near = impedance_profile(near, path, distance_m, port_ohm)
    from_far = impedance_profile(far, path, path.length_m - distance_m, port_ohm)
    return np.where(distance_m <= path.length_m / 2, from_near, from_far)


def _to_own_impedance(
    frequency_mhz: FloatArray, value: ComplexArray, path: LinePath, port_ohm: float
) -> tuple[float, ComplexArray]:
    """Return the line's impedance at high frequency and S referred to its impedance at each.

    Skin effect adds to it: Zc = Zinf (1 + (1 - j) alpha / beta), with the part of
    alpha that goes with sqrt(f). Left in, it would drown the profile.
    """
    beta = path.phase_rad_per_m(frequency_mhz)
    skin = 1 + (1 - 1j) * max(path.attenuation[0], 0.0) * np.sqrt(frequency_mhz) / beta
    seen = port_ohm * (1 + value) / np.where(value == 1, np.finfo(float).eps, 1 - value)
    own_ohm = float(np.median((seen / skin).real))
    step = (own_ohm * skin - port_ohm) / (own_ohm * skin + port_ohm)
    return own_ohm, np.asarray((value - step) / (1 - value * step), dtype=np.complex128)


def _down_to_zero(
    frequency_mhz: FloatArray, value: ComplexArray, at_load: float, path: LinePath
) -> tuple[FloatArray, ComplexArray]:
    """Return the sweep continued to 0 Hz in its first step.

    There a lossless line shows its load, whose echo turns by most of a turn below
    1 MHz already on a long link; the rest goes to zero along a straight line.
    """
    first, step = frequency_mhz[0], frequency_mhz[1] - frequency_mhz[0]
    below = np.linspace(0.0, first, max(int(np.ceil(first / step)), 1), endpoint=False)
    axis = np.append(below, first)
    gamma = path.attenuation_np_per_m(axis) + 1j * path.phase_rad_per_m(axis)
    echo = at_load * np.exp(-2 * gamma * path.length_m)
    ramp = echo[:-1] + (value[0] - echo[-1]) * below / first
    return np.append(below, frequency_mhz), np.append(ramp, value)
