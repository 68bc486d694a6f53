"""Where crosstalk or reflection of one curve comes from: an end, a place between, or everywhere.

With phase the place is computed. Without it, one source shows itself by a smooth
curve: its loss falls by 20 dB a decade as measured from its own end, and by
that less twice the loss of the line from the other, while many small sources
add up to a ragged one.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from fourpair_service.domain.diagnosis.evidence import Evidence
from fourpair_service.domain.distance.coupling import concentration
from fourpair_service.domain.distance.line import LinePath
from fourpair_service.domain.distance.transform import reflection_at
from fourpair_service.domain.distance.weights import band_weights
from fourpair_service.domain.link import End
from fourpair_service.domain.measurement import FloatArray, Sweep
from fourpair_service.domain.parameters import Parameter

# Own criteria, no published source. A place holds a share of the power; within so many
# metres of an end it is the connector there.
ONE_PLACE_SHARE: Final = 0.4
CONNECTOR_M: Final = 3.0
# Departure from a straight line that one source stays below and many exceed: the level of
# many random sources is spread by 5.6 dB (standard deviation of the Rayleigh distribution in dB).
SMOOTH_DB: Final = 3.0
SMOOTH_FROM_MHZ: Final = 20.0
REFERENCE_MHZ: Final = 100.0


@dataclass(frozen=True, slots=True)
class Source:
    """Where one curve comes from.

    Attributes:
        end: the connector that it is at, ``None`` elsewhere.
        position_m: from the near end, where computed; ``None`` else. [m]
        is_spread: whether it comes from the whole cable.
        level_db: what it would measure at 100 MHz alone, at its own place. [dB]
        seen_from: the end that was measured from.
    """

    end: End | None
    is_spread: bool
    level_db: float
    seen_from: End
    position_m: float | None = None
    uncertainty_m: float | None = None


def source(evidence: Evidence, parameter: Parameter, end: End, key: str) -> Source:
    """Return where NEXT of a combination or return loss of a pair comes from; it must have been measured."""
    sweep = evidence.measurement.sweep(parameter, end, key)
    assert sweep is not None, "a curve that fails was measured"
    path = evidence.path_between(key)
    if evidence.complex_sweep(parameter, end, key) is not None and path is not None:
        return _with_phase(sweep, path, end)
    return _by_shape(evidence, sweep, end, key)


def _with_phase(sweep: Sweep, path: LinePath, end: End) -> Source:
    found = concentration(sweep, path)
    near_m = found.position_m if end is End.NEAR else path.length_m - found.position_m
    f = sweep.frequency_mhz
    value = np.abs(reflection_at(sweep, path, np.array([found.position_m])))[0]
    mean_mhz = float(band_weights(f) @ f)
    level_db = -20 * np.log10(max(float(value), 1e-10) * REFERENCE_MHZ / mean_mhz)
    if found.share <= ONE_PLACE_SHARE:
        return Source(None, True, level_db, end)
    return Source(_end_at(near_m, path.length_m), False, level_db, end, near_m, found.uncertainty_m)


def _end_at(position_m: float, length_m: float) -> End | None:
    reach = min(CONNECTOR_M, length_m / 3)
    if position_m < reach:
        return End.NEAR
    return End.FAR if position_m > length_m - reach else None


def level_at_100_mhz_db(sweep: Sweep) -> float:
    """Return the mean level of a curve as if it fell by 20 dB a decade everywhere. [dB at 100 MHz]."""
    used = _shape_band(sweep)
    return _fit(sweep.frequency_mhz[used], sweep.value_db[used])[1]


def _shape_band(sweep: Sweep) -> np.typing.NDArray[np.bool_]:
    return np.asarray(sweep.frequency_mhz >= min(SMOOTH_FROM_MHZ, sweep.frequency_mhz[-1] / 2))


def _by_shape(evidence: Evidence, sweep: Sweep, end: End, key: str) -> Source:
    used = _shape_band(sweep)
    f, loss = sweep.frequency_mhz[used], sweep.value_db[used]
    here = _fit(f, loss)
    there = _fit(f, loss - 2 * _line_loss_db(evidence, key, f))
    best, place = min((here, end), (there, end.other), key=lambda choice: choice[0][0])
    if best[0] > SMOOTH_DB:
        return Source(None, True, best[1], end)
    return Source(place, False, best[1], end)


def _fit(frequency_mhz: FloatArray, loss_db: FloatArray) -> tuple[float, float]:
    """Return the scatter about a line of 20 dB a decade, and that line at 100 MHz. [dB]."""
    level = loss_db + 20 * np.log10(frequency_mhz / REFERENCE_MHZ)
    # Powers are averaged, so that a null of two sources does not count as one of many.
    middle = float(-10 * np.log10(np.mean(10 ** (-level / 10))))
    return float(np.std(level)), middle


def _line_loss_db(evidence: Evidence, key: str, frequency_mhz: FloatArray) -> FloatArray:
    sweeps = [evidence.measurement.sweep(Parameter.INSERTION_LOSS, None, pair) for pair in key.split("-")]
    losses = [np.interp(frequency_mhz, s.frequency_mhz, s.value_db) for s in sweeps if s is not None]
    return np.mean(losses, axis=0) if losses else np.full_like(frequency_mhz, np.inf)
