"""The same link with more cable or at another temperature, by the design rules of the standards.

Insertion loss and delay are scaled; NEXT, ACR-F, return loss and alien
crosstalk stay as measured. A FEXT loss grows with the loss of its disturbed
pair, so that ACR-F stays what it was. Phase is not predicted: a scaled curve
has none. Nothing here is a measurement, and none of it may be certified.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Final, TypeAlias

import numpy as np

from fourpair_service.domain.applications.data import ApplicationData
from fourpair_service.domain.cords import StatedCords
from fourpair_service.domain.curves import evaluate
from fourpair_service.domain.facts import CableFacts, Fact
from fourpair_service.domain.grading.timing import LENGTH_AT_MHZ, delay_near
from fourpair_service.domain.limits import Basis, RuleSet, Segment
from fourpair_service.domain.link import PAIRS, Configuration
from fourpair_service.domain.measurement import (
    CurveGroup,
    FloatArray,
    Instrument,
    LinkMeasurement,
    PairReadings,
    SweepKey,
)
from fourpair_service.domain.parameters import DERIVED, Parameter

PREDICTED_KIND: Final = "predicted, not measured"
CABLE_TERMS: Final = ("sqrt", "linear", "inverse_sqrt")
AddedLoss: TypeAlias = Callable[[str, FloatArray], FloatArray]


@dataclass(frozen=True, slots=True, eq=False)
class CableCurves:
    """Horizontal cable of a category as its edition builds the limits of links from it.

    Attributes:
        loss, delay: the segments of 100 m of cable. [dB], [ns]
    """

    loss: Segment
    delay: Segment | None

    def loss_db_per_m(self, frequency_mhz: FloatArray) -> FloatArray:
        """Return the insertion loss of one metre at (n,) frequencies. [dB/m]."""
        return np.asarray(evaluate(self.loss, frequency_mhz, {}) / 100)

    def delay_ns_per_m(self, frequency_mhz: float) -> float | None:
        """Return the delay of one metre, ``None`` where the edition has no curve. [ns/m]."""
        if self.delay is None:
            return None
        return float(evaluate(self.delay, np.array([frequency_mhz]), {})[0]) / 100


def _cable_part(segment: Segment, form: str, names: tuple[str, ...]) -> Segment | None:
    """Return a segment of a link's limit with its connectors and length taken out."""
    if segment.form != form:
        return None
    return replace(segment, coefficients={n: segment.coefficients.get(n, 0.0) for n in names}, cap=None)


def cable_curves(rule_set: RuleSet, category: str) -> CableCurves | None:
    """Return the cable that the permanent link limits of a category are built from.

    ``None`` where the edition writes its limits in another form.
    """
    name = rule_set.category(category).name
    loss = rule_set.curve(name, Configuration.PERMANENT_LINK, Parameter.INSERTION_LOSS)
    delay = rule_set.curve(name, Configuration.PERMANENT_LINK, Parameter.PROPAGATION_DELAY)
    of_loss = None if loss is None else _cable_part(loss.segments[0], "cable_and_connectors", CABLE_TERMS)
    of_delay = (
        None if delay is None else _cable_part(delay.segments[0], "delay", ("constant", "inverse_sqrt"))
    )
    return None if of_loss is None else CableCurves(of_loss, of_delay)


def timed_readings(measurement: LinkMeasurement) -> dict[str, PairReadings]:
    """Return the readings by pair, a delay that is not stated taken from the complex sweep at 10 MHz."""
    readings = {pair: measurement.readings.get(pair, PairReadings()) for pair in PAIRS}
    return {pair: _timed(measurement, pair, of_pair) for pair, of_pair in readings.items()}


def _timed(measurement: LinkMeasurement, pair: str, readings: PairReadings) -> PairReadings:
    if readings.delay_ns is not None:
        return readings
    swept = delay_near(measurement, pair, LENGTH_AT_MHZ)
    if swept is None:
        return readings
    return replace(readings, delay_ns=swept.delay_ns, delay_frequency_mhz=swept.frequency_mhz)


# Solid cords are taken to lose what cable of their length loses: common practice, no published source.
SOLID: Final = Fact(1.0, "solid conductors, as in the cable itself", Basis.MEMORY)


@dataclass(frozen=True, slots=True)
class CordDesign:
    """The cords that are added to a link.

    Attributes:
        length_m: of all of them together. [m]
        stranded_factor: loss over that of horizontal cable as long.
        loop_ohm_per_m: both wires of a pair in series. [ohm/m]
        is_stated: whether the job states the length; else it is the usual one.
    """

    length_m: float
    stranded_factor: Fact
    loop_ohm_per_m: Fact
    is_stated: bool = False

    def sentence(self) -> str:
        """Return what is added, as a sentence."""
        whose = "as the job states" if self.is_stated else "as nothing else is stated"
        return (
            f"Predicted: {self.length_m:g} m of cords are added to loss, delay and resistance, {whose}, with "
            f"a stranded factor of {self.stranded_factor.value:g}; NEXT, ACR-F and return loss are as "
            f"measured, without cords."
        )


def cord_design(
    configuration: Configuration,
    rule_set: RuleSet,
    facts: CableFacts,
    data: ApplicationData,
    stated: StatedCords | None = None,
) -> CordDesign | None:
    """Return the cords to add to a link of a configuration; ``None``: it contains its cords.

    Args:
        configuration: of the link.
        rule_set: whose family gives the stranded factor; one that the facts do
            not know takes the largest.
        facts: stranded factors and wire.
        data: usual lengths.
        stated: what the job says of its cords.
    """
    usual = data.cord_length.get(configuration)
    if usual is None:
        return None
    own = StatedCords(usual.value) if stated is None else stated
    return designed(own, rule_set, facts, is_stated=stated is not None)


