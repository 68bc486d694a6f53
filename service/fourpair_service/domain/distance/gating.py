"""What a link would be without one stretch of it, as an estimate.

A rectangular gate in distance is a convolution with a sinc in frequency. On an
uneven axis, with each row normalised by the weight that it has, that works
without resampling and without the usual roll-off at the ends of the band. The
dispersion of the line up to the middle of the gate is undone before and put back
after.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from fourpair_service.domain.distance.line import LinePath
from fourpair_service.domain.distance.weights import complex_values, kaiser, trapezoid_weights
from fourpair_service.domain.errors import InvalidMeasurementError
from fourpair_service.domain.measurement import ComplexArray, FloatArray, Sweep, loss_db


def only(sweep: Sweep, path: LinePath, from_m: float, to_m: float) -> Sweep:
    """Return what comes from one stretch of a link alone.

    Args:
        sweep: complex return loss of a pair, or NEXT of a combination.
        path: of the pair, or the mean of the two pairs for NEXT.
        from_m, to_m: of the stretch, from the measured end. [m]

    Raises:
        InvalidMeasurementError: no complex values, too few points, an empty stretch.
    """
    value = _gated(sweep, path, from_m, to_m)
    return Sweep(sweep.frequency_mhz, loss_db(value), value)


def without(sweep: Sweep, path: LinePath, from_m: float, to_m: float) -> Sweep:
    """Return what is left when one stretch of a link neither reflects nor couples.

    Args and errors are those of ``only``; the two add up to what was measured.
    """
    value = complex_values(sweep) - _gated(sweep, path, from_m, to_m)
    return Sweep(sweep.frequency_mhz, loss_db(value), value)


def _gated(sweep: Sweep, path: LinePath, from_m: float, to_m: float) -> ComplexArray:
    value = complex_values(sweep)
    if not to_m > from_m:
        raise InvalidMeasurementError("", f"a stretch ends behind its start, not at {to_m} m", from_m)
    f = sweep.frequency_mhz
    beta = path.phase_rad_per_m(f)
    kernel = _kernel(path, f.tobytes(), round(to_m - from_m, 6))
    turn = np.exp(1j * beta * (from_m + to_m))
    return np.asarray((kernel @ (value * turn)) / (kernel.sum(axis=1) * turn), dtype=np.complex128)


@lru_cache(maxsize=1)
def _kernel(path: LinePath, axis: bytes, width_m: float) -> FloatArray:
    """Return the (n, n) weights of each measured frequency in each gated one.

    The last is kept: both ends of a pair share it, whatever the place.
    """
    frequency_mhz = np.frombuffer(axis)
    beta = path.phase_rad_per_m(frequency_mhz)
    apart = beta[:, None] - beta
    band = frequency_mhz[-1] - frequency_mhz[0]
    taper = kaiser((frequency_mhz[:, None] - frequency_mhz) / band)
    return np.asarray(np.sinc(apart * width_m / np.pi) * taper * trapezoid_weights(beta), dtype=np.float64)
