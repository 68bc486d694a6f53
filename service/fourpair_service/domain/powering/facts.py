"""What is known of power over Ethernet: classes, types, pinouts, unbalance, heating."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from fourpair_service.domain.facts import Fact
from fourpair_service.domain.limits import Basis
from fourpair_service.domain.link import Configuration


@dataclass(frozen=True, slots=True)
class PowerClass:
    """One class of IEEE 802.3.

    Attributes:
        number: 0 to 8.
        pairs: 2 or 4 pairs that carry it.
        source_power_w: what the source must be able to give. [W]
        device_power_w: what the device may draw. [W]
        source_voltage_v: the lowest that the source may have. [V]
        device_voltage_v: the lowest that the device must work with. [V]
        loop_ohm: the largest resistance out and back, of one pairset for two
            pairs, of both pairsets in parallel for four. [ohm]
        largest_pair_current_a: with the unbalance that is allowed. [A]
    """

    number: int
    pairs: int
    source_power_w: float
    device_power_w: float
    source_voltage_v: float
    device_voltage_v: float
    loop_ohm: float
    largest_pair_current_a: float
    source: str
    basis: Basis


@dataclass(frozen=True, slots=True)
class SourceType:
    """One type of power source and the devices made for it.

    Attributes:
        source_voltage_v, device_voltage_v: lowest and highest. [V]
        pair_current_a: rated, through one pair. [A]
    """

    number: int
    standard: str
    highest_class: int
    source_voltage_v: tuple[float, float]
    device_voltage_v: tuple[float, float]
    pair_current_a: float
    source: str
    basis: Basis


@dataclass(frozen=True, slots=True)
class Pinout:
    """Which pair is positive and which negative, by the name of the standard."""

    name: str
    positive: str
    negative: str
    source: str
    basis: Basis


@dataclass(frozen=True, slots=True)
class UnbalanceLimit:
    """A share of the sum of two resistances or some ohm, whichever is more."""

    percent: float
    floor_ohm: float
    source: str
    basis: Basis

    def largest_ohm(self, total_ohm: float) -> float:
        """Return the largest difference of two resistances with this sum. [ohm].

        >>> UnbalanceLimit(3.0, 0.2, "memory", Basis.MEMORY).largest_ohm(16.0)
        0.48
        """
        return max(self.percent / 100 * total_ohm, self.floor_ohm)


@dataclass(frozen=True, slots=True)
class HeatingFacts:
    """How warm bundles get, and what guidance says.

    Attributes:
        bundle_rise_c_at_1_a: of 100 category 5e cables, 1 A through each pair. [°C]
        measured_rise_c, measured_at_a: the point that this was scaled from.
        largest_rise_c, earlier_largest_rise_c: what TSB-184-A and TSB-184 allow. [°C]
        largest_pair_current_a: what TSB-184-A covers. [A]
        adverse_bundle_cables: suggested cap under adverse conditions.
        code_applies_above_w: from here on a code limits bundles. [W]
    """

    bundle_rise_c_at_1_a: Fact
    measured_rise_c: Fact
    measured_at_a: Fact
    largest_rise_c: Fact
    earlier_largest_rise_c: Fact
    largest_pair_current_a: Fact
    adverse_bundle_cables: Fact
    code_applies_above_w: Fact


@dataclass(frozen=True, slots=True)
class PoweringFacts:
    """Everything in the data file on powering.

    Attributes:
        classes: by number, lowest first.
        types: by number, lowest first.
        cords_m: by configuration that lacks its cords, how much to add. [m]
        assumed_awg: gauge of horizontal cable that does not state one.
    """

    classes: Mapping[int, PowerClass]
    types: Mapping[int, SourceType]
    pinouts: tuple[Pinout, ...]
    within_pair: UnbalanceLimit
    between_pairs: UnbalanceLimit
    heating: HeatingFacts
    cords_m: Mapping[Configuration, Fact]
    assumed_awg: Fact
