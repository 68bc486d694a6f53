"""The wire map's part of a verdict, and the split pair that continuity cannot see.

A split pair joins every pin to its own pin, but by wires of two different
twisted pairs. It shows as strong NEXT from a low frequency on, with a return
loss as bad as the NEXT, since the same change of impedance causes both. The
thresholds are a criterion of our own, no published source: 22 dB is worse than
any sound geometry reaches and better than any split one.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from fourpair_service.domain.distance.coupling import coupling_reaches
from fourpair_service.domain.distance.line import LinePath, mean_path, nominal_path, path_of_link_at_nvp
from fourpair_service.domain.errors import InvalidMeasurementError
from fourpair_service.domain.grading.rows import ENDS
from fourpair_service.domain.limits import Category
from fourpair_service.domain.link import NEXT_COMBINATIONS, End
from fourpair_service.domain.measurement import FloatArray, LinkMeasurement, Sweep
from fourpair_service.domain.parameters import Parameter
from fourpair_service.domain.verdict import Outcome, WireMapResult
from fourpair_service.domain.wiremap import WireMapFault, WireMapFinding, name_faults

SPLIT_NEXT_DB: Final = 22.0
SPLIT_TO_MHZ: Final = 31.25
SPLIT_RETURN_LOSS_ABOVE_NEXT_DB: Final = 3.0
SPLIT_COUPLING: Final = 0.08

# Typical of unscreened cable (trade pages print 0.69); 110 m is the longest channel
# that any edition passes.
TYPICAL_NVP: Final = 0.69
LONGEST_LINK_M: Final = 110.0

# Below this top frequency a sound link may itself have a NEXT under 22 dB.
MAGNITUDE_NEEDS_MHZ: Final = 100.0


def _level_db(loss_db: FloatArray) -> float:
    """Return the rms amplitude of several losses, in dB."""
    return float(-10 * np.log10(np.mean(10 ** (-loss_db / 10))))


def _looks_split(measurement: LinkMeasurement, end: End, combination: str, category: Category) -> bool | None:
    """Return whether one combination is split, as seen from one end; ``None``: cannot tell."""
    crosstalk = measurement.sweep(Parameter.NEXT, end, combination)
    if crosstalk is None:
        return None
    is_complex = crosstalk.value_complex is not None
    if not is_complex and category.to_mhz < MAGNITUDE_NEEDS_MHZ:
        return None
    # A stretch of a hand's width only shows at high frequency; there a poor
    # connector looks alike, so that range counts with complex data alone.
    reach = np.inf if is_complex else SPLIT_TO_MHZ
    if crosstalk.frequency_mhz[0] > reach:
        return None
    strong = (crosstalk.value_db < SPLIT_NEXT_DB) & (crosstalk.frequency_mhz <= reach)
    if not bool(strong.any()):
        return False
    reflects = _reflects_alike(measurement, end, combination, crosstalk, crosstalk.frequency_mhz[strong])
    if not reflects or not is_complex:
        return reflects
    return coupling_reaches(crosstalk, _path(measurement, combination), SPLIT_COUPLING)


def _path(measurement: LinkMeasurement, combination: str) -> LinePath:
    """Return the mean path of both pairs, a nominal one where their transmission gives none.

    Only whether the coupling is strong anywhere is asked, so an assumed velocity
    does no harm.
    """
    nvp = measurement.cable.nvp or TYPICAL_NVP
    own = [_own_path(measurement, pair, nvp) for pair in combination.split("-")]
    paths = [path for path in own if path is not None]
    return mean_path(paths) if paths else nominal_path(LONGEST_LINK_M, nvp)


def _own_path(measurement: LinkMeasurement, pair: str, nvp: float) -> LinePath | None:
    """Return the path that a pair's transmission gives; ``None`` without phase, or where it is noise."""
    transmission = measurement.sweep(Parameter.INSERTION_LOSS, None, pair)
    if transmission is None or transmission.value_complex is None:
        return None
    try:
        return path_of_link_at_nvp(transmission, nvp)
    except InvalidMeasurementError:
        return None


def _reflects_alike(
    measurement: LinkMeasurement, end: End, combination: str, crosstalk: Sweep, at_mhz: FloatArray
) -> bool | None:
    level = _level_db(crosstalk.value_db[np.isin(crosstalk.frequency_mhz, at_mhz)])
    for pair in combination.split("-"):
        reflection = measurement.sweep(Parameter.RETURN_LOSS, end, pair)
        if reflection is None:
            return None
        here = np.interp(at_mhz, reflection.frequency_mhz, reflection.value_db)
        if _level_db(here) > level + SPLIT_RETURN_LOSS_ABOVE_NEXT_DB:
            return False
    return True


def split_findings(
    measurement: LinkMeasurement, category: Category
) -> tuple[tuple[WireMapFinding, ...], str]:
    """Return the split pairs, and ``found``, ``none`` or ``not_excluded``."""
    found, unknown = [], False
    for combination in NEXT_COMBINATIONS:
        answers = [_looks_split(measurement, end, combination, category) for end in ENDS]
        if any(answers):
            first, second = combination.split("-")
            found.append(
                WireMapFinding(
                    WireMapFault.SPLIT_PAIR,
                    tuple(first + second),
                    (first, second),
                    f"Pairs {first} and {second} are split: every wire arrives on its own pin, "
                    f"but the wires of the two pairs are mixed.",
                )
            )
        unknown = unknown or None in answers
    state = "found" if found else ("not_excluded" if unknown else "none")
    return tuple(found), state


def wire_map_result(
    measurement: LinkMeasurement, category: Category, *, shield_required: bool
) -> WireMapResult:
    """Return the outcome of the wire map with split pairs counted as its faults.

    The shield is judged where the cable is said to have one or the requirement
    asks for it; a shield that was not tested then leaves the wire map incomplete.
    """
    wire_map = measurement.wire_map
    if wire_map is None:
        return WireMapResult(Outcome.INCOMPLETE, note="the wire map was not measured")
    shield = shield_required or bool(measurement.cable.is_screened)
    findings = name_faults(wire_map, shield_expected=shield)
    split, state = ((), "not_excluded") if findings else split_findings(measurement, category)
    if findings or split:
        return WireMapResult(Outcome.FAIL, findings + split, state)
    if shield and not wire_map.shield_tested:
        return WireMapResult(Outcome.INCOMPLETE, (), state, "the shield was not tested")
    note = (
        None
        if state == "none"
        else "split pairs are not excluded: that needs NEXT and return loss from both ends"
    )
    return WireMapResult(Outcome.PASS, (), state, note)
