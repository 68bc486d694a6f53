"""Ripple of the insertion loss, which two mismatches make between them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from fourpair_service.domain.distance.line import LinePath
from fourpair_service.domain.distance.transform import ceiled_sum, path_resolution_m
from fourpair_service.domain.distance.weights import band_weights, checked_axis, trapezoid_weights
from fourpair_service.domain.measurement import FloatArray, Sweep

# Ripple below this is the noise of an instrument. Own criterion, no published source.
LEAST_RIPPLE_DB: Final = 0.02
POINTS_PER_WIDTH: Final = 8


@dataclass(frozen=True, slots=True)
class Deviation:
    """How the insertion loss departs from the smooth loss of a cable.

    Attributes:
        worst_db: largest departure, either way. [dB]
        worst_frequency_mhz: where. [MHz]
        ripple_db: amplitude of the strongest ripple. [dB]
        spacing_m: of the two mismatches that make it, ``None`` for no ripple. [m]
    """

    worst_db: float
    worst_frequency_mhz: float
    ripple_db: float
    spacing_m: float | None


def smooth_loss_db(insertion_loss: Sweep) -> FloatArray:
    """Return the fit of k1 sqrt(f) + k2 f + k3/sqrt(f), the form of TIA-568 for cable loss. (n,) [dB]."""
    f = insertion_loss.frequency_mhz
    basis = np.stack([np.sqrt(f), f, 1 / np.sqrt(f)], axis=1)
    weight = np.sqrt(trapezoid_weights(f))
    k = np.linalg.lstsq(basis * weight[:, None], insertion_loss.value_db * weight, rcond=None)[0]
    return np.asarray(basis @ k, dtype=np.float64)


def insertion_loss_deviation(insertion_loss: Sweep, path: LinePath) -> Deviation:
    """Return the deviation of an insertion loss, for which magnitudes are enough.

    Two mismatches at a distance d make a ripple exp(-2 gamma d), of period v/(2d).
    Spacings below two widths of an event are not told from the fit itself.

    Args:
        insertion_loss: of the link.
        path: of the pair, for its velocity.

    Raises:
        InvalidMeasurementError: too few points.
    """
    f = checked_axis(insertion_loss)
    rest = insertion_loss.value_db - smooth_loss_db(insertion_loss)
    worst = int(np.abs(rest).argmax())
    spacing, ripple = _ripple(f, rest, path)
    shown = spacing if ripple >= LEAST_RIPPLE_DB else None
    return Deviation(float(abs(rest[worst])), float(f[worst]), ripple, shown)


def _ripple(frequency_mhz: FloatArray, rest: FloatArray, path: LinePath) -> tuple[float | None, float]:
    width = path_resolution_m(frequency_mhz, path)
    count = int((path.length_m - 2 * width) / width * POINTS_PER_WIDTH)
    if count < 2:
        return None, 0.0
    spacing = np.linspace(2 * width, path.length_m, count)
    weighted = np.asarray(2 * band_weights(frequency_mhz) * rest, dtype=np.complex128)
    lossless = np.zeros_like(frequency_mhz)
    amplitude = np.abs(ceiled_sum(weighted, lossless, path.phase_rad_per_m(frequency_mhz), spacing))
    top = int(amplitude.argmax())
    return float(spacing[top]), float(amplitude[top])
