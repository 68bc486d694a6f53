"""What a link would be without one stretch of it, as an estimate.

A rectangular gate in distance is a convolution with a sinc in frequency. On an
uneven axis, with each row normalised by the weight that it has, that works
without resampling and without the usual roll-off at the ends of the band. Loss
and dispersion of the line up to the middle of the gate are undone before and put
back after. What is real in time is its own conjugate at negative frequencies
(Oppenheim and Schafer, Discrete-Time Signal Processing), so that the low end of
the band is no end. A sweep that starts higher than standards have it would leave
a hole there, and is gated from its positive frequencies alone.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Final

import numpy as np

from fourpair_service.domain.distance.line import LinePath
from fourpair_service.domain.distance.transform import CEILING_NP
from fourpair_service.domain.distance.weights import complex_values, kaiser, trapezoid_weights
from fourpair_service.domain.errors import InvalidMeasurementError
from fourpair_service.domain.measurement import ComplexArray, FloatArray, Sweep, loss_db

# Sweeps of links start here (TIA-568, ISO/IEC 11801).
LOW_END_MHZ: Final = 1.0


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
    kernel, turn = _kernel(path, f.tobytes(), round(to_m - from_m, 6)), path.phase_rad_per_m(f)
    if f[0] > LOW_END_MHZ:
        undone = np.exp(1j * turn * (from_m + to_m))
        turned = value * undone
    else:
        loss = path.attenuation_np_per_m(f) * max(from_m + to_m, 0.0)
        undone = np.exp(np.minimum(loss, CEILING_NP) + 1j * turn * (from_m + to_m))
        turned = np.append((value * undone)[::-1].conj(), value * undone)
    return np.asarray((kernel @ turned) / (kernel.sum(axis=1) * undone), dtype=np.complex128)


@lru_cache(maxsize=1)
def _kernel(path: LinePath, axis: bytes, width_m: float) -> FloatArray:
    """Return the weights of each measured frequency, after those of its negative if used, in each gated one.

    (n, 2n), or (n, n) where the sweep starts too high. The last is kept: both ends of a pair
    share it, whatever the place.
    """
    frequency_mhz = np.frombuffer(axis)
    beta = path.phase_rad_per_m(frequency_mhz)
    if frequency_mhz[0] > LOW_END_MHZ:
        from_mhz, from_beta = frequency_mhz, beta
    else:
        from_mhz, from_beta = (np.append(-side[::-1], side) for side in (frequency_mhz, beta))
    apart = (frequency_mhz[:, None] - from_mhz) / (frequency_mhz[-1] - frequency_mhz[0])
    sinc = np.sinc((beta[:, None] - from_beta) * width_m / np.pi)
    return np.asarray(sinc * kaiser(apart) * trapezoid_weights(from_beta), dtype=np.float64)
