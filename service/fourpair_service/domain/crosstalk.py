"""What follows from the measured crosstalk: power sums, ACR-N, ACR-F.

All losses are positive dB. The arithmetic is that of the standards: powers of
the disturbers add, and a ratio in dB is a difference (power sum of 40, 43 and
50 dB is 37.96 dB).
"""

from __future__ import annotations

from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from fourpair_service.domain.link import FEXT_COMBINATIONS, NEXT_COMBINATIONS, PAIRS, next_combination
from fourpair_service.domain.measurement import FloatArray

IndexArray: TypeAlias = NDArray[np.intp]

# exp2 and log2 with a scale factor are several times faster than 10**x and log10.
_LOG2_PER_DB: Final = -np.log2(10.0) / 10.0
_DB_PER_LOG2: Final = -10.0 * np.log10(2.0)

# For each disturbed pair, in the order of PAIRS, the rows of its three disturbers.
NEXT_DISTURBERS: Final = np.array(
    [
        [NEXT_COMBINATIONS.index(next_combination(pair, other)) for other in PAIRS if other != pair]
        for pair in PAIRS
    ]
)
FEXT_DISTURBERS: Final = np.array(
    [[FEXT_COMBINATIONS.index(f"{other}>{pair}") for other in PAIRS if other != pair] for pair in PAIRS]
)

# For each ordered combination "a>b": the row of its NEXT, and of either pair.
ORDERED_NEXT_ROWS: Final = np.array(
    [NEXT_COMBINATIONS.index(next_combination(*key.split(">"))) for key in FEXT_COMBINATIONS]
)
DISTURBING_ROWS: Final = np.array([PAIRS.index(key.split(">")[0]) for key in FEXT_COMBINATIONS])
DISTURBED_ROWS: Final = np.array([PAIRS.index(key.split(">")[1]) for key in FEXT_COMBINATIONS])

# far "b>a" is near "a>b" by reciprocity: the row of the mirrored combination.
MIRRORED_ROWS: Final = np.array(
    [FEXT_COMBINATIONS.index("{1}>{0}".format(*key.split(">"))) for key in FEXT_COMBINATIONS]
)


# 10**(-L/10) for every loss that instruments write, -30.00 to 200.00 dB in steps of
# 0.01 dB. Most sweeps carry two decimals, and looking up is twice as fast as exp2.
_TABLE_FROM_DB: Final = -30
_TABLE_STEPS_PER_DB: Final = 100
_TABLE: Final[FloatArray] = np.exp2(
    (np.arange(230 * _TABLE_STEPS_PER_DB + 1) + _TABLE_FROM_DB * _TABLE_STEPS_PER_DB)
    / _TABLE_STEPS_PER_DB
    * _LOG2_PER_DB
)


def power(loss_db: FloatArray) -> FloatArray:
    """Return 10**(-L/10) of losses of any shape, to the last bit the same by table or by formula.

    >>> float(power(np.array([30.0]))[0].round(9))
    0.001
    """
    steps: FloatArray = loss_db * _TABLE_STEPS_PER_DB
    np.rint(steps, out=steps)
    if not bool((steps / _TABLE_STEPS_PER_DB == loss_db).all()):
        return np.asarray(np.exp2(loss_db * _LOG2_PER_DB))
    steps -= _TABLE_FROM_DB * _TABLE_STEPS_PER_DB
    if steps.size == 0 or steps.min() < 0 or steps.max() >= _TABLE.size:
        return np.asarray(np.exp2(loss_db * _LOG2_PER_DB))
    return np.asarray(_TABLE.take(steps.astype(np.intp), mode="clip"))


def decibels(power_ratio: FloatArray) -> FloatArray:
    """Return the loss that a power ratio is, infinite for none at all. [dB]."""
    with np.errstate(divide="ignore"):
        return np.asarray(_DB_PER_LOG2 * np.log2(power_ratio))


def power_sum(loss_db: FloatArray) -> FloatArray:
    r"""Return the power sum of several disturbers on one pair.

    $PS = -10 \log_{10} \sum_k 10^{-L_k/10}$

    Args:
        loss_db: (k, n) crosstalk loss from each of k disturbing pairs. [dB]

    Returns:
        (n,) power-sum loss, never above the smallest ``loss_db``. [dB]

    Three equal disturbers cost 10*log10(3) = 4.77 dB:

    >>> power_sum(np.array([[40.0], [40.0], [40.0]])).round(2).tolist()
    [35.23]
    """
    return decibels(power(loss_db).sum(axis=0))


def summed_power(disturber_power: FloatArray, disturbers: IndexArray) -> FloatArray:
    """Return the power that all three disturbers of each pair give together.

    Args:
        disturber_power: (..., k, n) power ratio of each combination, see ``power``.
        disturbers: (4, 3) the rows that disturb each pair.

    Returns:
        (..., 4, n) in the order of ``PAIRS``.
    """
    return np.asarray(disturber_power.take(disturbers, axis=-2).sum(axis=-2))


def power_sums(loss_db: FloatArray, disturbers: IndexArray) -> FloatArray:
    """Return the power sums on all four pairs.

    Args:
        loss_db: (..., k, n) crosstalk loss of each combination. [dB]
        disturbers: (4, 3) the rows of ``loss_db`` that disturb each pair.

    Returns:
        (..., 4, n) power sums in the order of ``PAIRS``. [dB]
    """
    return decibels(summed_power(power(loss_db), disturbers))


def acr_n(next_db: FloatArray, insertion_loss_db: FloatArray) -> FloatArray:
    """Return ACR-N: NEXT less the insertion loss of the disturbed pair.

    Args:
        next_db: (..., 6, n) in the order of ``NEXT_COMBINATIONS``. [dB]
        insertion_loss_db: (..., 4, n) in the order of ``PAIRS``. [dB]

    Returns:
        (..., 12, n) in the order of ``FEXT_COMBINATIONS``. [dB]
    """
    ratio: FloatArray = next_db.take(ORDERED_NEXT_ROWS, axis=-2)
    ratio -= insertion_loss_db.take(DISTURBED_ROWS, axis=-2)
    return ratio


def acr_f(fext_db: FloatArray, insertion_loss_db: FloatArray, *, loss_of: str = "disturbed") -> FloatArray:
    """Return ACR-F: FEXT less an insertion loss.

    Args:
        fext_db: (..., 12, n) in the order of ``FEXT_COMBINATIONS``. [dB]
        insertion_loss_db: (..., 4, n) in the order of ``PAIRS``. [dB]
        loss_of: ``disturbed`` or ``disturbing``: whose loss is taken off.

    Returns:
        (..., 12, n) in the order of ``FEXT_COMBINATIONS``. [dB]
    """
    rows = DISTURBED_ROWS if loss_of == "disturbed" else DISTURBING_ROWS
    return np.asarray(fext_db - insertion_loss_db.take(rows, axis=-2))
