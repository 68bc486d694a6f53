"""Signal-to-noise ratio at the decision point, of a link and of one at the limit lines.

The Salz result for an ideal decision-feedback equaliser: the geometric mean of
1 + SNR over the band, less 1. Noise is thermal noise, what is left of the own
pairs' echo, NEXT and FEXT after cancellation, and noise from other cables.
Calculated and shown, never part of an answer: published results are missed by
up to 2 dB, most of which is common to both links and cancels.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np

from fourpair_service.domain.applications.data import Application, ApplicationData, NoiseData, Receiver
from fourpair_service.domain.applications.segment import LinkTables
from fourpair_service.domain.grading.rows import ENDS
from fourpair_service.domain.grading.table import IndexArray
from fourpair_service.domain.link import PAIRS, End
from fourpair_service.domain.measurement import FloatArray
from fourpair_service.domain.parameters import Parameter

GRID_POINTS: Final = 400
# Three equal disturbers: what a pair-to-pair limit is as a power sum.
THREE_DISTURBERS_DB: Final = 10 * float(np.log10(3))


@dataclass(frozen=True, slots=True, eq=False)
class LineCurves:
    """What a receiver needs to know of its pair, all (..., n) on one grid. [dB].

    Attributes:
        alien_next: PS ANEXT.
        alien_far: PS AACR-F; ``None``: none assumed.
    """

    loss: FloatArray
    return_loss: FloatArray
    ps_next: FloatArray
    ps_acr_f: FloatArray
    alien_next: FloatArray | None = None
    alien_far: FloatArray | None = None


@dataclass(frozen=True, slots=True)
class NoiseMargin:
    """The margin of the worst pair and end.

    Attributes:
        relative_db: over a link at the limit lines; positive is better. [dB]
        snr_db, limit_line_snr_db: either link by itself, an estimate. [dB]
        uncertainty_db: of either of those two. [dB]
        missing: why nothing could be calculated; ``None`` where it was.
        assumptions: as sentences, with their sources.
    """

    application: str
    assumptions: tuple[str, ...]
    relative_db: float | None = None
    snr_db: float | None = None
    limit_line_snr_db: float | None = None
    needed_snr_db: float | None = None
    uncertainty_db: float | None = None
    pair: str | None = None
    end: End | None = None
    missing: str | None = None

    @property
    def text(self) -> str:
        """The margin in a sentence."""
        if self.relative_db is None:
            return f"No noise margin for {self.application}: {self.missing}."
        side = "better" if self.relative_db >= 0 else "worse"
        return (
            f"The signal-to-noise ratio of {self.application} on pair {self.pair}, received at the {self.end} "
            f"end, is {abs(self.relative_db):.1f} dB {side} than over a link at the limit lines (calculated; "
            f"by itself about {self.snr_db:.0f} dB, give or take {self.uncertainty_db:g} dB)."
        )


def grid_mhz(top_mhz: float) -> FloatArray:
    """Return the middle frequencies of equal steps from 0 to the top. [MHz]."""
    return (np.arange(GRID_POINTS) + 0.5) * top_mhz / GRID_POINTS


def salz_db(signal_to_noise: FloatArray) -> FloatArray:
    r"""Return the decision-point SNR of (..., n) power ratios on a grid of equal steps, as (...). [dB].

    $\exp(\overline{\ln(1 + SNR)}) - 1$

    A flat ratio stays what it is:

    >>> round(float(salz_db(np.full(10, 100.0))), 6)
    20.0
    """
    return np.asarray(10 * np.log10(np.expm1(np.mean(np.log1p(signal_to_noise), axis=-1))))


def alien_line_db(level_db: float, frequency_mhz: FloatArray) -> FloatArray:
    """Return PS ANEXT of a level at 100 MHz: 10 dB a decade below, 15 dB above. [dB].

    >>> alien_line_db(60.0, np.array([10.0, 100.0, 1000.0])).tolist()
    [70.0, 60.0, 45.0]
    """
    slope = np.where(frequency_mhz < 100, 10.0, 15.0)
    return np.asarray(level_db - slope * np.log10(frequency_mhz / 100))


def signal_to_noise(line: LineCurves, receiver: Receiver, noise: NoiseData) -> FloatArray:
    """Return the (..., n) power ratio of signal to noise at the receiver before equalising."""
    level = receiver.signal_dbm_per_hz.value
    own = (
        line.return_loss + receiver.echo_cancellation_db,
        line.ps_next + receiver.next_cancellation_db,
        line.ps_acr_f + line.loss + receiver.fext_cancellation_db,
    )
    alien = (
        line.alien_next,
        None if line.alien_far is None else line.alien_far + line.loss,
    )
    total = np.full_like(line.loss, 10 ** (noise.thermal_dbm_per_hz.value / 10))
    for attenuation in (*own, *alien):
        if attenuation is not None:
            total += 10 ** ((level - attenuation) / 10)
    return np.asarray(10 ** ((level - line.loss) / 10) / total)


def limit_line(application: Application, receiver: Receiver) -> LineCurves:
    """Return the curves of a link that lies at every limit of an application."""
    grid = grid_mhz(receiver.top_mhz)
    inside = np.clip(grid, application.from_mhz, application.to_mhz)
    at = {parameter: curve.at(inside) for parameter, curve in application.limits.items()}
    own = at[Parameter.NEXT] - THREE_DISTURBERS_DB
    return LineCurves(
        at[Parameter.INSERTION_LOSS],
        at[Parameter.RETURN_LOSS],
        at.get(Parameter.PS_NEXT, own),
        at[Parameter.PS_ACR_F],
        _assumed_alien(receiver, grid),
    )


def _assumed_alien(receiver: Receiver, grid: FloatArray) -> FloatArray | None:
    level = receiver.alien_at_100_mhz
    return None if level is None else alien_line_db(level.value, grid)


def noise_margins(link: LinkTables, data: ApplicationData) -> Iterator[NoiseMargin]:
    """Yield the margin of every application that has a receiver, cords included.

    Args:
        link: from device to device.
        data: applications, receivers and assumptions.
    """
    for name, receiver in data.noise.receivers.items():
        yield _margin(link, data.applications[name], receiver, data.noise)


@lru_cache(maxsize=64)
def _limit_line_snr_db(application: Application, receiver: Receiver, noise: NoiseData) -> float:
    return float(salz_db(signal_to_noise(limit_line(application, receiver), receiver, noise)))


def _margin(link: LinkTables, application: Application, receiver: Receiver, noise: NoiseData) -> NoiseMargin:
    said = tuple(assumptions(receiver, noise))
    lines = _lines(link, receiver)
    if lines is None:
        missing = f"it needs insertion loss, return loss, NEXT and FEXT of all four pairs to {receiver.top_mhz:g} MHz"
        return NoiseMargin(application.name, said, missing=missing)
    ratios = salz_db(signal_to_noise(lines, receiver, noise))
    end, pair = divmod(int(ratios.argmin()), len(PAIRS))
    lowest, reference = float(ratios.min()), _limit_line_snr_db(application, receiver, noise)
    return NoiseMargin(
        application.name,
        said,
        relative_db=lowest - reference,
        snr_db=lowest,
        limit_line_snr_db=reference,
        needed_snr_db=receiver.needed_snr.value,
        uncertainty_db=noise.uncertainty.value,
        pair=PAIRS[pair],
        end=ENDS[end],
    )


def _lines(link: LinkTables, receiver: Receiver) -> LineCurves | None:
    """Return the curves of both ends and four pairs, (2, 4, n), ``None`` where any is missing."""
    loss = _curves(link, Parameter.INSERTION_LOSS, None, receiver.top_mhz)
    # What arrives at an end was injected at the other one.
    wanted = ((Parameter.RETURN_LOSS, False), (Parameter.PS_NEXT, False), (Parameter.PS_ACR_F, True))
    found = [
        _curves(link, parameter, end.other if is_far else end, receiver.top_mhz)
        for parameter, is_far in wanted
        for end in ENDS
    ]
    known = [curves for curves in found if curves is not None]
    if loss is None or len(known) < len(found):
        return None
    reflection, near, far = (np.stack(known[at : at + len(ENDS)]) for at in range(0, len(known), len(ENDS)))
    alien = _assumed_alien(receiver, grid_mhz(receiver.top_mhz))
    return LineCurves(np.stack([loss] * len(ENDS)), reflection, near, far, alien)


def _curves(link: LinkTables, parameter: Parameter, end: End | None, top_mhz: float) -> FloatArray | None:
    """Return (4, n) a parameter of all four pairs on the grid to a top frequency, ``None`` where it is not known.

    Below the first measured point, 1 MHz or less, a curve is held.
    """
    for table, _, group in link.groups():
        reaches = table.frequency_mhz[-1] >= top_mhz
        if group.parameter is parameter and group.end is end and reaches and group.keys == PAIRS:
            below, share = _between(table.frequency_mhz.tobytes(), top_mhz)
            value = group.sign * group.signed_db[0]
            on_grid = value[:, below] * (1 - share) + value[:, below + 1] * share
            return on_grid if bool(np.isfinite(on_grid).all()) else None
    return None


@lru_cache(maxsize=64)
def _between(axis: bytes, top_mhz: float) -> tuple[IndexArray, FloatArray]:
    """Return, for each point of a grid, the point of an axis below it and how far it is to the next one."""
    frequency, grid = np.frombuffer(axis), grid_mhz(top_mhz)
    below = np.clip(np.searchsorted(frequency, grid, side="right") - 1, 0, frequency.size - 2)
    share = (grid - frequency[below]) / (frequency[below + 1] - frequency[below])
    return below, np.clip(share, 0.0, 1.0)


def assumptions(receiver: Receiver, noise: NoiseData) -> Iterator[str]:
    """Yield what a calculation assumes, as sentences with their sources."""
    sent, thermal = receiver.signal_dbm_per_hz, noise.thermal_dbm_per_hz
    yield f"The signal is sent flat at {sent.value:g} dBm/Hz to {receiver.top_mhz:g} MHz ({sent.source})."
    yield f"Thermal noise is {thermal.value:g} dBm/Hz ({thermal.source})."
    yield (
        f"The receiver takes {receiver.echo_cancellation_db:g} dB off its echo, "
        f"{receiver.next_cancellation_db:g} dB off NEXT and {receiver.fext_cancellation_db:g} dB off FEXT "
        f"({receiver.cancellation.source})."
    )
    alien = receiver.alien_at_100_mhz
    if alien is None:
        yield "No noise from other cables is assumed."
    else:
        yield (
            f"Noise from other cables is the same for both links: PS ANEXT of {alien.value:g} dB at 100 MHz "
            f"({alien.source})."
        )
    needed = receiver.needed_snr
    yield f"The code needs about {needed.value:g} dB ({needed.source})."
