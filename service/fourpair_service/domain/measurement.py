"""One measured link: what a tester saw between two ends, as values that are valid.

Every curve is kept as a row of a two-dimensional array, so that grading works
on whole parameters at once. Losses are in dB and positive; complex values are
linear scattering parameters in the convention exp(+jwt), in which a delay turns
the phase negative.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from fourpair_service.domain.cords import StatedCords
from fourpair_service.domain.errors import InvalidMeasurementError
from fourpair_service.domain.link import PAIRS, PINS, SHIELD, Configuration, End
from fourpair_service.domain.parameters import TRAITS, Parameter

FloatArray: TypeAlias = NDArray[np.float64]
ComplexArray: TypeAlias = NDArray[np.complex128]

# A magnitude of exactly zero has no logarithm; this keeps it finite and far
# beyond anything that an instrument can measure.
LARGEST_LOSS_DB: Final = 200.0


def loss_db(value: ComplexArray) -> FloatArray:
    """Return the loss of complex scattering parameters. [dB].

    >>> loss_db(np.array([0.1 + 0j, 0.0])).round(1).tolist()
    [20.0, 200.0]
    """
    floor = 10 ** (-LARGEST_LOSS_DB / 20)
    return np.asarray(-20.0 * np.log10(np.maximum(np.abs(value), floor)), dtype=np.float64)


@dataclass(frozen=True, slots=True, eq=False)
class Sweep:
    """One curve.

    Attributes:
        frequency_mhz: (n,) strictly increasing. [MHz]
        value_db: (n,) loss at each frequency. [dB]
        value_complex: (n,) scattering parameter, where it was measured so.
    """

    frequency_mhz: FloatArray
    value_db: FloatArray
    value_complex: ComplexArray | None = None


@dataclass(frozen=True, slots=True, eq=False)
class CurveGroup:
    """Curves of one parameter and end that share a frequency axis.

    Attributes:
        frequency_mhz: (n,) strictly increasing, n >= 1. [MHz]
        keys: the k pairs or combinations, one for each row.
        value_db: (k, n) losses. [dB]
        value_complex: (k, n) scattering parameters, where measured so.
    """

    frequency_mhz: FloatArray
    keys: tuple[str, ...]
    value_db: FloatArray
    value_complex: ComplexArray | None = None

    def __post_init__(self) -> None:
        """Refuse shapes that do not fit and an axis that does not increase."""
        f, rows = self.frequency_mhz, (len(self.keys), len(self.frequency_mhz))
        if f.ndim != 1 or f.size == 0 or not (f[1:] > f[:-1]).all():
            raise InvalidMeasurementError("", "frequency_mhz must be a list that increases strictly")
        if self.value_db.shape != rows:
            raise InvalidMeasurementError("", f"expected {rows} values, got {self.value_db.shape}")
        if self.value_complex is not None and self.value_complex.shape != rows:
            raise InvalidMeasurementError("", f"expected {rows} values, got {self.value_complex.shape}")

    @classmethod
    def from_complex(
        cls, frequency_mhz: FloatArray, keys: tuple[str, ...], value: ComplexArray
    ) -> CurveGroup:
        """Return the group of (k, n) complex ``value`` with its losses computed."""
        return cls(frequency_mhz, keys, loss_db(value), value)

    def in_order(self, names: tuple[str, ...]) -> CurveGroup:
        """Return the group with its rows in the order of ``names``."""
        rows = sorted(range(len(self.keys)), key=lambda row: names.index(self.keys[row]))
        if rows == list(range(len(rows))):
            return self
        value = None if self.value_complex is None else self.value_complex[rows]
        return CurveGroup(
            self.frequency_mhz, tuple(self.keys[row] for row in rows), self.value_db[rows], value
        )

    def sweep(self, key: str) -> Sweep:
        """Return the curve of one pair or combination."""
        row = self.keys.index(key)
        value = None if self.value_complex is None else self.value_complex[row]
        return Sweep(self.frequency_mhz, self.value_db[row], value)


SweepKey: TypeAlias = tuple[Parameter, End | None]


def _in_order(
    curves: Mapping[SweepKey, tuple[CurveGroup, ...]],
) -> Mapping[SweepKey, tuple[CurveGroup, ...]]:
    """Return curves in the order of the standards, so that no verdict depends on how they came."""
    order = list(TRAITS)
    keys = sorted(curves, key=lambda key: (order.index(key[0]), key[1] is End.FAR))
    return {key: _groups_in_order(curves[key], TRAITS[key[0]].keys) for key in keys}


def _groups_in_order(groups: tuple[CurveGroup, ...], names: tuple[str, ...]) -> tuple[CurveGroup, ...]:
    sorted_rows = [group.in_order(names) for group in groups]
    return tuple(sorted(sorted_rows, key=lambda group: [names.index(key) for key in group.keys]))


@dataclass(frozen=True, slots=True)
class WireMap:
    """What continuity says.

    Attributes:
        contacts: (near, far) contacts that connect, ``"1"`` to ``"8"`` and
            ``"S"`` for the shield; a pin without a contact is open.
        shorts: sets of near contacts that are tied together.
        shield_tested: whether the test looked for the shield at all.
    """

    contacts: tuple[tuple[str, str], ...]
    shorts: tuple[tuple[str, ...], ...] = ()
    shield_tested: bool = False

    def __post_init__(self) -> None:
        """Refuse names that are no contact."""
        known = {*PINS, SHIELD}
        for i, contact in enumerate(self.contacts):
            if not set(contact) <= known:
                raise InvalidMeasurementError(f"/wire_map/contacts/{i}", "contacts are 1 to 8 and S", contact)
        for i, short in enumerate(self.shorts):
            if not set(short) <= known:
                raise InvalidMeasurementError(f"/wire_map/shorts/{i}", "contacts are 1 to 8 and S", short)


@dataclass(frozen=True, slots=True)
class PairReadings:
    """Single values of one pair; ``None`` where not measured."""

    length_m: float | None = None
    delay_ns: float | None = None
    delay_frequency_mhz: float = 10.0
    loop_resistance_ohm: float | None = None
    resistance_unbalance_ohm: float | None = None


@dataclass(frozen=True, slots=True)
class Cable:
    """What the cable is said to be."""

    category: str | None = None
    screening: str | None = None
    conductor: str | None = None
    awg: int | None = None
    nvp: float | None = None
    temperature_c: float | None = None
    maker: str | None = None
    part: str | None = None
    batch: str | None = None

    @property
    def is_screened(self) -> bool | None:
        """Whether it has a screen anywhere; ``None`` where that is not stated."""
        if self.screening is None:
            return None
        return any(letter in self.screening.upper().replace("UTP", "") for letter in "FS")


@dataclass(frozen=True, slots=True)
class InstrumentUnit:
    """One of the two boxes of a tester."""

    end: End | None = None
    serial: str | None = None
    adapter: str | None = None
    firmware: str | None = None
    calibrated_on: date | None = None
    referenced_at: datetime | None = None


@dataclass(frozen=True, slots=True, eq=False)
class AccuracyCurve:
    """Measurement accuracy over frequency, straight between its points.

    Attributes:
        frequency_mhz: (n,) strictly increasing. [MHz]
        accuracy_db: (n,) not negative. [dB]
    """

    frequency_mhz: FloatArray
    accuracy_db: FloatArray

    def at(self, frequency_mhz: FloatArray) -> FloatArray:
        """Return the accuracy at (n,) frequencies, held constant outside. [dB]."""
        return np.interp(frequency_mhz, self.frequency_mhz, self.accuracy_db)


@dataclass(frozen=True, slots=True)
class Instrument:
    """How the link was measured.

    Attributes:
        accuracy: by parameter, in its own unit; a curve only for swept ones.
    """

    kind: str | None = None
    units: tuple[InstrumentUnit, ...] = ()
    accuracy: Mapping[Parameter, float | AccuracyCurve] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class SummaryReading:
    """The worst point of one parameter as another tool reported it.

    Attributes:
        margin_db: as reported, positive inside the limit. [dB]
        measured_db: the value there. [dB]
        frequency_mhz: where. [MHz]
        pairs: the pair or combination.
    """

    parameter: Parameter
    end: End | None
    margin_db: float
    measured_db: float | None = None
    frequency_mhz: float | None = None
    pairs: str | None = None


@dataclass(frozen=True, slots=True)
class Summary:
    """Worst margins without curves, and the limits they were taken against."""

    rule_set: str | None
    category: str | None
    readings: tuple[SummaryReading, ...]


@dataclass(frozen=True, slots=True, eq=False)
class LinkMeasurement:
    """One link as it was measured; only ``configuration`` is always there.

    Attributes:
        places: what stands at each end, in the words of the installer.
        readings: by pair.
        conductor_resistance_ohm: by pin, DC resistance end to end. [ohm]
        delay_skew_ns: as measured; computed from the delays when absent. [ns]
        unbalance_between_pairs_ohm: by NEXT combination, as measured. [ohm]
        curves: by parameter and end (``None`` where it has none); a parameter
            has one group for each frequency axis that it was measured on.
        port: the live port as observed; shown, never graded.
        cords: that will complete the link; never graded.
        connectors_category: as declared; never graded.
    """

    configuration: Configuration
    label: str | None = None
    tested_at: datetime | None = None
    tested_by: str | None = None
    cable: Cable = field(default_factory=Cable)
    places: Mapping[End, str] = field(default_factory=dict)
    instrument: Instrument = field(default_factory=Instrument)
    wire_map: WireMap | None = None
    readings: Mapping[str, PairReadings] = field(default_factory=dict)
    conductor_resistance_ohm: Mapping[str, float] = field(default_factory=dict)
    delay_skew_ns: float | None = None
    unbalance_between_pairs_ohm: Mapping[str, float] = field(default_factory=dict)
    curves: Mapping[SweepKey, tuple[CurveGroup, ...]] = field(default_factory=dict)
    summary: Summary | None = None
    port: Mapping[str, object] | None = None
    cords: StatedCords | None = None
    connectors_category: str | None = None

    def __post_init__(self) -> None:
        """Refuse pairs, pins, ends and combinations that the parameters do not have."""
        for pair in self.readings:
            if pair not in PAIRS:
                raise InvalidMeasurementError(f"/pairs/{pair}", f"pairs are {', '.join(PAIRS)}", pair)
        for (parameter, end), groups in self.curves.items():
            traits = TRAITS[parameter]
            if traits.has_ends != (end is not None):
                raise InvalidMeasurementError(
                    f"/sweeps/{parameter}", "near and far do not fit this parameter"
                )
            seen: set[str] = set()
            for key in (key for group in groups for key in group.keys):
                if key in seen:
                    raise InvalidMeasurementError(f"/sweeps/{parameter}/{key}", "it is there twice", key)
                seen.add(key)
                if key not in traits.keys:
                    names = ", ".join(traits.keys)
                    detail = f"expected one of {names}" if names else "this is computed, not measured"
                    raise InvalidMeasurementError(f"/sweeps/{parameter}/{key}", detail, key)
        object.__setattr__(self, "curves", _in_order(self.curves))

    def sweep(self, parameter: Parameter, end: End | None, key: str) -> Sweep | None:
        """Return one curve, or ``None`` where it was not measured."""
        for group in self.curves.get((parameter, end), ()):
            if key in group.keys:
                return group.sweep(key)
        return None

    def place(self, end: End) -> str:
        """Return the name of an end for a sentence.

        >>> LinkMeasurement(Configuration.CHANNEL).place(End.FAR)
        'the far end'
        """
        place = self.places.get(end)
        return f"the {end} end ({place})" if place else f"the {end} end"

    @property
    def has_curves(self) -> bool:
        """Whether anything was swept."""
        return bool(self.curves)

    def complex_keys(self) -> Iterator[SweepKey]:
        """Yield the parameters and ends that carry complex values."""
        for key, groups in self.curves.items():
            if any(group.value_complex is not None for group in groups):
                yield key
