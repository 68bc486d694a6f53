"""The attenuation and phase of a line per metre, which distances are computed with."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np

from fourpair_service.domain.delay import phase_lag_rad
from fourpair_service.domain.distance.weights import complex_values, trapezoid_weights
from fourpair_service.domain.errors import InvalidMeasurementError
from fourpair_service.domain.link import SPEED_OF_LIGHT_M_PER_NS
from fourpair_service.domain.measurement import FloatArray, Sweep

# Coefficients of sqrt(f), f and 1, f in MHz: skin effect, dielectric, and the rest.
Coefficients: TypeAlias = tuple[float, float, float]

DB_PER_NEPER: Final = 20 / np.log(10)
# The frequency at which delay becomes length (TIA-568 judges delay at 10 MHz; memory).
LENGTH_FREQUENCY_MHZ: Final = 10.0
# Cables differ by a few percent from the velocity on their sheath; common practice, no published source.
VELOCITY_TOLERANCE: Final = 0.03
# A transmission with less delay than 0.2 mm of cable is no link but the instrument itself.
SHORTEST_DELAY_NS: Final = 0.001
# Category 5e cable at 20 degC, dB per 100 m for sqrt(f) and f (TIA-568; memory).
NOMINAL_LOSS_DB_PER_100_M: Final = (1.967, 0.023)


def _basis(frequency_mhz: FloatArray) -> FloatArray:
    return np.stack([np.sqrt(frequency_mhz), frequency_mhz, np.ones_like(frequency_mhz)], axis=1)


@dataclass(frozen=True, slots=True)
class LinePath:
    """How a wave is attenuated and delayed along a line.

    Attributes:
        length_m: of the whole link. [m]
        attenuation: coefficients of the attenuation per metre. [Np/m]
        phase: coefficients of the phase lag per metre. [rad/m]
        tolerance: relative uncertainty of the length, hence of every position.
    """

    length_m: float
    attenuation: Coefficients
    phase: Coefficients
    tolerance: float = VELOCITY_TOLERANCE

    def attenuation_np_per_m(self, frequency_mhz: FloatArray) -> FloatArray:
        """Return the attenuation at (n,) frequencies, never negative. [Np/m]."""
        return np.asarray(np.maximum(_basis(frequency_mhz) @ np.array(self.attenuation), 0.0))

    def phase_rad_per_m(self, frequency_mhz: FloatArray) -> FloatArray:
        """Return the phase lag at (n,) frequencies. [rad/m]."""
        return np.asarray(_basis(frequency_mhz) @ np.array(self.phase), dtype=np.float64)

    def velocity_m_per_ns(self, frequency_mhz: float) -> float:
        """Return the phase velocity. [m/ns]."""
        phase = float(self.phase_rad_per_m(np.array([frequency_mhz]))[0])
        return 2 * np.pi * frequency_mhz / 1000 / phase


def path_of_link(insertion_loss: Sweep, length_m: float, tolerance: float = VELOCITY_TOLERANCE) -> LinePath:
    """Return the path of a link from its own complex transmission.

    Attenuation and phase are smoothed by a fit of sqrt(f), f and a constant, so
    that reflections within the link do not enter.

    Raises:
        InvalidMeasurementError: no complex values, no length, or no delay to be had
            (see ``delay.phase_lag_rad``).
    """
    value = complex_values(insertion_loss)
    if not length_m > 0:
        raise InvalidMeasurementError("", "a distance needs a length greater than 0 m", length_m)
    f = insertion_loss.frequency_mhz
    attenuation = _fit(f, insertion_loss.value_db / DB_PER_NEPER)
    phase = _fit(f, phase_lag_rad(f, value))
    path = LinePath(length_m, _per_metre(attenuation, length_m), _per_metre(phase, length_m), tolerance)
    middle_mhz = float(f[0] + f[-1]) / 2
    delay_ns = float(path.phase_rad_per_m(np.array([middle_mhz]))[0]) * length_m / (2e-3 * np.pi * middle_mhz)
    if delay_ns < SHORTEST_DELAY_NS:
        raise InvalidMeasurementError("", "no distance: the transmission has no delay; was a link between?")
    return path


def path_of_link_at_nvp(insertion_loss: Sweep, nvp: float, tolerance: float = VELOCITY_TOLERANCE) -> LinePath:
    """Return the path of a link whose length follows from its delay at 10 MHz and its NVP.

    Raises:
        InvalidMeasurementError: as ``path_of_link``; NVP not in (0, 1].
    """
    _check_nvp(nvp)
    unit = path_of_link(insertion_loss, 1.0)
    delay_ns = 1 / unit.velocity_m_per_ns(LENGTH_FREQUENCY_MHZ)
    return path_of_link(insertion_loss, delay_ns * nvp * SPEED_OF_LIGHT_M_PER_NS, tolerance)


def nominal_path(
    length_m: float,
    nvp: float,
    loss_db_per_100_m: tuple[float, float] = NOMINAL_LOSS_DB_PER_100_M,
    tolerance: float = VELOCITY_TOLERANCE,
) -> LinePath:
    """Return the path of a line of which only the cable is known, as for an open pair.

    The skin effect that attenuates by a sqrt(f) also delays by a sqrt(f) rad
    (Matick, Transmission Lines for Digital and Communication Networks, ch. 4).

    Args:
        length_m: how far to look. [m]
        nvp: of the cable at 10 MHz, 0 < nvp <= 1.
        loss_db_per_100_m: coefficients of sqrt(f) and f. [dB per 100 m]
        tolerance: relative uncertainty of ``nvp``.

    Raises:
        InvalidMeasurementError: NVP not in (0, 1].
    """
    _check_nvp(nvp)
    skin, dielectric = (k / 100 / DB_PER_NEPER for k in loss_db_per_100_m)
    lag = 2 * np.pi / 1000 / (nvp * SPEED_OF_LIGHT_M_PER_NS)
    phase = (skin, lag - skin / np.sqrt(LENGTH_FREQUENCY_MHZ), 0.0)
    return LinePath(length_m, (skin, dielectric, 0.0), phase, tolerance)


def mean_path(paths: Sequence[LinePath]) -> LinePath:
    """Return the mean of one or more paths: of two pairs for NEXT, of the good pairs for an open one."""
    attenuation, phase = (
        tuple(float(c) for c in np.mean(rows, axis=0))
        for rows in ([p.attenuation for p in paths], [p.phase for p in paths])
    )
    length_m = float(np.mean([p.length_m for p in paths]))
    return LinePath(length_m, _three(attenuation), _three(phase), max(p.tolerance for p in paths))


def path_of_broken_pair(
    good: Sequence[LinePath], length_m: float, nvp: float, tolerance: float = VELOCITY_TOLERANCE
) -> LinePath:
    """Return the path along which to look for the break of a pair that lets nothing through.

    That is the mean of the good pairs of the same cable, else a nominal one.

    Args:
        good: paths of the pairs that do transmit, if any.
        length_m: how far to look where there are none. [m]
        nvp: of the cable at 10 MHz where there are none, 0 < nvp <= 1.
        tolerance: relative uncertainty of ``nvp``.

    Raises:
        InvalidMeasurementError: NVP not in (0, 1], needed or not.
    """
    nominal = nominal_path(length_m, nvp, tolerance=tolerance)
    return mean_path(good) if good else nominal


def _check_nvp(nvp: float) -> None:
    if not 0 < nvp <= 1:
        raise InvalidMeasurementError(
            "/cable/nvp", "NVP is a fraction of the speed of light, 0 < NVP <= 1", nvp
        )


def _three(values: Sequence[float]) -> Coefficients:
    a, b, c = values
    return a, b, c


def _per_metre(coefficients: FloatArray, length_m: float) -> Coefficients:
    return _three([float(c) / length_m for c in coefficients])


def _fit(frequency_mhz: FloatArray, value: FloatArray) -> FloatArray:
    """Return the least-squares coefficients, each point weighted by the band that it stands for."""
    weight = np.sqrt(trapezoid_weights(frequency_mhz))
    fitted = np.linalg.lstsq(_basis(frequency_mhz) * weight[:, None], value * weight, rcond=None)
    return np.asarray(fitted[0], dtype=np.float64)
