"""What a measurement says that rules can ask for, computed when it is asked for."""

from __future__ import annotations

from functools import cached_property
from statistics import median
from typing import Final

import numpy as np

from fourpair_service.domain.diagnosis.model import Place
from fourpair_service.domain.distance.breaks import path_to_break
from fourpair_service.domain.distance.line import LinePath, mean_path, nominal_path, path_of_link
from fourpair_service.domain.errors import InvalidMeasurementError
from fourpair_service.domain.facts import CableFacts
from fourpair_service.domain.limits import RuleSet, Segment
from fourpair_service.domain.link import PAIRS, SPEED_OF_LIGHT_M_PER_NS, Configuration, End
from fourpair_service.domain.measurement import FloatArray, LinkMeasurement, Sweep
from fourpair_service.domain.parameters import Parameter
from fourpair_service.domain.verdict import FAILED, ParameterResult, Verdict
from fourpair_service.domain.wiremap import WireMapFault, broken_pairs

# The longest channel of any edition and a tenth more: how far to look for a break.
LONGEST_LINK_M: Final = 110.0
# Bands in which the loss of a cable is compared with that of its category: where skin
# effect alone counts, and where the DC resistance still shows. Own criterion, no published source.
HIGH_BAND_MHZ: Final = (16.0, 100.0)
LOW_BAND_MHZ: Final = (1.0, 4.0)
# A transform over fewer frequencies says nothing.
FEWEST_POINTS: Final = 3
CONNECTORS_OF_A_LINK: Final = 2