def designed(cords: StatedCords, rule_set: RuleSet, facts: CableFacts, *, is_stated: bool) -> CordDesign:
    """Return what cords add for each metre."""
    factors = facts.stranded_factor
    stranded = factors.get(rule_set.standard, max(factors.values(), key=lambda fact: fact.value))
    gauge = facts.loop_resistance_ohm_per_m[int(facts.cord_awg.value)]
    return CordDesign(cords.length_m, SOLID if cords.is_solid else stranded, gauge, is_stated)


def with_cords(measurement: LinkMeasurement, cords: CordDesign, cable: CableCurves) -> LinkMeasurement:
    """Return the channel that a link and its cords are predicted to make.

    Args:
        measurement: the link; length, delay, resistance and loss grow.
        cords: what is added.
        cable: the cable that the stranded factor refers to.
    """
    factor = cords.length_m * cords.stranded_factor.value

    # Sixteen curves of a link most often have one axis, and every pair gets the same cord.
    known: dict[bytes, FloatArray] = {}

    def added(pair: str, frequency_mhz: FloatArray) -> FloatArray:
        axis = frequency_mhz.tobytes()
        if axis not in known:
            known[axis] = factor * cable.loss_db_per_m(frequency_mhz)
        return known[axis]

    loop = cords.length_m * cords.loop_ohm_per_m.value
    return replace(
        _predicted(measurement, added),
        configuration=Configuration.CHANNEL,
        readings={
            pair: _longer(readings, cords.length_m, loop, cable)
            for pair, readings in timed_readings(measurement).items()
        },
        conductor_resistance_ohm={
            pin: ohm + loop / 2 for pin, ohm in measurement.conductor_resistance_ohm.items()
        },
    )


def _plus(value: float | None, more: float | None) -> float | None:
    return None if value is None or more is None else value + more


def _longer(readings: PairReadings, length_m: float, loop_ohm: float, cable: CableCurves) -> PairReadings:
    per_m = cable.delay_ns_per_m(readings.delay_frequency_mhz)
    return replace(
        readings,
        length_m=_plus(readings.length_m, length_m),
        delay_ns=_plus(readings.delay_ns, None if per_m is None else per_m * length_m),
        loop_resistance_ohm=_plus(readings.loop_resistance_ohm, loop_ohm),
    )


def at_temperature(
    measurement: LinkMeasurement, loss_ratio: float, resistance_ratio: float
) -> LinkMeasurement:
    """Return a link at another temperature.

    Args:
        measurement: the link; loss and resistance are scaled, delay is not (no
            design rule for it is known).
        loss_ratio: insertion loss there over the measured one.
        resistance_ratio: copper resistance there over the measured one.
    """
    losses = {
        key: (group.frequency_mhz, group.value_db[row])
        for group in measurement.curves.get((Parameter.INSERTION_LOSS, None), ())
        for row, key in enumerate(group.keys)
    }

    def added(pair: str, frequency_mhz: FloatArray) -> FloatArray:
        if pair not in losses:
            return np.zeros_like(frequency_mhz)
        axis, loss = losses[pair]
        return np.asarray((loss_ratio - 1) * np.interp(np.sqrt(frequency_mhz), np.sqrt(axis), loss))

    pins = measurement.conductor_resistance_ohm
    return replace(
        _predicted(measurement, added),
        readings={
            pair: _warmer(readings, resistance_ratio)
            for pair, readings in timed_readings(measurement).items()
        },
        conductor_resistance_ohm={pin: ohm * resistance_ratio for pin, ohm in pins.items()},
        unbalance_between_pairs_ohm={
            key: ohm * resistance_ratio for key, ohm in measurement.unbalance_between_pairs_ohm.items()
        },
    )


def _warmer(readings: PairReadings, ratio: float) -> PairReadings:
    loop, unbalance = readings.loop_resistance_ohm, readings.resistance_unbalance_ohm
    return replace(
        readings,
        loop_resistance_ohm=None if loop is None else loop * ratio,
        resistance_unbalance_ohm=None if unbalance is None else unbalance * ratio,
    )


def _predicted(measurement: LinkMeasurement, added: AddedLoss) -> LinkMeasurement:
    label = measurement.label
    return replace(
        measurement,
        label=None if label is None else f"{label} (predicted)",
        instrument=Instrument(kind=PREDICTED_KIND),
        curves=_lossier(measurement.curves, added),
        summary=None,
    )


def _lossier(
    curves: Mapping[SweepKey, tuple[CurveGroup, ...]], added: AddedLoss
) -> dict[SweepKey, tuple[CurveGroup, ...]]:
    """Return the curves with loss added; supplied derived ones no longer hold and are left out."""
    grown: dict[SweepKey, tuple[CurveGroup, ...]] = {}
    for (parameter, end), groups in curves.items():
        if parameter in (Parameter.INSERTION_LOSS, Parameter.FEXT):
            grown[(parameter, end)] = tuple(_grown(group, added) for group in groups)
        elif parameter not in DERIVED:
            grown[(parameter, end)] = groups
    return grown


def _grown(group: CurveGroup, added: AddedLoss) -> CurveGroup:
    # The key of an insertion loss is its pair, that of a FEXT ends in the disturbed pair.
    more = [added(key.rpartition(">")[2], group.frequency_mhz) for key in group.keys]
    return CurveGroup(group.frequency_mhz, group.keys, group.value_db + np.stack(more))
