"""Faults that the sample job does not have, as parts of the same chain model."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from line_model.chain import PAIR_COUNT, REFERENCE_OHM

NOTHING = np.zeros((PAIR_COUNT, PAIR_COUNT))
OMEGA_AT_100_MHZ = 2e8 * np.pi
VELOCITY_M_PER_S = 2.07e8


def _on(pairs, value):
    out = NOTHING.copy()
    for pair in pairs:
        out[pair, pair] = value
    return out


def _between(pairs, value):
    out = NOTHING.copy()
    a, b = pairs
    out[a, b] = out[b, a] = value
    return out


class _WithoutResistance:
    conductor_ohm = np.zeros(PAIR_COUNT)


@dataclass(frozen=True)
class Crush(_WithoutResistance):
    """A cable pressed flat: the wires of these pairs come closer, which adds capacitance."""

    pairs: tuple[int, ...]
    capacitance_pf: float

    def put_before(self, chain, frequency_mhz, random):
        c = _on(self.pairs, -self.capacitance_pf * 1e-12 * REFERENCE_OHM / 2)
        chain.add_coupling(c, c)


@dataclass(frozen=True)
class Spot(_WithoutResistance):
    """Two pairs pressed together: they couple at one place. [dB at 100 MHz]."""

    pairs: tuple[int, int]
    next_db: float

    def put_before(self, chain, frequency_mhz, random):
        near = _between(self.pairs, 10 ** (-self.next_db / 20) / OMEGA_AT_100_MHZ)
        chain.add_coupling(near, near / 2)


@dataclass(frozen=True)
class Untwisted(_WithoutResistance):
    """Two pairs untwisted side by side over a short length.

    Wires further apart have a higher impedance, which acts as a series
    inductance of Z/v a metre less what belongs to the line; they couple by a
    quarter of what two fully parallel pairs would (0.44 beta l).
    """

    pairs: tuple[int, int]
    length_m: float
    impedance_ohm: float = 150.0

    def put_before(self, chain, frequency_mhz, random):
        step = self.impedance_ohm / REFERENCE_OHM - REFERENCE_OHM / self.impedance_ohm
        reflection = _on(self.pairs, step * self.length_m / (2 * VELOCITY_M_PER_S))
        coupling = _between(self.pairs, 0.44 / 4 * self.length_m / VELOCITY_M_PER_S)
        chain.add_coupling(reflection + coupling, coupling / 3 - reflection)


@dataclass(frozen=True)
class Shorted(_WithoutResistance):
    """The two wires of a pair touch. [ohm]."""

    pair: int
    ohm: float = 0.05

    def put_before(self, chain, frequency_mhz, random):
        current = chain.current.copy()
        current[self.pair] += REFERENCE_OHM / self.ohm * chain.voltage[self.pair]
        chain.current = current
