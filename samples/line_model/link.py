"""A link as it lies in the building: parts from the near end to the far end, and what they amount to."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.random import RandomState

from line_model.chain import Chain
from line_model.conductors import COPPER_PER_K
from line_model.parts import PAIRS, Break, Connector, Part, Stretch
from line_model.wire_types import ComplexArray, FloatArray

DELAY_AT_MHZ: Final = 10.0


@dataclass(frozen=True, slots=True)
class PhysicalLink:
    """Parts in order from the near end.

    Attributes:
        seed: of everything random in it: the same seed is the same link.
    """

    parts: tuple[Part, ...]
    seed: int

    def scattering(self, frequency_mhz: FloatArray) -> ComplexArray:
        """Return the (n, 8, 8) scattering parameters, near pairs first, then far pairs."""
        # RandomState, because its stream is frozen: later versions of numpy give the same link.
        random = RandomState(self.seed)
        chain = Chain(frequency_mhz)
        for part in reversed(self.parts):
            part.put_before(chain, frequency_mhz, random)
        return chain.scattering()

    def expected_delay_ns(self, frequency_mhz: float, until_break: int | None = None) -> FloatArray:
        """Return the (4,) delays of the cable alone, to its end or to the break of one pair. [ns]."""
        total = np.zeros(len(PAIRS))
        for part in self.parts:
            if isinstance(part, Break) and part.pair == until_break:
                break
            if isinstance(part, Stretch):
                gamma, _ = part.cable.modes(np.array([frequency_mhz]))
                total += gamma.imag[:, 0] * part.length_m / (2e-3 * np.pi * frequency_mhz)
        return total

    def phase_delay_ns(self) -> FloatArray:
        """Return the (4,) phase delays at 10 MHz, the bulk taken off before the phase is read. [ns]."""
        scattering = self.scattering(np.array([DELAY_AT_MHZ]))[0]
        through = np.diag(scattering[4:, :4])
        bulk = self.expected_delay_ns(DELAY_AT_MHZ)
        omega = 2e-3 * np.pi * DELAY_AT_MHZ
        return np.asarray(bulk - np.angle(through * np.exp(1j * omega * bulk)) / omega)

    def loop_resistance_ohm(self, temperature_c: float) -> FloatArray:
        """Return the (4,) DC loop resistances, contacts included. [ohm]."""
        total = sum((part.conductor_ohm for part in self.parts), np.zeros(len(PAIRS)))
        return np.asarray(total * (1 + COPPER_PER_K * (temperature_c - 20)))

    def contact_excess_ohm(self) -> FloatArray:
        """Return the (4,) contact resistances above that of a good contact. [ohm]."""
        excess = np.zeros(len(PAIRS))
        for part in self.parts:
            if isinstance(part, Connector):
                excess += np.array(part.contact_ohm) - min(part.contact_ohm)
        return excess

    @property
    def broken_pair(self) -> int | None:
        """Index of the pair that is cut, if one is."""
        return next((part.pair for part in self.parts if isinstance(part, Break)), None)
