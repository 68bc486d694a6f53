r"""The level on each pair: does the port send enough, and does the cable leave enough of it?

What arrives is what is sent less the loss of the link: V 10^(-loss/20), with the
loss at the frequency where most of the signal's power lies.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np

from fourpair_service.domain.cords import Cords
from fourpair_service.domain.grading.single_values import intact_pairs
from fourpair_service.domain.grading.timing import length_m
from fourpair_service.domain.measurement import LinkMeasurement
from fourpair_service.domain.parameters import Parameter
from fourpair_service.domain.port.facts import PortFacts, Transmitter
from fourpair_service.domain.port.observation import Level

# The voltages are those at 100 ohm; a resistor of 1 % counts as such (own tolerance).
JUDGED_OHM: Final = 100.0
TOLERANCE_OHM: Final = 1.0


class LevelFinding(StrEnum):
    """What a level says of the port and the cable."""

    BOTH_FINE = "both_fine"
    DEVICE_SENDS_TOO_LITTLE = "device_sends_too_little"
    DEVICE_SENDS_TOO_MUCH = "device_sends_too_much"
    CABLE_EATS_TOO_MUCH = "cable_eats_too_much"
    BOTH_TOO_WEAK = "both_too_weak"
    DEVICE_FINE = "device_fine"
    ENOUGH_ARRIVES = "enough_arrives"
    CANNOT_TELL = "cannot_tell"
    NOT_JUDGED = "not_judged"


@dataclass(frozen=True, slots=True)
class LevelResult:
    """One level, held against transmitter and receiver.

    Attributes:
        transmitter: whose limits were taken, ``None`` where it was not judged.
        loss_db: of the link on this pair, ``None`` where it was not measured. [dB]
        sent_v: at the port, measured or worked back from the far end. [V]
        arrives_v: at the far end, measured or worked out. [V]
    """

    level: Level
    finding: LevelFinding
    text: str
    transmitter: Transmitter | None = None
    loss_db: float | None = None
    sent_v: float | None = None
    arrives_v: float | None = None

    @property
    def is_too_weak(self) -> bool:
        """Whether it is known that a receiver gets less than it needs."""
        if self.transmitter is None or self.finding is LevelFinding.NOT_JUDGED:
            return False
        known = self.sent_v if self.arrives_v is None else self.arrives_v
        return known is not None and known < self.transmitter.enough_v


def after_loss_v(peak_v: float, loss_db: float) -> float:
    """Return what is left of a voltage. [V].

    2.2 V less the 11.5 dB that a 10BASE-T link may lose:

    >>> round(after_loss_v(2.2, 11.5), 3)
    0.585
    """
    return float(peak_v * 10 ** (-loss_db / 20))


def link_loss_db(
    measurement: LinkMeasurement, pair: str, at_mhz: float, cords: Cords | None = None
) -> float | None:
    """Return the insertion loss of an unbroken pair, ``None`` where it was not measured there. [dB].

    Args:
        measurement: the link.
        pair: such as ``"36"``.
        at_mhz: within the sweep. [MHz]
        cords: to add by their share of the length, where the length is known.
    """
    sweep = measurement.sweep(Parameter.INSERTION_LOSS, None, pair)
    if sweep is None or pair not in intact_pairs(measurement):
        return None
    f = sweep.frequency_mhz
    if not f[0] <= at_mhz <= f[-1]:
        return None
    loss = float(np.interp(at_mhz, f, sweep.value_db))
    length = length_m(measurement, pair)
    return loss * (1 + cords.equivalent_m / length) if cords and length else loss


def judge_levels(
    levels: Sequence[Level], measurement: LinkMeasurement | None, facts: PortFacts, cords: Cords | None = None
) -> tuple[LevelResult, ...]:
    """Return each level held against what must be sent and what a receiver needs.

    Args:
        levels: as found.
        measurement: the link, ``None`` where no cable was tested.
        facts: transmitters.
        cords: to add where a level at the port is followed to the far end.
    """
    return tuple(_judge(level, measurement, facts, cords) for level in levels)


def _judge(
    level: Level, measurement: LinkMeasurement | None, facts: PortFacts, cords: Cords | None
) -> LevelResult:
    known = [t for t in facts.transmitters if t.signal == level.signal]
    why_not = _why_not(level, known)
    if why_not:
        text = f"Pair {level.pair}: {level.peak_v:.2f} V, shown only: {why_not}"
        return LevelResult(level, LevelFinding.NOT_JUDGED, text)
    added = cords if level.at == "port" else None
    loss = None if measurement is None else link_loss_db(measurement, level.pair, known[0].at_mhz, added)
    if level.at == "port":
        return _at_port(level, _fitting(level.peak_v, known), loss)
    sent = None if loss is None else after_loss_v(level.peak_v, -loss)
    return _at_far_end(level, known[0] if sent is None else _fitting(sent, known), loss, sent)


def _why_not(level: Level, known: list[Transmitter]) -> str | None:
    if not known:
        return "a signal of many levels has no peak that could be judged."
    if level.termination_ohm is None:
        return "state the termination; voltages are judged at 100 ohm."
    if abs(level.termination_ohm - JUDGED_OHM) > TOLERANCE_OHM:
        return f"measured at {level.termination_ohm:g} ohm, voltages are judged at 100 ohm."
    if level.at is None:
        return "state whether it was measured at the port or at the far end."
    return None


def _fitting(sent_v: float, known: list[Transmitter]) -> Transmitter:
    """Return the strongest transmitter whose least voltage is sent, else the weakest."""
    return next((t for t in known if sent_v >= t.peak_v[0]), known[-1])


def _at_port(level: Level, transmitter: Transmitter, loss_db: float | None) -> LevelResult:
    low, high = transmitter.peak_v
    arrives = None if loss_db is None else after_loss_v(level.peak_v, loss_db)
    sends = f"Pair {level.pair}: the port sends {level.peak_v:.2f} V"
    must = f"{transmitter.name} must send {low:g} to {high:g} V"
    if level.peak_v < low:
        finding, text = LevelFinding.DEVICE_SENDS_TOO_LITTLE, f"{sends}; {must}. The device sends too little."
    elif level.peak_v > high:
        finding, text = LevelFinding.DEVICE_SENDS_TOO_MUCH, f"{sends}; {must}. The device sends too much."
    elif arrives is None or loss_db is None:
        finding = LevelFinding.DEVICE_FINE
        text = f"{sends}, as {transmitter.name} must; the loss of the cable on this pair is not known."
    elif arrives < transmitter.enough_v:
        finding = LevelFinding.CABLE_EATS_TOO_MUCH
        text = (
            f"{sends}, as {transmitter.name} must; after {loss_db:.1f} dB {arrives:.2f} V arrive, of which a "
            f"receiver needs {transmitter.enough_v:g} V. The cable eats too much."
        )
    else:
        finding = LevelFinding.BOTH_FINE
        text = f"{sends} and {arrives:.2f} V arrive after {loss_db:.1f} dB. Both are fine."
    return LevelResult(level, finding, text, transmitter, loss_db, level.peak_v, arrives)


# (the device sends what it must, the cable leaves enough of the least that may be sent)
_BLAME: Final = {
    (True, True): (LevelFinding.BOTH_FINE, "Both are fine."),
    (False, True): (LevelFinding.DEVICE_SENDS_TOO_LITTLE, "The device sends too little."),
    (True, False): (LevelFinding.CABLE_EATS_TOO_MUCH, "The cable eats too much."),
    (False, False): (
        LevelFinding.BOTH_TOO_WEAK,
        "The device sends too little, and the cable eats too much.",
    ),
}


def _at_far_end(
    level: Level, transmitter: Transmitter, loss_db: float | None, sent_v: float | None
) -> LevelResult:
    need = transmitter.enough_v
    enough = level.peak_v >= need
    arrives = f"Pair {level.pair}: {level.peak_v:.2f} V arrive, a receiver needs {need:g} V"
    if loss_db is None or sent_v is None:
        if enough:
            finding, text = LevelFinding.ENOUGH_ARRIVES, f"{arrives}. Enough arrives."
        else:
            finding = LevelFinding.CANNOT_TELL
            lost = " and may see nothing" if level.peak_v < transmitter.lost_below_v else ""
            text = (
                f"{arrives}{lost}. Whether the device or the cable is to blame needs the insertion loss of "
                "the pair, or the level at the port."
            )
        return LevelResult(level, finding, text, transmitter, None, None, level.peak_v)
    sends = sent_v >= transmitter.peak_v[0]
    leaves = enough if sends else after_loss_v(transmitter.peak_v[0], loss_db) >= need
    finding, words = _BLAME[sends, leaves]
    text = (
        f"{arrives}; with {loss_db:.1f} dB of loss the port sends {sent_v:.2f} V, and {transmitter.name} must "
        f"send at least {transmitter.peak_v[0]:g} V. {words}"
    )
    if enough and not sends:
        text += " What arrives is still enough here."
    return LevelResult(level, finding, text, transmitter, loss_db, sent_v, level.peak_v)
