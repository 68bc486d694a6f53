"""Faults of the cable as a whole: length, velocity, material, temperature, skew."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from statistics import median
from typing import Final

import numpy as np

from fourpair_service.domain.diagnosis.evidence import HIGH_BAND_MHZ, LOW_BAND_MHZ, Evidence
from fourpair_service.domain.diagnosis.faults import FaultCode
from fourpair_service.domain.diagnosis.model import Confidence, Fault
from fourpair_service.domain.parameters import Parameter

P = Parameter
# Own criteria, no published source. Loss over that of the category: good cable lies below 1.
LOSSY: Final = 1.12
# DC resistance over that of copper: half as much again is another material or a thinner wire,
# a little more is heat.
THIN_OR_CLAD: Final = 1.3
WARM: Final = 1.06
# A length that the loss and the resistance both contradict by this share is a wrong velocity.
SHORTER: Final = 0.87
# Contacts and adapters weigh too much in the resistance of a shorter link. [m]
SHORTEST_FOR_MATERIAL_M: Final = 10.0
USUAL_GAUGE_AWG: Final = 24
# Above this the standards count loss up. [degree Celsius]
REFERENCE_C: Final = 20.0


@dataclass(frozen=True, slots=True)
class _Material:
    """What loss and resistance say of the cable; ``None`` where not to be had.

    Attributes:
        high, low: loss over that of the category at high and at low frequency.
        resistance: DC loop resistance over that of copper of the gauge.
        gauge_awg: the gauge as declared, else a usual one.
    """

    high: float | None
    low: float | None
    resistance: float | None
    gauge_awg: int
    is_gauge_declared: bool


def cable_faults(evidence: Evidence) -> Iterator[Fault]:
    """Yield what concerns the cable as a whole."""
    material = _material(evidence)
    thick = (evidence.length_m or 0.0) >= SHORTEST_FOR_MATERIAL_M
    of_metal = (_clad(evidence, material) or _thin(evidence, material)) if thick else None
    if fault := of_metal or _lossy(evidence, material):
        yield fault
    if fault := _length(evidence, material):
        yield fault
    if evidence.failing(P.DELAY_SKEW) and not evidence.broken:
        yield _skew(evidence)


def _median(ratios: dict[str, float]) -> float | None:
    return median(ratios.values()) if ratios else None


def _material(evidence: Evidence) -> _Material:
    declared = evidence.measurement.cable.awg
    gauge = declared or USUAL_GAUGE_AWG
    return _Material(
        _median(evidence.loss_ratio(HIGH_BAND_MHZ)),
        _median(evidence.loss_ratio(LOW_BAND_MHZ)),
        evidence.resistance_ratio(gauge),
        gauge,
        declared is not None,
    )


def _ratio_text(name: str, ratio: float, against: str) -> str:
    return f"{name} is {ratio:.2f} times that of {against} of this length."


def _resistance_text(material: _Material) -> str:
    against = f"solid copper of {material.gauge_awg} AWG"
    return _ratio_text("DC loop resistance", material.resistance or 0.0, against)


def _loss_text(material: _Material) -> str:
    return _ratio_text(
        "Insertion loss from 16 MHz up", material.high or 0.0, "cable of the category at its limit"
    )


def _clad(evidence: Evidence, material: _Material) -> Fault | None:
    if material.resistance is None or material.resistance < THIN_OR_CLAD:
        return None
    if material.high is None or material.high >= LOSSY:
        return None
    texts = [_resistance_text(material), _loss_text(material)]
    if not material.is_gauge_declared:
        if not evidence.failing(P.DC_LOOP_RESISTANCE):
            return None
        texts.append("The gauge is not stated, so a thinner conductor cannot be told from a clad one.")
        return Fault(FaultCode.CLAD_CONDUCTORS, Confidence.POSSIBLE, tuple(texts))
    texts.append(
        "Resistance too high at DC and not at high frequency: a thin skin of copper on another metal."
    )
    return Fault(FaultCode.CLAD_CONDUCTORS, Confidence.LIKELY, tuple(texts))


def _thin(evidence: Evidence, material: _Material) -> Fault | None:
    is_thin = (material.resistance or 0.0) >= THIN_OR_CLAD and (material.high or 0.0) >= LOSSY
    if not is_thin:
        return None
    confidence = Confidence.LIKELY if material.is_gauge_declared else Confidence.POSSIBLE
    texts = (_resistance_text(material), _loss_text(material))
    return Fault(FaultCode.STRANDED_CABLE, confidence, texts)


def _lossy(evidence: Evidence, material: _Material) -> Fault | None:
    """Return why insertion loss fails where neither length nor resistance explains it."""
    failing = [k for k in evidence.failing_keys(P.INSERTION_LOSS) if k in evidence.sound]
    if not failing or material.high is None:
        return None
    temperature = evidence.measurement.cable.temperature_c
    heated = evidence.temperature_factor > 1 and _would_pass_cool(evidence)
    if material.high < LOSSY:
        if heated and not evidence.failing(P.LENGTH, P.PROPAGATION_DELAY):
            text = f"The cable was at {temperature:.0f} °C; at {REFERENCE_C:.0f} °C its loss would pass."
            return Fault(FaultCode.HOT_OR_WET_CABLE, Confidence.LIKELY, (text,))
        return None
    if material.resistance is None:
        text = "DC resistance was not measured; it would tell thin or stranded wire from heat and water."
        return Fault(FaultCode.STRANDED_CABLE, Confidence.POSSIBLE, (_loss_text(material), text))
    warm = material.resistance >= WARM
    text = "DC resistance is raised a little, as heat does." if warm else "DC resistance is as it should be."
    texts = (_loss_text(material), _resistance_text(material), text)
    return Fault(FaultCode.HOT_OR_WET_CABLE, Confidence.POSSIBLE, texts)


def _would_pass_cool(evidence: Evidence) -> bool:
    for result in evidence.failing(P.INSERTION_LOSS):
        for point in result.by_pair:
            limit = point.limit
            if limit is not None and point.measured / evidence.temperature_factor > limit:
                return False
    return True


def _length(evidence: Evidence, material: _Material) -> Fault | None:
    measured = evidence.failing(P.LENGTH, P.PROPAGATION_DELAY)
    if not measured:
        return _too_lossy_for_length(evidence, material)
    ratios = [r for r in (material.high, material.resistance) if r is not None]
    if not evidence.failing(P.PROPAGATION_DELAY) and ratios and max(ratios) < SHORTER:
        text = (
            f"The length of {evidence.length_m:.1f} m rests on an NVP of {evidence.nvp:.2f}; "
            f"loss and resistance fit a link {max(ratios):.2f} times as long, and its delay passes."
        )
        return Fault(FaultCode.WRONG_NVP, Confidence.LIKELY, (text,))
    texts = tuple(
        f"{r.parameter.value.replace('_', ' ').capitalize()} is {r.worst_margin.measured:.1f} {_unit(r.parameter)} "
        f"and may be {r.worst_margin.limit:.1f} {_unit(r.parameter)}."
        for r in measured
        if r.worst_margin is not None and r.worst_margin.limit is not None
    )
    both = len({r.parameter for r in measured}) > 1 or bool(evidence.failing(P.INSERTION_LOSS))
    return Fault(FaultCode.TOO_LONG, Confidence.LIKELY if both else Confidence.POSSIBLE, texts)


def _unit(parameter: Parameter) -> str:
    return "m" if parameter is P.LENGTH else "ns"


def _too_lossy_for_length(evidence: Evidence, material: _Material) -> Fault | None:
    """Return the length as the cause of a loss that fits the cable."""
    failing = [k for k in evidence.failing_keys(P.INSERTION_LOSS) if k in evidence.sound]
    if not failing or material.high is None or material.high >= LOSSY or evidence.length_m is None:
        return None
    if evidence.temperature_factor > 1 and _would_pass_cool(evidence):
        return None
    text = f"{evidence.length_m:.1f} m of cable; {_loss_text(material)[0].lower()}{_loss_text(material)[1:]}"
    return Fault(FaultCode.TOO_LONG, Confidence.POSSIBLE, (text,))


def _skew(evidence: Evidence) -> Fault:
    delays = evidence.delay_ns
    texts = ["The pairs differ in delay by more than they may."]
    if delays:
        listed = ", ".join(f"{pair} {delay:.0f} ns" for pair, delay in delays.items())
        texts.append(f"Delays: {listed}.")
    if not evidence.failing(P.PROPAGATION_DELAY):
        texts.append("Each delay by itself passes, so it is not the length.")
    slow = [pair for pair, delay in delays.items() if delay > np.mean(list(delays.values()))]
    return Fault(FaultCode.MIXED_INSULATION, Confidence.LIKELY, tuple(texts), tuple(slow))
