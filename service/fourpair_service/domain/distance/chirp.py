"""The chirp z-transform, an alternative for even frequency steps and a constant velocity."""

from __future__ import annotations

import numpy as np

from fourpair_service.domain.measurement import ComplexArray


def chirp_z(value: ComplexArray, count: int, step: complex, start: complex) -> ComplexArray:
    """Return X_k = sum_n value_n start^-n step^(n k) for k = 0 .. count - 1.

    Bluestein's form n k = (n^2 + k^2 - (k - n)^2) / 2 makes it a convolution
    (Rabiner, Schafer and Rader, Bell System Technical Journal 48 (1969) 1249).

    Args:
        value: (n,) samples at even steps.
        count: how many points to compute.
        step: ratio between points; of modulus 1 for a spectrum.
        start: the first point of the z-plane.
    """
    n, k = np.arange(value.size), np.arange(count)
    lags = np.arange(1 - value.size, count)
    size = 1 << (value.size + count - 2).bit_length()
    chirp = np.fft.fft(_power(step, -(lags**2) / 2), size)
    signal = np.fft.fft(value * start ** -n.astype(np.float64) * _power(step, n**2 / 2), size)
    convolved = np.fft.ifft(chirp * signal)[value.size - 1 : value.size - 1 + count]
    return np.asarray(convolved * _power(step, k**2 / 2), dtype=np.complex128)


def _power(base: complex, exponent: np.typing.NDArray[np.float64]) -> ComplexArray:
    """Return the power on one branch, so that half exponents stay consistent."""
    return np.asarray(np.exp(exponent * np.log(complex(base))), dtype=np.complex128)
