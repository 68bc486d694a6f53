"""Pair quantities of a link from its scattering parameters, single-ended or differential.

Every quantity of a pair is an element of the mixed-mode matrix (Bockelman and
Eisenstadt, Combined differential and common-mode scattering parameters, IEEE
Trans. Microwave Theory Tech. 43, 1995): insertion loss is the transmission of
the differential mode, NEXT and FEXT are its coupling into another pair, TCL and
TCTL its conversion into the common mode of the same pair.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations, permutations
from typing import Final, TypeAlias

import numpy as np

from fourpair_service.domain.link import PAIRS, End
from fourpair_service.domain.measurement import ComplexArray, CurveGroup, FloatArray, SweepKey
from fourpair_service.domain.parameters import Parameter

# For each logical port its ports of the network, counted from 0: two (positive
# and negative conductor) where they are single-ended, one where differential.
# The pairs at the near end come first, then the same pairs at the far end.
LogicalPorts: TypeAlias = tuple[tuple[int, ...], ...]

SINGLE_ENDED_REFERENCE_OHM: Final = 50.0
DIFFERENTIAL_REFERENCE_OHM: Final = 2 * SINGLE_ENDED_REFERENCE_OHM
COMMON_REFERENCE_OHM: Final = SINGLE_ENDED_REFERENCE_OHM / 2


def conversion_matrix(ports: LogicalPorts) -> FloatArray:
    """Return M of Smm = M S M^T, (2p, 2p) for p logical ports of two conductors each.

    Its first p rows are the differential modes, the others the common modes.
    """
    matrix = np.zeros((2 * len(ports), 2 * len(ports)))
    for row, (positive, negative) in enumerate(ports):
        matrix[row, [positive, negative]] = 1, -1
        matrix[row + len(ports), [positive, negative]] = 1, 1
    return np.asarray(matrix / np.sqrt(2), dtype=np.float64)


def mixed_mode(s: ComplexArray, ports: LogicalPorts) -> ComplexArray:
    """Return the mixed-mode matrices of single-ended ones.

    Args:
        s: (n, 2p, 2p) with one real reference for all ports, z0.
        ports: p logical ports of two conductors each.

    Returns:
        (n, 2p, 2p), differential modes first (reference 2 z0), then common modes
        (reference z0 / 2).
    """
    matrix = conversion_matrix(ports)
    return np.asarray(matrix @ s @ matrix.T, dtype=np.complex128)


def differential(s: ComplexArray, ports: LogicalPorts) -> ComplexArray:
    """Return (n, p, p) matrices of differential ports in the order of ``ports``."""
    order = [port for (port,) in ports]
    return s[:, order][:, :, order]


@dataclass(frozen=True, slots=True)
class _Modes:
    """Where the modes of a pair stand in the matrix."""

    pairs: Sequence[str]

    def differential(self, pair: str, end: End) -> int:
        return self.pairs.index(pair) + (len(self.pairs) if end is End.FAR else 0)

    def common(self, pair: str, end: End) -> int:
        return 2 * len(self.pairs) + self.differential(pair, end)


Element: TypeAlias = tuple[int, int]


def _insertion_loss(modes: _Modes, pair: str, end: End = End.NEAR) -> Element:
    return modes.differential(pair, end.other), modes.differential(pair, end)


def _return_loss(modes: _Modes, pair: str, end: End) -> Element:
    return modes.differential(pair, end), modes.differential(pair, end)


def _next(modes: _Modes, key: str, end: End) -> Element:
    first, second = key.split("-")
    return modes.differential(first, end), modes.differential(second, end)


def _fext(modes: _Modes, key: str, end: End) -> Element:
    disturbing, disturbed = key.split(">")
    return modes.differential(disturbed, end.other), modes.differential(disturbing, end)


def _tcl(modes: _Modes, pair: str, end: End) -> Element:
    return modes.common(pair, end), modes.differential(pair, end)


def _tctl(modes: _Modes, pair: str, end: End) -> Element:
    return modes.common(pair, end.other), modes.differential(pair, end)


Rule: TypeAlias = Callable[[_Modes, str, End], Element]
_COUPLED: Final[tuple[tuple[Parameter, str, Rule], ...]] = (
    (Parameter.NEXT, "-", _next),
    (Parameter.FEXT, ">", _fext),
)


def pair_quantities(
    frequency_mhz: FloatArray, s: ComplexArray, pairs: Sequence[str]
) -> dict[SweepKey, CurveGroup]:
    """Return every pair quantity that a mixed-mode or differential matrix holds.

    Insertion loss, return loss, NEXT and FEXT carry complex values; TCL and
    ELTCTL are losses alone, since ELTCTL = TCTL - insertion loss is a difference
    of losses. FEXT ``near`` is injected at the near end and received at the far
    end. TCL and ELTCTL are there only where ``s`` has common modes.

    Args:
        frequency_mhz: (n,) strictly increasing. [MHz]
        s: (n, 2p, 2p) differential modes of p pairs, near then far, or
            (n, 4p, 4p) with the common modes behind them.
        pairs: the p pairs in the order of the matrix.
    """
    return dict(_quantities(frequency_mhz, s, pairs))


def _quantities(
    frequency_mhz: FloatArray, s: ComplexArray, pairs: Sequence[str]
) -> Iterator[tuple[SweepKey, CurveGroup]]:
    modes = _Modes(pairs)
    known = tuple(pair for pair in PAIRS if pair in pairs)

    def group(keys: tuple[str, ...], rule: Rule, end: End) -> CurveGroup:
        return CurveGroup.from_complex(
            frequency_mhz, keys, np.stack([s[:, *rule(modes, key, end)] for key in keys])
        )

    yield (Parameter.INSERTION_LOSS, None), group(known, _insertion_loss, End.NEAR)
    for end in End:
        yield (Parameter.RETURN_LOSS, end), group(known, _return_loss, end)
        for parameter, joint, rule in _COUPLED if len(known) > 1 else ():
            yield (parameter, end), group(_couples(known, joint), rule, end)
        if s.shape[1] > 2 * len(pairs):
            yield (Parameter.TCL, end), _losses(group(known, _tcl, end))
            yield (
                (Parameter.ELTCTL, end),
                _equal_level(group(known, _tctl, end), group(known, _insertion_loss, end)),
            )


def _couples(pairs: tuple[str, ...], joint: str) -> tuple[str, ...]:
    of_two = combinations(pairs, 2) if joint == "-" else permutations(pairs, 2)
    return tuple(joint.join(two) for two in of_two)


def _losses(group: CurveGroup) -> CurveGroup:
    return CurveGroup(group.frequency_mhz, group.keys, group.value_db)


def _equal_level(transfer: CurveGroup, loss: CurveGroup) -> CurveGroup:
    return CurveGroup(transfer.frequency_mhz, transfer.keys, transfer.value_db - loss.value_db)


def crosstalk_power(s: ComplexArray, pair_count: int) -> float:
    """Return the power that couples between different pairs, summed over a (2p or more) square matrix.

    >>> crosstalk_power(np.eye(4, dtype=complex), 2)
    0.0
    """
    power = np.abs(s[: 2 * pair_count, : 2 * pair_count]) ** 2
    pair_of = np.arange(2 * pair_count) % pair_count
    return float(power[pair_of[:, None] != pair_of].sum())
