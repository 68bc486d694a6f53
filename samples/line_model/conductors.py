"""Copper and copper-clad aluminium conductors: DC resistance and skin effect."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import ive, kve

from line_model.wire_types import MU_0, ComplexArray, FloatArray

# Resistance of one wire at 20 degrees Celsius: 22, 24, 26 from the printed wire
# table (LAN Wiring handbook, table A.1, ohm per 1000 ft); 23 from the diameter of ASTM B258.
WIRE_OHM_PER_M: Final = {22: 0.05295, 23: 0.0668, 24: 0.08422, 26: 0.13389}
COPPER_PER_K: Final = 0.00393  # memory; the temperature coefficient of copper at 20 degrees

COPPER_MS_PER_M: Final = 58.0
ALUMINIUM_MS_PER_M: Final = 36.0


def loop_ohm_per_m(awg: int) -> float:
    """Return the DC loop resistance of a copper pair at 20 degrees. [ohm/m]."""
    return 2 * WIRE_OHM_PER_M[awg]


def _wave_number(conductivity_ms_per_m: float, frequency_mhz: FloatArray) -> ComplexArray:
    """Return the (n,) diffusion constant inside a conductor. [1/m]."""
    w = 2e6 * np.pi * frequency_mhz
    return np.asarray(np.sqrt(1j * w * MU_0 * conductivity_ms_per_m * 1e6), dtype=np.complex128)


def solid_ohm_per_m(radius_m: float, conductivity_ms_per_m: float, frequency_mhz: FloatArray) -> ComplexArray:
    """Return the (n,) internal impedance of a round wire, exact (Bessel). [ohm/m]."""
    k = _wave_number(conductivity_ms_per_m, frequency_mhz)
    ratio = ive(0, k * radius_m) / ive(1, k * radius_m)
    return np.asarray(k * ratio / (2 * np.pi * radius_m * conductivity_ms_per_m * 1e6), dtype=np.complex128)


def clad_ohm_per_m(radius_m: float, copper_share: float, frequency_mhz: FloatArray) -> ComplexArray:
    """Return the (n,) internal impedance of copper-clad aluminium. [ohm/m].

    The exact two-layer solution: I0 in the core, I0 and K0 in the cladding, with
    the electric and the magnetic field continuous at the boundary.

    Args:
        radius_m: outer radius. [m]
        copper_share: copper by volume, 0 to 1.
        frequency_mhz: (n,). [MHz]
    """
    boundary = radius_m * np.sqrt(1 - copper_share)
    core = _wave_number(ALUMINIUM_MS_PER_M, frequency_mhz)
    shell = _wave_number(COPPER_MS_PER_M, frequency_mhz)
    # The magnetic field is conductivity / wave number times dE/dr.
    admittance = ALUMINIUM_MS_PER_M / core * ive(1, core * boundary) / ive(0, core * boundary)
    relative = admittance * shell / COPPER_MS_PER_M
    inner, outer = shell * boundary, shell * radius_m
    # E = I0(kr) + b K0(kr), with the exponentially scaled functions, so that nothing overflows.
    b = (ive(1, inner) - relative * ive(0, inner)) / (relative * kve(0, inner) + kve(1, inner))
    fall = b * np.exp(inner - outer + np.real(inner - outer))
    field = ive(0, outer) + fall * kve(0, outer)
    slope = ive(1, outer) - fall * kve(1, outer)
    return np.asarray(
        shell / (2 * np.pi * radius_m * COPPER_MS_PER_M * 1e6) * field / slope, dtype=np.complex128
    )


def clad_ratio(radius_m: float, copper_share: float, frequency_mhz: FloatArray) -> NDArray[np.complex128]:
    """Return the (n,) internal impedance of a clad wire over that of a copper wire of its size."""
    clad = clad_ohm_per_m(radius_m, copper_share, frequency_mhz)
    return np.asarray(clad / solid_ohm_per_m(radius_m, COPPER_MS_PER_M, frequency_mhz), dtype=np.complex128)