class Evidence:
    """One measurement with its verdict, and what can be read from both."""

    def __init__(
        self, measurement: LinkMeasurement, verdict: Verdict, rule_set: RuleSet, facts: CableFacts
    ) -> None:
        self.measurement = measurement
        self.verdict = verdict
        self.rule_set = rule_set
        self.facts = facts
        self._paths: dict[str, LinePath | None] = {}

    # What fails ---------------------------------------------------------------

    def failing(self, *parameters: Parameter) -> tuple[ParameterResult, ...]:
        """Return the results of these parameters that fail, marginally or not."""
        return tuple(r for r in self.verdict.parameters if r.parameter in parameters and r.outcome in FAILED)

    def failing_keys(self, parameter: Parameter, end: End | None = None) -> tuple[str, ...]:
        """Return the pairs or combinations of a parameter and end that are outside their limit."""
        return tuple(
            point.pairs
            for result in self.failing(parameter)
            if result.end is end
            for point in result.by_pair
            if point.margin is not None and point.margin < 0 and point.pairs is not None
        )

    @cached_property
    def split(self) -> tuple[tuple[str, ...], ...]:
        """The two pairs of each split."""
        found = self.verdict.wire_map.findings
        return tuple(f.pairs for f in found if f.kind is WireMapFault.SPLIT_PAIR)

    @cached_property
    def broken(self) -> frozenset[str]:
        """Pairs that are open or shorted."""
        wire_map = self.measurement.wire_map
        return broken_pairs(wire_map) if wire_map is not None else frozenset()

    @cached_property
    def sound(self) -> tuple[str, ...]:
        """Pairs that are neither broken nor split."""
        split = {pair for pairs in self.split for pair in pairs}
        return tuple(pair for pair in PAIRS if pair not in self.broken and pair not in split)

    def is_sound(self, key: str) -> bool:
        """Whether a pair or combination concerns sound pairs alone."""
        return set(key.replace(">", "-").split("-")) <= set(self.sound)

    # The line -----------------------------------------------------------------

    @cached_property
    def nvp(self) -> float:
        """NVP as declared, else a typical one."""
        return self.measurement.cable.nvp or self.facts.nvp_typical.value

    @cached_property
    def delay_ns(self) -> dict[str, float]:
        """Delay of each pair that is not broken. [ns]."""
        readings = self.measurement.readings
        return {p: r.delay_ns for p, r in readings.items() if r.delay_ns is not None and p not in self.broken}

    @cached_property
    def length_m(self) -> float | None:
        """Length of the link: of its shortest unbroken pair, stated or from the delay. [m]."""
        stated = [
            r.length_m for p, r in self.measurement.readings.items() if r.length_m and p not in self.broken
        ]
        if stated:
            return min(stated)
        delays = [d for d in self.delay_ns.values() if d > 0]
        return min(delays) * self.nvp * SPEED_OF_LIGHT_M_PER_NS if delays else None

    def path(self, pair: str) -> LinePath | None:
        """Return the path of a pair; ``None`` where no distance can be had.

        A broken pair takes the mean of the others, or the nominal path of the cable.
        """
        if pair not in self._paths:
            self._paths[pair] = self._path_to_break(pair) if pair in self.broken else self._own_path(pair)
        return self._paths[pair]

    def _path_to_break(self, pair: str) -> LinePath:
        if self.length_m is None:
            return self.broken_path
        near, far = (self.complex_sweep(Parameter.RETURN_LOSS, end, pair) for end in End)
        return path_to_break(near, far, self.broken_path)

    def path_between(self, combination: str) -> LinePath | None:
        """Return the mean path of two pairs."""
        paths = [path for path in map(self.path, combination.split("-")) if path is not None]
        return mean_path(paths) if paths else None

    def _own_path(self, pair: str) -> LinePath | None:
        loss = self.complex_sweep(Parameter.INSERTION_LOSS, None, pair)
        if loss is None or self.length_m is None:
            return None
        try:
            return path_of_link(loss, self.length_m)
        except InvalidMeasurementError:
            return None

    @cached_property
    def broken_path(self) -> LinePath:
        """The path of a broken pair: the mean of the others, else that of nominal cable."""
        good = [self.path(pair) for pair in PAIRS if pair not in self.broken]
        known = [path for path in good if path is not None]
        return mean_path(known) if known else nominal_path(self.length_m or LONGEST_LINK_M, self.nvp)

    def complex_sweep(self, parameter: Parameter, end: End | None, key: str) -> Sweep | None:
        """Return one curve that carries phase and enough points for a distance, else ``None``."""
        sweep = self.measurement.sweep(parameter, end, key)
        if sweep is None or sweep.value_complex is None or sweep.frequency_mhz.size < FEWEST_POINTS:
            return None
        return sweep

    @cached_property
    def has_phase(self) -> bool:
        """Whether anything was measured with phase."""
        return next(iter(self.measurement.complex_keys()), None) is not None

    # Material -----------------------------------------------------------------

    def loss_ratio(self, band_mhz: tuple[float, float]) -> dict[str, float]:
        """Return, by sound pair, measured insertion loss over that of cable of the category as long.

        The measured loss is brought to 20 degrees where the temperature is stated.
        """
        if self.length_m is None or self._loss_segment is None:
            return {}
        ratios: dict[str, float] = {}
        for group in self.measurement.curves.get((Parameter.INSERTION_LOSS, None), ()):
            first = int(np.searchsorted(group.frequency_mhz, band_mhz[0], side="left"))
            last = int(np.searchsorted(group.frequency_mhz, band_mhz[1], side="right"))
            if first < last:
                expected = self._expected_loss_db(group.frequency_mhz[first:last])
                typical = np.median(group.value_db[:, first:last] / expected, axis=1)
                ratios |= zip(group.keys, (typical / self.temperature_factor).tolist(), strict=True)
        return {pair: ratios[pair] for pair in self.sound if pair in ratios}

    @cached_property
    def temperature_factor(self) -> float:
        """Factor on insertion loss at the stated temperature, 1 where none is stated."""
        temperature = self.measurement.cable.temperature_c
        kind = "screened" if self.measurement.cable.is_screened else "unscreened"
        return (
            1.0
            if temperature is None
            else self.facts.insertion_loss_temperature[kind].loss_factor(temperature)
        )

    @cached_property
    def _loss_segment(self) -> Segment | None:
        category = self.verdict.requirement.category
        name = self.rule_set.category(category).name
        limit = self.rule_set.curve(name, Configuration.PERMANENT_LINK, Parameter.INSERTION_LOSS)
        return limit.segments[0] if limit and limit.segments[0].form == "cable_and_connectors" else None

    def _expected_loss_db(self, frequency_mhz: FloatArray) -> FloatArray:
        """Return the loss that cable of the category and two connectors may have. [dB]."""
        segment, length = self._loss_segment, self.length_m
        assert segment is not None and length is not None
        c = {
            name: float(value)
            for name, value in segment.coefficients.items()
            if isinstance(value, int | float)
        }
        root = np.sqrt(frequency_mhz)
        cable = (
            c.get("sqrt", 0.0) * root
            + c.get("linear", 0.0) * frequency_mhz
            + c.get("inverse_sqrt", 0.0) / root
        )
        connector = c.get("connector_sqrt", 0.0) * root + c.get("connector_constant", 0.0)
        return np.asarray(cable * length / 100 + CONNECTORS_OF_A_LINK * connector)

    @cached_property
    def loop_resistance_ohm(self) -> dict[str, float]:
        """DC loop resistance of each unbroken pair at 20 degrees. [ohm]."""
        temperature = self.measurement.cable.temperature_c
        factor = 1.0 if temperature is None else self.facts.copper_resistance_factor(temperature)
        pins = self.measurement.conductor_resistance_ohm
        found = {p: r.loop_resistance_ohm for p, r in self.measurement.readings.items()}
        for pair in PAIRS:
            if found.get(pair) is None and pair[0] in pins and pair[1] in pins:
                found[pair] = pins[pair[0]] + pins[pair[1]]
        return {p: r / factor for p, r in found.items() if r is not None and p not in self.broken}

    def resistance_ratio(self, awg: int) -> float | None:
        """Return loop resistance over that of solid copper of a gauge as long; the median of the pairs."""
        per_m = self.facts.loop_resistance_ohm_per_m.get(awg)
        if not self.loop_resistance_ohm or not self.length_m or per_m is None:
            return None
        return median(self.loop_resistance_ohm.values()) / (self.length_m * per_m.value)

    # Words --------------------------------------------------------------------

    def at_end(self, end: End) -> Place:
        """Return the place of an end."""
        return Place(f"at {self.measurement.place(end)}", end)

    def at_distance(self, position_m: float, uncertainty_m: float) -> Place:
        """Return a place along the link, counted from the near end. [m]."""
        near = self.measurement.place(End.NEAR)
        text = f"{position_m:.1f} m (± {uncertainty_m:.1f} m) from {near}"
        return Place(text, None, position_m, None, uncertainty_m)

    def over_stretch(self, from_m: float, to_m: float, uncertainty_m: float) -> Place:
        """Return a stretch along the link, counted from the near end. [m]."""
        near = self.measurement.place(End.NEAR)
        text = f"from {from_m:.1f} m to {to_m:.1f} m (± {uncertainty_m:.1f} m), counted from {near}"
        return Place(text, None, from_m, to_m, uncertainty_m)

    def from_near(self, position_m: float, end: End, length_m: float) -> float:
        """Return a position counted from the near end. [m]."""
        return position_m if end is End.NEAR else length_m - position_m
