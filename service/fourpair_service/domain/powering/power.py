"""Everything about power on one link: classes, types, unbalance, heat, cautions."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final

from fourpair_service.domain.cords import Cords, StatedCords, cords_for
from fourpair_service.domain.facts import CableFacts
from fourpair_service.domain.measurement import LinkMeasurement
from fourpair_service.domain.powering.circuit import available_w
from fourpair_service.domain.powering.classes import ClassResult, class_result, class_state
from fourpair_service.domain.powering.facts import PowerClass, PoweringFacts, SourceType
from fourpair_service.domain.powering.heating import CAUTIONS, Guidance, guidance
from fourpair_service.domain.powering.resistance import LinkResistance, link_resistance
from fourpair_service.domain.powering.unbalance import Unbalance, unbalances
from fourpair_service.domain.support import Support

DUAL_SIGNATURE: Final = (
    "A device with two signatures, which draws on its two pairsets separately, is not judged."
)
LOWEST_VOLTAGE: Final = (
    "Counted with the lowest voltage that a source may have; a higher one loses less in the cable."
)


@dataclass(frozen=True, slots=True)
class TypeResult:
    """What a source of one type comes to on this link.

    Attributes:
        highest_class: the highest class that is supported, ``None`` where none is.
        available_w: by class, the most that a device can have at the lowest
            voltage of this type, on the worse pairs; ``None`` where not known. [W]
    """

    source_type: SourceType
    state: Support
    highest_class: int | None
    available_w: Mapping[int, float | None]


@dataclass(frozen=True, slots=True)
class Powering:
    """What a link can carry of power over Ethernet.

    Attributes:
        classes: by number, lowest first.
        types: by number, lowest first.
    """

    resistance: LinkResistance
    classes: Mapping[int, ClassResult]
    types: Mapping[int, TypeResult]
    unbalances: tuple[Unbalance, ...]
    guidance: tuple[Guidance, ...]
    notes: tuple[str, ...]
    cautions: tuple[str, ...] = CAUTIONS

    @property
    def highest_class(self) -> int | None:
        """The highest class that is supported, ``None`` where none is."""
        return _highest(self.classes)


def power_on(
    measurement: LinkMeasurement,
    facts: PoweringFacts,
    cable: CableFacts,
    *,
    standard: str,
    stated: StatedCords | None = None,
) -> Powering:
    """Return what a link can carry of power.

    Args:
        measurement: the link; readings of open or shorted pairs are not used.
        facts: of power over Ethernet.
        cable: of copper.
        standard: family of the edition, ``TIA`` or ``ISO``, for the stranded factor.
        stated: cords to add to a permanent link; ``None``: the default.
    """
    resistance = _resistance(measurement, facts, cable, standard, stated)
    classes = {n: class_result(power_class, resistance) for n, power_class in facts.classes.items()}
    types = {n: _type_result(source_type, classes) for n, source_type in facts.types.items()}
    top = _highest(classes)
    told = facts.classes[top] if top is not None else None
    at_a = _nominal_pair_a(told) if told else facts.types[min(facts.types)].pair_current_a
    advice = () if told is None else guidance(at_a, told.source_power_w, measurement.cable.awg, facts.heating)
    return Powering(
        resistance,
        classes,
        types,
        unbalances(measurement, facts, round(at_a, 2)),
        advice,
        (*resistance.notes, LOWEST_VOLTAGE, DUAL_SIGNATURE),
    )


def supported_types(
    measurement: LinkMeasurement,
    facts: PoweringFacts,
    cable: CableFacts,
    *,
    standard: str,
    stated: StatedCords | None = None,
) -> tuple[int, ...]:
    """Return the power types that :func:`power_on` calls supported, alone."""
    resistance = _resistance(measurement, facts, cable, standard, stated)
    return tuple(
        number
        for number, source_type in facts.types.items()
        if class_state(facts.classes[_top_class(source_type, facts.classes)], resistance) is Support.SUPPORTED
    )


def _resistance(
    measurement: LinkMeasurement,
    facts: PoweringFacts,
    cable: CableFacts,
    standard: str,
    stated: StatedCords | None,
) -> LinkResistance:
    cords = cords_added(measurement, facts, cable, standard, stated)
    return link_resistance(measurement, cords, cable, facts)


def cords_added(
    measurement: LinkMeasurement,
    facts: PoweringFacts,
    cable: CableFacts,
    standard: str,
    stated: StatedCords | None = None,
) -> Cords:
    """Return the cords that power and signals meet beside what was measured.

    An edition of another family takes the largest factor known.

    Args:
        measurement: of a permanent link, or of what has its cords already.
        facts: with the default lengths.
        cable: with the stranded factors.
        standard: family of the edition, ``TIA`` or ``ISO``.
        stated: in place of the default.
    """
    factors = {family: fact.value for family, fact in cable.stranded_factor.items()}
    return cords_for(
        measurement.configuration,
        stranded_factor=factors.get(standard, max(factors.values())),
        default_m={configuration: fact.value for configuration, fact in facts.cords_m.items()},
        stated=stated,
    )


def _nominal_pair_a(power_class: PowerClass) -> float:
    """Return the current in a pair at the full power of the source, equally shared. [A]."""
    return power_class.source_power_w / power_class.source_voltage_v * 2 / power_class.pairs


def _highest(classes: Mapping[int, ClassResult]) -> int | None:
    return max((n for n, result in classes.items() if result.state is Support.SUPPORTED), default=None)


def _top_class(source_type: SourceType, known: Iterable[int]) -> int:
    """Return the class that decides of a type: the highest of those known that it goes up to."""
    return max(number for number in known if number <= source_type.highest_class)


def _type_result(source_type: SourceType, classes: Mapping[int, ClassResult]) -> TypeResult:
    own = {n: result for n, result in classes.items() if n <= source_type.highest_class}
    available = {n: _available_w(source_type, result) for n, result in own.items()}
    return TypeResult(source_type, own[_top_class(source_type, own)].state, _highest(own), available)


def _available_w(source_type: SourceType, result: ClassResult) -> float | None:
    worst, power_class = result.worst, result.power_class
    if worst is None or worst.loop_ohm is None:
        return None
    source_v = max(source_type.source_voltage_v[0], power_class.source_voltage_v)
    return available_w(source_v, worst.loop_ohm, power_class.source_power_w, power_class.device_voltage_v)[0]
