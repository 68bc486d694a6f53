"""Power found on a port, in words and against its type and class."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from fourpair_service.domain.port.observation import Poe
from fourpair_service.domain.powering.facts import PoweringFacts, SourceType
from fourpair_service.domain.powering.heating import CAUTIONS


@dataclass(frozen=True, slots=True)
class PoeResult:
    """Power found on a port.

    Attributes:
        type: as told, else the lowest that has the class.
        pinouts: names of the standard for the pairs that carry power.
        on_this_cable: whether the link carries the class, a state of powering.
        texts: what it is and what is odd.
    """

    type: int | None
    power_class: int | None
    pinouts: tuple[str, ...]
    on_this_cable: str | None
    texts: tuple[str, ...]
    cautions: tuple[str, ...] = CAUTIONS


def judge_poe(poe: Poe, facts: PoweringFacts, class_states: Mapping[int, str]) -> PoeResult:
    """Return power found on a port in words.

    Args:
        poe: as observed.
        facts: types and classes.
        class_states: by class, whether this link carries it; empty without a cable test.
    """
    source_type = _type(poe, facts)
    pinouts, odd = _pinouts(poe, facts)
    is_single = poe.signature != "dual"
    state = class_states.get(poe.power_class) if poe.power_class is not None and is_single else None
    texts = [*_class_texts(poe, facts), *_voltage_texts(poe, source_type), *odd]
    if not is_single:
        texts.append("The device has two signatures: it is shown and not judged.")
    return PoeResult(
        source_type.number if source_type else None, poe.power_class, pinouts, state, tuple(texts)
    )


def _type(poe: Poe, facts: PoweringFacts) -> SourceType | None:
    if poe.type is not None:
        return facts.types[poe.type]
    if poe.power_class is None:
        return None
    return next(t for t in facts.types.values() if t.highest_class >= poe.power_class)


def _class_texts(poe: Poe, facts: PoweringFacts) -> list[str]:
    if poe.power_class is None:
        return []
    c = facts.classes[poe.power_class]
    texts = [
        f"Class {c.number}: the source gives up to {c.source_power_w:g} W on {c.pairs} pairs, the device may "
        f"draw {c.device_power_w:g} W."
    ]
    if poe.type is not None and facts.types[poe.type].highest_class < c.number:
        texts.append(f"A source of type {poe.type} goes up to class {facts.types[poe.type].highest_class}.")
    return texts


def _voltage_texts(poe: Poe, source_type: SourceType | None) -> list[str]:
    if poe.voltage_v is None or source_type is None:
        return []
    at_source = poe.at == "port"
    low, high = source_type.source_voltage_v if at_source else source_type.device_voltage_v
    where = "at the source" if at_source else "at a device"
    if low <= poe.voltage_v <= high:
        return [
            f"{poe.voltage_v:g} V are within the {low:g} to {high:g} V of type {source_type.number} {where}."
        ]
    if poe.voltage_v > high:
        return [f"{poe.voltage_v:g} V are more than the {high:g} V that a source may have: disconnect it."]
    return [
        f"{poe.voltage_v:g} V are less than the {low:g} V of type {source_type.number} {where}: "
        + ("the source is weak, overloaded or off." if at_source else "too much is lost, or no power is on.")
    ]


def _pinouts(poe: Poe, facts: PoweringFacts) -> tuple[tuple[str, ...], tuple[str, ...]]:
    if not poe.positive and not poe.negative:
        return (), ()
    found = [p for p in facts.pinouts if p.positive in poe.positive and p.negative in poe.negative]
    used = {p.positive for p in found} | {p.negative for p in found}
    odd = [pair for pair in (*poe.positive, *poe.negative) if pair not in used]
    notes = (f"The polarity on {', '.join(odd)} fits no pinout of the standard.",) if odd else ()
    return tuple(p.name for p in found), notes
