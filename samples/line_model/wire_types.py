"""Published wire types: series impedance and shunt admittance of one pair over frequency.

The first form is that of the G.fast wire types (ITU-T G.9701 study material;
parameter rows as listed for contribution 11GS3-028 and the 2013 draft, row T05h
also printed in ITU "5G Basics", table I.6, page 1072). The second is the older
per-kilometre form of the access network rows.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

FloatArray: TypeAlias = NDArray[np.float64]
ComplexArray: TypeAlias = NDArray[np.complex128]

MU_0: Final = 4e-7 * np.pi
# The rows were fitted with the rounded value, so it belongs to them.
SPEED_OF_LIGHT_OF_THE_ROWS: Final = 3e8


@dataclass(frozen=True, slots=True)
class WireType:
    """One parameter row.

    Attributes:
        impedance_ohm: characteristic impedance towards infinite frequency. [ohm]
        nvp: phase velocity towards infinite frequency over 3e8 m/s.
        loop_ohm_per_m: DC resistance of both wires. [ohm/m]
        q_l: ratio that places the inductance step.
        q_h: ratio that sets the skin effect.
        q_x: proximity between the two wires.
        q_y: second proximity ratio.
        q_c: share of the capacitance without dielectric loss.
        phi: dielectric loss angle. [rad]
        f_d: corner of the dielectric. [Hz]
    """

    impedance_ohm: float
    nvp: float
    loop_ohm_per_m: float
    q_l: float
    q_h: float
    q_x: float
    q_y: float
    q_c: float
    phi: float
    f_d: float = 1.0

    @property
    def inductance_h_per_m(self) -> float:
        """Inductance outside of the conductors. [H/m]."""
        return self.impedance_ohm / (self.nvp * SPEED_OF_LIGHT_OF_THE_ROWS)

    def series_ohm_per_m(self, frequency_mhz: FloatArray) -> ComplexArray:
        """Return the (n,) series impedance. [ohm/m]."""
        w = 2e6 * np.pi * frequency_mhz
        q_s = 1 / (self.q_h**2 * self.q_l)
        x = 1j * w * MU_0 / (self.q_h**2 * 4 * np.pi * self.loop_ohm_per_m)
        proximity = (q_s**2 + x * self.q_y) / (q_s**2 / self.q_x + x * self.q_y)
        skin = 1 - q_s * self.q_x + np.sqrt((q_s * self.q_x) ** 2 + 2 * x * proximity)
        return np.asarray(1j * w * self.inductance_h_per_m + self.loop_ohm_per_m * skin, dtype=np.complex128)

    def shunt_s_per_m(self, frequency_mhz: FloatArray) -> ComplexArray:
        """Return the (n,) shunt admittance. [S/m]."""
        w = 2e6 * np.pi * frequency_mhz
        capacitance = 1 / (self.impedance_ohm * self.nvp * SPEED_OF_LIGHT_OF_THE_ROWS)
        loss = (1 + 1j * w / (2 * np.pi * self.f_d)) ** (-2 * self.phi / np.pi)
        return np.asarray(1j * w * capacitance * ((1 - self.q_c) * loss + self.q_c), dtype=np.complex128)

    def drawn(self, loop_ohm_per_m: float, skin_factor: float) -> WireType:
        """Return the row for another copper cross-section.

        Args:
            loop_ohm_per_m: its DC loop resistance. [ohm/m]
            skin_factor: high-frequency resistance over that of this row.

        The high-frequency resistance goes with sqrt(loop resistance) / q_h; q_h
        follows so that both values come out as asked.
        """
        q_h = self.q_h * np.sqrt(loop_ohm_per_m / self.loop_ohm_per_m) / skin_factor
        return replace(self, loop_ohm_per_m=loop_ohm_per_m, q_h=float(q_h))


WIRE_TYPES: Final[dict[str, WireType]] = {
    "CAT5": WireType(98, 0.690464, 0.1659, 2.15, 0.85945, 0.5, 0.722636, 0, 0.973846e-3),
    "B05a": WireType(105.0694, 0.6976, 0.1871, 1.5315, 0.7415, 1, 0, 1.0016, -0.2356),
    "T05u": WireType(125.636455, 0.729623, 0.18, 1.66605, 0.74, 0.848761, 1.207166, 0, 1.762056e-3),
    "T05b": WireType(132.348256, 0.675449, 0.1705, 1.789725, 0.725776, 0.799306, 1.030832, 0, 0.005222e-3),
    "T05h": WireType(98.369783, 0.681182, 0.1708, 1.7, 0.65, 0.777307, 1.5, 0, 3.02393e-3),
}


@dataclass(frozen=True, slots=True)
class AccessRow:
    """A row of the per-kilometre form: R, L, G and C as powers of frequency.

    R = (r_0^4 + a_c f^2)^(1/4), L = (l_0 + l_inf x) / (1 + x) with
    x = (f / f_m)^n_b, G = g_0 f^n_ge, C = c_inf + c_0 f^-n_ce; f in hertz,
    everything per kilometre.
    """

    r_0: float
    a_c: float
    l_0: float
    l_inf: float
    f_m: float
    n_b: float
    g_0: float
    n_ge: float
    c_0: float
    c_inf: float
    n_ce: float = 0.0

    def series_ohm_per_m(self, frequency_mhz: FloatArray) -> ComplexArray:
        """Return the (n,) series impedance. [ohm/m]."""
        f = 1e6 * frequency_mhz
        x = (f / self.f_m) ** self.n_b
        resistance = (self.r_0**4 + self.a_c * f**2) ** 0.25
        inductance = (self.l_0 + self.l_inf * x) / (1 + x)
        return np.asarray((resistance + 2j * np.pi * f * inductance) / 1000, dtype=np.complex128)

    def shunt_s_per_m(self, frequency_mhz: FloatArray) -> ComplexArray:
        """Return the (n,) shunt admittance. [S/m]."""
        f = 1e6 * frequency_mhz
        capacitance = self.c_inf + self.c_0 * f**-self.n_ce
        return np.asarray(
            (self.g_0 * f**self.n_ge + 2j * np.pi * f * capacitance) / 1000, dtype=np.complex128
        )


ACCESS_ROWS: Final[dict[str, AccessRow]] = {
    "A24u": AccessRow(
        174.55888, 0.053073481, 0.61729593e-3, 0.47897099e-3, 553760.63, 1.1529766, 0, 0, 0, 50e-9
    ),
    "CAD55": AccessRow(
        187.0831,
        0.0457,
        0.65553e-3,
        0.50973e-3,
        8.1241e5,
        1.0142,
        1.0486e-10,
        1.15,
        -6.9514e-11,
        4.5578e-8,
        -0.15,
    ),
}


def propagation(series: ComplexArray, shunt: ComplexArray) -> tuple[ComplexArray, ComplexArray]:
    """Return the propagation constant [1/m] and characteristic impedance [ohm].

    Args:
        series: series impedance, any shape. [ohm/m]
        shunt: shunt admittance, same shape. [S/m]
    """
    gamma = np.sqrt(series * shunt)
    return np.asarray(gamma), np.asarray(np.sqrt(series / shunt))
