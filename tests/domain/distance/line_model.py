"""A line of twisted pair with lumped defects, built from chain matrices.

It shares nothing with what it tests: the propagation constant comes from the
published wire model, not from a fit, and reflections from matrix products.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from fourpair_service.domain.measurement import Sweep, loss_db

REFERENCE_OHM = 100.0
# Common frequency steps of field testers (memory).
STEPS = ((31.25, 0.15), (100.0, 0.25), (250.0, 0.5), (500.0, 1.0))

# Model for twisted pairs of ITU-T G.9701 and the "CAT5" wire type of the G.fast
# draft 2013-07-Q4-R20; its light travels at exactly 3e8 m/s.
Z0, NVP, RS0, QL, QH, QX, QY, QC, PHI, FD = (
    98.0,
    0.690464,
    0.1659,
    2.15,
    0.85945,
    0.5,
    0.722636,
    0.0,
    0.973846e-3,
    1.0,
)
LIGHT = 3e8


def stepped(top_mhz: float, first_mhz: float = 1.0) -> NDArray[np.float64]:
    """The frequency axis of a stepped sweep up to ``top_mhz``."""
    parts, start = [], first_mhz
    for up_to, step in STEPS:
        stop = min(up_to, top_mhz)
        if start < stop:
            parts.append(np.arange(start, stop - step / 2, step))
            start = stop
    return np.append(np.concatenate(parts), top_mhz)


class Line:
    """Chain matrices (n, 2, 2) of stretches and defects, multiplied from the near end."""

    def __init__(self, frequency_mhz, z0=Z0):
        self.f = np.asarray(frequency_mhz, float)
        self.w = 2e6 * np.pi * self.f
        self.chain = np.broadcast_to(np.eye(2, dtype=complex), (self.f.size, 2, 2))
        self.z0 = z0

    def _constants(self, z0, nvp):
        mu0 = 4e-7 * np.pi
        qs, ws = 1 / (QH**2 * QL), QH**2 * 4 * np.pi * RS0 / mu0
        x = 1j * self.w / ws
        root = np.sqrt(qs**2 * QX**2 + 2 * x * (qs**2 + x * QY) / (qs**2 / QX + x * QY))
        series = 1j * self.w * z0 / (nvp * LIGHT) + RS0 * (1 - qs * QX + root)
        relaxed = (1 - QC) * (1 + 1j * self.f * 1e6 / FD) ** (-2 * PHI / np.pi) + QC
        shunt = 1j * self.w / (z0 * nvp * LIGHT) * relaxed
        return np.sqrt(series * shunt), np.sqrt(series / shunt)

    def _times(self, a, b, c, d):
        step = np.empty((self.f.size, 2, 2), complex)
        step[:, 0, 0], step[:, 0, 1], step[:, 1, 0], step[:, 1, 1] = a, b, c, d
        self.chain = self.chain @ step
        return self

    def stretch(self, length_m, z0=None, nvp=NVP):
        gamma, zc = self._constants(z0 or self.z0, nvp)
        cosh, sinh = np.cosh(gamma * length_m), np.sinh(gamma * length_m)
        return self._times(cosh, zc * sinh, sinh / zc, cosh)

    def shunt_c(self, farad):
        return self._times(1, 0, 1j * self.w * farad, 1)

    def series_l(self, henry):
        return self._times(1, 1j * self.w * henry, 0, 1)

    def series_r(self, ohm):
        return self._times(1, ohm, 0, 1)

    def gamma(self):
        return self._constants(self.z0, NVP)[0]

    def s_parameters(self, load_ohm=REFERENCE_OHM):
        """S11 into ``load_ohm`` and S21, S22 between reference resistances."""
        a, b, c, d = (self.chain[:, i, j] for i in (0, 1) for j in (0, 1))
        r = REFERENCE_OHM
        s11 = (a * load_ohm + b - r * (c * load_ohm + d)) / (a * load_ohm + b + r * (c * load_ohm + d))
        total = a + b / r + c * r + d
        return s11, 2 / total, (-a + b / r - c * r + d) / total

    def reflection(self, load_ohm=REFERENCE_OHM) -> Sweep:
        return sweep(self.f, self.s_parameters(load_ohm)[0])

    def far_reflection(self) -> Sweep:
        return sweep(self.f, self.s_parameters()[2])

    def transmission(self) -> Sweep:
        return sweep(self.f, self.s_parameters()[1])


def sweep(frequency_mhz, value) -> Sweep:
    return Sweep(np.asarray(frequency_mhz, float), loss_db(value), np.asarray(value, complex))


DEFECTS = {
    "shunt_c": lambda line: line.shunt_c(2e-12),
    "series_l": lambda line: line.series_l(20e-9),
    "series_r": lambda line: line.series_r(5.0),
}


def line_with(frequency_mhz, length_m: float, defects: Sequence[tuple[float, str]] = ()) -> Line:
    """A line of ``length_m`` with named defects at places in order."""
    line, at = Line(frequency_mhz), 0.0
    for place, name in defects:
        DEFECTS[name](line.stretch(place - at))
        at = place
    return line.stretch(length_m - at)


def crosstalk(line: Line, spots: Sequence[tuple[float, float]], rough: float = 0.0, seed: int = 0) -> Sweep:
    """NEXT of spots (place, loss in dB at mid-band) on a line, and of a cable that couples weakly everywhere.

    Coupling of a spot grows with frequency, as that of a mutual capacitance; its
    level is that in the middle of the band, which is its average over the band.
    """
    gamma, middle = line.gamma(), (line.f[0] + line.f[-1]) / 2
    total = np.zeros(line.f.size, complex)
    for place, spot_db in spots:
        total += 10 ** (-spot_db / 20) * np.exp(-2 * gamma * place)
    for place, strength in enumerate(np.random.default_rng(seed).normal(size=360) * rough):
        total += strength * np.exp(-gamma * (2 * place * 0.25))
    return sweep(line.f, 1j * total * line.f / middle)


def split_pair(
    frequency_mhz,
    length_m: float,
    from_m: float,
    to_m: float,
    phantom_ohm: float = 120.0,
    phantom_nvp: float = 0.72,
) -> Sweep:
    """NEXT between two pairs whose wires are exchanged over a stretch.

    There, the two driven alike run on twice the impedance of pair against pair,
    and driven oppositely on that of a pair: NEXT is half the difference.
    """
    alike, opposite = Line(frequency_mhz), Line(frequency_mhz)
    alike.stretch(from_m).stretch(to_m - from_m, z0=2 * phantom_ohm, nvp=phantom_nvp)
    alike.stretch(length_m - to_m)
    opposite.stretch(length_m)
    return sweep(alike.f, (alike.s_parameters()[0] - opposite.s_parameters()[0]) / 2)


def split_transmission(
    frequency_mhz,
    length_m: float,
    from_m: float,
    to_m: float,
    phantom_ohm: float = 120.0,
    phantom_nvp: float = 0.72,
) -> Sweep:
    """S21 of one of those pairs: half of it runs as in a pair, half as in the phantom, over the stretch."""
    alike, opposite = Line(frequency_mhz), Line(frequency_mhz)
    alike.stretch(from_m).stretch(to_m - from_m, z0=2 * phantom_ohm, nvp=phantom_nvp)
    alike.stretch(length_m - to_m)
    opposite.stretch(length_m)
    return sweep(alike.f, (alike.s_parameters()[1] + opposite.s_parameters()[1]) / 2)


def with_noise(clean: Sweep, floor_db: float, seed: int) -> Sweep:
    """The sweep with complex Gaussian noise of ``floor_db`` rms."""
    rng = np.random.default_rng(seed)
    noise = (
        rng.normal(size=clean.frequency_mhz.size) + 1j * rng.normal(size=clean.frequency_mhz.size)
    ) / 2**0.5
    return sweep(clean.frequency_mhz, clean.value_complex + 10 ** (floor_db / 20) * noise)
