"""What is known of the cable itself: conductors, temperature, velocity.

None of it is a limit of a link. It serves diagnosis, powering and design.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from fourpair_service.domain.limits import Basis


@dataclass(frozen=True, slots=True)
class Fact:
    """One value with its origin.

    Attributes:
        value: in the unit that the name of the fact gives.
        source: where it is printed, or ``memory``.
    """

    value: float
    source: str
    basis: Basis


@dataclass(frozen=True, slots=True)
class TemperatureStep:
    """How much insertion loss grows for each degree within a span of temperatures.

    Attributes:
        from_c, to_c: the span. [°C]
        percent_per_c: of the loss at the reference temperature. [%/°C]
    """

    from_c: float
    to_c: float
    percent_per_c: float


@dataclass(frozen=True, slots=True)
class TemperatureTable:
    """The steps of one kind of cable, in order of temperature, with their origin."""

    steps: tuple[TemperatureStep, ...]
    source: str
    basis: Basis

    def loss_factor(self, temperature_c: float) -> float:
        """Return the factor on insertion loss at a temperature, 1 at and below the first step.

        A temperature above the last step counts as its end: nothing is
        printed beyond it.

        >>> steps = (TemperatureStep(20, 40, 0.4), TemperatureStep(40, 60, 0.6))
        >>> round(TemperatureTable(steps, "TIA-568-C.2 6.4.7", Basis.PUBLISHED).loss_factor(50), 3)
        1.14
        """
        spans = ((max(0.0, min(temperature_c, s.to_c) - s.from_c), s.percent_per_c) for s in self.steps)
        return 1 + sum(span * percent for span, percent in spans) / 100


@dataclass(frozen=True, slots=True)
class CableFacts:
    """Everything in the data file of cable facts.

    Attributes:
        loop_resistance_ohm_per_m: solid copper at 20 °C by wire gauge (AWG),
            both wires of a pair in series. [ohm/m]
        largest_conductor_resistance_ohm_per_100m: what horizontal cable may have. [ohm/100 m]
        copper_temperature_coefficient_per_c: of resistance. [1/°C]
        insertion_loss_temperature: by ``unscreened``, ``screened``, ``category_3``.
        stranded_factor: by standard family, insertion loss of stranded cord
            cable over that of horizontal cable of the same length.
        cord_awg: gauge of stranded cords, for their resistance.
        nvp_typical: nominal velocity of propagation, share of the speed of light.
        nvp_lowest, nvp_highest: the range met in twisted pair cable.
        nvp_least_by_delay_limit: below it 100 m of cable exceed the delay limit.
    """

    loop_resistance_ohm_per_m: Mapping[int, Fact]
    largest_conductor_resistance_ohm_per_100m: Fact
    copper_temperature_coefficient_per_c: Fact
    insertion_loss_temperature: Mapping[str, TemperatureTable]
    stranded_factor: Mapping[str, Fact]
    cord_awg: Fact
    nvp_typical: Fact
    nvp_lowest: Fact
    nvp_highest: Fact
    nvp_least_by_delay_limit: Fact

    def copper_resistance_factor(self, temperature_c: float) -> float:
        """Return copper resistance at a temperature over that at 20 °C."""
        return 1 + self.copper_temperature_coefficient_per_c.value * (temperature_c - 20.0)
