"""Delay of a pair from its complex transmission.

Unwrapping a phase needs less than half a turn between two points. 100 m of cable
turn a phase by half a turn each 1 MHz, so the bulk of the delay is taken off
before unwrapping and put back behind it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

import numpy as np

from fourpair_service.domain.errors import InvalidMeasurementError
from fourpair_service.domain.measurement import ComplexArray, FloatArray

# Three coefficients and something left to judge them by.
FEWEST_POINTS: Final = 5
# A phase that scatters more than this about a smooth line is noise. [rad]
LARGEST_SCATTER_RAD: Final = 0.5
# A transmission this far below the strongest one (40 dB) says nothing of the delay.
SMALLEST_SHARE: Final = 0.01
# Beyond 1 km of cable, or this close to the end of the unambiguous range, a delay
# is taken for a small negative one: noise on a cord of no length at all.
LONGEST_DELAY_US: Final = 5.0
LARGEST_NEGATIVE_DELAY_US: Final = 0.002


@dataclass(frozen=True, slots=True)
class DelayAt:
    """A delay and the frequency at which it holds. [ns], [MHz]."""

    delay_ns: float
    frequency_mhz: float


def phase_lag_rad(frequency_mhz: FloatArray, transmission: ComplexArray) -> FloatArray:
    """Return the phase lag of a pair, counted from 0 Hz where it vanishes.

    The multiple of half a turn is the one that brings a fit of a constant,
    sqrt(f) and f to zero at 0 Hz: whole turns are lost in unwrapping, and half a
    turn is a pair with its conductors exchanged, which is no delay.

    Args:
        frequency_mhz: (n,) strictly increasing, above 0, n >= 5. [MHz]
        transmission: (n,) S21 in the convention exp(+jwt).

    Returns:
        (n,) positive for a delay. [rad]

    Raises:
        InvalidMeasurementError: too few points, no transmission, a phase that is
            noise, or a sweep that starts too high to count the turns from 0 Hz.
    """
    if frequency_mhz.size < FEWEST_POINTS:
        raise InvalidMeasurementError(
            "", f"a delay needs at least {FEWEST_POINTS} frequencies", frequency_mhz.size
        )
    if not np.abs(transmission).max() > 0:
        raise InvalidMeasurementError("", "no delay: nothing comes through")
    bulk = 2 * np.pi * frequency_mhz * _bulk_delay_us(frequency_mhz, transmission)
    lag = bulk - np.unwrap(np.angle(transmission * np.exp(1j * bulk)))
    return np.asarray(lag - np.pi * _half_turns(frequency_mhz, lag, np.abs(transmission)), dtype=np.float64)


def phase_delay_ns(frequency_mhz: FloatArray, transmission: ComplexArray) -> FloatArray:
    """Return the phase delay, which the standards judge, at (n,) frequencies. [ns].

    Raises:
        InvalidMeasurementError: see ``phase_lag_rad``.
    """
    return phase_lag_rad(frequency_mhz, transmission) / (2 * np.pi * frequency_mhz) * 1e3


def group_delay_ns(frequency_mhz: FloatArray, transmission: ComplexArray) -> FloatArray:
    """Return the group delay, the slope of the phase lag, at (n,) frequencies. [ns].

    Raises:
        InvalidMeasurementError: see ``phase_lag_rad``.
    """
    lag = phase_lag_rad(frequency_mhz, transmission)
    return np.asarray(np.gradient(lag, 2 * np.pi * frequency_mhz) * 1e3, dtype=np.float64)


def delay_at(frequency_mhz: FloatArray, transmission: ComplexArray, at_mhz: float) -> DelayAt:
    """Return the phase delay at the measured frequency that is nearest to ``at_mhz``.

    Raises:
        InvalidMeasurementError: see ``phase_lag_rad``.
    """
    nearest = int(np.argmin(np.abs(frequency_mhz - at_mhz)))
    delay = float(phase_delay_ns(frequency_mhz, transmission)[nearest])
    return DelayAt(delay, round(float(frequency_mhz[nearest]), 6))


def skew_ns(delays_ns: Iterable[float]) -> float:
    """Return the delay skew of a link, from the delays of its pairs at one frequency. [ns].

    >>> skew_ns([490.0, 495.5, 488.0])
    7.5
    """
    delays = list(delays_ns)
    return max(delays) - min(delays)


def _bulk_delay_us(frequency_mhz: FloatArray, transmission: ComplexArray) -> float:
    """Return the delay that the phase differences of neighbours have in common. [us].

    The finest steps settle it up to one over the step; wider steps, twice as
    wide each time, make it more exact.
    """
    step = np.diff(frequency_mhz)
    turn = transmission[1:] * transmission[:-1].conj()
    finest = float(step.min()) * 1.01
    start = np.where(step <= finest, turn, 0).sum()
    unambiguous = 1 / float(step[step <= finest].mean())
    delay = -float(np.angle(start)) / (2 * np.pi) % 1 * unambiguous
    if delay > min(LONGEST_DELAY_US, unambiguous - LARGEST_NEGATIVE_DELAY_US):
        delay -= unambiguous
    for reach in finest * 2.0 ** np.arange(np.ceil(np.log2(step.max() / finest)) + 1):
        used = step <= reach
        rest = np.angle(turn[used] * np.exp(2j * np.pi * step[used] * delay))
        weight = np.abs(turn[used]) * step[used] / (2 * np.pi)
        delay -= float(weight @ rest / max(weight @ step[used] * 2 * np.pi, np.finfo(float).tiny))
    return delay


def _half_turns(frequency_mhz: FloatArray, lag: FloatArray, weight: FloatArray) -> float:
    """Return the multiple of pi that the fitted lag has at 0 Hz."""
    # The scatter of a phase goes with one over the magnitude; far down it is noise.
    weight = weight / weight.max()
    weight = np.where(weight < SMALLEST_SHARE, 0.0, weight)
    basis = np.stack([np.ones_like(frequency_mhz), np.sqrt(frequency_mhz), frequency_mhz], axis=1)
    weighted = basis * weight[:, None]
    inverse = np.linalg.pinv(weighted)
    fitted = inverse @ (lag * weight)
    rest = (lag - basis @ fitted) * weight
    scatter = float(np.sqrt(rest @ rest / (weight @ weight)))
    if scatter > LARGEST_SCATTER_RAD:
        raise InvalidMeasurementError("", "no delay: the phase of the transmission is noise")
    # Standard error of the constant, which must tell half turns apart with room.
    if 3 * scatter * float(np.linalg.norm(inverse[0])) > np.pi / 2:
        raise InvalidMeasurementError(
            "/frequency_mhz/0", "no delay: the sweep starts too high", float(frequency_mhz[0])
        )
    return float(np.round(fitted[0] / np.pi))
