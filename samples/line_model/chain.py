"""Four coupled pairs as a chain: voltages and currents carried from the far end to the near end.

State: voltages and currents (times 100 ohm) of the four pairs at one place, for
each of the eight unknowns at the far end and each frequency: arrays (4, 8, n).
Every element of the chain is reciprocal, and none can give energy.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from line_model.wire_types import ComplexArray, FloatArray

REFERENCE_OHM: Final = 100.0
PAIR_COUNT: Final = 4


@dataclass(frozen=True, slots=True)
class LineStep:
    """A piece of uncoupled line for each of four modes.

    Attributes:
        cosh: (4, 1, n) cosh of the propagation constant times the length.
        forward: (4, 1, n) impedance over 100 ohm times sinh of it.
        backward: (4, 1, n) 100 ohm over impedance times sinh of it.
        modes: (4, 4) orthogonal matrix from pairs to modes, or ``None``.
    """

    cosh: ComplexArray
    forward: ComplexArray
    backward: ComplexArray
    modes: FloatArray | None = None


def line_step(
    gamma_per_m: ComplexArray, impedance_ohm: ComplexArray, length_m: float, modes: FloatArray | None = None
) -> LineStep:
    """Return the step of ``length_m`` for (4, n) propagation constants and impedances."""
    angle = (gamma_per_m * length_m)[:, np.newaxis, :]
    relative = (impedance_ohm / REFERENCE_OHM)[:, np.newaxis, :]
    sinh = np.sinh(angle)
    return LineStep(np.cosh(angle), relative * sinh, sinh / relative, modes)


class Chain:
    """What has been put in front of the far end so far."""

    def __init__(self, frequency_mhz: FloatArray) -> None:
        self.omega = 2e6 * np.pi * frequency_mhz
        shape = (PAIR_COUNT, 2 * PAIR_COUNT, len(frequency_mhz))
        self.voltage = np.zeros(shape, dtype=np.complex128)
        self.current = np.zeros(shape, dtype=np.complex128)
        for k in range(PAIR_COUNT):
            self.voltage[k, k] = 1
            self.current[k, PAIR_COUNT + k] = 1

    def add_line(self, step: LineStep) -> None:
        """Put a piece of line in front."""
        if step.modes is not None:
            self._rotate(step.modes)
        v, i = self.voltage, self.current
        self.voltage = step.cosh * v + step.forward * i
        self.current = step.backward * v + step.cosh * i
        if step.modes is not None:
            self._rotate(step.modes.T)

    def add_coupling(self, near_s: FloatArray, through_s: FloatArray) -> None:
        """Put a lossless reactive coupling in front, made of shunt capacitance and series inductance.

        Args:
            near_s: (4, 4) symmetric; wave sent back over (j omega), off the
                diagonal near-end coupling, on it reflection. [s]
            through_s: (4, 4) symmetric; wave sent on over (j omega). [s]
        """
        self.voltage = self.voltage + 1j * self.omega * _product(near_s - through_s, self.current)
        self.current = self.current - 1j * self.omega * _product(near_s + through_s, self.voltage)

    def add_series(self, impedance_ohm: ComplexArray) -> None:
        """Put (4, n) impedances in series with the pairs, in front. [ohm]."""
        self.voltage = self.voltage + impedance_ohm[:, np.newaxis, :] / REFERENCE_OHM * self.current

    def scattering(self) -> ComplexArray:
        """Return the (n, 8, 8) scattering parameters, near pairs first, then far pairs."""
        v, i = np.moveaxis(self.voltage, -1, 0), np.moveaxis(self.current, -1, 0)
        sent, returned = (v + i) / 2, (v - i) / 2
        a, b = _waves(sent)
        c, d = _waves(returned)
        through = np.linalg.inv(a)
        near = c @ through
        return np.block([[near, d - near @ b], [through, -through @ b]])

    def _rotate(self, modes: FloatArray) -> None:
        self.voltage = _product(modes, self.voltage)
        self.current = _product(modes, self.current)


def _waves(rows: ComplexArray) -> tuple[ComplexArray, ComplexArray]:
    """Split (n, 4, 8) columns of voltage and current into outgoing and incoming waves at the far end."""
    v, i = rows[..., :PAIR_COUNT], rows[..., PAIR_COUNT:]
    return v + i, v - i


def _product(matrix: FloatArray, state: ComplexArray) -> ComplexArray:
    """Return the (4, 4) matrix times the (4, 8, n) state, as one product."""
    return np.asarray((matrix.astype(np.complex128) @ state.reshape(PAIR_COUNT, -1)).reshape(state.shape))
