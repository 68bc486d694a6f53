"""Two ways through a split stretch: how far the faster one is ahead of the slower at its end."""

from __future__ import annotations

from typing import Final

import numpy as np

from fourpair_service.domain.distance.line import DB_PER_NEPER, LinePath
from fourpair_service.domain.distance.weights import band_weights, checked_axis
from fourpair_service.domain.measurement import FloatArray, Sweep

# Phantom modes are faster than those of pairs by up to 15 % (NVP to 0.78 against 0.68, from a
# model of the geometry of two pairs side by side).
FASTEST: Final = 0.15
STEP_M: Final = 0.05
# The beat of the two modes must be much of how the loss departs from that of a sound pair: a third
# of its power is a correlation of 0.6. Own criterion, no published source.
LEAST_ALIKE: Final = 0.6
# Two modes of equal strength beat by a half. Own criterion, no published source.
LEAST_BEAT: Final = 0.1


def faster_by_m(insertion_loss: Sweep, path: LinePath, stretch_m: float) -> float | None:
    """Return by how much the far end of a split stretch reads too near, ``None`` where that is not seen.

    Half of the signal of a split pair runs between its two wires as in a sound pair, half between
    pair and pair, and faster: S21 = (To + Te) / 2. Where the two arrive half a period apart they
    cancel, so that the loss has nulls at odd multiples of one frequency. With the phase lag beta
    per metre of a sound pair, |S21 / To|^2 = (1 + a^2 + 2 a cos(beta x)) / 4, and x is what the
    stretch is longer by than the faster mode makes it appear: no velocity has to be assumed.
    Magnitudes are enough. At least half a beat must lie in the band. That the phantom is the
    faster one is assumed: its field runs more in the air between the pairs.

    Args:
        insertion_loss: of one of the two pairs.
        path: of a sound pair of the same link.
        stretch_m: how long the stretch reads with the velocity of that pair. [m]

    Raises:
        InvalidMeasurementError: too few points.
    """
    f = checked_axis(insertion_loss)
    beta = path.phase_rad_per_m(f)
    sound_db = DB_PER_NEPER * path.attenuation_np_per_m(f) * path.length_m
    ratio = 10 ** ((sound_db - insertion_loss.value_db) / 10)
    candidates = np.arange(np.pi / beta[-1], FASTEST * stretch_m, STEP_M)
    if candidates.size < 3:
        return None
    alike, strength = _beats(np.cos(np.outer(candidates, beta)), ratio, band_weights(f))
    best = int(alike.argmax())
    if strength[best] < LEAST_BEAT or alike[best] < LEAST_ALIKE or best in (0, candidates.size - 1):
        return None
    left, top, right = alike[best - 1 : best + 2]
    return float(candidates[best] + STEP_M * (left - right) / (2 * (left - 2 * top + right)))


def _beats(beats: FloatArray, ratio: FloatArray, weight: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the correlation of a ratio (nf,) with each beat (n, nf), and the amplitude it has of it. (n,), (n,)."""
    share = weight / weight.sum()
    from_mean = ratio - share @ ratio
    around = beats - (beats @ share)[:, None]
    together = around @ (share * from_mean)
    power = np.maximum(around**2 @ share, 1e-30)
    spread = max(float(share @ from_mean**2), 1e-30)
    return np.asarray(together / np.sqrt(power * spread)), np.asarray(together / power)
