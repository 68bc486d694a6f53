"""The parts of a link: stretches of cable, connectors, bad contacts, breaks."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from itertools import combinations
from typing import Final, Protocol, TypeAlias

import numpy as np
from numpy.random import RandomState

from line_model.chain import PAIR_COUNT, Chain, line_step
from line_model.conductors import clad_ratio
from line_model.wire_types import AccessRow, ComplexArray, FloatArray, WireType, propagation

PAIRS: Final = ("12", "36", "45", "78")
COMBINATIONS: Final = tuple(f"{a}-{b}" for a, b in combinations(PAIRS, 2))

Levels: TypeAlias = dict[str, float]
FourValues: TypeAlias = tuple[float, float, float, float]

OMEGA_AT_100_MHZ: Final = 2e8 * np.pi
CELL_M: Final = 0.25
CLAD_RADIUS_M: Final = 0.2555e-3
CLAD_COPPER_SHARE: Final = 0.10


def even(level_db: float, worse: Levels | None = None) -> Levels:
    """Return one level for all six combinations, with exceptions. [dB]."""
    return {**dict.fromkeys(COMBINATIONS, level_db), **(worse or {})}


def _symmetric(levels_db: Levels) -> FloatArray:
    """Return the (4, 4) amplitude of levels by combination, zero on the diagonal."""
    out = np.zeros((PAIR_COUNT, PAIR_COUNT))
    for (j, k), name in zip(combinations(range(PAIR_COUNT), 2), COMBINATIONS, strict=True):
        out[j, k] = out[k, j] = 10 ** (-levels_db[name] / 20)
    return out


class Part(Protocol):
    """Something that stands in the chain of a link."""

    def put_before(self, chain: Chain, frequency_mhz: FloatArray, random: RandomState) -> None:
        """Add itself in front of what the chain holds."""

    @property
    def conductor_ohm(self) -> FloatArray:
        """(4,) DC loop resistance at 20 degrees Celsius. [ohm]."""


@dataclass(frozen=True, slots=True)
class CableType:
    """A cable by what its maker decides.

    Attributes:
        row: wire type of a pair.
        delay: four factors on length, one for each pair's lay and insulation.
        impedance: four factors on the characteristic impedance.
        next_db: typical (rms) NEXT of a long piece at 100 MHz, by combination. [dB]
        el_fext_db: typical (rms) FEXT over insertion loss of 100 m at 100 MHz. [dB]
        roughness_db: typical (rms) return loss of a long piece at 100 MHz from
            random unevenness. [dB]
        is_clad: whether the wires are copper-clad aluminium.
    """

    row: WireType | AccessRow
    loop_ohm_per_m: float
    delay: FourValues = (1.008, 1.026, 0.984, 0.996)
    impedance: FourValues = (1.0, 1.0, 1.0, 1.0)
    next_db: Levels = field(default_factory=lambda: even(57.0))
    el_fext_db: Levels = field(default_factory=lambda: even(42.0))
    roughness_db: float = 32.0
    is_clad: bool = False

    def modes(self, frequency_mhz: FloatArray) -> tuple[ComplexArray, ComplexArray]:
        """Return the (4, n) propagation constants [1/m] and impedances [ohm] of the pairs."""
        series, shunt = self.row.series_ohm_per_m(frequency_mhz), self.row.shunt_s_per_m(frequency_mhz)
        if self.is_clad:
            series = self._with_clad_wires(series, frequency_mhz)
        gamma, impedance = propagation(series, shunt)
        return np.outer(self.delay, gamma), np.outer(self.impedance, impedance)

    def coupling_scale(self) -> tuple[FloatArray, FloatArray]:
        """Return the (4, 4) densities of near and of through coupling. [s/sqrt(m)].

        A random coupling of density s adds up, in power, to s^2 w^2 / (4 alpha) at
        the near end of a long line and to s^2 w^2 length at the far end over the loss.
        """
        at_100 = np.array([100.0])
        gamma, _ = propagation(self.row.series_ohm_per_m(at_100), self.row.shunt_s_per_m(at_100))
        four_alpha = 4 * float(gamma.real[0])
        near = _symmetric(self.next_db) + np.eye(PAIR_COUNT) * 10 ** (-self.roughness_db / 20)
        through = _symmetric(self.el_fext_db) / np.sqrt(100.0)
        return near * np.sqrt(four_alpha) / OMEGA_AT_100_MHZ, through / OMEGA_AT_100_MHZ

    def _with_clad_wires(self, series: ComplexArray, frequency_mhz: FloatArray) -> ComplexArray:
        w = 2e6 * np.pi * frequency_mhz
        if isinstance(self.row, AccessRow):
            raise TypeError("clad wires need a wire type, whose resistance stands apart")
        outer = 1j * w * self.row.inductance_h_per_m
        return outer + (series - outer) * clad_ratio(CLAD_RADIUS_M, CLAD_COPPER_SHARE, frequency_mhz)


@dataclass(frozen=True, slots=True)
class Split:
    """Two pairs whose wires were exchanged: their sum and difference travel differently.

    Attributes:
        pairs: indices of the two.
        even_ohm: impedance of the sum, twice that of pair against pair. [ohm]
        even_delay: factor on the delay of the sum.
    """

    pairs: tuple[int, int]
    even_ohm: float = 226.0
    even_delay: float = 0.94

    def modes(self) -> FloatArray:
        """Return the (4, 4) orthogonal matrix from pairs to sum, difference and the other two."""
        out = np.eye(PAIR_COUNT)
        a, b = self.pairs
        out[[a, a, b, b], [a, b, a, b]] = np.array([1, 1, -1, 1]) / np.sqrt(2)
        return out


@dataclass(frozen=True, slots=True)
class Bumps:
    """The same small reflection again and again, as a coil makes it.

    Attributes:
        every: number of cells from one to the next.
        capacitance_pf: shunt capacitance of each. [pF]
    """

    every: int
    capacitance_pf: float


@dataclass(frozen=True, slots=True)
class Stretch:
    """A piece of cable, cut into short cells with random coupling between them.

    Attributes:
        cell_m: length of a cell; the length is cut into a whole number of them. [m]
    """

    cable: CableType
    length_m: float
    split: Split | None = None
    bumps: Bumps | None = None
    cell_m: float = CELL_M

    def put_before(self, chain: Chain, frequency_mhz: FloatArray, random: RandomState) -> None:
        """Add the cells in front, from the far side to the near side."""
        count = max(1, round(self.length_m / self.cell_m))
        length = self.length_m / count
        gamma, impedance = self._modes(frequency_mhz)
        modes = None if self.split is None else self.split.modes()
        half, whole = (line_step(gamma, impedance, part, modes) for part in (length / 2, length))
        near, through = (scale * np.sqrt(length) for scale in self.cable.coupling_scale())
        chain.add_line(half)
        for cell in range(count):
            bump = self._bump(cell)
            chain.add_coupling(near * _draw(random) + bump, through * _draw(random) + bump)
            chain.add_line(whole if cell < count - 1 else half)

    @property
    def conductor_ohm(self) -> FloatArray:
        """(4,) DC loop resistance at 20 degrees Celsius. [ohm]."""
        ratio = float(clad_ratio(CLAD_RADIUS_M, CLAD_COPPER_SHARE, np.array([1e-6])).real[0])
        per_m = self.cable.loop_ohm_per_m * (ratio if self.cable.is_clad else 1.0)
        return per_m * self.length_m * np.array(self.cable.delay)

    def _modes(self, frequency_mhz: FloatArray) -> tuple[ComplexArray, ComplexArray]:
        gamma, impedance = self.cable.modes(frequency_mhz)
        if self.split is not None:
            a, b = self.split.pairs
            mean = (gamma[a] + gamma[b]) / 2
            gamma[a], gamma[b] = mean.real + 1j * mean.imag * self.split.even_delay, mean
            impedance[a] = impedance[a] * self.split.even_ohm / 100.0
        return gamma, impedance

    def _bump(self, cell: int) -> FloatArray:
        if self.bumps is None or cell % self.bumps.every:
            return np.zeros((PAIR_COUNT, PAIR_COUNT))
        # A shunt capacitance sends -j w C Z0 / 2 both ways.
        return np.eye(PAIR_COUNT) * -self.bumps.capacitance_pf * 1e-12 * 100.0 / 2


def _draw(random: RandomState) -> FloatArray:
    """Return a (4, 4) symmetric matrix of standard normal numbers."""
    upper = np.triu(random.standard_normal((PAIR_COUNT, PAIR_COUNT)))
    return np.asarray(upper + np.triu(upper, 1).T)


@dataclass(frozen=True, slots=True)
class Connector:
    """A mated plug and jack, short against the wave, so that everything grows 20 dB per decade.

    Attributes:
        next_db: NEXT at 100 MHz, by combination. [dB]
        fext_db: FEXT at 100 MHz, by combination. [dB]
        return_loss_db: at 100 MHz, all pairs. [dB]
        contact_ohm: resistance of the contacts of each pair, both wires. [ohm]
    """

    next_db: Levels = field(default_factory=lambda: even(64.0, {"36-45": 59.0, "12-36": 61.5, "36-78": 62.0}))
    fext_db: Levels = field(default_factory=lambda: even(58.0, {"36-45": 52.0}))
    return_loss_db: float = 33.0
    contact_ohm: FourValues = (0.04, 0.04, 0.04, 0.04)

    def put_before(self, chain: Chain, frequency_mhz: FloatArray, random: RandomState) -> None:
        """Add the connector in front."""
        near = _symmetric(self.next_db) * np.sign(_draw(random))
        through = _symmetric(self.fext_db) * np.sign(_draw(random))
        # The wires fan out in a plug: series inductance, a reflection of positive sign.
        reflection = np.eye(PAIR_COUNT) * 10 ** (-self.return_loss_db / 20)
        chain.add_coupling((near + reflection) / OMEGA_AT_100_MHZ, (through - reflection) / OMEGA_AT_100_MHZ)
        chain.add_series(np.outer(self.contact_ohm, np.ones(len(frequency_mhz))).astype(np.complex128))

    @property
    def conductor_ohm(self) -> FloatArray:
        """(4,) DC loop resistance. [ohm]."""
        return np.array(self.contact_ohm)

    def worse(self, next_db: Levels) -> Connector:
        """Return the same connector with other NEXT where given. [dB at 100 MHz]."""
        return replace(self, next_db={**self.next_db, **next_db})


@dataclass(frozen=True, slots=True)
class Break:
    """A pair cut through: what is left is a very small capacitance in series.

    Attributes:
        pair: index of the pair.
    """

    pair: int
    capacitance_pf: float = 0.01

    def put_before(self, chain: Chain, frequency_mhz: FloatArray, random: RandomState) -> None:
        """Add the break in front."""
        impedance = np.zeros((PAIR_COUNT, len(frequency_mhz)), dtype=np.complex128)
        impedance[self.pair] = 1 / (2e-6j * np.pi * frequency_mhz * self.capacitance_pf)
        chain.add_series(impedance)

    @property
    def conductor_ohm(self) -> FloatArray:
        """(4,) DC loop resistance, infinite in the broken pair. [ohm]."""
        return np.where(np.arange(PAIR_COUNT) == self.pair, np.inf, 0.0)
