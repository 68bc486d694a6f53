"""A link without one of its connectors, or whatever else stands at a place: an estimate.

What reflects and couples there is taken out of return loss and NEXT by a gate in
distance; loss, delay and FEXT stay, since a gate says nothing of them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from fourpair_service.domain.applications.design import PREDICTED_KIND
from fourpair_service.domain.distance.gating import only
from fourpair_service.domain.distance.line import LinePath, mean_path, path_of_link
from fourpair_service.domain.distance.transform import path_resolution_m
from fourpair_service.domain.errors import InvalidMeasurementError
from fourpair_service.domain.grading.single_values import intact_pairs
from fourpair_service.domain.grading.timing import length_m
from fourpair_service.domain.link import End
from fourpair_service.domain.measurement import ComplexArray, CurveGroup, LinkMeasurement, Sweep, SweepKey
from fourpair_service.domain.parameters import TRAITS, Parameter

# Half of the stretch that is taken out. A narrower gate leaves more of the place
# standing: 1 to 5 % of its own signal stay with this one (on a line model of our own).
HALF_WIDTH_M: Final = 2.0
WIDTHS: Final = 2.0
STAYS: Final = "1 to 5 % of its own signal stay"

# Below it waves are so long that a gate of metres tells nothing apart. A place that is
# short against the wave couples in proportion to frequency, and reflects so too but for a
# constant (a contact's resistance): that is continued from above.
GATED_FROM_MHZ: Final = 10.0
CONTINUED_FROM_MHZ: Final = (10.0, 50.0)

FEWEST_POINTS: Final = 3

# What is gated, and with which powers of frequency a place acts on it.
POWERS: Final = {Parameter.RETURN_LOSS: (0, 1), Parameter.NEXT: (1,)}


@dataclass(frozen=True, slots=True, eq=False)
class WithoutPlace:
    """A link without what stands at a place.

    Attributes:
        measurement: with return loss and NEXT as they would be.
        from_m, to_m: the stretch that was taken out, from the near end. [m]
        curves: what was changed, as words.
    """

    measurement: LinkMeasurement
    from_m: float
    to_m: float
    curves: tuple[str, ...]

    def sentence(self) -> str:
        """Return what was done, as a sentence."""
        return (
            f"Without what reflects and couples from {max(self.from_m, 0.0):.1f} m to {self.to_m:.1f} m, "
            f"counted from the near end: taken out of {', '.join(self.curves)} by a gate in distance, an "
            f"estimate ({STAYS}, more below {GATED_FROM_MHZ:g} MHz); insertion loss, delay, resistance and "
            f"FEXT as measured."
        )


def without_place(measurement: LinkMeasurement, place_m: float, nvp: float) -> WithoutPlace | None:
    """Return a link without what stands at a place.

    Args:
        measurement: with return loss or NEXT, and insertion loss, as complex values.
        place_m: from the near end; 0 is the near connector. [m]
        nvp: for the length of pairs that state none.

    Returns:
        The link; ``None`` where no curve has a phase, or no pair has a path.

    Raises:
        InvalidMeasurementError: the place lies outside the link.
    """
    paths = _paths(measurement, nvp)
    if not paths:
        return None
    link_m = next(iter(paths.values())).length_m
    if not 0 <= place_m <= link_m:
        raise InvalidMeasurementError(
            "", f"the link is {link_m:.1f} m long; name a place from 0 m to that", place_m
        )
    axis = measurement.curves[(Parameter.INSERTION_LOSS, None)][0].frequency_mhz
    half = max(HALF_WIDTH_M, WIDTHS * path_resolution_m(axis, mean_path(list(paths.values()))))
    left = _Left(measurement, paths)
    for parameter in POWERS:
        for name in TRAITS[parameter].keys:
            left.take_out(parameter, name, place_m, half)
    if not left.changed:
        return None
    curves = tuple(f"{TRAITS[parameter].title} at the {end} end" for parameter, end in left.changed)
    return WithoutPlace(left.measurement(), place_m - half, place_m + half, curves)


def _paths(measurement: LinkMeasurement, nvp: float) -> dict[str, LinePath]:
    """Return the path of each intact pair whose transmission gives one.

    All are as long as the shortest pair, which is how distances on a link are counted.
    """
    known = {pair: length_m(measurement, pair, nvp) for pair in intact_pairs(measurement)}
    lengths = [length for length in known.values() if length]
    paths = {}
    for pair in known if lengths else ():
        loss = measurement.sweep(Parameter.INSERTION_LOSS, None, pair)
        if loss is None or loss.value_complex is None:
            continue
        try:
            paths[pair] = path_of_link(loss, min(lengths))
        except InvalidMeasurementError:  # its phase is noise
            continue
    return paths


class _Left:
    """The curves of a link, of which some are being changed."""

    def __init__(self, measurement: LinkMeasurement, paths: Mapping[str, LinePath]) -> None:
        self._measurement, self._paths = measurement, paths
        self.changed: dict[SweepKey, dict[int, ComplexArray]] = {}

    def take_out(self, parameter: Parameter, name: str, place_m: float, half_m: float) -> None:
        """Take a place out of one pair or combination, at both ends in turn since they share a path."""
        pairs = name.split("-")
        if not all(pair in self._paths for pair in pairs):
            return
        path = mean_path([self._paths[pair] for pair in pairs])
        for end in End:
            at_m = place_m if end is End.NEAR else path.length_m - place_m
            for number, group in enumerate(self._measurement.curves.get((parameter, end), ())):
                if group.value_complex is None or name not in group.keys:
                    continue
                values = self.changed.setdefault((parameter, end), {})
                value = values.setdefault(number, group.value_complex.copy())
                value[group.keys.index(name)] -= _of_place(
                    group.sweep(name), path, at_m, half_m, POWERS[parameter]
                )

    def measurement(self) -> LinkMeasurement:
        """Return the link with what was changed."""
        curves = dict(self._measurement.curves)
        for key, values in self.changed.items():
            curves[key] = tuple(
                CurveGroup.from_complex(g.frequency_mhz, g.keys, values[n]) if n in values else g
                for n, g in enumerate(curves[key])
            )
        instrument = replace(self._measurement.instrument, kind=PREDICTED_KIND)
        return replace(self._measurement, curves=curves, instrument=instrument)


def _of_place(
    sweep: Sweep, path: LinePath, at_m: float, half_m: float, powers: tuple[int, ...]
) -> ComplexArray:
    """Return (n,) what comes from a place alone; zero at low frequencies where nothing is above to go by."""
    f = sweep.frequency_mhz
    part = only(sweep, path, at_m - half_m, at_m + half_m).value_complex
    assert part is not None
    low = f < GATED_FROM_MHZ
    known = (f >= CONTINUED_FROM_MHZ[0]) & (f <= CONTINUED_FROM_MHZ[1])
    terms = np.stack([f**power for power in powers], axis=1).astype(np.complex128)
    there_and_back = np.exp(2j * path.phase_rad_per_m(f) * at_m)
    found: ComplexArray = np.zeros(len(powers), dtype=np.complex128)
    if np.count_nonzero(known) >= FEWEST_POINTS:
        known_part = (part * there_and_back)[known]
        found = np.asarray(np.linalg.lstsq(terms[known], known_part, rcond=None)[0], dtype=np.complex128)
    return np.asarray(np.where(low, terms @ found / there_and_back, part), dtype=np.complex128)
